"""Which readings can be crumb."""

from __future__ import annotations

import math

import pytest

from logger.thermal.screen import Screen, Verdict


def judged(values: list[float], step_s: float = 1.0) -> list[Verdict]:
    screen = Screen()
    return [screen.judge(i * step_s, v) for i, v in enumerate(values)]


@pytest.mark.parametrize("glitch", [85.0, 0.0, 300.0, -127.0])
def test_a_glitch_is_held_back_and_forgotten(glitch: float) -> None:
    verdicts = judged([60.0] * 10 + [glitch] + [59.9] * 10)

    assert verdicts[10] is Verdict.HELD
    assert verdicts[:10] + verdicts[11:] == [Verdict.SOUND] * 20


def test_a_power_on_value_at_the_very_first_is_held_back() -> None:
    assert judged([85.0, 22.1, 22.1]) == [Verdict.HELD, Verdict.SOUND, Verdict.SOUND]


def test_a_level_that_stays_has_moved() -> None:
    verdicts = judged([60.0] * 10 + [40.0] * 40)

    assert verdicts.count(Verdict.MOVED) == 1
    assert verdicts[-1] is Verdict.SOUND


def test_a_probe_running_back_is_held_until_it_is_calm() -> None:
    back = [70.0 - 30.0 * 0.9**i for i in range(60)]

    verdicts = judged([70.0] * 10 + [40.0] * 15 + back)

    accepted = verdicts.index(Verdict.SOUND, 10)
    assert back[accepted - 25] > 65.0


@pytest.mark.parametrize(
    ("rate_k_per_min", "step_s"), [(8.0, 1.0), (-4.0, 60.0), (8.0, 30.0), (-6.0, 5.0)]
)
def test_what_a_cake_can_do_is_sound(rate_k_per_min: float, step_s: float) -> None:
    values = [60.0 + rate_k_per_min * step_s * i / 60.0 for i in range(int(300 / step_s))]

    assert set(judged(values, step_s)) == {Verdict.SOUND}


def out_and_back(step_s: float, out_s: float = 40.0) -> list[float]:
    """A probe with a lag of six seconds, out in a room of 22 °C and pushed in again at 57 °C."""
    value, values = 60.0, [60.0] * 10
    for i in range(int(200 / step_s)):
        seen = 22.0 if i * step_s < out_s else 57.0
        value = seen + (value - seen) * math.exp(-step_s / 6.0)
        values.append(value)
    return values


@pytest.mark.parametrize("step_s", [0.2, 1.0, 5.0])
def test_a_probe_out_for_a_moment_is_back_once(step_s: float) -> None:
    verdicts = judged(out_and_back(step_s, out_s=20.0), step_s)

    assert verdicts.count(Verdict.BACK) == 1
    assert Verdict.MOVED not in verdicts
    assert verdicts[-1] is Verdict.SOUND


@pytest.mark.parametrize("wrong", [[0.0] * 2, [85.0, 35.0], [0.0] * 3, [61.0 + 25.0] * 2], ids=str)
@pytest.mark.parametrize("step_s", [5.0, 10.0])
def test_a_glitch_or_two_are_no_probe_that_was_out(wrong: list[float], step_s: float) -> None:
    verdicts = judged([60.0] * 10 + wrong + [59.5] * 10, step_s)

    assert Verdict.BACK not in verdicts


def test_a_channel_that_flickers_for_hours_keeps_no_more_of_it() -> None:
    screen = Screen()
    for i in range(10):
        screen.judge(0.2 * i, 60.0)

    for i in range(20_000):
        screen.judge(2.0 + 0.2 * i, 20.0 + 7.0 * (i % 5))

    assert len(screen.away) + len(screen.held) + len(screen.recent) < 200
