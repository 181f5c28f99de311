"""A forecast of all milestones takes few steps with few members, and a reading is cheap."""

from __future__ import annotations

import time

import pytest

from drivers.reading import Reading
from logger.plan import Milestone, Plan
from logger.thermal import Thermal
from logger.thermal.ensemble import Ensemble
from logger.thermal.forecast import Goal, run
from logger.thermal.priors import priors

START_US = 1_800_000_000_000_000


def test_a_forecast_of_three_milestones_of_the_cooling_takes_few_steps() -> None:
    e = Ensemble(priors(Plan()), 0.0)
    e.start_cooling(96.0, 22.0)
    e.spread_air(0.5)
    goals = [Goal(c, "core", rising=False) for c in (60.0, 40.0, 24.0)]

    course = run(e, 22.0, 22.0, goals)

    # Five hours where some never arrive; a step is some fifty operations on 360 numbers.
    assert len(course.times_s) <= 32
    assert len(course.crossings[0]) <= 360


@pytest.mark.parametrize("minutes", [0, 10, 25])
def test_a_forecast_of_the_bake_takes_few_steps_whatever_the_time(minutes: int) -> None:
    e = Ensemble(priors(Plan()), 0.0)
    e.enter_oven(21.0, 1.0)
    e.advance(60.0 * minutes, 175.0)
    goals = [Goal(c, "core", rising=True) for c in (90.0, 95.0, 99.0)]

    course = run(e, 175.0, 22.0, goals)

    assert len(course.times_s) <= 40
    assert len(course.crossings[0]) <= 120


def test_readings_are_cheap() -> None:
    plan = Plan(
        channels={"probe/core": "core"}, cooling_milestones=(Milestone("warm", core_c=40.0),)
    )
    room = Thermal(plan)
    readings = [
        Reading("probe", "core", START_US + i * 100_000, 90.0 - i * 1e-4, "Cel")
        for i in range(10_000)
    ]
    room.on_reading(readings[0], "core")
    room.on_second(START_US + 1_000_000)

    spent = _seconds(lambda: [room.on_reading(r, "core") for r in readings[1:]])

    assert 10_000 / spent > 8_000  # over 20 000 a second on an idle machine


def _seconds(job: object) -> float:
    start = time.perf_counter()
    job()  # type: ignore[operator]
    return time.perf_counter() - start
