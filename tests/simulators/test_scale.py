"""The scale's physics and its side of the SMA conversation."""

from random import Random

import pytest

from simulators.scale import BenchScale, ScaleMake
from simulators.sma_port import SmaPort


@pytest.fixture
def scale() -> BenchScale:
    made = BenchScale(Random(1))
    made.advance(1.0)
    return made


def shown_g(scale: BenchScale) -> float:
    value = scale.shown().value_g
    assert value is not None
    return value


def test_an_empty_scale_rests_at_its_centre_of_zero() -> None:
    scale = BenchScale(Random(1), ScaleMake(noise_g=0.05))
    scale.advance(2.0)

    shown = scale.shown()

    assert (shown.value_g, shown.status, shown.net, shown.motion) == (0, "Z", False, False)


def test_a_bowl_moves_the_display_and_then_rests_within_two_seconds(scale: BenchScale) -> None:
    scale.put(412.3)
    scale.advance(0.2)
    early = scale.shown()
    scale.advance(2.0)

    assert early.motion
    assert shown_g(scale) == 412
    assert not scale.shown().motion


def test_the_display_follows_a_stream_late_and_ends_at_what_was_poured(scale: BenchScale) -> None:
    scale.put(300.0)
    scale.advance(3.0)
    poured = 0.0
    for _ in range(40):
        scale.pour(2.5, 0.1)
        poured += 2.5
        scale.advance(0.1)
    at_stop = shown_g(scale)
    scale.advance(3.0)

    assert at_stop < 300 + poured - 1
    assert abs(shown_g(scale) - (300 + poured)) <= 1


def test_the_tare_key_in_a_stream_takes_what_the_display_shows_then(scale: BenchScale) -> None:
    for step in range(60):
        scale.pour(2.0, 0.1)
        scale.advance(0.1)
        if step == 29:
            scale.press_tare()
    scale.advance(3.0)
    shown = scale.shown()

    assert shown.net
    assert 60 <= shown_g(scale) <= 70
    assert abs(shown.tare_g + shown_g(scale) - 120.0) < 1.0


def test_a_lifted_bowl_shows_less_than_nothing_after_a_tare(scale: BenchScale) -> None:
    scale.put(538.0)
    scale.advance(3.0)
    scale.press_tare()
    scale.put(-538.0)
    scale.advance(3.0)

    assert shown_g(scale) == -538
    assert scale.shown().net


def test_the_tare_key_on_an_empty_pan_shows_gross_again(scale: BenchScale) -> None:
    scale.put(200.0)
    scale.advance(3.0)
    scale.press_tare()
    scale.put(-200.0)
    scale.advance(3.0)
    scale.press_tare()

    assert not scale.shown().net


def test_a_running_mixer_keeps_the_display_in_motion() -> None:
    scale = BenchScale(Random(1))
    scale.put(500.0)
    scale.advance(3.0)
    scale.vibration_g = 8.0
    moved = 0
    for _ in range(50):
        scale.advance(0.1)
        moved += scale.shown().motion

    assert moved > 25


def test_zero_tracking_swallows_a_slow_drift_but_no_load(scale: BenchScale) -> None:
    for _ in range(100):
        scale.landed_g += 0.05
        scale.advance(0.5)
    drifted = shown_g(scale)
    scale.put(20.0)
    scale.advance(3.0)

    assert abs(drifted) <= 1
    assert abs(shown_g(scale) - 20) <= 1


def test_overload_and_underload_show_no_weight(scale: BenchScale) -> None:
    scale.put(5200.0)
    scale.advance(3.0)
    over = scale.shown()
    scale.put(-5200.0 - 3200.0)
    scale.advance(3.0)
    under = scale.shown()

    assert (over.value_g, over.status) == (None, "O")
    assert (under.value_g, under.status) == (None, "U")


def test_a_load_creeps_by_less_than_a_gram_in_ten_minutes() -> None:
    scale = BenchScale(Random(1), ScaleMake(resolution_g=0.01, noise_g=0.0, tracks_zero=False))
    scale.put(2000.0)
    scale.advance(5.0)
    fresh = shown_g(scale)
    scale.advance(600.0)

    assert 0.05 < shown_g(scale) - fresh < 1.0


def test_a_scale_left_alone_goes_to_sleep_and_wakes_by_a_key() -> None:
    scale = BenchScale(Random(1), ScaleMake(sleep_after_s=5.0))
    for _ in range(60):
        scale.advance(0.1)
    slept = scale.asleep
    scale.press_tare()

    assert slept
    assert not scale.asleep


# SMA SCP-0499, levels 1 and 2: commands LF c CR; LF ? CR where unrecognised; ESC ends a repeat.


def test_each_sma_command_has_its_answer(scale: BenchScale) -> None:
    port = SmaPort(scale)
    scale.put(250.0)
    scale.advance(3.0)

    assert port.feed(b"\nW\r") == [b"\n 1G         250g  \r"]
    assert port.feed(b"\nT\r") == [b"\n 1N           0g  \r"]
    assert port.feed(b"\nM\r") == [b"\n 1T         250g  \r"]
    assert port.feed(b"\nC\r") == [b"\n 1G         250g  \r"]
    assert port.feed(b"\nZ\r") == [b"\nE1G  ----------g  \r"]
    assert port.feed(b"\nD\r") == [b"\n    \r"]
    assert port.feed(b"\nA\r")[0].startswith(b"\nSMA:")
    about = [port.feed(b"\nB\r")[0] for _ in range(4)]
    assert about[-1] == b"\nEND:\r"
    assert port.feed(b"\nQ\r") == [b"\n?\r"]


def test_a_repeat_begins_with_r_and_ends_with_escape(scale: BenchScale) -> None:
    port = SmaPort(scale)

    (first,) = port.feed(b"\nR\r")
    began = port.repeating
    port.feed(b"\x1b")

    assert first.startswith(b"\n")
    assert began
    assert not port.repeating


def test_a_command_may_come_in_pieces_and_after_noise(scale: BenchScale) -> None:
    port = SmaPort(scale)

    replies = [port.feed(bytes([byte])) for byte in b"\xffnoise\r\nW\r"]

    assert sum(len(reply) for reply in replies) == 1


def test_a_command_without_end_is_bounded(scale: BenchScale) -> None:
    port = SmaPort(scale)

    assert port.feed(b"\n" + b"W" * 100_000 + b"\r") == [b"\n?\r"]
