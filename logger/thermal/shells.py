"""The shape of a cake as nested shells, from the surface to the core.

Heat comes and goes through all faces. So the cells of a cake are shells, equally thick upright: in
a sheet they are layers, in a cup nearly nested balls, in a loaf nearly nested bars. The outer ones
hold more of the mass and pass more heat than the inner ones; that a core with cells all round it
waits longer, and then comes faster, follows by itself.

How far the shells narrow inward, and how well they pass heat, is what makes their centre come half
way, and most of it, when the body's own does; from a far rim heat then comes as late as it should.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial import Polynomial

from logger.thermal.design_points import Array

CELLS = 6
EXCHANGE_CELLS = 3  # exchange rates are told of so many cells of a slab
# What is left at the centre when the shells are compared with the body.
HALF_WAY, LATE = 0.5, 0.1
_HALVINGS, _BITS = 20, 80  # of the narrowing; of a time, more than the bits of a float
_NOTHING_YET = 0.03  # before it the axis of a cylinder is within 0.1 % of what it was
_FINE = 30  # shells in which the decay of a shape is computed
# Slowest decay of a slab, and of a long cylinder, whose surface is held: (π/2)²/L², 2.405²/R²
# (Incropera ch. 5, Bi → ∞).
SLAB, CYLINDER = (math.pi / 2) ** 2, 2.4048**2
# Zeros of J0, and J1 there (Abramowitz & Stegun, table 9.5; from memory).
_ZEROS = np.array([2.4048255577, 5.5200781103, 8.6537279129, 11.7915344391, 14.9309177085])
_J1 = np.array([0.5191474973, -0.3402648065, 0.2714522999, -0.2324598314, 0.2065464331])


@dataclass(frozen=True, slots=True)
class Shells:
    """The shape of one cake in `CELLS` shells; index 0 is the outer one.

    Attributes:
        shares: of the mass, shape (CELLS, 1).
        passages: heat from each shell to the next, as share of the whole cake's capacity, per
            `exchange` (of `EXCHANGE_CELLS` layers, through top and bottom alone); (CELLS − 1, 1).
        beyond: how far the centre lies beyond the core shell's mean, in differences between that
            and its neighbour.
        sides: what reaches the core from the sides over what does from top and bottom.
    """

    shares: Array
    passages: Array
    beyond: float
    sides: float


def _depths(count: int) -> Array:
    """Boundaries of shells, from the faces (0) to the centre (1)."""
    return np.linspace(0.0, 1.0, count + 1)


def _cut(within: Polynomial, count: int) -> tuple[Array, Array]:
    """Shares of the mass, and passages per diffusivity over the square of half the height."""
    edges = _depths(count)
    return -np.diff(within(edges)), -within.deriv()(edges[1:-1]) * count


def _within(narrowing: float, widths: int) -> Polynomial:
    """Share of the mass within a depth from 0 to 1, of a body that narrows in `widths` ways."""
    return Polynomial([1.0, -1.0]) * Polynomial([1.0, -narrowing]) ** widths


def _decay(within: Polynomial) -> tuple[Array, Array]:
    """Rates and shares of the centre's decay, per diffusivity over half the height squared."""
    shares, passages = _cut(within, _FINE)
    first = -float(within.deriv()(0.0)) * 2 * _FINE
    leaving = np.concatenate(([first], passages)) + np.concatenate((passages, [0.0]))
    root = np.sqrt(shares)
    beside = -passages / (root[:-1] * root[1:])
    matrix = np.diag(leaving / shares) + np.diag(beside, 1) + np.diag(beside, -1)
    rates, modes = np.linalg.eigh(matrix)
    # All at 1, the surface held at 0: what of each mode is in the centre.
    return rates, modes[-1] / root[-1] * (modes.T @ root)


def _pace(within: Polynomial) -> tuple[float, float]:
    """When shells have come half way at the centre, and when most of it."""
    rates, parts = _decay(within)

    def left(t: float) -> float:
        return float(np.sum(parts * np.exp(-rates * t)))

    return _when(left, HALF_WAY), _when(left, LATE)


def _body(half_m: float, across_m: tuple[float, ...], is_round: bool) -> Callable[[float], float]:
    """The centre of a body whose surface is held, 1 at first: product of its series.

    Time is in halves of the height squared over the diffusivity (Incropera ch. 5.6).
    """

    def slab_centre(fo: float) -> float:
        odd = np.arange(60)
        return float(
            np.sum(
                (-1.0) ** odd * 4 / ((2 * odd + 1) * math.pi)
                * np.exp(-(((2 * odd + 1) * math.pi / 2) ** 2) * fo)
            )
        )  # fmt: skip

    def cylinder_centre(fo: float) -> float:
        if fo < _NOTHING_YET:
            return 1.0
        return float(np.sum(2 / (_ZEROS * _J1) * np.exp(-(_ZEROS**2) * fo)))

    def centre(fo: float) -> float:
        out = slab_centre(fo)
        if is_round:
            return out * cylinder_centre(fo * (half_m / across_m[0]) ** 2)
        for across in across_m:
            out *= slab_centre(fo * (half_m / across) ** 2)
        return out

    return centre


def _when(centre: Callable[[float], float], left: float) -> float:
    """When only so much is left in the centre."""
    low, high = 1e-4, 10.0
    for _ in range(_BITS):
        middle = (low + high) / 2
        if centre(middle) < left:
            high = middle
        else:
            low = middle
    return (low + high) / 2


@lru_cache(maxsize=8)
def shells(half_m: float, across_m: tuple[float, ...], is_round: bool) -> Shells:
    """Shells of a cake.

    Args:
        half_m: half its height, once risen.
        across_m: half of each of its widths (a round one: the radius); none where not known.
        is_round: whether it is round.
    """
    # All is compared with a slab of as many shells, so that a slab is a slab.
    body, flat = _body(half_m, across_m, is_round), _body(half_m, (), False)
    widths = 2 if is_round else len(across_m)
    level_half, level_late = _pace(_within(0.0, widths))
    late = _when(body, LATE) / _when(flat, LATE)
    waits = late / (_when(body, HALF_WAY) / _when(flat, HALF_WAY))
    low, high, narrowing, scale = 0.0, 1.0, 0.0, 1.0
    for _ in range(_HALVINGS if widths else 0):
        narrowing = (low + high) / 2
        own_half, own_late = _pace(_within(narrowing, widths))
        scale = own_late / level_late / late
        # The more it narrows, the longer it waits and the faster it comes then.
        if own_late / level_late > waits * own_half / level_half:
            low = narrowing
        else:
            high = narrowing
    within = _within(narrowing, widths)
    shares, passages = _cut(within, CELLS)
    sides = sum((half_m / across) ** 2 for across in across_m) * (
        CYLINDER / SLAB if is_round else 1.0
    )
    return Shells(
        _column(shares),
        _column(passages * scale / EXCHANGE_CELLS**2),
        _beyond(within),
        sides,
    )


def _column(values: Array) -> Array:
    out: Array = values[:, None]
    out.flags.writeable = False
    return out


def _beyond(within: Polynomial) -> float:
    """How far the centre lies beyond the core shell's mean, in differences between shells.

    Near the centre temperature goes with the square of the distance from it: in a slab the mean of
    a cell is a sixth of the difference to its neighbour from the centre, in a ball 0.36 of it.
    """
    drop = Polynomial([1.0, -1.0]) ** 2
    lost = (drop * -within.deriv()).integ()
    edges = _depths(CELLS)[-3:]
    of = within(edges)
    outer = (lost(edges[1]) - lost(edges[0])) / (of[0] - of[1])
    inner = (lost(edges[2]) - lost(edges[1])) / (of[1] - of[2])
    return float(inner / (outer - inner))
