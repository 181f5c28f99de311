"""What batter does in the oven: how heat passes between cells, and where the probe's tip ends up.

Between the cells heat goes by conduction, which falls as batter becomes open crumb, and by vapour
that evaporates on the hot side of a pore and condenses on the cold one, which rises steeply towards
boiling (de Vries, Sluimer & Bloksma 1989, on dough and crumb). Both depend so much on temperature
that a value at the mean of two cells would be wrong; the integral between their temperatures
(Kirchhoff's transformation) is right however few the cells are.

A tip that was set into batter stays at its height over the base while the batter rises past it:
near the top at first, it ends well below the middle.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from logger.thermal.design_points import Array

# Batter begins to rise as its gas and vapour expand and has set at 80 to 95 °C (common practice).
RISES_FROM_C, RISES_OVER_K = 40.0, 45.0
# Vapour's share is told at so much below boiling; beyond the limit it is driven by pressure.
VAPOUR_AT_K, LARGEST_VAPOUR_SHARE = 5.0, 0.85
# Vapour passes through pores: from the sides batter (a third pores) lets through a fifth of what
# its crumb does (two thirds), per mass; upward the denser batter makes up for it.
SIDE_VAPOUR_OF_BATTER = 0.2
_STEP_K, _LOWEST_K, _HIGHEST_K = 0.1, -10.0, 110.0


def risen(celsius: Array) -> Array:
    """How far batter of this temperature has risen, 0 to 1."""
    share = np.minimum(np.maximum((celsius - RISES_FROM_C) * (1.0 / RISES_OVER_K), 0.0), 1.0)
    out: Array = share * share * (3.0 - 2.0 * share)
    return out


def _risen_integral(celsius: Array) -> Array:
    """Integral of `risen` over temperature."""
    over = np.maximum((celsius - RISES_FROM_C) * (1.0 / RISES_OVER_K), 0.0)
    share = np.minimum(over, 1.0)
    out: Array = RISES_OVER_K * (share**3 * (1.0 - 0.5 * share) + (over - share))
    return out


_BELOW = np.arange(_LOWEST_K, _HIGHEST_K, _STEP_K)


@lru_cache(maxsize=8)
def _vapour(sides: float) -> tuple[Array, Array]:
    """Relative conductivity of vapour at `_BELOW` kelvins below boiling, and its integral.

    Formula: L D dρ/dT · P/(P − p) with D as the temperature to the power 1.81; at sea level.
    """
    celsius = 99.97 - _BELOW
    pressure = 611.2 * np.exp(17.62 * celsius / (243.12 + celsius))
    kelvin = celsius + 273.15
    density = pressure / kelvin
    slope = density * (17.62 * 243.12 / (243.12 + celsius) ** 2 - 1.0 / kelvin)
    share = np.minimum(pressure / 101_325.0, LARGEST_VAPOUR_SHARE)
    value = slope * kelvin**1.81 / (1.0 - share)
    through = SIDE_VAPOUR_OF_BATTER + (1.0 - SIDE_VAPOUR_OF_BATTER) * risen(celsius)
    value *= (1.0 + sides * through) / (1.0 + sides)
    value /= np.interp(VAPOUR_AT_K, _BELOW, value)
    steps = (value[1:] + value[:-1]) * (0.5 * _STEP_K)
    return value, np.concatenate(([0.0], np.cumsum(steps)))


def exchange_factors(
    cells: Array, plateau: Array, rising: Array, vapour: Array, sides: float
) -> Array:
    """How much faster neighbouring cells exchange than as cool crumb; shape (cells − 1, members).

    Args:
        cells: temperatures, shape (cells, members).
        plateau: boiling temperature of the members' crumb.
        rising: how much faster batter exchanges than the crumb it becomes.
        vapour: by how much hot crumb exchanges more, at `VAPOUR_AT_K` below boiling.
        sides: what comes from the sides over what comes from top and bottom, once risen.
    """
    relative, integral = _vapour(sides)
    potential = rising * cells + (1.0 - rising) * _risen_integral(cells)
    potential -= vapour * np.interp(plateau - cells, _BELOW, integral)
    difference = cells[:-1] - cells[1:]
    close = np.abs(difference) < 0.1
    out: Array = (potential[:-1] - potential[1:]) / np.where(close, 1.0, difference)
    if close.any():
        middle = 0.5 * (cells[:-1] + cells[1:])
        here = rising + (1.0 - rising) * risen(middle)
        here += vapour * np.interp(plateau - middle, _BELOW, relative)
        out = np.where(close, here, out)
    return out


def height(cells: Array, expansion: Array) -> Array:
    """Height of the cake over that of its batter."""
    share = risen(cells)
    out: Array = 1.0 + (expansion - 1.0) * ((share[0] + share[1] + share[2]) * (1.0 / 3.0))
    return out


def inner_share(sides: float) -> float:
    """Exchange of middle and core cell over that of outer and middle one.

    In a slab they are equal. Heated from the sides too, the cells are shells of equal mass, the
    outer ones thin and wide: in a long cylinder (radii 0.58, 0.82, 1) k/ln(r2/r1) between their
    middles is 1.85 to 3.8. The formula goes from the one to the other: 1 without sides, 0.56 where
    they give as much as top and bottom (a bar with a square section: 0.5), 0.5 for a tall cylinder.
    """
    return (1.0 + 0.5 * sides * sides / (3.0 + sides)) / (1.0 + sides)


def at_tip(
    cells: Array, tip: Array, expansion: Array, sides: float
) -> tuple[Array, NDArray[np.bool_]]:
    """Temperature at the probe's tip, and whether the cake covers it yet.

    Args:
        cells: outer, middle, core.
        tip: height of the tip over the base, in heights of the batter.
        expansion: height of the crumb over that of its batter.
        sides: as above; shells of equal mass have their middles further out.
    """
    outer, middle, core = cells
    place = tip / height(cells, expansion)
    inward = np.minimum(np.abs(2.0 * place - 1.0), 1.0)  # 0 in the middle, 1 at the surface
    if sides:
        # The share of mass within: ξ in a slab, ξ² in a bar.
        inward = inward ** (1.0 + 2.0 * sides / (1.0 + sides))
    # A parabola through core and middle cell (centres at 1/6 and 1/2), beyond a straight line.
    near = np.minimum(inward, 0.5)
    weight = (near * near - 1.0 / 36.0) * 4.5
    out: Array = core + weight * (middle - core) + (inward - near) * 3.0 * (outer - middle)
    return out, place <= 1.0


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
