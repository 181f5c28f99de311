"""The air around the cake, from channels with faults."""

from __future__ import annotations

import pytest

from logger.plan import Plan
from logger.thermal.surroundings import Surroundings


@pytest.mark.parametrize("place", [None, "refrigerator"])
def test_a_glitch_moves_neither_room_nor_refrigerator(place: str | None) -> None:
    air = Surroundings(Plan())
    for i in range(20):
        glitch = i == 17
        air.room.add(30.0 * i, 0.0 if glitch else 24.0)
        air.cold.add(30.0 * i, 25.0 if glitch else 4.0)

    assert air.air_at_c(570.0, False, place) == (24.0 if place is None else 4.0)


def test_a_silent_channel_is_taken_to_be_as_it_was() -> None:
    air = Surroundings(Plan())
    air.room.add(0.0, 19.0)

    assert air.room_c(3600.0) == 19.0
