"""Kitchen time: one clock file, many readers, never backwards."""

import json
from pathlib import Path

import pytest

from simulators.kitchen_time import (
    ClockFileError,
    ClockReader,
    ClockWriter,
    Segment,
    kitchen_at,
    monotonic_for,
)

START_US = 1_750_000_000_000_000


class Monotonic:
    """A monotonic clock that a test moves."""

    def __init__(self) -> None:
        self.ns = 5_000_000_000

    def __call__(self) -> int:
        return self.ns


def test_the_file_holds_the_published_layout(tmp_path: Path) -> None:
    monotonic = Monotonic()

    clock = ClockWriter(tmp_path / "clock.json", START_US, 0.0, monotonic)
    clock.request(10.0)

    document = json.loads((tmp_path / "clock.json").read_text())
    assert document == {
        "segments": [[5_000_000_000, START_US, 0.0], [5_250_000_000, START_US, 10.0]]
    }


def test_a_change_of_speed_is_announced_at_least_200_ms_ahead(tmp_path: Path) -> None:
    monotonic = Monotonic()
    clock = ClockWriter(tmp_path / "clock.json", START_US, 1.0, monotonic)
    monotonic.ns += 3_000_000_000

    clock.request(90.0)

    announced = json.loads((tmp_path / "clock.json").read_text())["segments"][-1]
    assert announced[0] - monotonic.ns >= 200_000_000
    assert announced[1] == START_US + 3_250_000


def test_an_announced_change_is_never_replaced(tmp_path: Path) -> None:
    monotonic = Monotonic()
    clock = ClockWriter(tmp_path / "clock.json", START_US, 1.0, monotonic)
    clock.request(10.0)
    before = (tmp_path / "clock.json").read_text()

    refused = clock.request(90.0)
    kept = (tmp_path / "clock.json").read_text()
    monotonic.ns += 300_000_000
    accepted = clock.request(90.0)

    assert not refused
    assert kept == before
    assert accepted
    assert clock.speed == 90.0


def test_time_never_runs_backwards_over_changes_of_speed_and_all_readers_agree(
    tmp_path: Path,
) -> None:
    monotonic = Monotonic()
    clock = ClockWriter(tmp_path / "clock.json", START_US, 0.0, monotonic)
    early = ClockReader(tmp_path / "clock.json", monotonic)
    late = ClockReader(tmp_path / "clock.json", monotonic)
    speeds = iter([10.0, 3.7, 90.0, 0.0, 1.0, 33.3])
    told: list[int] = []

    for tick in range(4000):
        if tick % 500 == 100:
            clock.request(next(speeds, 1.0))
        if tick % 13 == 0:
            late.now_us()
        readings = (clock.now_us(), early.now_us(), late.now_us())
        told.append(readings[0])
        monotonic.ns += 1_234_567
        assert len(set(readings)) == 1

    assert told == sorted(told)
    assert told[-1] - told[0] > 60_000_000


def test_an_instant_is_found_across_an_announced_change() -> None:
    segments = [Segment(0, 0, 1.0), Segment(2_000_000_000, 2_000_000, 10.0)]

    assert monotonic_for(segments, 1_000_000) == 1_000_000_000
    assert monotonic_for(segments, 12_000_000) == 3_000_000_000
    assert kitchen_at(segments, 3_000_000_000) == 12_000_000


def test_while_time_stands_no_instant_is_ever_reached() -> None:
    assert monotonic_for([Segment(0, 500, 0.0)], 501) is None


@pytest.mark.parametrize("text", ["", "{}", '{"segments": []}', '{"segments": [[1, 2]]}'])
def test_a_file_that_is_no_clock_is_refused_with_its_name(tmp_path: Path, text: str) -> None:
    path = tmp_path / "clock.json"
    path.write_text(text)

    with pytest.raises(ClockFileError, match=r"clock\.json"):
        ClockReader(path)


def test_a_negative_speed_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="speed"):
        ClockWriter(tmp_path / "clock.json", START_US, -1.0)
