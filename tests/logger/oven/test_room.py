"""The room's promises: prefixes, ticks, shifts of time, other roles, glitches, gaps, marks."""

from __future__ import annotations

import copy
import dataclasses
from itertools import pairwise
from types import ModuleType
from typing import Any

import pytest

from drivers.reading import Reading
from logger.engine import BatchState, advance
from logger.entries import Gap, Mark, Tick
from logger.events import (
    Body,
    Event,
    OvenCycle,
    OvenDoor,
    OvenPreheated,
    OvenRecovered,
)
from logger.oven import Oven


@pytest.fixture(scope="module")
def session(ovens: ModuleType) -> Any:
    """A mild oven: 175 °C, three doors, a two-second probe."""
    oven = ovens.Invented(
        half_band_c=5.0,
        element_s=60.0,
        element_power_c_per_s=2.5,
        wall_s=500.0,
        doors=[(3000.0, 3040.0), (4500.0, 4530.0)],
        every_s=2.0,
        length_s=6000.0,
    )
    return ovens.simulate(oven)


def _events(session: Any, entries: list[Any]) -> list[Event]:
    state = BatchState("b", session.plan(), [Oven(session.plan())])
    out: list[Event] = []
    for entry in entries:
        state, events = advance(state, entry)
        out += events
    return out


def _bodies(session: Any, readings: list[Reading]) -> list[Body]:
    room = Oven(session.plan())
    return [b for r in readings for b in room.on_reading(r, "oven")]


def test_a_mild_oven_is_heard_whole(session: Any) -> None:
    bodies = _bodies(session, session.readings)

    kinds = [b.kind for b in bodies]
    assert kinds.count("oven.preheated") == 1
    assert kinds.count("oven.door") == 2
    assert kinds.count("oven.recovered") == 2
    assert kinds.count("oven.cycle") >= 5


def test_growing_prefixes_give_growing_events(session: Any) -> None:
    whole = _events(session, session.readings)

    for cut in (1, 2, 500, 1499, 1510, 1540, 2300, 2999):
        part = _events(session, session.readings[:cut])
        assert part == whole[: len(part)]


def test_ticks_change_nothing(session: Any) -> None:
    ticked: list[Any] = []
    for reading in session.readings:
        ticked += [Tick(reading.t_us - 900_000), Tick(reading.t_us - 100), reading]

    assert [e.body for e in _events(session, ticked)] == [
        e.body for e in _events(session, session.readings)
    ]


def test_a_later_day_changes_only_the_times(session: Any) -> None:
    day_us = 86_400_000_000
    moved = [dataclasses.replace(r, t_us=r.t_us + day_us) for r in session.readings]

    now, later = _bodies(session, session.readings), _bodies(session, moved)

    assert [b.kind for b in now] == [b.kind for b in later]
    for a, b in zip(now, later, strict=True):
        for field in dataclasses.fields(a):
            before, after = getattr(a, field.name), getattr(b, field.name)
            if not isinstance(before, float):
                assert after == before
                continue
            shift = 86_400.0 if field.name.endswith("_at") else 0.0
            assert after == pytest.approx(before + shift, abs=2e-6)


def test_a_copied_room_goes_on_as_the_first(session: Any) -> None:
    room = Oven(session.plan())
    for reading in session.readings[:1510]:
        room.on_reading(reading, "oven")
    other = copy.deepcopy(room)

    rest = session.readings[1510:]

    assert [b for r in rest for b in room.on_reading(r, "oven")] == [
        b for r in rest for b in other.on_reading(r, "oven")
    ]


def test_only_the_oven_is_heard(session: Any) -> None:
    room = Oven(session.plan())

    said = [
        b
        for r in session.readings
        for role in ("oven 2", "core", "scale")
        for b in room.on_reading(r, role)
    ]

    assert said == []


def test_states_without_a_value_and_other_units_are_passed_over(session: Any) -> None:
    mixed: list[Reading] = []
    for r in session.readings:
        open_circuit = dataclasses.replace(r, t_us=r.t_us - 10, value=None, state="open circuit")
        mixed += [open_circuit, dataclasses.replace(r, t_us=r.t_us - 5, unit="%RH"), r]

    room = Oven(session.plan())
    said = [b for r in mixed for b in room.on_reading(r, "oven")]

    kinds = [b.kind for b in said]
    assert kinds == [b.kind for b in _bodies(session, session.readings)]


@pytest.mark.parametrize("wrong_c", [0.0, 85.0, 400.0, 140.0])
@pytest.mark.parametrize("run", [1, 2])
def test_glitches_are_no_doors(ovens: ModuleType, wrong_c: float, run: int) -> None:
    quiet = ovens.simulate(
        ovens.Invented(wall_s=500.0, half_band_c=5.0, every_s=5.0, length_s=5000)
    )
    readings = list(quiet.readings)
    for at in (520, 600, 700, 701 + run, 900):
        for k in range(run):
            readings[at + k] = dataclasses.replace(readings[at + k], value=wrong_c)

    bodies = _bodies(quiet, readings)

    assert not [b for b in bodies if isinstance(b, OvenDoor)]
    clean = [b for b in _bodies(quiet, quiet.readings) if isinstance(b, OvenCycle)]
    cycles = [b for b in bodies if isinstance(b, OvenCycle)]
    assert [c.mean_c for c in cycles] == pytest.approx([c.mean_c for c in clean], abs=0.3)


def test_a_cycle_with_a_long_hole_is_not_told(session: Any, ovens: ModuleType) -> None:
    begin_us = ovens.BEGIN_US
    hole = (begin_us + 3_600_000_000, begin_us + 3_900_000_000)
    readings = [r for r in session.readings if not hole[0] <= r.t_us < hole[1]]
    room = Oven(session.plan())

    said: list[Body] = []
    for reading in readings:
        said += room.on_reading(reading, "oven")
    said += room.on_gap(Gap("oven-probe", "x", 1, None, None, *hole, "outbox full"))

    for cycle in said:
        if isinstance(cycle, OvenCycle):
            inside = min(cycle.to_at, hole[1] / 1e6) - max(cycle.from_at, hole[0] / 1e6)
            assert inside <= 0.15 * (cycle.to_at - cycle.from_at)
    assert not [
        d for d in said if isinstance(d, OvenDoor) and 3500 < d.start_at - begin_us / 1e6 < 4000
    ]


def test_cycles_told_have_no_door_in_them_and_do_not_overlap(session: Any) -> None:
    bodies = _bodies(session, session.readings)
    doors = [b for b in bodies if isinstance(b, OvenDoor)]
    cycles = [b for b in bodies if isinstance(b, OvenCycle)]

    for cycle in cycles:
        assert not any(d.start_at < cycle.to_at - 30 and d.end_at > cycle.from_at for d in doors)
    for a, b in pairwise(cycles):
        assert b.from_at >= a.to_at - 0.11 * (a.to_at - a.from_at)


def test_the_oven_recovers_after_each_door(session: Any) -> None:
    bodies = _bodies(session, session.readings)
    doors = [b for b in bodies if isinstance(b, OvenDoor)]
    back = [b for b in bodies if isinstance(b, OvenRecovered)]

    assert len(back) == len(doors)
    for door, recovered in zip(doors, back, strict=True):
        assert recovered.reached_at >= door.end_at
        assert recovered.after_s == pytest.approx(recovered.reached_at - door.end_at, abs=1e-3)
        assert recovered.after_s < 600


def test_a_mark_makes_a_shallow_dip_a_door(ovens: ModuleType) -> None:
    found = {False: 0, True: 0}
    for draw in range(8):
        oven = ovens.Invented(
            half_band_c=9.0,
            element_s=45.0,
            element_power_c_per_s=3.0,
            wall_s=500.0,
            doors=[(3100.0 + 40 * draw, 3106.0 + 40 * draw)],
            door_s=20.0,
            probe_lag_s=25.0,
            noise_c=0.1,
            length_s=3800.0,
            draw=draw,
        )
        session = ovens.simulate(oven)
        for is_marked in found:
            room = Oven(session.plan())
            mark_us = ovens.BEGIN_US + round(oven.doors[0][0] * 1e6)
            for reading in session.readings:
                if is_marked and mark_us <= reading.t_us < mark_us + 1_000_000:
                    room.on_mark(Mark("into oven", mark_us))
                said = room.on_reading(reading, "oven")
                found[is_marked] += sum(isinstance(b, OvenDoor) for b in said)

    assert found[True] > found[False]
    assert found[True] <= 8


def test_without_a_set_point_nothing_is_preheated_but_cycles_are_told(session: Any) -> None:
    room = Oven(session.plan(with_set_point=False))

    bodies = [b for r in session.readings for b in room.on_reading(r, "oven")]

    assert not [b for b in bodies if isinstance(b, OvenPreheated)]
    cycles = [b for b in bodies if isinstance(b, OvenCycle)]
    assert cycles
    assert all(c.offset_c is None and c.set_point_c is None for c in cycles)
