"""The room by probes that lie idle before the bake. Common practice of the trade, no source."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.plan import Plan, RoomTemperature
from logger.thermal.idle_probes import room_by
from logger.thermal.priors import ROOM_UNKNOWN
from logger.thermal.surroundings import Surroundings
from logger.thermal.track import Track

TEMPERATURE = st.floats(12.0, 32.0)


def lying(celsius: float, from_s: float = 0.0, to_s: float = 1500.0) -> Track:
    track = Track(-60.0, 320.0)
    for i in range(int((to_s - from_s) / 10.0)):
        track.add(from_s + 10.0 * i, celsius)
    return track


def test_without_probes_the_room_is_as_assumed() -> None:
    assert room_by((21.0, 1.0), None, None) == (21.0, 1.0)


def test_probes_that_agree_are_believed_before_a_guess() -> None:
    centre, sd = room_by((30.8, 1.5), 27.2, 27.4)

    assert centre == pytest.approx(27.9, abs=0.5)
    assert sd < 1.0


def test_of_an_unknown_room_a_probe_on_the_bench_tells_much() -> None:
    centre, sd = room_by(ROOM_UNKNOWN, 27.5, None)

    assert centre == pytest.approx(27.5, abs=0.8)
    assert sd < 0.5 * ROOM_UNKNOWN[1]


@pytest.mark.parametrize("oven_c", [33.0, 60.0, 175.0])
def test_an_oven_still_warm_tells_little(oven_c: float) -> None:
    centre, _ = room_by((21.0, 1.0), None, oven_c)

    assert centre == pytest.approx(21.0, abs=0.3)


def test_a_probe_in_cold_batter_tells_little() -> None:
    centre, _ = room_by((22.0, 1.0), 12.0, None)

    assert centre == pytest.approx(22.0, abs=1.6)


@given(TEMPERATURE, st.floats(0.3, 4.0), TEMPERATURE, TEMPERATURE)
def test_the_room_lies_among_what_is_assumed_and_read(
    assumed_c: float, sd: float, core_c: float, oven_c: float
) -> None:
    centre, spread = room_by((assumed_c, sd), core_c, oven_c)

    among = (assumed_c, core_c, oven_c)
    assert min(among) - 0.1 <= centre <= max(among) + 0.1
    assert 0.0 < spread < 6.0


def test_a_probe_that_lay_in_the_kitchen_tells_of_a_room_not_measured() -> None:
    air = Surroundings(Plan())
    air.oven.add(5.0, 27.0)
    air.bake_begins(lying(27.0), 1500.0)

    assert air.room_c(6000.0) == pytest.approx(27.0, abs=0.5)
    assert air.spread_at_k(None) < 1.0


def test_a_room_that_is_measured_is_what_it_reads() -> None:
    air = Surroundings(Plan())
    air.room.add(0.0, 20.0)
    air.bake_begins(lying(27.0), 1500.0)

    assert air.room_c(1500.0) == 20.0


def test_a_probe_that_was_in_the_batter_when_the_record_began_tells_nothing() -> None:
    plan = Plan(room=RoomTemperature(23.0, 2.0))
    air = Surroundings(plan)
    air.bake_begins(lying(18.0, from_s=1380.0), 1500.0)

    assert air.room_c(1500.0) == 23.0


def test_what_is_read_after_the_way_in_is_no_room() -> None:
    air = Surroundings(Plan(room=RoomTemperature(23.0, 2.0)))
    track = lying(23.0)
    for i in range(300):
        track.add(1510.0 + 10.0 * i, 33.0)
    air.bake_begins(track, 1500.0)

    assert air.room_c(4000.0) == pytest.approx(23.0, abs=0.1)
