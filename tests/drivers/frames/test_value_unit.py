"""A number and a unit on a line: plain text without a source."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest

from drivers.frames import FrameEvent, Garbage, Parser, ValueUnitParser, WeightFrame

EachWay = Callable[[Callable[[], Parser], bytes], list[FrameEvent]]


def values(events: list[FrameEvent]) -> list[Decimal | None]:
    return [event.value for event in events if isinstance(event, WeightFrame)]


@pytest.mark.parametrize(
    ("line", "value", "unit"),
    [
        (b"    123.4 g\r\n", "123.4", "g"),
        (b"     -5.0 g\r\n", "-5.0", "g"),
        (b"+   12.30 g\n", "12.30", "g"),
        (b"1.2345 kg\r\n", "1.2345", "kg"),
        (b"8.2oz\n", "8.2", "oz"),
        (b"  2.05 LB  \r\n", "2.05", "lb"),
        (b"     -0.0 g\r\n", "0.0", "g"),
        (b".5 g\n", "0.5", "g"),
    ],
)
def test_a_number_and_a_unit_are_a_weight(
    line: bytes, value: str, unit: str, each_way: EachWay
) -> None:
    assert each_way(ValueUnitParser, line) == [WeightFrame(Decimal(value), unit)]


@pytest.mark.parametrize("line", [b"---------\r\n", b"  ----- g\r\n", b"   --.-\n"])
def test_dashes_are_a_state_without_a_value(line: bytes, each_way: EachWay) -> None:
    (event,) = each_way(ValueUnitParser, line)

    assert isinstance(event, WeightFrame)
    assert (event.value, event.state) == (None, "no weight")


@pytest.mark.parametrize(
    "line",
    [
        b"123.4\r\n",
        b"12 3.4 g\r\n",
        b"12,3 g\r\n",
        b"1.2.3 g\r\n",
        b"--5 g\r\n",
        b"123.4 mg\r\n",
        b"123.4 g g\r\n",
        b"123.4 g123.5 g\r\n",
        b"x123.4 g\r\n",
        b"1\xff3.4 g\r\n",
        b"1e3 g\r\n",
        b"nan g\r\n",
        "١٢ g\r\n".encode(),
        b"g\r\n",
    ],
)
def test_a_line_with_anything_else_in_it_is_garbage(line: bytes, each_way: EachWay) -> None:
    (event,) = each_way(ValueUnitParser, line)

    assert event == Garbage(line.rstrip(b"\r\n"), "not a number and a unit")


def test_behind_stray_bytes_a_number_counts_only_at_its_known_width() -> None:
    parser = ValueUnitParser()
    parser.feed(b"    123.4 g\r\n")

    found = parser.feed(b"\x80\x81    124.4 g\r\n")
    in_the_padding = parser.feed(b"  \x80 125.4 g\r\n")
    in_the_sign = parser.feed(b"\x80   126.4 g\r\n")
    in_the_number = parser.feed(b"\x80   1\x8027.4 g\r\n")

    assert values(found) == [Decimal("124.4")]
    assert values(in_the_padding) == values(in_the_sign) == values(in_the_number) == []


def test_a_number_whose_head_may_be_lost_is_refused_behind_stray_bytes() -> None:
    parser = ValueUnitParser()
    parser.feed(b"234.5 g\r\n")

    assert values(parser.feed(b"\x801234.5 g\r\n")) == []
    assert values(parser.feed(b"1234.5 g\r\n")) == [Decimal("1234.5")]


def test_before_any_sound_line_much_noise_and_blanks_let_a_number_through() -> None:
    noise = b"\x80" * 40

    assert values(ValueUnitParser().feed(noise + b"    123.4 g\r\n")) == [Decimal("123.4")]
    assert values(ValueUnitParser().feed(noise + b"123.4 g\r\n")) == []
    assert values(ValueUnitParser().feed(b"\x80   123.4 g\r\n")) == []


@pytest.mark.parametrize("end", [b"\r", b"\n"])
def test_a_line_end_inside_a_number_does_not_halve_it(end: bytes) -> None:
    parser = ValueUnitParser()

    events = parser.feed(b"12" + end + b"3.4 g\r\n125.0 g\r\n")

    assert values(events) == [Decimal("125.0")]


def test_an_instrument_that_ends_lines_with_cr_alone_is_understood() -> None:
    parser = ValueUnitParser()

    first = parser.feed(b"1.0 g\r2.0 g\r")
    second = parser.feed(b"3.0 g\r")

    assert values(first) == [Decimal("1.0"), Decimal("2.0")]
    assert values(second) == [Decimal("3.0")]


def test_a_cr_lf_line_ends_with_its_lf() -> None:
    parser = ValueUnitParser()

    assert parser.feed(b"1.0 g\r") == []
    assert values(parser.feed(b"\n")) == [Decimal("1.0")]


def test_a_stray_minus_at_the_head_of_a_line_turns_no_sign() -> None:
    before_any = ValueUnitParser().feed(b"\x80\n-    17.1 g\r\n")
    parser = ValueUnitParser()
    parser.feed(b"     12.3 g\r\n")

    events = parser.feed(b"\x80\n-     17.1 g\r\n")

    assert values(before_any) == []
    assert values(events) == [Decimal("17.1")]


def test_a_column_for_the_sign_is_believed_the_second_time_after_noise() -> None:
    events = ValueUnitParser().feed(b"\x80\n-    17.1 g\r\n-    17.2 g\r\n")

    assert values(events) == [Decimal("-17.2")]


def test_a_padded_line_that_lost_a_digit_is_refused_once() -> None:
    parser = ValueUnitParser()
    parser.feed(b"    123.4 g\r\n" * 3)

    lost_a_digit = parser.feed(b"    13.4 g\r\n")
    lost_the_point = parser.feed(b"    123.4 g\r\n" * 3 + b"    1234 g\r\n")
    next_one = parser.feed(b"    123.5 g\r\n")

    assert values(lost_a_digit) == []
    assert values(lost_the_point) == [Decimal("123.4")] * 3
    assert values(next_one) == [Decimal("123.5")]


def test_another_width_is_believed_the_second_time() -> None:
    parser = ValueUnitParser()
    parser.feed(b"    123.4 g\r\n" * 5)

    events = parser.feed(b"   4.35 oz\r\n" * 3)

    assert values(events) == [Decimal("4.35")] * 2


def test_lines_without_padding_may_have_any_width() -> None:
    parser = ValueUnitParser()

    events = parser.feed(b"9.8 g\n9.9 g\n9.9 g\n10.1 g\n-0.1 g\n-0.2 g\n-0.2 g\n5 g\n")

    assert len(values(events)) == 8
