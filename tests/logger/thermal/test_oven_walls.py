"""What a cake feels in the oven: the air, and walls that follow it slowly."""

from __future__ import annotations

import pytest

from logger.plan import OvenPlan, Plan
from logger.thermal.surroundings import Surroundings


def heard(plan: Plan, spans: list[tuple[float, float]]) -> tuple[Surroundings, float]:
    """Readings every ten seconds, for so long at so many °C each; and the time of the last."""
    air, t_s = Surroundings(plan), 0.0
    for seconds, celsius in spans:
        for _ in range(int(seconds / 10)):
            air.hear_oven(t_s, celsius)
            t_s += 10.0
    return air, t_s - 10.0


def test_a_door_open_for_a_minute_cools_the_air_and_hardly_what_the_cake_feels() -> None:
    air, now_s = heard(Plan(), [(3600, 180.0), (60, 110.0)])

    assert air.oven.at(now_s) == pytest.approx(110.0)
    assert 180.0 - air.air_c(now_s, True) < 0.4 * 70.0


def test_an_oven_just_hot_is_not_hot_through() -> None:
    air, now_s = heard(Plan(), [(10, 22.0), (600, 180.0)])

    assert 110.0 < air.air_c(now_s, True) < 150.0


def test_an_oven_that_was_hot_at_the_first_reading_is_hot_through() -> None:
    air, now_s = heard(Plan(), [(30, 180.0)])

    assert air.air_c(now_s, True) == pytest.approx(180.0)


def test_a_reading_that_is_no_temperature_of_an_oven_does_not_heat_its_walls() -> None:
    air, now_s = heard(Plan(), [(600, 180.0)])

    air.hear_oven(now_s + 10.0, 1372.0)  # what an amplifier says of an open thermocouple

    assert air.air_c(now_s + 10.0, True) == pytest.approx(180.0)


def test_with_a_fan_the_air_counts_for_more() -> None:
    spans = [(3600.0, 180.0), (60.0, 110.0)]
    still, now_s = heard(Plan(), spans)
    moved, _ = heard(Plan(oven=OvenPlan(fan=True)), spans)

    assert moved.air_c(now_s, True) < still.air_c(now_s, True) - 5.0


def test_what_comes_is_between_the_walls_of_now_and_the_air() -> None:
    air, now_s = heard(Plan(oven=OvenPlan(180.0)), [(10, 22.0), (900, 180.0)])

    assert air.air_c(now_s, True) < air.air_to_come_c(now_s, True, 0.0) < 180.0
