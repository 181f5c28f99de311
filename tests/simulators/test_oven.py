"""Oven, room, refrigerator and probes: do they behave as their kind does?"""

import math
from itertools import pairwise
from random import Random

import pytest

from simulators.oven import Oven, OvenMake, dial_offsets_c
from simulators.probe import Probe
from simulators.room import Refrigerator, Room


def run(oven: Oven, seconds: int, room_c: float = 21.5) -> list[float]:
    air = []
    for _ in range(seconds):
        oven.step(1.0, room_c)
        air.append(oven.air_c)
    return air


def cycling_oven(offset_c: float = 0.0) -> Oven:
    oven = Oven(21.5, offset_c)
    oven.switch_on(175.0)
    run(oven, 3600)
    return oven


def test_the_oven_preheats_in_a_quarter_of_an_hour() -> None:
    oven = Oven(21.5)
    oven.switch_on(175.0)
    seconds = 0
    while oven.cut_offs == 0 and seconds < 3600:
        oven.step(1.0, 21.5)
        seconds += 1

    assert 13 * 60 <= seconds <= 20 * 60


def test_the_air_cycles_slowly_about_the_dial() -> None:
    oven = cycling_oven()
    cut_offs = oven.cut_offs
    air = run(oven, 3600)

    # common practice: cycles of 5 to 15 min, 10 to 50 K peak to peak
    assert 4 <= oven.cut_offs - cut_offs <= 12
    assert 10.0 < max(air) - min(air) < 50.0
    assert abs(sum(air) / len(air) - 175.0) < 1.5


@pytest.mark.parametrize("offset_c", [-6.0, 5.0])
def test_a_dial_offset_moves_the_mean_by_as_much(offset_c: float) -> None:
    steady, moved = run(cycling_oven(), 3600), run(cycling_oven(offset_c), 3600)

    shift = (sum(moved) - sum(steady)) / 3600
    assert abs(shift - offset_c) < 1.0


def test_an_open_door_drops_the_air_and_hardly_the_walls() -> None:
    oven = cycling_oven()
    air_before, wall_before = oven.air_c, oven.wall_c
    oven.door_open = True
    air = run(oven, 15)

    assert air_before - air[-1] > 20.0
    assert wall_before - oven.wall_c < 3.0


def test_at_rest_the_power_makes_up_for_what_the_oven_loses() -> None:
    oven = cycling_oven()
    energy, wall, element = oven.energy_j, oven.wall_c, oven.element_c
    air = run(oven, 7200)
    make = OvenMake()
    stored = make.wall_j_k * (oven.wall_c - wall) + make.element_j_k * (oven.element_c - element)
    lost = make.leak_w_k * sum(a - 21.5 for a in air) + make.wall_loss_w_k * 7200 * (wall - 21.5)

    assert oven.energy_j - energy == pytest.approx(lost + stored, rel=0.02)


def test_the_dial_drifts_over_the_last_eight_bakes_only() -> None:
    many = [dial_offsets_c(20, Random(n)) for n in range(200)]
    mean = [sum(column) / len(column) for column in zip(*many, strict=True)]

    assert max(mean[:12]) - min(mean[:12]) < 0.2
    assert mean[19] - mean[11] == pytest.approx(8 * 0.35, abs=0.2)


def test_a_probe_follows_with_its_lag_and_reads_in_steps() -> None:
    probe = Probe(20.0, lag_s=10.0, random=Random(1), noise_c=0.0, offset_c=0.3)
    probe.advance(10.0, 120.0)

    reading = probe.reading_c()

    assert probe.tip_c == pytest.approx(120.0 - 100.0 / math.e)
    assert reading == pytest.approx(round((probe.tip_c + 0.3) * 10) / 10)


def test_the_room_drifts_slowly_and_recovers_from_a_door() -> None:
    room = Room(21.5, Random(1))
    temperatures = []
    for _ in range(7200):
        room.step(1.0)
        temperatures.append(room.air_c)
    calm = room.air_c
    room.open_door()
    cooled = room.air_c

    assert all(20.0 < t < 23.0 for t in temperatures)
    assert max(abs(a - b) for a, b in pairwise(temperatures)) < 0.05
    assert cooled < calm - 0.5


def test_the_refrigerator_cycles_and_warms_when_a_cake_goes_in() -> None:
    refrigerator = Refrigerator()
    empty, starts = [], 0
    for _ in range(7200):
        was = refrigerator.running
        refrigerator.step(1.0, 21.5)
        starts += refrigerator.running and not was
        empty.append(refrigerator.air_c)
    loaded = []
    for _ in range(1200):
        refrigerator.step(1.0, 21.5, 120.0)
        loaded.append(refrigerator.air_c)

    assert starts >= 3
    assert min(empty) > 2.0
    assert max(empty) < 6.0
    assert sum(loaded) / len(loaded) > sum(empty) / len(empty) + 0.5
