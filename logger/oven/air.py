"""The trace of the oven's air: readings without glitches, thinned to at most one in two seconds.

Times inside the oven's room are seconds since its first reading, so that the same bake a day later
gives the same numbers. Temperatures are what the probe shows, in degrees Celsius.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import deque
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

# Two seconds are fast against every door (common practice).
THINNED_S = 1.9
# Four cycles of a slow oven: all that any question of this room looks back on.
KEPT_S = 3600.0
# A glitch stands out from both sides; smaller ones drown in the averages.
SMALLEST_GLITCH_C = 3.0
SMALLEST_NOISE_C = 0.05
# Mean square of the inner 90 % of a normal distribution is 0.623 of its variance (computed).
INNER_SHARE = 0.9
INNER_VARIANCE = 0.623
SMOOTHED_S = 25.0


class Sample(NamedTuple):
    """A time (seconds since the first reading) and a temperature."""

    t_s: float
    celsius: float


@dataclass(slots=True)
class Noise:
    """Running estimate of the readings' scatter from their second differences (slopes cancel)."""

    sigma_c: float = 0.5
    _last: deque[float] = field(default_factory=lambda: deque(maxlen=3))
    _squares: deque[float] = field(default_factory=lambda: deque(maxlen=60))
    _since: int = 0

    def add(self, celsius: float) -> None:
        self._last.append(celsius)
        if len(self._last) < 3:
            return
        a, b, c = self._last
        self._squares.append((a - 2 * b + c) ** 2)
        self._since += 1
        if self._since >= 10 and len(self._squares) >= 20:
            self._since = 0
            inner = sorted(self._squares)[: int(INNER_SHARE * len(self._squares))]
            variance = sum(inner) / len(inner) / 6 / INNER_VARIANCE
            self.sigma_c = max(SMALLEST_NOISE_C, math.sqrt(variance))

    def broken(self) -> None:
        """Readings are missing: differences across the hole say nothing."""
        self._last.clear()


@dataclass(slots=True)
class Glitches:
    """Lets readings through two readings late, without runs of one or two that jump and return.

    A door's dip falls as fast, but comes back slowly: the readings on both sides of a glitch agree,
    those on both sides of a dip do not.
    """

    noise: Noise
    _before: Sample | None = None
    _waiting: list[Sample] = field(default_factory=list)

    def add(self, sample: Sample) -> list[Sample]:
        self._waiting.append(sample)
        out: list[Sample] = []
        while len(self._waiting) >= 3:
            drop = self._run()
            if drop:
                del self._waiting[:drop]
                continue
            self._before = self._waiting.pop(0)
            self.noise.add(self._before.celsius)
            out.append(self._before)
        return out

    def _run(self) -> int:
        """How many of the waiting readings are a glitch: 0, 1 or 2."""
        before = self._before
        limit = max(SMALLEST_GLITCH_C, 6 * self.noise.sigma_c)
        if before is None or abs(self._waiting[0].celsius - before.celsius) <= limit:
            return 0
        for run in (1, 2):
            after = self._waiting[run]
            middle = (before.celsius + after.celsius) / 2
            least = min(abs(s.celsius - middle) for s in self._waiting[:run])
            agree = max(3 * self.noise.sigma_c, 0.2 * least)
            if least > limit and abs(after.celsius - before.celsius) <= agree:
                return run
        return 0


@dataclass(slots=True)
class Trace:
    """The last hour of the air.

    Attributes:
        samples: thinned, without glitches.
        smooth: their mean over the last 25 s, at the mean of their times.
        holes: (from, to) where readings are missing.
    """

    noise: Noise = field(default_factory=Noise)
    samples: list[Sample] = field(default_factory=list)
    smooth: list[Sample] = field(default_factory=list)
    holes: list[tuple[float, float]] = field(default_factory=list)
    _glitches: Glitches = field(init=False)
    _bin: list[Sample] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._glitches = Glitches(self.noise)

    def add(self, t_s: float, celsius: float) -> bool:
        """Take a reading; whether it completed a sample (the last of `samples`)."""
        done = False
        for sample in self._glitches.add(Sample(t_s, celsius)):
            self._bin.append(sample)
            if self.samples and sample.t_s - self.samples[-1].t_s < THINNED_S:
                continue
            n = len(self._bin)
            t = sum(s.t_s for s in self._bin) / n if n > 1 else sample.t_s
            self._append(Sample(t, sum(s.celsius for s in self._bin) / n))
            self._bin.clear()
            done = True
        return done

    def _append(self, sample: Sample) -> None:
        if self.samples and sample.t_s - self.samples[-1].t_s > self.longest_step_s():
            self.holes.append((self.samples[-1].t_s, sample.t_s))
            self.noise.broken()
        self.samples.append(sample)
        n, t, c = 0, 0.0, 0.0
        for s in reversed(self.samples):
            if n and s.t_s <= sample.t_s - SMOOTHED_S:
                break
            n, t, c = n + 1, t + s.t_s, c + s.celsius
        self.smooth.append(Sample(t / n, c / n))
        if len(self.samples) > 100 and self.samples[0].t_s < sample.t_s - 1.25 * KEPT_S:
            cut = bisect_left(self.samples, (sample.t_s - KEPT_S,))
            del self.samples[:cut], self.smooth[:cut]
            self.holes = [h for h in self.holes if h[1] > self.samples[0].t_s]

    def longest_step_s(self) -> float:
        """Longest distance of two samples that is no hole: 45 s, or four usual steps."""
        near = self.samples[-20:]
        if len(near) < 5:
            return 45.0
        steps = sorted(b.t_s - a.t_s for a, b in pairwise(near))
        return max(45.0, 4 * steps[len(steps) // 2])

    def between(self, from_s: float, to_s: float) -> list[Sample]:
        """Samples with from_s <= t <= to_s."""
        low = bisect_left(self.samples, (from_s,))
        high = bisect_left(self.samples, (to_s, math.inf))
        return self.samples[low:high]

    def missing_s(self, from_s: float, to_s: float) -> float:
        """Seconds of [from_s, to_s] in which readings are missing."""
        return sum(max(0.0, min(b, to_s) - max(a, from_s)) for a, b in self.holes)

    def mean(self, from_s: float, to_s: float) -> float:
        """Time mean over [from_s, to_s], straight between samples, flat beyond the last.

        Raises:
            ValueError: no sample in it.
        """
        inner = self.between(from_s, to_s)
        if not inner:
            raise ValueError("no reading of the oven in this time")
        points = [Sample(from_s, self._at(from_s)), *inner, Sample(to_s, self._at(to_s))]
        area = sum((b.t_s - a.t_s) * (a.celsius + b.celsius) / 2 for a, b in pairwise(points))
        return area / (to_s - from_s)

    def _at(self, t_s: float) -> float:
        i = bisect_left(self.samples, (t_s,))
        if i == 0:
            return self.samples[0].celsius
        if i == len(self.samples):
            return self.samples[-1].celsius
        a, b = self.samples[i - 1], self.samples[i]
        return a.celsius + (b.celsius - a.celsius) * (t_s - a.t_s) / (b.t_s - a.t_s)


def line(samples: list[Sample]) -> tuple[float, float, float]:
    """Straight line by least squares: mean time, mean temperature, slope in kelvins a second.

    >>> line([Sample(0, 10), Sample(1, 12), Sample(2, 14)])
    (1.0, 12.0, 2.0)
    """
    n = len(samples)
    t = sum(s.t_s for s in samples) / n
    c = sum(s.celsius for s in samples) / n
    across = sum((s.t_s - t) ** 2 for s in samples)
    if across == 0:
        return t, c, 0.0
    return t, c, sum((s.t_s - t) * (s.celsius - c) for s in samples) / across
