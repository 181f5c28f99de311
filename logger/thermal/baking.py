"""What batter does in the oven: how heat passes between cells, and where the probe's tip ends up.

A bake is `CELLS` nested shells from the surface to the core (`logger.thermal.shells`). Near boiling
heat passes so much more easily than below it that a front runs inward: behind it all is near the
plateau, before it all is cool yet. A core that the front has not come to rises slowly, and then at
once; few cells would blur that.

Between the cells heat goes by conduction, which falls as batter becomes open crumb, and by vapour
that evaporates on the hot side of a pore and condenses on the cold one, which rises steeply towards
boiling (de Vries, Sluimer & Bloksma 1989, on dough and crumb). Both depend so much on temperature
that a value at the mean of two cells would be wrong; the integral between their temperatures
(Kirchhoff's transformation) is right however few the cells are.

A tip that was set into batter stays at its height over the base while the batter rises past it:
near the top at first, it ends well below the middle.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from logger.thermal.cake_model import (
    MAGNUS,
    MAGNUS_C,
    conducted_by_vapour,
    vapour_pressure_kpa,
)
from logger.thermal.design_points import Array
from logger.thermal.shells import Shells

# Batter begins to rise as its gas and vapour expand and has set at 80 to 95 °C (common practice).
RISES_FROM_C, RISES_OVER_K = 40.0, 45.0
VAPOUR_AT_K = 5.0  # vapour's share is told at so much below boiling
# Vapour passes through pores: from the sides batter (a third pores) lets through a fifth of what
# its crumb does (two thirds), per mass; upward the denser batter makes up for it.
SIDE_VAPOUR_OF_BATTER = 0.2
# Water of the outer cell: 0.30 of its mass, 2.26 MJ/kg, over 2.75 kJ/(kg K) of the batter.
WATER_K = 250.0
# As it dries it boils hotter, since what is left is held more firmly: Oswin's isotherm W = a (aw /
# (1 − aw))^b, in kg of water per kg of dry matter, has 0.43 at an activity of 0.95 and 0.20 at 0.76
# (moist cakes: 0.73 to 0.94; common practice). A crust gets as hot as the oven makes it.
OSWIN_A, OSWIN_B, WET = 0.12, 0.45, 0.43
MOST_HOTTER_K = 60.0
EVAPORATION_C, EVAPORATION_K = 80.0, 95.0
# In a slab that heats up the middles of the cells are hotter than its own by the squares of 11, 9 …
# and 1 twelfths: while it is wet, the outer cell is so much hotter than the core as the second is.
OUTER_BY_SECOND = (11.0**2 - 1.0) / (9.0**2 - 1.0)
_EVAPORATION_KPA = float(vapour_pressure_kpa(np.array(EVAPORATION_C)))
_STEP_K, _LOWEST_K, _HIGHEST_K = 0.1, -10.0, 110.0


def risen(celsius: Array) -> Array:
    """How far batter of this temperature has risen, 0 to 1."""
    return _rise(celsius)[0]


def _rise(celsius: Array) -> tuple[Array, Array]:
    """`risen`, and its integral over temperature."""
    over = np.maximum((celsius - RISES_FROM_C) * (1.0 / RISES_OVER_K), 0.0)
    share = np.minimum(over, 1.0)
    square, over = share * share, over - share
    return square * (3.0 - 2.0 * share), RISES_OVER_K * (
        square * share * (1.0 - 0.5 * share) + over
    )


_BELOW = np.arange(_LOWEST_K, _HIGHEST_K, _STEP_K)


@lru_cache(maxsize=8)
def _vapour(sides: float) -> tuple[Array, Array]:
    """Relative conductivity of vapour at `_BELOW` kelvins below boiling, and its integral.

    At sea level.
    """
    celsius = 99.97 - _BELOW
    value = conducted_by_vapour(celsius)
    through = SIDE_VAPOUR_OF_BATTER + (1.0 - SIDE_VAPOUR_OF_BATTER) * risen(celsius)
    value *= (1.0 + sides * through) / (1.0 + sides)
    value /= np.interp(VAPOUR_AT_K, _BELOW, value)
    steps = (value[1:] + value[:-1]) * (0.5 * _STEP_K)
    return value, np.concatenate(([0.0], np.cumsum(steps)))


@lru_cache(maxsize=8)
def _rises(sides: float) -> Array:
    """What the integral of `_vapour` gains in each step of `_BELOW`."""
    out: Array = np.diff(_vapour(sides)[1])
    return out


def _passed_by_vapour(below_k: Array, sides: float) -> Array:
    """The integral of `_vapour` at kelvins below boiling; the even table needs no search."""
    place = (below_k - _LOWEST_K) * (1.0 / _STEP_K)
    np.clip(place, 0.0, len(_BELOW) - 1.0001, out=place)
    index = place.astype(np.intp)
    place -= index
    place *= _rises(sides).take(index)
    place += _vapour(sides)[1].take(index)
    return place


def _boils_hotter(water_k: Array) -> Array:
    """By how many kelvins the outer cell boils hotter with so much of its water left."""
    out: Array = _hotter().take((water_k * (100.0 / WATER_K)).astype(np.intp))
    return out


@lru_cache(maxsize=1)
def _hotter() -> Array:
    """The same for each hundredth of its water."""
    water = np.linspace(0.0, WET, 101)
    water[0] = water[1]
    ratio = (water / OSWIN_A) ** (1.0 / OSWIN_B)
    activity = ratio / (1.0 + ratio)
    celsius = np.arange(95.0, 200.0, 0.05)
    boils = np.interp(101.325 / activity, vapour_pressure_kpa(celsius), celsius)
    out: Array = np.minimum(boils - boils[-1], MOST_HOTTER_K)
    return out


def height(cells: Array, expansion: Array) -> Array:
    """Height of the cake over that of its batter."""
    out: Array = 1.0 + (expansion - 1.0) * risen(cells).mean(axis=0)
    return out


def at_tip(
    cells: Array, tip: Array, lean: Array, expansion: Array, shells: Shells
) -> tuple[Array, NDArray[np.bool_]]:
    """Temperature at the probe's tip, and whether the cake covers it yet.

    Args:
        cells: from the outer one to the core.
        tip: height of the tip over the base, in heights of the batter.
        lean: how much hotter the top is than the base: half of the difference, over that between
            outer cell and core. Half way between them both are as the cells are.
        expansion: height of the crumb over that of its batter.
        shells: the shape.
    """
    # Half the heights of the cells along an upright line through the middle, from outside inward.
    halves = (1.0 + (expansion - 1.0) * risen(cells)) * (0.5 / len(cells))
    middles, first, last, above = _places(len(cells), shells.beyond)
    inward = above @ halves
    half = inward[-1] + halves[-1]
    depth = np.minimum(np.maximum(np.minimum(tip, 2.0 * half - tip), 0.0), 0.999 * half)
    passed = (depth - inward) / halves  # how many of each cell's heights
    at = np.minimum(np.maximum(passed, 0.0), 1.0).sum(axis=0)
    # Straight between the middles of the cells, and beyond the first and the last.
    share = np.minimum(np.maximum(at - middles, first), last)
    inside = cells[0] + (share * (cells[1:] - cells[:-1])).sum(axis=0)
    # The odd part of a slab's profile: straight from the base to the top. The crust is left out.
    leans = lean * OUTER_BY_SECOND * (cells[1] - cells[-1])
    inside += leans * (np.minimum(tip, 2.0 * half) / half - 1.0)
    return inside, tip <= 2.0 * half


@lru_cache(maxsize=8)
def _places(cells: int, beyond: float) -> tuple[Array, Array, Array, Array]:
    """Places of the cells along a line inward, counted in cells from the surface.

    Middles of all but the last, the least and the most of the way from each to the next one, and
    a matrix that adds up what lies above each cell.
    """
    middles = 0.5 + np.arange(cells - 1.0)[:, None]
    first, last = np.zeros_like(middles), np.ones_like(middles)
    first[0], last[-1] = -0.5, 1.0 + beyond
    return middles, first, last, np.tri(cells, k=-1)


@dataclass(slots=True)
class BakeRates:
    """What does not change within a run; arrays of shape (members,).

    Attributes:
        exchange: between neighbouring of `EXCHANGE_CELLS` cells of a slab of cool crumb, 1/s.
        heating: of the whole cake in the oven, 1/s.
        plateau: where boiling holds the cells, °C.
        rising: how much faster batter exchanges than the crumb it becomes.
        vapour: by how much crumb just below boiling exchanges more than cool crumb.
        expansion: height of the crumb over that of its batter.
        evaporation: what a wet outer cell of `EVAPORATION_C` gives off as vapour, over what it
            takes in from an oven `EVAPORATION_K` hotter.
        walls: share of the heating that grows with the height.
        pan_holds: heat that a kelvin of the pan takes, over that of the whole cake.
        shells: the shape.
    """

    exchange: Array
    heating: Array
    plateau: Array
    rising: Array
    vapour: Array
    expansion: Array
    evaporation: Array
    walls: float
    pan_holds: float
    shells: Shells


def _exchange_factors(cells: Array, risen_k: Array, wet: Array, rates: BakeRates) -> Array:
    """How much faster neighbouring cells exchange than as cool crumb; shape (cells − 1, members).

    Args:
        cells: temperatures, shape (cells, members).
        risen_k: the integral of `risen` up to these.
        wet: share of its water that the outer cell still has.
        rates: of the members.
    """
    plateau, rising, vapour, sides = rates.plateau, rates.rising, rates.vapour, rates.shells.sides
    open_share = 1.0 - rising
    potential = rising * cells + open_share * risen_k
    difference = cells[:-1] - cells[1:]
    close = np.abs(difference) < 0.1
    difference[close] = 1.0
    passed = potential[:-1] - potential[1:]
    # The outer cell dries to a crust: then no vapour passes from it inward.
    by_vapour = vapour * _passed_by_vapour(plateau - cells, sides)
    passed[1:] -= by_vapour[1:-1] - by_vapour[2:]
    passed[0] -= wet * (by_vapour[0] - by_vapour[1])
    out: Array = passed / difference
    pair, member = np.nonzero(close)
    if len(pair):
        middle = 0.5 * (cells[pair, member] + cells[pair + 1, member])
        here = rising[member] + open_share[member] * risen(middle)
        below = np.interp(plateau[member] - middle, _BELOW, _vapour(sides)[0])
        out[pair, member] = here + np.where(pair > 0, 1.0, wet[member]) * vapour[member] * below
    return out


def _evaporated(outer: Array, wet: Array, k: Array, rates: BakeRates) -> tuple[Array, Array]:
    """Heat that vapour takes from the outer cell, as `heating` counts it, K/s; its slope, 1/s."""
    warm = np.minimum(outer, rates.plateau)
    pressure = vapour_pressure_kpa(warm) * (1.0 / _EVAPORATION_KPA)
    taken = EVAPORATION_K * rates.evaporation * k * wet * pressure
    return taken, taken * (MAGNUS * MAGNUS_C) / (MAGNUS_C + warm) ** 2


def bake_step(
    cells: Array,
    water_k: Array,
    dt_s: float,
    air: Array | float,
    rates: BakeRates,
    pace: Array | None = None,
) -> tuple[Array, Array]:
    """Cells and the outer cell's water after `dt_s`: half implicit, stable for every step.

    Args:
        cells: temperatures, shape (CELLS, members).
        water_k: what its water still to evaporate keeps the outer cell from warming, in kelvins.
        dt_s: the step.
        air: of the oven.
        rates: of the members.
        pace: how fast the cells changed in the step before, K/s. With it the exchange is that of
            the step's middle; without, that of its beginning, which lags behind.
    """
    shells = rates.shells
    wet = water_k * (1.0 / WATER_K)
    midway = cells if pace is None else cells + 0.5 * dt_s * pace
    has_risen, risen_k = _rise(midway)
    g = _exchange_factors(midway, risen_k, wet, rates)
    ahead, now = 0.55 * dt_s, 0.45 * dt_s  # θ a little over a half: the fast modes die out
    g *= rates.exchange
    g *= shells.passages
    grown = (rates.expansion - 1.0) * has_risen.mean(axis=0)
    k = rates.heating * (1.0 + rates.walls * grown)
    evaporated, slope = _evaporated(cells[0], wet, k, rates)
    flow = g * (cells[:-1] - cells[1:])
    flow *= now
    # The pan is as hot as the outer cell: metal is thin, and batter wets it.
    mass = shells.shares[:, 0].copy()
    outer_mass = mass[0]
    mass[0] += rates.pan_holds
    right = mass[:, None] * cells
    right[:-1] -= flow
    right[1:] += flow
    right[0] += k * (dt_s * air - now * cells[0]) - dt_s * evaporated + ahead * slope * cells[0]
    g *= ahead
    # Thomas' elimination from the core outward.
    last = len(cells) - 1
    shares = np.empty_like(g)
    pivot = mass[last] + g[last - 1]
    for i in range(last, 0, -1):
        shares[i - 1] = g[i - 1] / pivot
        right[i] /= pivot
        right[i - 1] += g[i - 1] * right[i]
        kept = mass[i - 1] + g[i - 1] * (1.0 - shares[i - 1])
        pivot = kept + (g[i - 2] if i > 1 else ahead * (k + slope))
    right[0] /= pivot
    # The outer cell boils, hotter and hotter, until it is dry: a crust. What boils is all that
    # would not be taken up if it were no hotter, in it and further in; how much hotter it is, the
    # water in the middle of the step says.
    all_above = right[0] - rates.plateau
    excess = np.maximum(all_above - _boils_hotter(water_k), 0.0)
    midway_k = np.maximum(water_k - excess * pivot * (0.5 / outer_mass), 0.0)
    excess = np.maximum(all_above - _boils_hotter(midway_k), 0.0)
    rise = right[0] - excess - cells[0]
    used = np.maximum(dt_s * evaporated + ahead * slope * rise, 0.0) / outer_mass
    left = np.maximum(water_k - used, 0.0)
    boiled = np.minimum(excess * pivot / outer_mass, left)
    right[0] -= boiled * outer_mass / pivot
    # Below it is the front: what comes beyond leaves as steam.
    limit = np.maximum(rates.plateau, cells[1] - 0.02 * dt_s)
    for i in range(1, last + 1):
        right[i] += shares[i - 1] * right[i - 1]
        if i == 1:
            np.minimum(right[1], limit, out=right[1])
    return right, left - boiled


def rising(conducts: Array, expansion: Array, sides: float) -> Array:
    """How much faster batter exchanges than the crumb it becomes.

    Upward heat passes k ρ per mass, which the expansion lowers as it lowers k; from the sides the
    way stays as long, and what counts is k / ρ.

    Args:
        conducts: conductivity of batter over that of crumb.
        expansion: height of the crumb over that of its batter.
        sides: what comes from the sides over what comes from top and bottom, once risen.
    """
    out: Array = conducts * (expansion + sides / expansion) / (1.0 + sides)
    return out
