"""The cells of a cooling cake against what is known of them without them."""

from __future__ import annotations

import numpy as np
import pytest

from logger.plan import CakePlan, Pan, Plan
from logger.thermal.cake_model import Rates, _by_vapour, loss_rate, step, vapour_pressure_kpa
from logger.thermal.priors import priors
from logger.thermal.shells import CELLS, Shells, shells

SLAB = shells(0.02, (), False)
CUP = shells(0.02, (0.03,), True)


def rates(shape: Shells = SLAB, **change: float) -> Rates:
    values = {
        "exchange": 2e-3,
        "hot": 0.0,
        "loss": 3e-4,
        "bend": 0.0,
        "evaporation": 0.0,
    } | change
    arrays = {name: np.array([value]) for name, value in values.items()}
    return Rates(**arrays, shells=shape)


def after(cells: np.ndarray, seconds: float, dt: float, r: Rates, air: float) -> np.ndarray:
    for _ in range(round(seconds / dt)):
        cells = step(cells, dt, np.array([air]), r)
    return cells


def test_cells_that_mix_well_and_lose_in_proportion_decay_exponentially() -> None:
    cells = after(np.full((CELLS, 1), 90.0), 3600.0, 10.0, rates(exchange=1.0), 20.0)

    assert cells[-1, 0] == pytest.approx(20 + 70 * np.exp(-3e-4 * 3600), rel=2e-3)


@pytest.mark.parametrize("shape", [SLAB, CUP])
@pytest.mark.parametrize("dt", [60.0, 120.0, 300.0])
def test_long_steps_give_what_short_ones_do(dt: float, shape: Shells) -> None:
    r = rates(shape, bend=0.2, evaporation=0.2, hot=1.5)
    cells = after(np.full((CELLS, 1), 95.0), 600.0, 5.0, r, 22.0)

    fine = after(cells, 3600.0, 5.0, r, 22.0)
    coarse = after(cells, 3600.0, dt, r, 22.0)

    assert coarse[-1, 0] == pytest.approx(fine[-1, 0], abs=0.35)


def test_hot_moist_crumb_conducts_better_and_the_more_so_towards_boiling() -> None:
    more = _by_vapour()
    celsius = (np.arange(len(more)) + 0.5) / 2

    assert np.interp((23.0, 95.0), celsius, more) == pytest.approx((0.0, 1.0))
    assert (np.diff(more) > 0).all()
    # Pressure rises steeply: half of it comes within ten kelvins of 95 °C.
    assert 0.15 < np.interp(75.0, celsius, more) < 0.35
    assert 0.4 < np.interp(86.0, celsius, more) < 0.6


def test_hotter_crumb_than_the_table_has_changes_no_more() -> None:
    r = rates(hot=2.0)

    assert np.isfinite(step(np.full((CELLS, 1), 140.0), 30.0, np.array([22.0]), r)).all()
    assert np.isfinite(step(np.full((CELLS, 1), -25.0), 30.0, np.array([-30.0]), r)).all()


def test_a_cake_in_its_own_temperature_stays() -> None:
    dry = rates(evaporation=1e-9)

    cells = after(np.full((CELLS, 1), 21.0), 3600.0, 60.0, dry, 21.0)

    assert cells == pytest.approx(np.full((CELLS, 1), 21.0))


def test_a_moist_cake_settles_a_little_below_the_room_as_a_wet_thermometer_does() -> None:
    moist = rates(evaporation=0.25)

    cells = after(np.full((CELLS, 1), 25.0), 40 * 3600.0, 60.0, moist, 21.0)

    # A wet-bulb thermometer at 21 °C and 50 % humidity reads 14.6 °C (psychrometric chart, from
    # memory); a crust gives off a small share of what a wet wick does.
    assert np.all(cells < 20.8)
    assert np.all(cells > 19.0)


@pytest.mark.parametrize("room_c", [18.0, 22.0, 26.0])
def test_a_cool_cake_that_is_not_covered_loses_tenths_of_a_per_cent_an_hour(room_c: float) -> None:
    """Common practice of the trade, no source: of its weight, for most of a day."""
    cake = CakePlan("layer", 0.62, 0.02, 1, Pan("round", diameter_m=0.2, depth_m=0.05))
    p = priors(Plan(cake=cake))
    r = rates(loss=p.loss_per_s[0], evaporation=p.evaporation[0])

    _, taken = loss_rate(np.array([room_c]), np.array([room_c]), r)

    # Crumb of 2.8 kJ/(kg K), water of 2450 kJ/kg.
    share_per_h = float(taken[0]) * 3600.0 * 2.8 / 2450.0
    assert 0.0005 < share_per_h < 0.005


def test_saturation_pressure_of_water() -> None:
    # Triple point 0.6117 kPa at 0.01 °C (from memory); 1 atm at 99.974 °C (IAPWS-95), where the
    # formula is outside the range it was made for.
    assert vapour_pressure_kpa(np.array([0.01]))[0] == pytest.approx(0.6117, rel=0.002)
    assert vapour_pressure_kpa(np.array([99.974]))[0] == pytest.approx(101.325, rel=0.03)
