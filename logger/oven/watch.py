"""One measure of an oven on its EWMA and CUSUM charts, bake after bake.

The limits are chosen for at most one false alarm in 300 steady bakes. With known centre and sigma a
two-sided CUSUM of slack 1 and limit 4.6 stays inside for some 25 000 bakes (`cusum_run_length`,
Siegmund's approximation). The centre and sigma of twelve bakes are not known but estimated, which
shortens that to a few thousand (computed); three things hold against it:

- a slack of a whole sigma (half of the shift of 2 to 3 sigmas that is to be found) is more than an
  estimated centre is off (0.3 sigma for twelve bakes);
- each bake is standardised by the deviation of its *prediction*, in which the baseline's own
  uncertainty is included;
- bakes that are `SETTLED_BAKES` old and on which nothing was found sharpen the baseline.

Simulated with normal bakes of 0.5, 1 and 1.5 °C scatter (computed): in series of 300 steady bakes
0.0, 0.05 and 0.1 false alarms; in ten series of 30 each 0.0, 0.1 and 0.6. A step of 3 °C is found
by the third, third and fourth bake (median), a creep of 0.3 °C a bake by the seventh, ninth and
eleventh.
One bake counts for no more than three sigmas, so that no single one is a drift.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from logger.oven.baseline import Baseline, Scatter
from logger.oven.charts import ewma_half_width

BASELINE_BAKES = 12
SETTLED_BAKES = 8
# More than these sharpen little.
LARGEST_BASELINE = 40
WEIGHT, EWMA_SIGMAS = 0.2, 4.1
SLACK_SIGMAS = 1.0
LARGEST_SIGMAS = 3.0


@dataclass(frozen=True, slots=True)
class Alarm:
    """A statistic beyond its limit; both carry the shift's sign, in sigmas."""

    statistic: str
    value: float
    limit: float


@dataclass(slots=True)
class Watch:
    """The charts of one measure.

    Attributes:
        scatter: what is known of it before the first bake.
        cusum_sigmas: limit of its CUSUM.
        uses_ewma: whether its EWMA is asked, too.
    """

    scatter: Scatter
    cusum_sigmas: float
    uses_ewma: bool = True
    _points: list[tuple[float, float]] = field(default_factory=list)
    _high: float = 0.0
    _low: float = 0.0
    _average: float = 0.0
    _watched: int = 0
    _steady: int = BASELINE_BAKES
    _baseline: Baseline | None = None
    _is_frozen: bool = False

    def add(self, set_point_c: float, measure: float) -> Alarm | None:
        """Take the next bake; the first `BASELINE_BAKES` are only learnt from."""
        base = self._baseline
        self._points.append((set_point_c, measure))
        if base is None:
            if len(self._points) == BASELINE_BAKES:
                self._learn()
            return None
        self._watched += 1
        z = base.standardised(set_point_c, measure)
        z = min(LARGEST_SIGMAS, max(-LARGEST_SIGMAS, z))
        self._high = max(0.0, self._high + z - SLACK_SIGMAS)
        self._low = max(0.0, self._low - z - SLACK_SIGMAS)
        self._average = WEIGHT * z + (1 - WEIGHT) * self._average
        largest = max(self._high, self._low)
        if largest > self.cusum_sigmas:
            sign = 1.0 if self._high > self._low else -1.0
            return Alarm("cusum", sign * largest, sign * self.cusum_sigmas)
        width = ewma_half_width(1.0, WEIGHT, EWMA_SIGMAS, self._watched)
        if self.uses_ewma and abs(self._average) > width:
            return Alarm("ewma", self._average, math.copysign(width, self._average))
        if not self._is_frozen and self._watched > SETTLED_BAKES:
            self._sharpen()
        return None

    def freeze(self) -> None:
        """A change was found: later bakes sharpen the baseline no more."""
        self._is_frozen = True

    def _sharpen(self) -> None:
        if self._steady < LARGEST_BASELINE:
            self._steady += 1
            self._learn()

    def _learn(self) -> None:
        self._baseline = Baseline.of(self._points[: self._steady], self.scatter)

    def baseline(self) -> Baseline | None:
        """What steady bakes do; None before there are enough."""
        return self._baseline

    def residuals(self) -> list[float]:
        """Distances of the bakes after the baseline's from what was to be expected."""
        base = self._baseline
        if base is None:
            return []
        return [y - base.expected(s) for s, y in self._points[self._steady :]]
