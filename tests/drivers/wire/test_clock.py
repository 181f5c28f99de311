"""Kitchen time and stamps: they never run backwards, and jumps are told once."""

import json

import pytest

from drivers.clock import ClockFileError, KitchenClock, Stamper


class Hands:
    """A clock and a monotonic counter that the test moves."""

    def __init__(self):
        self.ns, self.us, self.rate = 10**9, 1_800_000_000_000_000, 1.0

    def now_us(self):
        return self.us

    def speed(self):
        return self.rate

    def monotonic_ns(self):
        return self.ns

    def pass_s(self, s):
        self.ns += int(s * 1e9)
        self.us += int(s * 1e6)


def test_a_step_forward_is_followed_and_told_once():
    hands = Hands()
    stamper = Stamper(hands, hands.monotonic_ns)
    first, _ = stamper.stamp()
    hands.pass_s(1)
    hands.us += 3_600_000_000

    second, jump = stamper.stamp()
    hands.pass_s(1)
    third, none = stamper.stamp()

    assert jump == 3_600_000_000
    assert second - first == 3_601_000_000
    assert (third - second, none) == (1_000_000, None)


def test_a_step_back_neither_reorders_nor_stretches():
    hands = Hands()
    stamper = Stamper(hands, hands.monotonic_ns)
    first, _ = stamper.stamp()
    hands.pass_s(1)
    hands.us -= 3_600_000_000

    second, jump = stamper.stamp()
    hands.pass_s(5)
    third, _ = stamper.stamp()

    assert jump == -3_600_000_000
    assert (second - first, third - second) == (1_000_000, 5_000_000)


def test_stamps_strictly_increase_on_a_standing_clock():
    hands = Hands()
    stamper = Stamper(hands, hands.monotonic_ns)

    stamps = [stamper.stamp()[0] for _ in range(5)]

    assert stamps == sorted(set(stamps))


def test_a_change_of_speed_happens_at_its_instant(tmp_path):
    file = tmp_path / "clock.json"
    file.write_text(
        json.dumps({"segments": [[0, 1_000_000, 10.0], [1_000_000_000, 11_000_000, 90.0]]})
    )
    now = 0
    clock = KitchenClock(file, lambda: now)

    seen = []
    for now in (0, 500_000_000, 999_999_999, 1_000_000_000, 1_100_000_000):  # noqa: B007
        seen.append((clock.now_us(), clock.speed()))

    assert seen == [
        (1_000_000, 10.0), (6_000_000, 10.0), (10_999_999, 10.0), (11_000_000, 90.0),
        (20_000_000, 90.0),
    ]  # fmt: skip


def test_a_missing_clock_file_says_what_to_do(tmp_path):
    with pytest.raises(ClockFileError, match="start the simulated kitchen"):
        KitchenClock(tmp_path / "none.json")
