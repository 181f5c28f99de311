"""What is said before any reading, against facts of the trade."""

from __future__ import annotations

import pytest

from drivers.reading import MICROSECOND
from logger.entries import Mark
from logger.events import BakeForecast, CoolingForecast
from logger.plan import CakePlan, Milestone, OvenPlan, Pan, Plan, RoomTemperature
from logger.thermal import Thermal

START_S = 1_800_000_000
# High-ratio batter in a rectangle of 330 × 230 mm; moist crumbs at the core are 95 °C (common
# practice, no source).
PLAN = Plan(
    altitude_m=20.0,
    room=RoomTemperature(21.0, 2.0),
    oven=OvenPlan(177.0),
    cake=CakePlan("layer", 1.3, 0.02, 1, Pan("rectangle", length_m=0.33, width_m=0.23)),
    bake_milestones=(Milestone("done", core_c=95.0),),
    cooling_milestones=(Milestone("frost", core_c=24.0),),
)


@pytest.fixture
def said() -> tuple[BakeForecast, CoolingForecast]:
    """The forecasts that stand a second after the way in, with no channel at all."""
    room = Thermal(PLAN)
    room.on_mark(Mark("into oven", START_S * MICROSECOND))
    bodies = room.on_second((START_S + 1) * MICROSECOND)
    done = next(b for b in bodies if isinstance(b, BakeForecast))
    frost = next(b for b in bodies if isinstance(b, CoolingForecast))
    return done, frost


def test_a_rectangle_of_batter_is_done_in_about_half_an_hour(
    said: tuple[BakeForecast, CoolingForecast],
) -> None:
    done, _ = said

    assert done.expected_at is not None
    assert done.low_at is not None
    assert done.high_at is not None
    # 28 to 32 minutes (common practice, no source).
    assert done.low_at - START_S <= 28 * 60
    assert done.high_at - START_S >= 32 * 60
    assert 18 * 60 <= done.expected_at - START_S <= 45 * 60


def test_it_can_be_frosted_about_two_hours_after_it_came_out(
    said: tuple[BakeForecast, CoolingForecast],
) -> None:
    done, frost = said

    assert done.expected_at is not None
    assert frost.expected_at is not None
    assert frost.low_at is not None
    # About 120 minutes in its pan in still room air (common practice, no source).
    about = done.expected_at + 120 * 60
    assert frost.low_at <= about
    assert frost.high_at is None or about <= frost.high_at
    assert abs(frost.expected_at - about) <= 60 * 60


def test_before_any_reading_the_interval_is_wide(
    said: tuple[BakeForecast, CoolingForecast],
) -> None:
    done, _ = said

    assert done.low_at is not None
    assert done.high_at is not None
    assert done.expected_at is not None
    assert done.high_at - done.low_at >= 0.5 * (done.expected_at - START_S)


def test_without_a_core_probe_the_clock_and_the_oven_tell_when_it_is_done() -> None:
    room = Thermal(PLAN)
    room.on_mark(Mark("into oven", START_S * MICROSECOND))
    told: list[BakeForecast] = []
    for second in range(1, 15 * 60):
        bodies = room.on_second((START_S + second) * MICROSECOND)
        told += [b for b in bodies if isinstance(b, BakeForecast)]

    first, last = told[0], told[-1]
    assert len(told) >= 15
    assert first.expected_at is not None
    assert last.expected_at is not None
    # Nothing was read, so nothing was learnt: the same end.
    assert abs(last.expected_at - first.expected_at) <= 240


def test_a_hand_reading_of_the_core_moves_the_forecast() -> None:
    room, other = Thermal(PLAN), Thermal(PLAN)
    for each in (room, other):
        each.on_mark(Mark("into oven", START_S * MICROSECOND))
    at_us = (START_S + 12 * 60) * MICROSECOND
    spot = {"place": "core", "temperature_c": 38.0}
    room.on_mark(Mark("spot reading", at_us, document=spot))

    slow = room.on_second(at_us + MICROSECOND)
    usual = other.on_second(at_us + MICROSECOND)

    a = next(b for b in slow if isinstance(b, BakeForecast))
    b = next(b for b in usual if isinstance(b, BakeForecast))
    assert a.expected_at is not None
    assert b.expected_at is not None
    assert a.expected_at > b.expected_at + 60
