"""Full thermostat cycles: from one rise through the middle to the next, or from fall to fall.

Both are found, so that after a door the first whole cycle of either kind counts.
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
class _Crossing:
    """A crossing of the middle that ends a cycle, waiting for enough of its flank.

    Attributes:
        sign: 1 for a rise, -1 for a fall.
        first, second: the turns between which the air crossed the middle the other way.
    """

    sign: int
    level_c: float
    first: Turn
    second: Turn
    from_s: float = 0.0
    to_s: float | None = None


@dataclass(slots=True)
class Cycles:
    """Finds full cycles as samples come; knows nothing of doors or preheating."""

    trace: Trace
    turns: Turns
    last: list[Cycle] = field(default_factory=list)
    _waiting: list[_Crossing] = field(default_factory=list)

    def turned(self, turn: Turn) -> None:
        """A turn became known."""
        if len(self.turns.found) < 2:
            return
        first = self.turns.found[-2]
        sign = -1 if turn.is_peak else 1
        self._waiting = [w for w in self._waiting if w.sign != sign]
        level_c = (first.celsius + turn.celsius) / 2
        self._waiting.append(_Crossing(sign, level_c, first, turn))

    def add(self, smooth: Sample) -> list[Cycle]:
        """The cycles that this sample completes."""
        out: list[Cycle] = []
        for crossing in list(self._waiting):
            half_s = self._ready(crossing, smooth)
            if half_s is None:
                continue
            self._waiting.remove(crossing)
            cycle = self._whole(crossing, half_s)
            if cycle is not None:
                out.append(cycle)
        return out

    def _ready(self, crossing: _Crossing, smooth: Sample) -> float | None:
        """Half the width of the flank to fit, once the readings reach so far."""
        if crossing.to_s is None:
            if crossing.sign * (smooth.celsius - crossing.level_c) < 0:
                return None
            before_s = self._before(crossing)
            if before_s is None:
                self._waiting.remove(crossing)
                return None
            crossing.from_s, crossing.to_s = before_s, smooth.t_s
        half_s = min(
            (crossing.to_s - crossing.from_s) / 8,
            0.7 * (crossing.to_s - crossing.second.t_s),
            0.7 * (crossing.first.t_s - crossing.from_s),
        )
        half_s = max(half_s, 15.0)
        return half_s if self.trace.samples[-1].t_s >= crossing.to_s + half_s else None

    def _before(self, crossing: _Crossing) -> float | None:
        """When the smoothed air crossed the middle the same way before the first turn."""
        after: Sample | None = None
        for sample in reversed(self.trace.smooth):
            if sample.t_s > crossing.first.t_s:
                continue
            if sample.t_s < crossing.first.t_s - LONGEST_S:
                return None
            if crossing.sign * (sample.celsius - crossing.level_c) < 0:
                return sample.t_s if after is None else (sample.t_s + after.t_s) / 2
            after = sample
        return None

    def _whole(self, crossing: _Crossing, half_s: float) -> Cycle | None:
        begin_s = self._exact(crossing, crossing.from_s, half_s)
        end_s = self._exact(crossing, crossing.to_s or 0.0, half_s)
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

    def _exact(self, crossing: _Crossing, near_s: float, half_s: float) -> float:
        near = self.trace.between(near_s - half_s, near_s + half_s)
        if len(near) < 3:
            return near_s
        t, c, slope = line(near)
        if crossing.sign * slope <= 0:
            return near_s
        exact_s = t + (crossing.level_c - c) / slope
        return min(near_s + half_s, max(near_s - half_s, exact_s))

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
