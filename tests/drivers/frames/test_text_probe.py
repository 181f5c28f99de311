"""Channels of a thermometer on a line: plain text without a source."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest

from drivers.frames import (
    FrameEvent,
    Garbage,
    Parser,
    Temperature,
    TemperatureFrame,
    TextProbeParser,
)

EachWay = Callable[[Callable[[], Parser], bytes], list[FrameEvent]]
T1 = Temperature("T1", Decimal("96.4"), "C")
OPEN = "open circuit"


@pytest.mark.parametrize(
    ("line", "values"),
    [
        (b"T1 96.4 C, T2 175.8 C\r\n", (T1, Temperature("T2", Decimal("175.8"), "C"))),
        (b"T1 96.4C\n", (T1,)),
        (b"T1,96.4,C\r\n", (T1,)),
        (b"T1;96.4;C;\r\n", (T1,)),
        (b"T1\t96.4\tC\r\n", (T1,)),
        (b"T1: 96.4 C\r\n", (T1,)),
        (b"T1=96.4 \xb0C\r\n", (T1,)),
        ("T1 96.4 °C\r\n".encode(), (T1,)),
        (
            b"1 -18.0 C 2 347 F\r\n",
            (Temperature("1", Decimal("-18.0"), "C"), Temperature("2", Decimal(347), "F")),
        ),
        (b"T1 96.4 C, T2 ----\r\n", (T1, Temperature("T2", None, None, OPEN))),
        (b"T2 open, T1 96.4 C\r\n", (Temperature("T2", None, None, OPEN), T1)),
        (b"T2 ---- C T1 96.4 C\r\n", (Temperature("T2", None, "C", OPEN), T1)),
        # A channel that is called C: dashes without their unit stand before it.
        (
            b"A ---- C 20.0 C\r\n",
            (Temperature("A", None, None, OPEN), Temperature("C", Decimal("20.0"), "C")),
        ),
    ],
)
def test_names_values_and_units_are_read(
    line: bytes, values: tuple[Temperature, ...], each_way: EachWay
) -> None:
    assert each_way(TextProbeParser, line) == [TemperatureFrame(values)]


@pytest.mark.parametrize(
    "line",
    [
        b"T1 96.4\r\n",
        b"96.4 C\r\n",
        b"T1 96,4 C\r\n",
        b"T1 96.4 K\r\n",
        b"T1 96.4 C T1 97.0 C\r\n",
        b"T1 96.4 C, T2\r\n",
        b"T1 96.4 C, T2 17\xff.8 C\r\n",
        b"\xff1 96.4 C\r\n",
        b"T1 96.4 C 175.8 C\r\n",
        b"T1 nan C\r\n",
        b"open 96.4 C\r\n",
        b"---- ----\r\n",
    ],
)
def test_one_thing_out_of_place_refuses_the_line(line: bytes, each_way: EachWay) -> None:
    (event,) = each_way(TextProbeParser, line)

    assert isinstance(event, Garbage)


def test_behind_stray_bytes_a_line_counts_with_the_labels_it_always_has() -> None:
    parser = TextProbeParser()
    parser.feed(b"T1 96.4 C, T2 175.8 C\r\n")

    found = parser.feed(b"\x80\x81T1 96.5 C, T2 176.0 C\r\n")
    cut = parser.feed(b"\x80.6 C, T2 176.0 C\r\n")

    assert [type(event) for event in found] == [Garbage, TemperatureFrame]
    assert [type(event) for event in cut] == [Garbage]


def test_a_label_cut_by_a_line_end_names_no_channel() -> None:
    parser = TextProbeParser()
    parser.feed(b"T1 96.4 C\r\n")

    events = parser.feed(b"T\n1 96.5 C\r\nT1 96.6 C\r\n")

    assert [e.values[0].label for e in events if isinstance(e, TemperatureFrame)] == ["T1"]


def test_other_labels_after_noise_are_refused_only_once() -> None:
    parser = TextProbeParser()
    parser.feed(b"T1 96.4 C\r\n")

    events = parser.feed(b"#\r\nT5 20.0 C\r\nT5 20.1 C\r\n")

    assert [type(event) for event in events] == [Garbage, Garbage, TemperatureFrame]


def test_a_line_of_many_dashes_takes_no_time() -> None:
    events = TextProbeParser().feed(b"a -- C " * 36 + b"\n")

    assert len(events) == 1


def test_a_short_label_behind_noise_may_be_the_end_of_another() -> None:
    parser = TextProbeParser()
    parser.feed(b"1 96.4 C\r\n")

    beside_a_digit = parser.feed(b"\x8021 20.0 C\r\n")
    beside_noise = parser.feed(b"\x801 96.5 C\r\n")

    assert [type(event) for event in beside_a_digit] == [Garbage]
    assert [type(event) for event in beside_noise] == [Garbage, TemperatureFrame]
