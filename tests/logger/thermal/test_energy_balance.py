"""What the cells give off is what they lose: the reduced model keeps energy within 1 %.

In the long steps of a forecast, which see the loss at their beginning, within 2 %, and
2.5 % in small cups.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import pytest

from logger.plan import CakePlan, Pan, Plan
from logger.thermal.baking import WATER_K, BakeRates, bake_step, height, rising
from logger.thermal.cake_model import Rates, loss_rate, step
from logger.thermal.design_points import Array
from logger.thermal.ensemble import LONGEST_STEP_S
from logger.thermal.forecast import FIRST_STEP_S, GROWTH, LONGEST_STEP_COOLING_S
from logger.thermal.priors import Priors, priors
from logger.thermal.shells import CELLS

OVEN_C = 175.0
ROUND = CakePlan("layer", 0.62, None, 1, Pan("round", diameter_m=0.2, depth_m=0.05))
CUPS = CakePlan("layer", 0.72, None, 1, Pan("cups", count=12, diameter_m=0.068, depth_m=0.035))
LOAF = CakePlan("pound", 0.9, None, 1, Pan("loaf", length_m=0.23, width_m=0.11, depth_m=0.07))


def cooling_rates(p: Priors) -> Rates:
    one = np.ones(1)
    return Rates(
        exchange=p.exchange_per_s[0] * one, hot=p.hot[0] * one, loss=p.loss_per_s[0] * one,
        bend=p.bend[0] * one, evaporation=p.evaporation[0] * one, shells=p.bake.shells,
    )  # fmt: skip


def bake_rates(p: Priors) -> BakeRates:
    one = np.ones(1)
    bake = p.bake
    expansion = bake.expansion[0] * one
    return BakeRates(
        exchange=bake.exchange_per_s[0] * one, heating=bake.heating_per_s[0] * one,
        plateau=p.plateau_c[0] * one, rising=rising(bake.conducts[0] * one, expansion, bake.shells.sides),
        vapour=bake.vapour[0] * one, expansion=expansion,
        evaporation=bake.evaporation[0] * one, walls=bake.walls, pan_holds=bake.pan_holds,
        shells=bake.shells,
    )  # fmt: skip


def stored(cells: Array, rates: BakeRates) -> float:
    """Heat in the cake and its pan since it was raw, in kelvins of the cake."""
    in_pan = rates.pan_holds * float(cells[0, 0] - 22.0)
    return float((rates.shells.shares * (cells - 22.0)).sum()) + in_pan


def intake(cells: Array, rates: BakeRates) -> float:
    """Rate at which the cake takes in heat, in kelvins of the whole a second."""
    rate = rates.heating * (1.0 + rates.walls * (height(cells, rates.expansion) - 1.0))
    return float((rate * (OVEN_C - cells[0]))[0])


def given_off(cells: Array, air: Array, rates: Rates) -> float:
    """Rate at which the outer cell loses heat to the air, in kelvins of the whole a second."""
    rate, taken = loss_rate(cells[0], air, rates)
    return float((rate * (cells[0] - air) + taken)[0])


def as_learnt() -> Iterator[float]:
    """The steps in which readings are followed."""
    while True:
        yield LONGEST_STEP_S


def as_forecast() -> Iterator[float]:
    """The growing steps of a forecast."""
    dt = FIRST_STEP_S
    while True:
        yield dt
        dt = min(dt * GROWTH, LONGEST_STEP_COOLING_S)


@pytest.mark.parametrize(
    ("cake", "steps", "within"),
    [
        (ROUND, as_learnt, 0.01), (LOAF, as_learnt, 0.01), (CUPS, as_learnt, 0.01),
        (ROUND, as_forecast, 0.02), (LOAF, as_forecast, 0.02), (CUPS, as_forecast, 0.025),
    ],
)  # fmt: skip
def test_a_cooling_cake_loses_what_it_gives_to_the_air(
    cake: CakePlan, steps: Callable[[], Iterator[float]], within: float
) -> None:
    rates = cooling_rates(priors(Plan(cake=cake)))
    air = np.array([22.0])
    shares = rates.shells.shares
    cells = np.linspace([94.0], [98.0], CELLS)
    began, lost, t_s = float((shares * cells).sum()), 0.0, 0.0

    for dt_s in steps():
        if t_s > 4 * 3600:
            break
        before = given_off(cells, air, rates)
        cells = step(cells, dt_s, air, rates)
        lost += dt_s * (0.45 * before + 0.55 * given_off(cells, air, rates))
        t_s += dt_s

    assert began - float((shares * cells).sum()) == pytest.approx(lost, rel=within)


@pytest.mark.parametrize("cake", [ROUND, LOAF, CUPS])
def test_a_baking_cake_stores_and_evaporates_what_it_takes_in_until_it_boils(
    cake: CakePlan,
) -> None:
    rates = bake_rates(priors(Plan(cake=cake)))
    dt_s = 5.0
    cells, water_k = np.full((CELLS, 1), 22.0), np.full(1, WATER_K)
    taken_in = 0.0

    while float(cells[1, 0]) < float(rates.plateau[0]) - 1.0:
        before = intake(cells, rates)
        cells, water_k = bake_step(cells, water_k, dt_s, OVEN_C, rates)
        taken_in += dt_s * 0.5 * (before + intake(cells, rates))

    evaporated = float(rates.shells.shares[0, 0] * (WATER_K - water_k[0]))
    assert evaporated > 0.02 * taken_in
    assert stored(cells, rates) + evaporated == pytest.approx(taken_in, rel=0.01)


@pytest.mark.parametrize("cake", [ROUND, LOAF])
def test_a_cake_loses_of_its_weight_what_cakes_do(cake: CakePlan) -> None:
    """Weight loss in baking: 5 to 12 % (common practice), with what leaves while it cools.

    In the oven two to five of it with the prior's middle, half and five times its evaporation.
    """
    p = priors(Plan(cake=cake))
    kelvins_per_share = 2.26e6 / 2750.0

    def loss(times: float) -> float:
        rates = bake_rates(p)
        rates.evaporation *= times
        cells, water_k = np.full((CELLS, 1), 22.0), np.full(1, WATER_K)
        taken_in = 0.0
        while float(cells[-1, 0]) < 97.0:
            taken_in += 5.0 * intake(cells, rates)
            cells, water_k = bake_step(cells, water_k, 5.0, OVEN_C, rates)
        return (taken_in - stored(cells, rates)) / kelvins_per_share

    assert 0.02 < loss(0.5) < loss(1.0) < loss(5.0) < 0.12
    assert loss(5.0) > 0.04
