"""How one measure of an oven behaves from bake to bake while nothing changes.

A measure (the offset, the logarithm of the swing …) may lean on the set point: an oven that is
2 °C hot at 150 °C may be 3 °C hot at 200 °C. So the baseline is a line over the set point, whose
slope is held near zero until the bakes say otherwise; a new set point is then no drift by itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

# Sigma of a normal distribution from its median deviation (computed).
MAD_TO_SIGMA = 1.4826
# A bake of the baseline further out than this is left out of it: a bake that went wrong.
OUTLIER_SIGMAS = 4.0
# What is known of the scatter before the first bake weighs as much as this many bakes.
PRIOR_BAKES = 4


@dataclass(frozen=True, slots=True)
class Scatter:
    """What is known of a measure before the first bake (first values, no source).

    Attributes:
        usual: by how much bakes usually differ, one standard deviation.
        smallest: no oven repeats itself better: luck is no tight baseline.
        slope: standard deviation of the measure's change for one degree of set point.
    """

    usual: float
    smallest: float
    slope: float


@dataclass(frozen=True, slots=True)
class Baseline:
    """The line, with its uncertainties.

    Attributes:
        bakes: how many bakes it rests on.
        centre: the measure at `set_point_c`, the mean set point of these bakes.
        sigma: scatter of one bake.
        slope, slope_sigma: change for one degree of set point.
    """

    bakes: int
    centre: float
    set_point_c: float
    sigma: float
    slope: float
    slope_sigma: float

    @classmethod
    def of(cls, points: Sequence[tuple[float, float]], scatter: Scatter) -> Baseline:
        """Fit to (set point, measure) of steady bakes; one that lies far out is left out.

        Raises:
            ValueError: no points.
        """
        if not points:
            raise ValueError("a baseline needs at least one bake")
        middle = median(y for _, y in points)
        wide = MAD_TO_SIGMA * median(abs(y - middle) for _, y in points)
        # The slope must not make a far set point an outlier.
        far = max(abs(s - median(p[0] for p in points)) for s, _ in points)
        limit = OUTLIER_SIGMAS * max(scatter.smallest, wide) + 2 * scatter.slope * far
        kept = [p for p in points if abs(p[1] - middle) <= limit]
        n = len(kept)
        at = sum(s for s, _ in kept) / n
        centre = sum(y for _, y in kept) / n
        across = sum((s - at) ** 2 for s, _ in kept)
        product = sum((s - at) * (y - centre) for s, y in kept)
        sigma, slope = scatter.usual, 0.0
        for _ in range(3):  # sigma and slope rest on each other
            slope = product / (across + (sigma / scatter.slope) ** 2)
            squares = sum((y - centre - slope * (s - at)) ** 2 for s, y in kept)
            weighed = squares + PRIOR_BAKES * scatter.usual**2
            sigma = max(scatter.smallest, math.sqrt(weighed / (n - 1 + PRIOR_BAKES)))
        slope_sigma = 1 / math.sqrt(across / sigma**2 + 1 / scatter.slope**2)
        return cls(n, centre, at, sigma, slope, slope_sigma)

    def expected(self, set_point_c: float) -> float:
        """The measure to expect at a set point."""
        return self.centre + self.slope * (set_point_c - self.set_point_c)

    def uncertainty(self, set_point_c: float) -> float:
        """Standard deviation of `expected` itself."""
        lean = self.slope_sigma * (set_point_c - self.set_point_c)
        return math.sqrt(self.sigma**2 / self.bakes + lean**2)

    def standardised(self, set_point_c: float, measure: float) -> float:
        """How many standard deviations one bake lies from what was to be expected."""
        wide = math.hypot(self.sigma, self.uncertainty(set_point_c))
        return (measure - self.expected(set_point_c)) / wide
