"""The cloud of possible bakes: what readings, and a tip in the oven's air or in the crust, say."""

from __future__ import annotations

import numpy as np
import pytest

from logger.plan import CakePlan, OvenPlan, Pan, Plan
from logger.thermal.design_points import Array
from logger.thermal.ensemble import Ensemble
from logger.thermal.forecast import Goal, run
from logger.thermal.particles import EXPANSION, HEATING, TIP, Particles
from logger.thermal.priors import priors

PLAN = Plan(
    oven=OvenPlan(175.0),
    cake=CakePlan("layer", 0.62, None, 1, Pan("round", diameter_m=0.2, depth_m=0.05)),
)


def baked(minutes: int) -> Particles:
    """A cloud whose tip has been in the air all the time, told of every ten seconds."""
    cloud = Particles(priors(PLAN), 0.0, 22.0, 0.5)
    for t_s in range(10, 60 * minutes + 1, 10):
        cloud.advance(float(t_s), 175.0)
        cloud.uncovered()
    return cloud


@pytest.mark.parametrize("minutes", [1, 15, 40])
def test_a_tip_in_the_air_hangs_above_every_cake_and_where_it_will_come_to(minutes: int) -> None:
    cloud = baked(minutes)
    # Every second cake's may be pushed in instead.
    tip, heights = cloud.parameters[TIP, ::2], cloud.height()[::2]
    expansion = np.exp(cloud.parameters[EXPANSION])

    # Cakes have risen a little since it was last looked at, up to half a minute ago.
    assert (tip > heights - 0.15).all()
    assert (tip <= np.maximum(expansion[::2], heights) + 0.03).all()
    assert (cloud.parameters[TIP, 1::2] > expansion[1::2]).all()


def test_a_tip_in_the_air_says_nothing_of_how_fast_the_cake_bakes() -> None:
    cloud, untold = baked(30), Particles(priors(PLAN), 0.0, 22.0, 0.5)

    assert cloud.weights == pytest.approx(untold.weights)
    assert cloud.parameters[HEATING] == pytest.approx(untold.parameters[HEATING])


def test_a_tip_that_was_just_covered_is_near_the_top_or_was_pushed_in() -> None:
    cloud = baked(15)

    cloud.covered()

    tip, heights = cloud.parameters[TIP], cloud.height()
    assert (tip <= heights).all()
    assert tip[::2] == pytest.approx(heights[::2], abs=0.06)
    assert 0.3 < float(np.median(tip[1::2] / heights[1::2])) < 0.7


def of_one_cake(seconds: int) -> tuple[Array, float]:
    """Readings of an average cake of the plan every half minute, and its pace in the end, K/s."""
    cakes = Particles(priors(PLAN), 0.0, 22.0, 0.5)
    unknown = cakes.parameters
    far = (unknown - unknown.mean(axis=1, keepdims=True)) / unknown.std(axis=1, keepdims=True)
    one = int(np.argmin((far**2).sum(axis=0)))
    read = []
    for t_s in range(30, seconds + 1, 30):
        cakes.advance(float(t_s), 175.0)
        read.append(float(cakes.at_tip()[one]))
    return np.array(read), (read[-1] - read[-2]) / 30.0


def follow(cloud: Particles, readings: Array) -> None:
    for celsius in readings:
        cloud.advance(cloud.t_s + 30.0, 175.0)
        cloud.assimilate(float(celsius), cloud.at_tip())


def pace(cloud: Particles) -> float:
    """How fast the believed tips go on, K/s."""
    later = cloud.copy()
    later.advance(cloud.t_s + 30.0, 175.0)
    return float(cloud.weights @ (later.at_tip() - cloud.at_tip())) / 30.0


def test_how_fast_a_core_rises_is_learnt_within_minutes() -> None:
    readings, rises = of_one_cake(900)
    cloud = Particles(priors(PLAN), 0.0, 22.0, 0.5)
    follow(cloud, readings)
    assert pace(cloud) == pytest.approx(rises, rel=0.1)

    follow(cloud, readings[-1] + 1.3 * 30.0 * rises * np.arange(1.0, 5.0))

    assert pace(cloud) > 1.1 * rises


def test_one_reading_that_is_far_off_is_no_more_than_a_usual_error() -> None:
    readings, rises = of_one_cake(900)
    cloud = Particles(priors(PLAN), 0.0, 22.0, 0.5)
    follow(cloud, readings)

    follow(cloud, np.array([readings[-1] + 25.0]))

    assert abs(float(cloud.weights @ cloud.left_out_k)) < 2.0
    assert cloud.read()[0] == pytest.approx(readings[-1] + 30.0 * rises, abs=2.0)


def test_what_was_read_stays_what_it_was_when_all_are_drawn_anew() -> None:
    readings, _ = of_one_cake(600)
    cloud = Particles(priors(PLAN), 0.0, 22.0, 0.5)
    follow(cloud, readings)
    before = cloud.read()[0]

    cloud.renew()

    assert cloud.read()[0] == pytest.approx(before, abs=0.1)
    assert before == pytest.approx(readings[-1], abs=0.3)


def test_a_tip_in_the_crust_promises_no_core_above_boiling() -> None:
    # At 2500 m water boils at 91.7 °C: no crumb comes to 97 °C, but a crust does.
    cake = CakePlan("carrot", 0.72, None, 1, Pan("cups", count=12, diameter_m=0.068, depth_m=0.035))
    ensemble = Ensemble(priors(Plan(altitude_m=2500.0, cake=cake)), 0.0)
    ensemble.enter_oven(22.0, 1.0)
    bake = ensemble.bake
    assert bake is not None
    bake.parameters[TIP] = 0.99 * np.exp(bake.parameters[EXPANSION])

    course = run(ensemble, 175.0, 22.0, [Goal(97.0, "core", True), Goal(85.0, "core", True)])

    # One cake in a hundred may boil that much hotter.
    assert np.isfinite(course.crossings[0]).mean() < 0.02
    assert np.isfinite(course.crossings[1]).mean() > 0.9
