"""Full thermostat cycles: from one rise through the middle to the next.

Middles are crossed where the air moves fastest, so noise moves them least; a straight line through
the flank gives each crossing. The mean is the time mean between them; the swing is that of the
first harmonics fitted to the cycle, so that noise does not widen it, made larger by what the
probe's lag took.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from logger.oven.air import Sample, Trace, line
from logger.oven.lag import ProbeLag
from logger.oven.turns import Turn, Turns

SHORTEST_S, LONGEST_S = 120.0, 1800.0
# Straight lines across a hole bend a mean by little while the hole is short against the cycle.
LARGEST_HOLE = 0.12
HARMONICS = 4


@dataclass(frozen=True, slots=True)
class Cycle:
    """A full cycle; times in seconds since the first reading, as the probe showed them."""

    from_s: float
    to_s: float
    mean_c: float
    shown_swing_c: float

    @property
    def period_s(self) -> float:
        return self.to_s - self.from_s


@dataclass(slots=True)
class _Rise:
    """A rise through the middle that ends a cycle, waiting for enough of its flank."""

    level_c: float
    peak: Turn
    trough: Turn
    from_s: float | None = None
    to_s: float | None = None


@dataclass(slots=True)
class Cycles:
    """Finds full cycles as samples come; knows nothing of doors or preheating."""

    trace: Trace
    turns: Turns
    _rise: _Rise | None = None
    last: list[Cycle] = field(default_factory=list)

    def turned(self, turn: Turn) -> None:
        """A turn became known."""
        if turn.is_peak or len(self.turns.found) < 2:
            return
        peak = self.turns.found[-2]
        self._rise = _Rise((peak.celsius + turn.celsius) / 2, peak, turn)

    def add(self, smooth: Sample) -> Cycle | None:
        """The cycle that this sample completes, if any."""
        rise = self._rise
        if rise is None:
            return None
        if rise.to_s is None:
            if smooth.celsius < rise.level_c:
                return None
            rise.to_s = smooth.t_s
            rise.from_s = self._rise_before(rise)
            if rise.from_s is None:
                self._rise = None
                return None
        assert rise.from_s is not None
        half_s = min(
            (rise.to_s - rise.from_s) / 8,
            0.7 * (rise.to_s - rise.trough.t_s),
            0.7 * (rise.peak.t_s - rise.from_s),
        )
        half_s = max(half_s, 15.0)
        if self.trace.samples[-1].t_s < rise.to_s + half_s:
            return None
        self._rise = None
        return self._whole(rise.level_c, rise.from_s, rise.to_s, half_s)

    def _rise_before(self, rise: _Rise) -> float | None:
        """When the smoothed air rose through the middle before the peak."""
        after: Sample | None = None
        for sample in reversed(self.trace.smooth):
            if sample.t_s > rise.peak.t_s:
                continue
            if sample.t_s < rise.peak.t_s - LONGEST_S:
                return None
            if sample.celsius < rise.level_c:
                return sample.t_s if after is None else (sample.t_s + after.t_s) / 2
            after = sample
        return None

    def _whole(self, level_c: float, from_s: float, to_s: float, half_s: float) -> Cycle | None:
        begin_s = self._crossing(level_c, from_s, half_s)
        end_s = self._crossing(level_c, to_s, half_s)
        period_s = end_s - begin_s
        if not SHORTEST_S <= period_s <= LONGEST_S:
            return None
        if self.trace.missing_s(begin_s, end_s) > LARGEST_HOLE * period_s:
            return None
        mean_c = self.trace.mean(begin_s, end_s)
        swing_c = self._swing(begin_s, end_s)
        cycle = Cycle(begin_s, end_s, mean_c, swing_c)
        self.last.append(cycle)
        del self.last[:-10]
        return cycle

    def _crossing(self, level_c: float, near_s: float, half_s: float) -> float:
        near = self.trace.between(near_s - half_s, near_s + half_s)
        if len(near) < 3:
            return near_s
        t, c, slope = line(near)
        if slope <= 0:
            return near_s
        return min(near_s + half_s, max(near_s - half_s, t + (level_c - c) / slope))

    def _swing(self, begin_s: float, end_s: float) -> float:
        samples = self.trace.between(begin_s, end_s)
        harmonics = min(HARMONICS, max(1, (len(samples) - 1) // 5))
        t = np.array([s.t_s for s in samples])
        columns = _waves((t - begin_s) / (end_s - begin_s), harmonics)
        fit, *_ = np.linalg.lstsq(columns, np.array([s.celsius for s in samples]), rcond=None)
        wave = _waves(np.linspace(0.0, 1.0, 97), harmonics) @ fit
        return float(wave.max() - wave.min())


def _waves(phase: np.ndarray, harmonics: int) -> np.ndarray:
    """Columns 1, cos, sin, cos 2, sin 2 … of a phase counted in cycles."""
    columns = [np.ones_like(phase)]
    for k in range(1, harmonics + 1):
        columns += [np.cos(2 * math.pi * k * phase), np.sin(2 * math.pi * k * phase)]
    return np.stack(columns, axis=1)


def swing_c(cycle: Cycle, lag: ProbeLag) -> float:
    """Peak to peak of the air itself."""
    return cycle.shown_swing_c * lag.swing_factor(cycle.period_s)
