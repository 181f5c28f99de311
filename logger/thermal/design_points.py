"""Fixed points that fill a space evenly: the ensemble's members and its disturbances.

Computed, never drawn, so that the same log gives the same forecasts. The points are the additive
recurrence on the powers of the generalised golden ratio; disturbances come from a fixed scrambling
of whole numbers.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Acklam's rational approximation of the normal quantile, relative error below 1.15e-9. From memory;
# the tests check it.
_A = (
    -39.69683028665376,
    220.9460984245205,
    -275.9285104469687,
    138.3577518672690,
    -30.66479806614716,
    2.506628277459239,
)
_B = (
    -54.47609879822406,
    161.5858368580409,
    -155.6989798598866,
    66.80131188771972,
    -13.28068155288572,
    1.0,
)
_C = (
    -7.784894002430293e-3,
    -0.3223964580411365,
    -2.400758277161838,
    -2.549732539343734,
    4.374664141464968,
    2.938163982698783,
)
_D = (7.784695709041462e-3, 0.3224671290700398, 2.445134137142996, 3.754408661907416, 1.0)


def normal_quantile(u: Array) -> Array:
    """Standard normal quantile of probabilities strictly between 0 and 1."""
    q = u - 0.5
    r = q * q
    centre = np.polyval(_A, r) * q / np.polyval(_B, r)
    tail = np.sqrt(-2.0 * np.log(np.minimum(u, 1.0 - u)))
    outer = np.polyval(_C, tail) / np.polyval(_D, tail)
    outside = np.where(q < 0, outer, -outer)
    result: Array = np.where(np.abs(q) <= 0.47575, centre, outside)
    return result


def normal_design(members: int, dimensions: int) -> Array:
    """Points of a standard normal, shape (dimensions, members), whitened exactly.

    Every row has mean 0 and standard deviation 1, and the rows are uncorrelated.
    """
    ratio = 2.0
    for _ in range(60):
        ratio = (1.0 + ratio) ** (1.0 / (dimensions + 1))
    steps = ratio ** -np.arange(1, dimensions + 1)
    index = np.arange(1, members + 1)
    z = normal_quantile((0.5 + np.outer(steps, index)) % 1.0)
    z -= z.mean(axis=1, keepdims=True)
    whitened: Array = np.linalg.solve(np.linalg.cholesky(z @ z.T / members), z)
    return whitened


class Disturbances:
    """Standard normal disturbances of the members, another row at each call.

    Member and call number are scrambled by the finaliser of SplitMix64 (Steele, Lea & Flood 2014),
    so that rows and members are as good as independent, and always the same. After `ROWS` calls
    the rows come again, shifted along the members.
    """

    ROWS, SHIFT = 251, 89

    def __init__(self, members: int) -> None:
        self._rows, self._members = _rows(members, self.ROWS), members
        self._calls = 0

    def next(self) -> Array:
        """A row of shape (members,), mean 0 and standard deviation 1."""
        again, row = divmod(self._calls, self.ROWS)
        self._calls += 1
        start = -again * self.SHIFT % self._members
        out: Array = self._rows[row, start : start + self._members]
        return out


@lru_cache(maxsize=4)
def _rows(members: int, count: int) -> Array:
    """So many rows, each of them twice in a line; shape (count, 2 × members)."""
    x = np.arange(1, count * members + 1, dtype=np.uint64)
    x *= np.uint64(0x9E3779B97F4A7C15)
    x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    x ^= x >> np.uint64(31)
    u = ((x >> np.uint64(11)).astype(np.float64) + 0.5) / 2.0**53
    z = normal_quantile(u).reshape(count, members)
    z -= z.mean(axis=1, keepdims=True)
    z /= z.std(axis=1, keepdims=True)
    twice = np.hstack((z, z))  # so that a shifted row is a part of one
    twice.flags.writeable = False
    return twice
