"""Frames, byte for byte, against the published layouts."""

import re
from functools import reduce
from operator import xor

import pytest

from simulators import frames


# USB-IF HID Point of Sale Usage Tables 1.02, usage page 0x8D: the data report of the
# specification-style descriptor; byte strings worked out by hand from it.
@pytest.mark.parametrize(
    ("report", "value", "exponent", "unit", "status"),
    [
        ("03 04 02 00 14 00", 20.0, 0, "g", frames.HID_STABLE),
        ("03 04 02 ff d2 04", 123.4, -1, "g", frames.HID_STABLE),
        ("03 03 02 00 e8 03", 1000.0, 0, "g", frames.HID_MOTION),
        ("03 02 0b ff 00 00", 0.0, -1, "oz", frames.HID_ZERO),
        ("03 04 0b ff 34 19", 645.2, -1, "oz", frames.HID_STABLE),
        ("03 05 02 00 05 00", -5.0, 0, "g", frames.HID_STABLE),
        ("03 06 02 00 00 00", None, 0, "g", frames.HID_OVER),
        ("03 04 03 fd fe ff", 65.534, -3, "kg", frames.HID_STABLE),
    ],
)
def test_a_hid_report_has_the_six_bytes_of_the_usage_tables(
    report: str, value: float | None, exponent: int, unit: str, status: int
) -> None:
    made = frames.hid_scale(value, exponent=exponent, unit=unit, status=status)

    assert made.hex(" ") == report


def test_a_magnitude_beyond_the_report_is_refused() -> None:
    with pytest.raises(ValueError, match="does not fit"):
        frames.hid_scale(65_535.0)


# SMA SCP-0499, standard scale response: LF s r n m f, ten of weight, three of unit, CR.
def test_an_sma_reply_has_each_field_in_its_place() -> None:
    moving = frames.sma(-12.0, kind="N", motion=True)

    assert moving == b"\n 1NM        -12g  \r"
    assert frames.sma(0.0, status="Z") == b"\nZ1G           0g  \r"
    assert frames.sma(1.25, decimals=2, unit="kg") == b"\n 1G        1.25kg \r"
    assert frames.sma(None, status="O") == b"\nO1G  ----------g  \r"
    assert {len(frames.sma(v)) for v in (0.0, 1.0, 99_999.0, -4.0)} == {20}


def test_a_weight_that_does_not_fit_ten_characters_is_refused() -> None:
    with pytest.raises(ValueError, match="ten characters"):
        frames.sma(12_345_678_901.0)


def test_a_value_and_unit_line_is_plain_text() -> None:
    assert frames.value_unit(123.4) == b"    123.4 g\r\n"
    assert frames.value_unit(-0.04) == b"      0.0 g\r\n"
    assert set(frames.value_unit(None).strip()) == set(b"-")


def test_a_described_frame_carries_its_own_checksum() -> None:
    pattern = rb"^!w=([+-]\d+\.?\d*|\++);u=(g|oz);s=([01]);n=([01])\*([0-9A-F]{2})\r\n$"

    for frame in (frames.described(123.4), frames.described(-5.0, net=True, stable=False)):
        match = re.match(pattern, frame)
        assert match is not None
        assert int(match[5], 16) == reduce(xor, frame[: frame.index(b"*")], 0)
    assert re.match(pattern, frames.described(None)) is not None


def test_a_thermometer_line_has_one_or_several_channels() -> None:
    assert frames.text_probe({"air": 175.8}) == b"air 175.8 C\r\n"
    assert frames.text_probe({"T1": 96.4, "T2": 175.8}) == b"T1 96.4 C, T2 175.8 C\r\n"
    assert frames.text_probe({"T1": None, "T2": 175.8}) == b"T1 ----, T2 175.8 C\r\n"
