"""Drift from bake to bake: EWMA and CUSUM of the offsets (mean minus dial) of one oven.

The baseline is the median of the first half of the earlier bakes; the scale is robust, too. Limits
are the usual ones of such charts (common practice): EWMA with weight 0.3 and three sigmas, CUSUM
with a slack of half a sigma and a limit of five.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from logger.events import OvenCycle, OvenDrift
from logger.plan import EarlierBake

WEIGHT, EWMA_SIGMAS = 0.3, 3.0
SLACK_SIGMAS, CUSUM_SIGMAS = 0.5, 5.0
# Fewer earlier bakes say nothing of a baseline; a bake needs this many cycles to count.
FEWEST_BAKES, FEWEST_CYCLES = 6, 2
# No oven repeats its mean better than this (first value): luck is no tight baseline.
SMALLEST_SIGMA_C = 0.8
# Sigma of a normal distribution from the median deviation, the median difference (computed).
MAD_TO_SIGMA = 1.4826
MOVING_RANGE_TO_SIGMA = 1.0483
OUTLIER_SIGMAS, OUTLIER_FLOOR_C = 3.0, 0.5


def bake_offset(cycles: Sequence[OvenCycle]) -> tuple[float, int] | None:
    """Offset of one bake: robust mean over its cycles, in kelvins, and how many it rests on.

    Cycles further than three robust sigmas from the median are left out. None where no cycle
    has an offset.
    """
    offsets = [c.offset_c for c in cycles if c.offset_c is not None]
    if not offsets:
        return None
    middle = median(offsets)
    sigma = MAD_TO_SIGMA * median(abs(o - middle) for o in offsets)
    limit = OUTLIER_SIGMAS * max(OUTLIER_FLOOR_C, sigma)
    kept = [o for o in offsets if abs(o - middle) <= limit]
    return sum(kept) / len(kept), len(kept)


def ewma(values: Sequence[float], start: float, weight: float) -> list[float]:
    """Exponentially weighted moving average, one value for each of `values`.

    z[i] = weight * values[i] + (1 - weight) * z[i-1], z before the first = start.

    Raises:
        ValueError: `weight` not in (0, 1].

    >>> ewma([52.0, 47.0], 50.0, 0.3)
    [50.6, 49.52]
    """
    if not 0 < weight <= 1:
        raise ValueError(f"a weight of {weight:g} is not above 0 and at most 1")
    out: list[float] = []
    last = start
    for value in values:
        last = weight * value + (1 - weight) * last
        out.append(last)
    return out


def ewma_half_width(sigma: float, weight: float, sigmas: float, count: int | None = None) -> float:
    """Distance of the EWMA's control limits from its centre.

    sigmas * sigma * sqrt(weight / (2 - weight) * (1 - (1 - weight)^(2 count))); without `count`
    its limit for many values.
    """
    share = weight / (2 - weight)
    if count is not None:
        share *= 1 - (1 - weight) ** (2 * count)
    return sigmas * sigma * math.sqrt(share)


def cusum(values: Sequence[float], target: float, slack: float) -> tuple[list[float], list[float]]:
    """Tabular cumulative sums, upward and downward, one of each for each of `values`.

    high[i] = max(0, high[i-1] + values[i] - target - slack), low likewise with the signs changed;
    all in the unit of `values`.

    Raises:
        ValueError: `slack` below zero.

    >>> cusum([1.0, 2.0], 0.0, 0.5)
    ([0.5, 2.0], [0.0, 0.0])
    """
    if slack < 0:
        raise ValueError(f"a slack of {slack:g} is below zero")
    high: list[float] = []
    low: list[float] = []
    up = down = 0.0
    for value in values:
        up = max(0.0, up + value - target - slack)
        down = max(0.0, down + target - value - slack)
        high.append(up)
        low.append(down)
    return high, low


@dataclass(frozen=True, slots=True)
class Baseline:
    """Where the oven stood at first, and by how much bakes differ anyway; both in kelvins."""

    centre_c: float
    sigma_c: float
    bakes: int


def baseline(offsets: Sequence[float]) -> Baseline | None:
    """Baseline of the earlier bakes' offsets, oldest first; None where they are too few.

    Centre: median of the first half. Scale: the larger of the first half's scaled median deviation
    and the scaled median difference of all neighbours (which a single shift hardly touches),
    widened by the centre's own uncertainty.
    """
    if len(offsets) < FEWEST_BAKES:
        return None
    half = offsets[: (len(offsets) + 1) // 2]
    centre = median(half)
    spread = MAD_TO_SIGMA * median(abs(o - centre) for o in half)
    steps = [abs(b - a) for a, b in pairwise(offsets)]
    sigma = max(SMALLEST_SIGMA_C, spread, MOVING_RANGE_TO_SIGMA * median(steps))
    # The median of n values scatters by 1.25 sigma / sqrt(n).
    return Baseline(centre, sigma * math.sqrt(1 + 1.25**2 / len(half)), len(half))


def drifts(
    earlier: Sequence[EarlierBake], present_c: float | None, set_point_c: float | None
) -> list[OvenDrift]:
    """The statistics that are beyond their limit now: none, one or both.

    Args:
        earlier: this oven's earlier bakes, in any order.
        present_c: this bake's offset, None before it has one.
        set_point_c: the present dial.
    """
    bakes = sorted((b for b in earlier if b.cycles > 0), key=lambda b: b.at_us)
    offsets = [b.offset_c for b in bakes]
    base = baseline(offsets)
    if base is None:
        return []
    names: list[str | None] = [b.batch for b in bakes]
    if present_c is not None:
        offsets.append(present_c)
        names.append(None)
    since = _since(offsets, base)
    level = median(offsets[since:])
    shift = level - base.centre_c
    advice = None if set_point_c is None else set_point_c - level

    def drift(statistic: str, value: float, limit: float) -> OvenDrift:
        return OvenDrift(statistic, value, limit, shift, names[since], advice, len(bakes))

    out: list[OvenDrift] = []
    average = ewma(offsets, base.centre_c, WEIGHT)[-1] - base.centre_c
    width = ewma_half_width(base.sigma_c, WEIGHT, EWMA_SIGMAS, len(offsets))
    if abs(average) > width:
        out.append(drift("ewma", average, math.copysign(width, average)))
    high, low = cusum(offsets, base.centre_c, SLACK_SIGMAS * base.sigma_c)
    sums = max(high[-1], low[-1]) / base.sigma_c
    if sums > CUSUM_SIGMAS:
        out.append(drift("cusum", sums, CUSUM_SIGMAS))
    return out


def _since(offsets: Sequence[float], base: Baseline) -> int:
    """The likeliest first bake of a lasting step away from the centre (largest n * shift^2)."""
    best, at, total = -1.0, len(offsets) - 1, 0.0
    for i in range(len(offsets) - 1, 0, -1):
        total += offsets[i] - base.centre_c
        weight = total**2 / (len(offsets) - i)
        if weight > best:
            best, at = weight, i
    return at
