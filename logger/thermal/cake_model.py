"""A cooling cake as three cells from the surface to the core: one time step, of many at once.

Outer, middle and core cell are equal and exchange heat with their neighbours; hot moist crumb
exchanges faster than cool crumb. The outer cell loses heat to the surrounding air: in proportion to
an excess to the power 1 + m (natural convection, radiation), and by evaporation in proportion to
the difference of vapour pressures. The bake is in `logger.thermal.baking`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.thermal.design_points import Array

REFERENCE_EXCESS_K = 30.0  # at which `loss` is the dry rate
# (p(50 °C) − p(23 °C)) / 27 K in kPa/K: at which `evaporation` is a share of the dry loss.
REFERENCE_SLOPE_KPA_PER_K = 0.353
# How far the air is from what a cake would saturate it to, 1 − humidity/water activity: indoor air
# of 30–60 % (the usual range of comfort), cakes of 0.73–0.94 (common tables of water activity).
DRYNESS = 0.45
# Below this excess natural convection (1.32 (ΔT/L)^¼, Holman) is less than what the room's own air
# of 0.1 m/s takes (0.664 Re^½ Pr^⅓; about 2.8 W/(m² K) on 0.2 m), and radiation is linear.
LINEAR_K = 4.0
MAGNUS, MAGNUS_C = 17.62, 243.12  # of Magnus' formula over water (WMO)
WARM_C, HOT_SPAN_K = 45.0, 50.0  # where moist crumb begins to conduct better, and over how much


@dataclass(slots=True)
class Rates:
    """What does not change within a run; each of shape (members,).

    Attributes:
        exchange: between neighbouring cells, 1/s.
        hot: how much more hot crumb exchanges (at 95 °C: 1 + hot).
        loss: of the whole cake to air at 30 K of excess, 1/s, dry.
        bend: the exponent m.
        evaporation: share of the dry loss at 50 °C.
        dryness: how far the air is from what the cake would saturate it to, a share.
    """

    exchange: Array
    hot: Array
    loss: Array
    bend: Array
    evaporation: Array
    dryness: float = DRYNESS


def vapour_pressure_kpa(celsius: Array) -> Array:
    """Saturation pressure over water by Magnus' formula (WMO constants).

    Made for −45 to 60 °C; at the boil it is 2.4 % high, little against what is known of a crust.
    """
    out: Array = 0.6112 * np.exp(MAGNUS * celsius / (MAGNUS_C + celsius))
    return out


def surface(cells: Array) -> Array:
    """Surface temperature: the outer cell's, extrapolated half a cell outward."""
    out: Array = cells[0] - 0.4 * (cells[1] - cells[0])
    return out


def loss_rate(outer: Array, air: Array, rates: Rates) -> tuple[Array, Array]:
    """Rate at which the outer cell nears the air, 1/s, and what evaporation takes besides, K/s.

    Room air is not saturated: even a crust as cold as the air goes on losing water, so that a
    cake settles a little below the room, as a wet-bulb thermometer does.
    """
    excess = outer - air
    size = np.maximum(np.abs(excess), 0.5)
    dry = (np.maximum(size, LINEAR_K) * (1.0 / REFERENCE_EXCESS_K)) ** rates.bend
    signed = np.copysign(size, excess)
    warm = np.minimum(outer, 105.0)
    slope = (vapour_pressure_kpa(warm) - vapour_pressure_kpa(warm - signed)) / signed
    vapour = 3.0 * rates.loss * rates.evaporation / REFERENCE_SLOPE_KPA_PER_K
    return 3.0 * rates.loss * dry + vapour * slope, vapour * rates.dryness * vapour_pressure_kpa(
        air
    )


def _exchange(sum_of_two: Array, rates: Rates) -> Array:
    """Exchange rate between two cooling cells from the sum of their temperatures."""
    heat = np.minimum(np.maximum((sum_of_two - 2 * WARM_C) * (0.5 / HOT_SPAN_K), 0.0), 1.2)
    out: Array = rates.exchange * (1.0 + rates.hot * heat * heat)
    return out


def step(cells: Array, dt_s: float, air: Array, rates: Rates) -> Array:
    """Cells after `dt_s`, shape (3, members): half implicit, stable for every step.

    Args:
        cells: outer, middle, core in °C.
        dt_s: the step; accurate up to about a twentieth of the cake's time constant.
        air: surrounding air in °C.
        rates: of the members.
    """
    t1, t2, t3 = cells
    g, h = _exchange(t1 + t2, rates), _exchange(t2 + t3, rates)
    k, taken = loss_rate(t1, air, rates)
    air = air - taken / k
    # θ-scheme, θ a little over a half so that the fast modes die out.
    ahead, now = 0.55 * dt_s, 0.45 * dt_s
    r1 = t1 + now * (g * (t2 - t1) + k * (air - t1)) + ahead * k * air
    r2 = t2 + now * (g * (t1 - t2) + h * (t3 - t2))
    r3 = t3 + now * h * (t2 - t3)
    e, f = ahead * g, ahead * h
    # Thomas' elimination from the core outward.
    b3 = 1.0 + f
    f3 = f / b3
    b2 = 1.0 + e + f - f * f3
    s2 = r2 + f3 * r3
    f2 = e / b2
    b1 = 1.0 + e + ahead * k - e * f2
    out = np.empty_like(cells)
    out[0] = (r1 + f2 * s2) / b1
    out[1] = (s2 + e * out[0]) / b2
    out[2] = (r3 + f * out[1]) / b3
    return out
