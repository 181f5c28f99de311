"""Rest and motion from bare numbers."""

from __future__ import annotations

import math
import random

import pytest

from logger.weighing.flag import Flag
from logger.weighing.rest import Rest
from logger.weighing.settling import Settler


def follow(
    values_g: list[float], d_g: float = 1.0, rate_hz: float = 10.0, stable: bool | None = None
) -> list[tuple[float, Rest]]:
    """Rests found, with their times in seconds."""
    settler = Settler()
    out = []
    for i, value in enumerate(values_g):
        shown = round(value / d_g) * d_g / 1000
        rest = settler.feed(round(i * 1e6 / rate_hz), shown, d_g / 1000, stable)
        if rest is not None:
            out.append((i / rate_hz, rest))
    return out


def test_a_step_is_at_rest_within_six_tenths_of_a_second() -> None:
    rests = follow([0.0] * 20 + [250.0] * 20)

    assert len(rests) == 2
    assert rests[1][0] - 2.0 <= 0.6
    assert rests[1][1].level_kg == pytest.approx(0.250)


def test_two_readings_a_second_are_enough_though_later() -> None:
    rests = follow([0.0] * 8 + [250.0] * 8, rate_hz=2.0)

    assert [round(r.level_kg, 3) for _, r in rests] == [0.0, 0.25]


def test_one_reading_a_second_is_enough_though_later() -> None:
    rests = follow([0.0] * 8 + [250.0] * 8, rate_hz=1.0)

    assert [round(r.level_kg, 3) for _, r in rests] == [0.0, 0.25]


@pytest.mark.parametrize("rate_g_s", [3.0, 8.0, 20.0, 60.0])
def test_a_falling_stream_is_never_at_rest(rate_g_s: float) -> None:
    values = [0.0] * 20 + [rate_g_s * i / 10 for i in range(60)]

    assert len(follow(values)) == 1


@pytest.mark.parametrize("draw", range(8))
def test_a_hand_on_the_bowl_is_never_at_rest(draw: int) -> None:
    rng = random.Random(draw)
    wander, values = 0.0, [500.0] * 20
    for i in range(60):
        wander = 0.85 * wander + rng.gauss(0, 8)
        values.append(750.0 + wander + 6 * math.sin(2 * math.pi * 8.3 * i / 10))

    assert len(follow(values)) == 1


@pytest.mark.parametrize("hz", [3.1, 7.3, 12.7])
def test_a_mixer_on_the_bench_is_averaged_over(hz: float) -> None:
    values = [300.0 + 3.0 * math.sin(2 * math.pi * hz * i / 10) for i in range(60)]

    rests = follow(values)

    assert rests
    assert rests[-1][1].level_kg == pytest.approx(0.300, abs=0.001)


def test_a_flag_that_always_says_stable_does_not_make_a_stream_rest() -> None:
    values = [0.0] * 20 + [15.0 * i / 10 for i in range(60)]

    assert len(follow(values, stable=True)) == 1


def test_a_flag_that_never_says_stable_only_delays_the_rest() -> None:
    rests = follow([0.0] * 20 + [250.0] * 30, stable=False)

    assert rests[-1][1].level_kg == pytest.approx(0.250)


def test_one_wild_reading_is_no_motion() -> None:
    values = [100.0] * 20 + [103.0] + [100.0] * 20

    assert len(follow(values)) == 1


def test_a_tap_of_one_division_is_another_rest() -> None:
    rests = follow([100.0] * 30 + [101.0] * 20)

    assert [round(r.level_kg, 3) for _, r in rests] == [0.1, 0.101]
    assert rests[1][1].shifted


def test_a_flag_that_never_changes_says_nothing() -> None:
    values = [0.0] * 20 + [250.0] * 30

    assert follow(values, stable=False)[1][0] == follow(values)[1][0]


def test_a_flag_that_came_late_once_is_not_waited_for_again() -> None:
    flag = Flag()
    flag.see(False, 0, None)
    flag.see(False, 900_000, 0)
    flag.see(True, 1_000_000, 0)

    assert flag.see(False, 5_000_000, None) is None


def test_a_flag_that_comes_in_time_is_heard() -> None:
    flag = Flag()
    flag.see(False, 0, None)
    flag.see(True, 500_000, 0)

    assert flag.see(False, 5_000_000, None) is False


def test_three_readings_that_agree_while_a_mixer_shakes_are_no_rest() -> None:
    shaken = [600.0 + 7 * (-1) ** i * (1 + 0.2 * (i % 3)) for i in range(9)]
    values = [600.0] * 6 + [*shaken, 604.0, 604.0, 604.0, *shaken]

    assert len(follow(values, rate_hz=3.0)) == 1
