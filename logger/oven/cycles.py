"""Full thermostat cycles: from one rise through the middle to the next, or from fall to fall.

Both are found, so that after a door the first whole cycle of either kind counts.
Middles are crossed where the air moves fastest, so noise moves them least; a straight line through
the flank gives each crossing. The mean is the time mean between them; the swing is that of the
first harmonics fitted to the cycle, so that noise does not widen it, each made larger by what the
probe's lag took of it: the sharp turns of the air lose more than its slow wave.
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
HARMONICS = 8
# A harmonic this many times its own uncertainty is one.
CLEAR = 3.0


@dataclass(frozen=True, slots=True)
class Cycle:
    """A full cycle; times in seconds since the first reading, as the probe showed them.

    `harmonics` are the complex amplitudes of the first harmonics that stand out of the noise;
    `first_s`, `second_s` the two turns between which the air crossed the middle the other way.
    """

    from_s: float
    to_s: float
    mean_c: float
    shown_swing_c: float
    harmonics: np.ndarray
    first_s: float
    second_s: float

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
        harmonics = self._harmonics(begin_s, end_s)
        turns_s = crossing.first.t_s, crossing.second.t_s
        cycle = Cycle(begin_s, end_s, mean_c, _peak_to_peak(harmonics), harmonics, *turns_s)
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

    def _harmonics(self, begin_s: float, end_s: float) -> np.ndarray:
        samples = self.trace.between(begin_s, end_s)
        count = min(HARMONICS, max(1, (len(samples) - 1) // 5))
        t = np.array([s.t_s for s in samples])
        phase = 2 * math.pi * (t - begin_s) / (end_s - begin_s)
        columns = [np.ones_like(phase)]
        for k in range(1, count + 1):
            columns += [np.cos(k * phase), np.sin(k * phase)]
        shown = np.array([s.celsius for s in samples])
        fit, *_ = np.linalg.lstsq(np.stack(columns, axis=1), shown, rcond=None)
        harmonics: np.ndarray = fit[1::2] - 1j * fit[2::2]
        noise_c = self.trace.noise.sigma_c * math.sqrt(2 / len(samples))
        clear = np.abs(harmonics) > CLEAR * noise_c
        clear[0] = True
        clean: np.ndarray = harmonics * clear
        return clean


def _peak_to_peak(harmonics: np.ndarray) -> float:
    phase = np.linspace(0.0, 2 * math.pi, 193)
    order = np.arange(1, len(harmonics) + 1)
    wave = (harmonics[:, None] * np.exp(1j * order[:, None] * phase)).real.sum(axis=0)
    return float(wave.max() - wave.min())


def swing_c(cycle: Cycle, lag: ProbeLag) -> float:
    """Peak to peak of the air itself."""
    omega = 2 * math.pi / cycle.period_s
    order = np.arange(1, len(cycle.harmonics) + 1)
    return _peak_to_peak(cycle.harmonics * (1 + 1j * omega * order * lag.seconds))
