"""Several probes in one oven."""

from __future__ import annotations

import dataclasses
from types import ModuleType

import pytest

from logger.events import OvenCycle, OvenSpots
from logger.oven import Oven


def test_further_probes_are_compared_over_each_cycle(ovens: ModuleType) -> None:
    session = ovens.simulate(ovens.Invented(begins_hot=True, wall_s=500.0))
    room = Oven(session.plan())
    said = []

    for r in session.readings:
        place = dataclasses.replace(r, instrument="second", value=(r.value or 0.0) + 6.5)
        said += room.on_reading(place, "oven 2")
        said += room.on_reading(r, "oven")
        if r.t_us % 7 == 0:  # a third one is hardly ever heard
            said += room.on_reading(dataclasses.replace(r, instrument="third"), "oven 3")

    cycles = [b for b in said if isinstance(b, OvenCycle)]
    spots = [b for b in said if isinstance(b, OvenSpots)]
    assert len(cycles) == len(spots) > 3
    for cycle, spot in zip(cycles, spots, strict=True):
        assert (spot.from_at, spot.to_at) == (cycle.from_at, cycle.to_at)
        assert spot.offsets_c["oven 2"] == pytest.approx(6.5, abs=0.5)


def test_one_probe_alone_has_no_spots(ovens: ModuleType) -> None:
    session = ovens.simulate(ovens.Invented(begins_hot=True, wall_s=500.0, length_s=3000.0))
    room = Oven(session.plan())

    said = [b for r in session.readings for b in room.on_reading(r, "oven")]

    assert [b for b in said if isinstance(b, OvenCycle)]
    assert not [b for b in said if isinstance(b, OvenSpots)]
