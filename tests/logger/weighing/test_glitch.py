"""Readings that no load can have made, and those that look like it and are true."""

from __future__ import annotations

import pytest

from drivers.reading import Reading
from logger.weighing.glitch import Glitches

D_KG = 0.001


def passed(grams: list[float]) -> list[float]:
    """What comes through of readings at 10 Hz."""
    glitches = Glitches()
    out: list[float] = []
    for number, value in enumerate(grams):
        reading = Reading("scale", "mass", number * 100_000, value / 1000, "kg")
        found = glitches.feed(reading, D_KG)
        out += [round(one.value * 1000, 3) for one in found if one.value is not None]
    return out


@pytest.mark.parametrize("wild", [[1027.0], [2.0], [38198.0], [1027.0, 1027.0]])
def test_a_reading_that_jumps_and_comes_straight_back_is_passed_over(wild: list[float]) -> None:
    assert passed([120.0, 120.0, *wild, 121.0, 121.0]) == [120.0, 120.0, 121.0, 121.0]


def test_a_damaged_frame_in_a_stream_is_passed_over() -> None:
    assert passed([0, 2, 5, 9, 13, 1.0, 21, 25, 29]) == [0, 2, 5, 9, 13, 21, 25, 29]


@pytest.mark.parametrize(
    "grams",
    [
        [0, 0, 90, 300, 311, 312, 312],
        [385, 385, 0, 0, 0, 0],
        [0, 3, 6, 9, 12, 15, 18],
        [385, 386, 0, 3, 6, 9],
    ],
)
def test_a_load_that_stays_comes_through_whole(grams: list[float]) -> None:
    assert passed(grams) == grams


def test_at_rest_and_in_an_even_stream_no_reading_waits() -> None:
    glitches = Glitches()
    values = [0.0, 0.0, 0.001, 0.0, 0.003, 0.008, 0.013, 0.018, 0.023, 0.024, 0.024]

    given = [
        len(glitches.feed(Reading("scale", "mass", n * 100_000, value, "kg"), D_KG))
        for n, value in enumerate(values)
    ]

    assert given == [1] * len(values)
