"""USB-IF HID Point of Sale Usage Tables 1.02, section 4, usage page 0x8D."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest

from drivers.frames import FrameEvent, Garbage, HidScaleParser, Parser, WeightFrame, parser_for
from drivers.frames.hid_descriptor import EXAMPLE, DescriptorRefused, read_descriptor

EachWay = Callable[[Callable[[], Parser], bytes], list[FrameEvent]]


def items(*parts: str) -> bytes:
    return bytes.fromhex("".join(parts))


def descriptor(
    *,
    report_id: str = "8503",
    weight: str = "15 00 27 FE FF 00 00 75 10 95 01 09 40 81 02",
    statuses: str = "19 71 29 78",
) -> bytes:
    """A data report in the form of the document's: status, unit, scaling, weight, in that order.

    The items are those of HID 1.11, section 6.2.2, put together by hand.
    """
    return items(
        "05 8D 09 20 A1 01 09 32 A1 02",
        report_id,
        "09 70 A1 02 15 01 25 08 75 08 95 01",
        statuses,
        "81 00 C0",
        "09 50 A1 02 15 01 25 0C 75 08 95 01 19 51 29 5C 81 00 C0",
        "15 81 25 7F 75 08 95 01 09 41 81 02",
        weight,
        "C0 C0",
    )


@pytest.mark.parametrize(
    ("report", "expected"),
    [
        # Worked through by hand from the layout of the document's example data report.
        ("03 04 02 00 14 00", WeightFrame(Decimal("20"), "g", stable=True)),
        ("03 04 02 FF D2 04", WeightFrame(Decimal("123.4"), "g", stable=True)),
        ("03 03 02 00 E8 03", WeightFrame(Decimal("1000"), "g", stable=False)),
        ("03 02 0B FF 00 00", WeightFrame(Decimal("0.0"), "oz", stable=True)),
        ("03 04 0B FF 34 19", WeightFrame(Decimal("645.2"), "oz", stable=True)),
        ("03 05 02 00 05 00", WeightFrame(Decimal("-5"), "g", stable=None)),
        ("03 06 02 00 34 12", WeightFrame(None, "g", "overload")),
        ("03 04 03 FD FE FF", WeightFrame(Decimal("65.534"), "kg", stable=True)),
        ("03 01 02 00 00 00", WeightFrame(None, "g", "fault")),
        ("03 07 02 00 00 00", WeightFrame(None, "g", "needs calibration")),
        ("03 08 02 00 00 00", WeightFrame(None, "g", "needs zeroing")),
        ("03 04 0C FE 4B 00", WeightFrame(Decimal("0.75"), "lb", stable=True)),
    ],
)
def test_each_status_and_unit_of_the_example_report_is_read(
    report: str, expected: WeightFrame, each_way: EachWay
) -> None:
    assert each_way(HidScaleParser, bytes.fromhex(report)) == [expected]


@pytest.mark.parametrize(
    ("report", "reason"),
    [
        ("03 00 02 00 14 00", "no status"),
        ("03 09 02 00 14 00", "no status"),
        ("03 04 00 00 14 00", "no unit"),
        ("03 04 0D 00 14 00", "no unit"),
        ("03 04 04 00 14 00", "carat"),
        ("03 04 02 40 14 00", "exponent"),
        ("03 04 02 80 14 00", "exponent"),
        ("03 04 02 00 FF FF", "range"),
        ("04 04 02 00 14 00", "no report begins"),
    ],
)
def test_a_field_out_of_range_refuses_the_report_and_the_next_is_found(
    report: str, reason: str, each_way: EachWay
) -> None:
    stream = bytes.fromhex(report + "03 04 02 FF D2 04")

    events = each_way(HidScaleParser, stream)

    assert isinstance(events[0], Garbage)
    assert reason in events[0].reason
    assert events[-1] == WeightFrame(Decimal("123.4"), "g", stable=True)


def test_a_lost_byte_costs_its_report_and_no_other() -> None:
    report = bytes.fromhex("03 04 02 00 03 04")

    for at in range(6):
        parser = HidScaleParser()
        parser.feed(report)
        events = parser.feed(report[:at] + report[at + 1 :] + report * 2)

        weights = [event for event in events if isinstance(event, WeightFrame)]
        # The magnitude has no mark: without its high byte, the next report's id stands in for it.
        assert weights[-1] == WeightFrame(Decimal(0x0403), "g", stable=True), at
        assert all(weight.unit == "g" for weight in weights), at
        assert len(weights) >= 1, at


def test_another_unit_right_after_noise_must_come_twice() -> None:
    parser = HidScaleParser()
    parser.feed(bytes.fromhex("03 04 02 00 14 00"))

    first = parser.feed(bytes.fromhex("FF 03 04 0B FF 14 00"))
    second = parser.feed(bytes.fromhex("03 04 0B FF 15 00"))

    assert first == []
    assert second[-1] == WeightFrame(Decimal("2.1"), "oz", stable=True)


def test_a_descriptor_of_the_examples_form_gives_the_examples_layout() -> None:
    assert read_descriptor(descriptor()) == EXAMPLE


def test_a_weight_of_thirty_two_bits_is_read_whole() -> None:
    parser = parser_for(
        "hid-scale",
        hid_descriptor=descriptor(weight="15 00 27 FF FF FF 7F 75 20 95 01 09 40 81 02"),
    )

    events = parser.feed(bytes.fromhex("03 04 02 FD 40 E2 01 00"))

    assert events == [WeightFrame(Decimal("123.456"), "g", stable=True)]


def test_a_scale_without_report_ids_sends_no_id() -> None:
    parser = HidScaleParser(descriptor(report_id=""))

    assert parser.feed(bytes.fromhex("04 02 00 14 00")) == [
        WeightFrame(Decimal(20), "g", stable=True)
    ]


def test_the_numbers_of_an_array_are_what_the_descriptor_lists() -> None:
    # Usages one by one, in another order: 1 is weight stable (0x74), 2 is in motion (0x73).
    parser = HidScaleParser(descriptor(statuses="25 02 09 74 09 73"))

    assert parser.feed(bytes.fromhex("03 01 02 00 14 00 03 02 02 00 15 00 03 04 02 00 14 00")) == [
        WeightFrame(Decimal(20), "g", stable=True),
        WeightFrame(Decimal(21), "g", stable=False),
    ]


def test_other_input_reports_of_the_scale_are_stepped_over() -> None:
    status_report = items("85 04 05 8D 09 33 15 00 26 FF 00 75 08 95 02 81 02")
    parser = HidScaleParser(descriptor() + status_report)

    events = parser.feed(bytes.fromhex("03 04 02 00 14 00 04 03 03 03 04 02 00 15 00"))

    assert [e.value for e in events if isinstance(e, WeightFrame)] == [Decimal(20), Decimal(21)]
    assert len(events) == 2


@pytest.mark.parametrize(
    ("broken", "reason"),
    [
        (b"", "no input report"),
        (descriptor()[:-20], "cut short at byte 58"),
        (descriptor() + b"\x75", "cut short"),
        (items("05 01 09 06 A1 01 C0"), "no input report"),
        (items("B4"), "never kept"),
        (items("05 8D 75 FF 96 FF FF 81 02"), "longer"),
        (descriptor(report_id="8500"), "report id"),
        (b"\x00" * 5000, "too many"),
    ],
)
def test_what_is_no_descriptor_of_a_scale_is_refused_with_the_reason(
    broken: bytes, reason: str
) -> None:
    with pytest.raises(DescriptorRefused, match=reason):
        read_descriptor(broken)


@pytest.mark.parametrize("kept", [1, 2, 3, 4, 5])
def test_a_report_that_came_short_takes_no_weight_from_the_next(kept: int) -> None:
    report = bytes.fromhex("03 04 02 FF B8 0B")
    parser = HidScaleParser()
    parser.feed(report * 3)

    events = parser.feed(report[:kept] + report * 4)

    weights = [event.value for event in events if isinstance(event, WeightFrame)]
    assert set(weights) == {Decimal("300.0")}
    assert len(weights) >= 3


def test_a_weight_that_looks_like_the_joint_of_two_reports_comes_with_the_next() -> None:
    parser = HidScaleParser()
    parser.feed(bytes.fromhex("03 04 02 00 F0 02"))

    first = parser.feed(bytes.fromhex("03 04 02 00 03 04"))
    second = parser.feed(bytes.fromhex("03 04 02 00 03 04"))
    third = parser.feed(bytes.fromhex("03 04 02 00 03 04"))

    assert first == []
    assert [e.value for e in second + third if isinstance(e, WeightFrame)] == [Decimal(1027)] * 3
