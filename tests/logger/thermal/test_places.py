"""What a marked move does to the cakes."""

from __future__ import annotations

import numpy as np
import pytest

from logger.plan import CakePlan, Pan, Plan
from logger.thermal import ensemble as rows
from logger.thermal.ensemble import Ensemble
from logger.thermal.places import move
from logger.thermal.priors import priors
from logger.thermal.surroundings import Surroundings

PLAN = Plan(cake=CakePlan("layer", 0.62, None, 1, Pan("round", diameter_m=0.2, depth_m=0.05)))


def test_under_a_fan_the_loss_hardly_grows_faster_than_the_excess_and_beside_it_does_again() -> (
    None
):
    air = Surroundings(PLAN)
    air.place = "in pan, on rack"
    e = Ensemble(priors(PLAN), 0.0)
    still = e.x[rows.BEND].copy()

    move(e, air, "rack with fan", 0.0)
    under = e.x[rows.BEND].copy()
    move(e, air, "rack with fan", 60.0)
    assert np.array_equal(e.x[rows.BEND], under)
    move(e, air, "out of pan, on rack", 120.0)

    assert 0.0 < under.mean() < 0.05
    assert e.x[rows.BEND] == pytest.approx(still)
