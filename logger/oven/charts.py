"""Control charts: EWMA and CUSUM, their limits, and how long a steady process stays inside them."""

from __future__ import annotations

import math
from collections.abc import Sequence

# Siegmund's correction of a continuous process for steps: 2 * 0.583 sigma.
SIEGMUND_SIGMAS = 1.166


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


def cusum_run_length(slack: float, limit: float, shift: float = 0.0) -> float:
    """Mean number of values until a two-sided CUSUM of known centre and sigma passes its limit.

    Siegmund's approximation (Sequential Analysis, 1985): one side takes
    (exp(-2 d b) + 2 d b - 1) / (2 d^2) values, d = shift - slack, b = limit + 1.166; the two sides
    add as rates. `slack`, `limit` and `shift` are in sigmas.

    >>> round(cusum_run_length(0.5, 5.0))
    469
    """

    def one_side(delta: float) -> float:
        b = limit + SIEGMUND_SIGMAS
        if abs(delta) < 1e-9:
            return b * b
        return (math.exp(-2 * delta * b) + 2 * delta * b - 1) / (2 * delta**2)

    return 1 / (1 / one_side(shift - slack) + 1 / one_side(-shift - slack))
