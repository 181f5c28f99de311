"""A cooling cake as nested shells from the surface to the core: one time step, of many at once.

The shells are those of its bake (`logger.thermal.shells`) and exchange heat with their neighbours;
hot moist crumb exchanges faster than cool crumb. The outer one loses heat to the surrounding air:
in proportion to an excess to a power beyond 1 (natural convection, radiation), and by evaporation
in proportion to the difference of vapour pressures. The bake is in `logger.thermal.baking`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from logger.thermal.design_points import Array
from logger.thermal.shells import Shells

REFERENCE_EXCESS_K = 30.0  # at which `loss` is the dry rate
# (p(50 °C) − p(23 °C)) / 27 K in kPa/K: at which `evaporation` is a share of the dry loss.
REFERENCE_SLOPE_KPA_PER_K = 0.353
# How far the air is from what a cake would saturate it to, 1 − humidity/water activity: indoor air
# of 30–60 % (the usual range of comfort), cakes of 0.73–0.94 (common tables of water activity).
DRYNESS = 0.45
# Films grow the less the smaller the excess: natural convection (1.32 (ΔT/L)^¼, Holman) is then
# less than what the room's own air of 0.1 m/s takes (0.664 Re^½ Pr^⅓; about 2.8 W/(m² K) on 0.2 m;
# their cubes add, Incropera 9.9), and so is radiation's own growth. So the power falls with the
# logarithm of the excess; below the limit there is none.
LINEAR_K, FLATTENS = 4.0, 0.23
MAGNUS, MAGNUS_C = 17.62, 243.12  # of Magnus' formula over water (WMO)
# Moist crumb is walls with pores in them. A pore conducts as air does, and by the vapour that
# evaporates on its hot side and condenses on the cold one, of which skins and bends hold back some.
# Walls of 0.25 W/(m K), as crumb's constituents in series have, 0.6 of pores, and 0.3 of what would
# diffuse freely: so cool crumb conducts 0.116, as it does where it was measured (Sweat 1985).
WALL, PORES, STILL_AIR, VAPOUR_PASSES = 0.25, 0.6, 0.026, 0.3
DIFFUSIVITY, LATENT, GAS_CONSTANT = 2.12e-5, 2.35e6, 461.5  # m²/s at 0 °C, J/kg, J/(kg K)
ATMOSPHERE_KPA, LARGEST_VAPOUR_SHARE = 101.325, 0.8  # beyond that share pressure drives it
COOL_C, HOT_C, HOTTEST_C = 23.0, 95.0, 110.0  # where crumb is measured, and where `hot` is told
_STEPS_PER_K = 2


@dataclass(slots=True)
class Rates:
    """What does not change within a run; each of shape (members,).

    Attributes:
        exchange: between neighbours of `EXCHANGE_CELLS` layers of cool crumb, 1/s.
        hot: how much more hot crumb exchanges (at 95 °C: 1 + hot).
        loss: of the whole cake to air at 30 K of excess, 1/s, dry.
        bend: the exponent m, at `REFERENCE_EXCESS_K`.
        evaporation: share of the dry loss at 50 °C.
        shells: the shape.
        dryness: how far the air is from what the cake would saturate it to, a share.
    """

    exchange: Array
    hot: Array
    loss: Array
    bend: Array
    evaporation: Array
    shells: Shells
    dryness: float = DRYNESS


def vapour_pressure_kpa(celsius: Array) -> Array:
    """Saturation pressure over water by Magnus' formula (WMO constants).

    Made for −45 to 60 °C; at the boil it is 2.4 % high, little against what is known of a crust.
    """
    out: Array = 0.6112 * np.exp(MAGNUS * celsius / (MAGNUS_C + celsius))
    return out


def surface(cells: Array) -> Array:
    """Surface temperature: the outer cell's, extrapolated half a cell outward."""
    out: Array = cells[0] - 0.5 * (cells[1] - cells[0])
    return out


def loss_rate(outer: Array, air: Array, rates: Rates) -> tuple[Array, Array]:
    """Rate at which the cake nears the air, 1/s, and what evaporation takes besides, K/s.

    Both are of the whole cake, for the outer cell's difference from the air.

    Room air is not saturated: even a crust as cold as the air goes on losing water, so that a
    cake settles a little below the room, as a wet-bulb thermometer does.
    """
    excess = outer - air
    size = np.maximum(np.abs(excess), 0.5)
    log_ratio = np.log(np.maximum(size, LINEAR_K) * (1.0 / REFERENCE_EXCESS_K))
    dry = np.exp(rates.bend * log_ratio * (1.0 + FLATTENS * log_ratio))
    signed = np.copysign(size, excess)
    of_air = vapour_pressure_kpa(air)
    slope = (vapour_pressure_kpa(np.minimum(air + signed, 105.0)) - of_air) / signed
    vapour = rates.loss * rates.evaporation
    vapour *= 1.0 / REFERENCE_SLOPE_KPA_PER_K
    dry *= rates.loss
    dry += vapour * slope
    return dry, vapour * rates.dryness * of_air


def conducted_by_vapour(celsius: Array) -> Array:
    """Conductivity of vapour that diffuses freely between wet faces, W/(m K), at sea level.

    Formula: L D dρ/dT · P/(P − p), D as the temperature to the power 1.81 (de Vries, Sluimer &
    Bloksma 1989); p counts as `LARGEST_VAPOUR_SHARE` of P at most.
    """
    kelvin = celsius + 273.15
    pressure = vapour_pressure_kpa(celsius)
    density = 1000.0 * pressure / (GAS_CONSTANT * kelvin)
    slope = density * (MAGNUS * MAGNUS_C / (MAGNUS_C + celsius) ** 2 - 1.0 / kelvin)
    diffuses = DIFFUSIVITY * (kelvin / 273.15) ** 1.81
    stefan = 1.0 - np.minimum(pressure / ATMOSPHERE_KPA, LARGEST_VAPOUR_SHARE)
    out: Array = LATENT * diffuses * slope / stefan
    return out


@lru_cache(maxsize=1)
def _by_vapour() -> Array:
    """What moist crumb conducts better than cool one, 0 at 23 °C, 1 at 95 °C, from 0 °C on.

    Maxwell's relation for pores in walls; a pore conducts as air and by what passes of the vapour.
    """
    celsius = (np.arange(HOTTEST_C * _STEPS_PER_K) + 0.5) / _STEPS_PER_K
    pore = STILL_AIR + VAPOUR_PASSES * conducted_by_vapour(celsius)
    more = pore - WALL
    crumb = (pore + 2.0 * WALL + 2.0 * PORES * more) / (pore + 2.0 * WALL - PORES * more)
    cool, hot = np.interp((COOL_C, HOT_C), celsius, crumb)
    out: Array = (crumb - cool) / (hot - cool)
    return out


def _exchange(cells: Array, rates: Rates) -> Array:
    """Exchange between neighbours in capacities of the cake, by their mean temperatures."""
    half_kelvins = cells[:-1] + cells[1:]
    np.maximum(half_kelvins, 0.0, out=half_kelvins)
    np.minimum(half_kelvins, HOTTEST_C * _STEPS_PER_K - 1.0, out=half_kelvins)
    out: Array = _by_vapour().take(half_kelvins.astype(np.intp))
    out *= rates.hot
    out += 1.0
    out *= rates.exchange
    out *= rates.shells.passages
    return out


def step(cells: Array, dt_s: float, air: Array, rates: Rates) -> Array:
    """Cells after `dt_s`, shape (CELLS, members): half implicit, stable for every step.

    Args:
        cells: from the outer one to the core, in °C.
        dt_s: the step; accurate up to about a twentieth of the cake's time constant.
        air: surrounding air in °C.
        rates: of the members.
    """
    g = _exchange(cells, rates)
    k, taken = loss_rate(cells[0], air, rates)
    shares = rates.shells.shares
    # θ-scheme, θ a little over a half so that the fast modes die out.
    ahead, now = 0.55 * dt_s, 0.45 * dt_s
    flow = g * (cells[:-1] - cells[1:])
    flow *= now
    out: Array = shares * cells
    out[:-1] -= flow
    out[1:] += flow
    out[0] += dt_s * (k * air - taken) - (now * k) * cells[0]
    g *= ahead
    pivots = shares.repeat(cells.shape[1], axis=1)
    pivots[0] += ahead * k
    pivots[:-1] += g
    pivots[1:] += g
    # Thomas' elimination from the core outward.
    for i in range(len(cells) - 1, 0, -1):
        share = g[i - 1] / pivots[i]
        out[i - 1] += share * out[i]
        share *= g[i - 1]
        pivots[i - 1] -= share
    out[0] /= pivots[0]
    for i in range(1, len(cells)):
        out[i] += g[i - 1] * out[i - 1]
        out[i] /= pivots[i]
    return out
