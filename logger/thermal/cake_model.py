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
    of_air = vapour_pressure_kpa(air)
    slope = (vapour_pressure_kpa(np.minimum(air + signed, 105.0)) - of_air) / signed
    outer_loss = 3.0 * rates.loss
    vapour = outer_loss * rates.evaporation
    vapour *= 1.0 / REFERENCE_SLOPE_KPA_PER_K
    dry *= outer_loss
    dry += vapour * slope
    return dry, vapour * rates.dryness * of_air


def _exchange(cells: Array, rates: Rates) -> Array:
    """Exchange rates between neighbouring cooling cells, by their mean temperatures."""
    heat = cells[:-1] + cells[1:]
    heat -= 2 * WARM_C
    heat *= 0.5 / HOT_SPAN_K
    np.maximum(heat, 0.0, out=heat)
    np.minimum(heat, 1.2, out=heat)
    heat *= heat
    heat *= rates.hot
    heat += 1.0
    heat *= rates.exchange
    return heat


def step(cells: Array, dt_s: float, air: Array, rates: Rates) -> Array:
    """Cells after `dt_s`, shape (3, members): half implicit, stable for every step.

    Args:
        cells: outer, middle, core in °C.
        dt_s: the step; accurate up to about a twentieth of the cake's time constant.
        air: surrounding air in °C.
        rates: of the members.
    """
    g = _exchange(cells, rates)
    k, taken = loss_rate(cells[0], air, rates)
    # θ-scheme, θ a little over a half so that the fast modes die out.
    ahead, now = 0.55 * dt_s, 0.45 * dt_s
    flow = g * (cells[:-1] - cells[1:])
    flow *= now
    out = cells.copy()
    out[:-1] -= flow
    out[1:] += flow
    out[0] += dt_s * (k * air - taken) - (now * k) * cells[0]
    g *= ahead
    outer, inner = g
    # Thomas' elimination from the core outward.
    core = 1.0 + inner
    into_core = inner / core
    out[1] += into_core * out[2]
    middle = 1.0 + outer + inner - inner * into_core
    into_middle = outer / middle
    out[0] += into_middle * out[1]
    out[0] /= 1.0 + outer + ahead * k - outer * into_middle
    out[1] += outer * out[0]
    out[1] /= middle
    out[2] += inner * out[1]
    out[2] /= core
    return out
