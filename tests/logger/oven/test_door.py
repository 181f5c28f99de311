"""Doors where a thermostat makes them hard to see: idling, not yet known, switched off."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import numpy as np
import pytest

from logger.events import Body, OvenDoor
from logger.oven import Oven


def _doors(session: Any) -> list[OvenDoor]:
    room = Oven(session.plan())
    said: list[Body] = [b for r in session.readings for b in room.on_reading(r, "oven")]
    return [b for b in said if isinstance(b, OvenDoor)]


def _idling_s(session: Any, after_s: float) -> float:
    """A time in the middle of the next fall."""
    on = [t for t in session.switched_on_s if t > after_s]
    peak = after_s + int(np.argmax(session.air_c[int(after_s) : int(on[0])]))
    return float(peak + 0.45 * (on[0] - peak))


OVEN = {
    "half_band_c": 8.0,
    "element_s": 40.0,
    "wall_s": 500.0,
    "probe_lag_s": 10.0,
    "every_s": 2.0,
    "noise_c": 0.1,
}


def test_a_door_shut_while_the_heat_is_off_is_found_by_the_end_of_its_fall(
    ovens: ModuleType,
) -> None:
    quiet = ovens.simulate(ovens.Invented(**OVEN, length_s=5400.0))
    at_s = _idling_s(quiet, 3600.0)

    found = _doors(
        ovens.simulate(ovens.Invented(**OVEN, length_s=5400.0, doors=[(at_s, at_s + 14.0)]))
    )

    assert _doors(quiet) == []
    (door,) = found
    start_s = door.start_at - ovens.BEGIN_US / 1e6
    assert start_s == pytest.approx(at_s, abs=20.0)
    assert door.end_at - ovens.BEGIN_US / 1e6 == pytest.approx(at_s + 14.0, abs=25.0)


def test_a_door_before_the_ovens_own_falls_are_known_is_said_once_they_are(
    ovens: ModuleType,
) -> None:
    quiet = ovens.simulate(ovens.Invented(**OVEN, length_s=4800.0))
    first_s = next(t for t in quiet.switched_on_s if t > 300.0)
    opened_s = first_s + 45.0
    session = ovens.simulate(
        ovens.Invented(**OVEN, length_s=4800.0, doors=[(opened_s, opened_s + 20.0)])
    )

    (door,) = _doors(session)

    assert door.start_at - ovens.BEGIN_US / 1e6 == pytest.approx(opened_s, abs=20.0)


def test_an_oven_switched_off_shows_a_door_and_none_by_itself(real_ovens: ModuleType) -> None:
    facts = real_ovens.facts(5)
    facts.off_s, facts.glitches, facts.gaps, facts.missing = 1500.0, 0, [], 0.0
    facts.pulsed, facts.length_s, facts.in_s, facts.out_s = False, 5400.0, 9000.0, 9000.0
    found = {}
    for doors in ([], [(4500.0, 4530.0)]):
        facts.doors = doors
        after = real_ovens.BEGIN_US / 1e6 + 3000.0
        found[len(doors)] = [d for d in _doors(real_ovens.simulate(facts)) if d.start_at > after]

    assert found[0] == []
    (door,) = found[1]
    assert door.start_at - real_ovens.BEGIN_US / 1e6 == pytest.approx(4500.0, abs=20.0)


@pytest.mark.parametrize("draw", [6, 13])
def test_a_regulators_overshoot_is_no_door(ovens: ModuleType, draw: int) -> None:
    session = ovens.invent(draw, regulated=True)
    begin = ovens.BEGIN_US / 1e6

    for door in _doors(session):
        assert any(
            door.start_at - begin < shut + 45 and door.end_at - begin > opened - 15
            for opened, shut in session.invented.doors
        )
