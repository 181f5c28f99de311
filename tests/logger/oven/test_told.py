"""Doors that a mark tells of, whether or not the air shows them."""

from __future__ import annotations

from types import ModuleType
from typing import Any

from logger.entries import Mark
from logger.events import Body, OvenCycle, OvenDoor, OvenRecovered
from logger.oven import Oven
from logger.oven.air import Trace
from logger.oven.dip import Dip
from logger.oven.told import KNOWN_S, Told


def _heard(ovens: ModuleType, session: Any, marks_s: list[float]) -> list[Body]:
    room = Oven(session.plan())
    waiting = [ovens.BEGIN_US + round(t * 1e6) for t in marks_s]
    said: list[Body] = []
    for reading in session.readings:
        while waiting and waiting[0] <= reading.t_us:
            said += room.on_mark(Mark("out of oven", waiting.pop(0)))
        said += room.on_reading(reading, "oven")
    return said


def _quiet(ovens: ModuleType, **changes: Any) -> Any:
    given = {"wall_s": 500.0, "half_band_c": 5.0, "every_s": 2.0, "length_s": 4200.0} | changes
    return ovens.simulate(ovens.Invented(**given))


def test_a_door_that_the_air_hides_is_said_at_its_mark_and_disturbs_its_cycle(
    ovens: ModuleType,
) -> None:
    said = _heard(ovens, _quiet(ovens, regulated=True), [3000.0])

    (door,) = [b for b in said if isinstance(b, OvenDoor)]
    at = ovens.BEGIN_US / 1e6 + 3000.0
    assert (door.start_at, door.end_at, door.depth_c) == (at, at, 0.0)
    assert not [b for b in said if isinstance(b, OvenRecovered)]
    after = [b for b in said if isinstance(b, OvenCycle) and b.to_at > at + KNOWN_S + 60]
    assert after
    assert all(not b.from_at < at < b.to_at for b in after)


def test_a_door_that_the_air_shows_is_said_once(ovens: ModuleType) -> None:
    session = _quiet(ovens, doors=[(3000.0, 3040.0)])

    said = _heard(ovens, session, [3050.0])

    (door,) = [b for b in said if isinstance(b, OvenDoor)]
    assert door.depth_c > 5.0


def test_a_mark_in_a_hole_of_the_readings_is_a_door(ovens: ModuleType) -> None:
    session = _quiet(ovens, doors=[(3000.0, 3020.0)], gaps=[(2950.0, 3300.0)])

    said = _heard(ovens, session, [3010.0])

    assert len([b for b in said if isinstance(b, OvenDoor)]) == 1


def test_a_mark_before_the_first_reading_is_no_door_of_this_trace(ovens: ModuleType) -> None:
    session = _quiet(ovens)
    room = Oven(session.plan())
    room.on_mark(Mark("into oven", ovens.BEGIN_US - 30_000_000))

    said = [b for r in session.readings[:600] for b in room.on_reading(r, "oven")]

    assert not [b for b in said if isinstance(b, OvenDoor)]


def test_two_marks_of_one_door_are_one() -> None:
    trace, told = Trace(), Told()
    for t_s in range(0, 800, 2):
        trace.add(float(t_s), 175.0)
    told.add(400.0)
    told.add(430.0)

    unseen = told.unseen(trace, [])

    assert [d.start_s for d in unseen] == [400.0]
    assert told.unseen(trace, unseen) == []


def test_a_mark_waits_until_its_dip_would_be_over() -> None:
    trace, told = Trace(), Told()
    for t_s in range(0, 500, 2):
        trace.add(float(t_s), 175.0)
    told.add(400.0)

    assert told.unseen(trace, []) == []
    assert told.is_near(330.0)
    assert not told.is_near(300.0)


def test_a_door_just_before_its_mark_is_the_marks() -> None:
    trace, told = Trace(), Told()
    for t_s in range(0, 900, 2):
        trace.add(float(t_s), 175.0)
    told.add(400.0)

    assert told.unseen(trace, [Dip(340.0, 370.0, 12.0, 372.0, 420.0)]) == []
