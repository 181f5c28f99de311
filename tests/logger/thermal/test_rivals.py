"""Moves that nobody tells of, found by rival explanations.

The cakes are made by the forecaster's own cells, so this holds the weighing of explanations, not
the physics; how good it is on other physics is measured elsewhere.
"""

from __future__ import annotations

import numpy as np
import pytest

from logger.plan import CakePlan, Milestone, Pan, Plan, RoomTemperature
from logger.thermal.cake_model import Rates, step
from logger.thermal.ensemble import Ensemble
from logger.thermal.priors import Priors, priors
from logger.thermal.rivals import Rivals
from logger.thermal.shells import CELLS
from logger.thermal.surroundings import Surroundings

PLAN = Plan(
    room=RoomTemperature(22.0, 1.0),
    cake=CakePlan("layer", 0.62, None, 1, Pan("round", diameter_m=0.2, depth_m=0.05)),
    cooling_milestones=(Milestone("frost", core_c=24.0),),
)
MOVE_S, END_S = 3000.0, 7800.0


def follow(prior: Priors, air_after_c: float, loss_after: float, step_k: float) -> Rivals:
    """A cake that stands in its pan for `MOVE_S`, then in another air with another loss."""
    one = np.ones(1)
    rates = Rates(
        exchange=prior.exchange_per_s[0] * one, hot=2.0 * one, loss=prior.loss_per_s[0] * one,
        bend=prior.bend[0] * one, evaporation=0.25 * one, shells=prior.bake.shells,
    )  # fmt: skip
    air = Surroundings(PLAN)
    air.place = "in pan, on rack"
    rivals = Rivals(air)
    e = Ensemble(prior, 0.0)
    e.start_hot(97.0)
    e.spread_air(0.5)
    rivals.begin(e)
    cells = np.linspace([95.0], [97.0], CELLS)
    for i in range(1, int(END_S / 30)):
        moved = i * 30 > MOVE_S
        if i * 30 == MOVE_S + 30:
            rates.loss = rates.loss * loss_after
        cells = step(cells, 30.0, np.array([air_after_c if moved else 22.0]), rates)
        rivals.learn(30.0 * i, round(float(cells[-1, 0]) / step_k) * step_k, step_k)
    return rivals


@pytest.mark.parametrize("step_k", [0.1, 0.5])
def test_a_cake_put_into_the_refrigerator_is_found_there(step_k: float) -> None:
    rivals = follow(priors(PLAN), 5.0, 1.25, step_k)

    cold = sum(np.exp(r.log_weight) for r in rivals.all if r.place == "refrigerator")
    assert cold / sum(np.exp(r.log_weight) for r in rivals.all) > 0.5


@pytest.mark.parametrize("step_k", [0.1, 1.0])
def test_a_cake_that_stays_is_left_where_it_is(step_k: float) -> None:
    rivals = follow(priors(PLAN), 22.0, 1.0, step_k)

    assert rivals.all[0].place == "in pan, on rack"
    assert not rivals.all[0].is_news


def test_the_members_of_a_forecast_are_shared_out_by_weight() -> None:
    rivals = follow(priors(PLAN), 5.0, 1.25, 0.1)
    rivals.all = rivals.all[:2]
    rivals.all[0].log_weight = rivals.all[1].log_weight = 0.0
    rivals.all[0].ensemble.x[2], rivals.all[1].ensemble.x[2] = 30.0, 40.0

    whole = rivals.at(rivals.all[0].ensemble.t_s)

    assert whole is not None
    assert np.mean(whole.x[2] > 35.0) == pytest.approx(0.5, abs=0.01)


def supposed(place: str, at_s: float) -> dict[str | None, float]:
    """What is supposed of a cake at a place, so long after it came out: how likely each is."""
    air = Surroundings(PLAN)
    air.place = place
    rivals = Rivals(air)
    e = Ensemble(priors(PLAN), 0.0)
    e.start_hot(97.0)
    rivals.begin(e)
    e.advance(at_s, 22.0)
    rivals.learn(at_s, e.core()[0], 0.1)
    return {r.place: float(np.exp(r.log_weight)) for r in rivals.all if r.is_news}


def test_nobody_is_supposed_to_shut_in_a_cake_that_steams() -> None:
    assert list(supposed("in pan, on rack", 900.0)) == [None]


def test_what_was_turned_out_is_not_supposed_to_be_turned_out_again() -> None:
    inside, turned_out = supposed("in pan, on rack", 3000.0), supposed("out of pan, on rack", 3000)

    assert turned_out["refrigerator"] == pytest.approx(inside["refrigerator"])
    assert turned_out[None] == pytest.approx(0.5 * inside[None])


def test_what_is_in_the_cold_is_seldom_supposed_to_leave_it() -> None:
    stays, leaves = supposed("in pan, on rack", 3000.0), supposed("refrigerator", 3000.0)

    assert list(leaves) == [None]
    assert leaves[None] < 0.5 * sum(stays.values())


def test_a_probe_that_is_moved_leaves_every_explanation_its_weight() -> None:
    rivals = follow(priors(PLAN), 5.0, 1.25, 0.1)
    before = [(r.place, r.log_weight) for r in rivals.all]

    rivals.settle(END_S, 50.0)

    assert len(before) > 1
    assert [(r.place, r.log_weight) for r in rivals.all] == before
    assert [r.ensemble.core()[0] for r in rivals.all] == pytest.approx([50.0] * len(before))
