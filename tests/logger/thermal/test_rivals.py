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
        bend=prior.bend[0] * one, evaporation=0.25 * one,
    )  # fmt: skip
    air = Surroundings(PLAN)
    air.place = "in pan, on rack"
    rivals = Rivals(air)
    e = Ensemble(prior, 0.0)
    e.start_hot(97.0)
    e.spread_air(0.5)
    rivals.begin(e)
    cells = np.array([[95.0], [96.0], [97.0]])
    for i in range(1, int(END_S / 30)):
        moved = i * 30 > MOVE_S
        if i * 30 == MOVE_S + 30:
            rates.loss = rates.loss * loss_after
        cells = step(cells, 30.0, np.array([air_after_c if moved else 22.0]), rates)
        rivals.learn(30.0 * i, round(float(cells[2, 0]) / step_k) * step_k, step_k)
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
