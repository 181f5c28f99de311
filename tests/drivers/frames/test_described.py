"""Frames as a frame description says they are: the kitchen's own, without a source."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drivers.config import ConfigError
from drivers.frames import (
    DescribedParser,
    FrameEvent,
    Garbage,
    Overflow,
    Parser,
    Temperature,
    TemperatureFrame,
    WeightFrame,
    load_description,
    parse_description,
)
from drivers.frames.described import checksum_of
from simulators.frames import described as written

EachWay = Callable[[Callable[[], Parser], bytes], list[FrameEvent]]


def parser_of(text: str) -> Callable[[], Parser]:
    description = parse_description(text)
    return lambda: DescribedParser(description)


@pytest.mark.parametrize(
    ("frame", "expected"),
    [
        (written(123.4), WeightFrame(Decimal("123.4"), "g", None, True, False)),
        (
            written(-8.25, decimals=2, unit="oz", stable=False, net=True),
            WeightFrame(Decimal("-8.25"), "oz", None, False, True),
        ),
        (written(None), WeightFrame(None, "g", "overload", True, False)),
    ],
)
def test_the_groups_mean_what_the_description_says(
    frame: bytes, expected: WeightFrame, description_text: str, each_way: EachWay
) -> None:
    assert each_way(parser_of(description_text), frame) == [expected]


@settings(
    max_examples=200,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(at=st.integers(0, 22), byte=st.integers(0, 255))
def test_no_single_wrong_byte_passes_the_checksum(
    at: int, byte: int, description_text: str
) -> None:
    frame = written(123.4)
    spoilt = frame[:at] + bytes([byte]) + frame[at + 1 :]

    events = parser_of(description_text)().feed(spoilt)

    weights = [event for event in events if isinstance(event, WeightFrame)]
    assert weights == (
        [WeightFrame(Decimal("123.4"), "g", None, True, False)] if spoilt == frame else []
    )


def test_checksums_have_their_published_check_values() -> None:
    # Check value of CRC-16/MODBUS over "123456789": 0x4B37, as catalogues of CRCs list it (from
    # memory). The other two by hand: 0x31 ^ … ^ 0x39 = 0x31, and 0x31 + … + 0x39 = 477 = 0x1DD.
    assert checksum_of("crc16", b"123456789") == 0x4B37
    assert checksum_of("xor8", b"123456789") == 0x31
    assert checksum_of("sum8", b"123456789") == 0xDD


@pytest.mark.parametrize(
    ("kind", "size", "sound", "wrong"),
    [
        ("xor8", 2, b"123456789*31\n", b"123456789*32\n"),
        ("sum8", 2, b"123456789*DD\n", b"123456789*DC\n"),
        ("crc16", 4, b"123456789*4B37\n", b"123456789*374B\n"),
        ("crc16", 2, b"123456789*\x4b\x37\n", b"123456789*\x37\x4b\n"),
        ("sum8", 1, b"123456789*\xdd\n", b"123456789*\xdc\n"),
        ("none", 2, b"123456789*00\n", b"12345678x*00\n"),
    ],
)
def test_a_checksum_is_over_the_bytes_before_the_character_before_it(
    kind: str, size: int, sound: bytes, wrong: bytes, each_way: EachWay
) -> None:
    make = parser_of(
        f"""
        [frame]
        end = "\\n"
        pattern = '^(?P<value>\\d+)\\*(?P<checksum>.{{{size}}})$'
        checksum = "{kind}"
        [means]
        unit = "g"
        """
    )

    assert each_way(make, sound) == [WeightFrame(Decimal(123456789), "g")]
    assert [type(event) for event in each_way(make, wrong)] == [Garbage]


FIXED = r"""
[frame]
start = "\u0002"
length = 9
pattern = '%s(?P<value>[+-][ \d]{4}\d)(?P<unit>g|k)[\r]'
poll = "P\r"
tare = "T\r"
[means]
unit = { g = "g", k = "kg" }
"""


@pytest.mark.parametrize("beginning", [r"\x02", ""])
def test_frames_of_a_fixed_length_are_found_by_their_start(
    beginning: str, each_way: EachWay
) -> None:
    make = parser_of(FIXED % beginning)
    frame = b"\x02+00123g\r"[:9] if beginning else b"\x02+00123g\r"
    stream = b"zz" + frame + frame[:4] + frame + b"\x02+0012\xffg\r" + frame

    events = each_way(make, stream)

    weights = [event for event in events if isinstance(event, WeightFrame)]
    assert weights == [WeightFrame(Decimal(123), "g")] * 3
    assert sum(len(e.data) for e in events if isinstance(e, Garbage)) == 2 + 4 + 9


def test_commands_are_those_of_the_description() -> None:
    parser = parser_of(FIXED % "")()

    assert (parser.poll(), parser.tare(), parser.zero()) == (b"P\r", b"T\r", None)
    assert parser.start_continuous() is None


def test_frames_of_a_fixed_length_alone_are_found_by_their_pattern(each_way: EachWay) -> None:
    make = parser_of(
        """
        [frame]
        length = 6
        pattern = '=(?P<value>[ \\d]{3}\\d)g'
        [means]
        unit = "g"
        """
    )

    events = each_way(make, b"3g= 123g= 124g=")

    assert [e.value for e in events if isinstance(e, WeightFrame)] == [Decimal(123), Decimal(124)]


def test_a_thermometer_is_described_by_its_unit(each_way: EachWay) -> None:
    make = parser_of(
        r"""
        [frame]
        end = "\n"
        pattern = 'ch(?P<channel>\d) (?P<value>-?\d+\.\d|OL) ?(?P<unit>°[CF])'
        [means]
        "open circuit" = "OL"
        """
    )

    assert each_way(make, "ch2 96.4 °C\n".encode()) == [
        TemperatureFrame((Temperature("2", Decimal("96.4"), "C"),))
    ]
    assert each_way(make, b"ch2 OL\xb0F\n") == [
        TemperatureFrame((Temperature("2", None, "F", "open circuit"),))
    ]


def test_a_state_group_says_why_there_is_no_value(each_way: EachWay) -> None:
    make = parser_of(
        r"""
        [frame]
        end = "\n"
        pattern = '(?P<state>..) (?P<value>.{5})g'
        [means]
        unit = "g"
        state = { OK = "", OL = "overload", ER = "fault" }
        """
    )

    assert each_way(make, b"OK  12.5g\n") == [WeightFrame(Decimal("12.5"), "g")]
    assert each_way(make, b"OL -----g\n") == [WeightFrame(None, "g", "overload")]
    assert [type(event) for event in each_way(make, b"XX  12.5g\n")] == [Garbage]
    assert [type(event) for event in each_way(make, b"OK -----g\n")] == [Garbage]


def test_a_pattern_that_begins_with_anything_finds_no_frame_behind_stray_bytes() -> None:
    text = "[frame]\nend = '\\n'\npattern = '(?P<value>\\d+\\.\\d) g'\n[means]\nunit = 'g'"
    parser = parser_of(text.replace("'\\n'", '"\\n"'))()

    events = parser.feed(b"1\xff23.4 g\n" + b"9" * 400 + b".5 g\n125.0 g\n")

    assert [e.value for e in events if isinstance(e, WeightFrame)] == [Decimal("125.0")]
    assert any(isinstance(event, Overflow) for event in events)


@pytest.mark.parametrize(
    ("text", "line", "remedy"),
    [
        ("[frame]\npattern = '(?P<value>.)'\n", 1, "write end ="),
        ("[frame]\nstart = '!'\npattern = '(?P<value>.)'\n", 2, "write end ="),
        ("[frame]\nend = 'x'\n", 1, "write pattern ="),
        ("[frame]\nend = 'x'\npattern = '(?P<value>['\n", 3, "not a regular expression"),
        ("[frame]\nend = 'x'\npattern = '.+'\n", 3, "write (?P<value>"),
        ("[frame]\nend = 'x'\npattern = '(?P<value>.)(?P<weight>.)'\n", 3, "the groups are"),
        ("[frame]\nend = 'x'\npattern = '(?P<value>.)'\n[means]\n", 4, "write unit ="),
        (
            "[frame]\nend = 'x'\nchecksum = 'md5'\npattern = '(?P<value>.)'\n[means]\nunit = 'g'",
            3,
            "write one of",
        ),
        (
            "[frame]\nend = 'x'\nchecksum = 'xor8'\npattern = '(?P<value>.)'\n[means]\nunit = 'g'",
            4,
            "(?P<checksum>",
        ),
        (
            "[frame]\nend = 'x'\npattern = '(?P<value>.)(?P<checksum>.)'\n[means]\nunit = 'g'",
            3,
            "write checksum =",
        ),
        (
            "[frame]\nend = 'x'\npattern = '(?P<value>.)(?P<stable>.)'\n[means]\nunit = 'g'",
            4,
            "write stable =",
        ),
        (
            "[frame]\nend = 'x'\npattern = '(?P<value>.)'\n[means]\nunit = 'stone'",
            5,
            "none of g, kg",
        ),
        (
            "[frame]\nend = 'x'\npattern = '(?P<value>.)'\n[means]\nunit = 'g'\nheavy = '.'",
            6,
            "write one of",
        ),
        ("[frame]\nend = 3\npattern = '(?P<value>.)'\n", 2, "write end ="),
        ("[frame]\nlength = 0\npattern = '(?P<value>.)'\n", 2, "from 1 to 256"),
        ("[frame]\nend = 'x'\nbaud = 9600\n", 3, "write one of"),
        ("[frames]\nend = 'x'\n", 1, "write [frame]"),
        (
            "[frame]\nend = 'x'\npattern = '(?P<value>(\\d+)+) g'\n[means]\nunit = 'g'",
            3,
            "write it out",
        ),
        (
            "[frame]\nend = 'x'\npattern = '(?P<value>(?:a|a)*)'\n[means]\nunit = 'g'",
            3,
            "write it out",
        ),
        (
            "[frame]\nend = 'x'\npattern = '(?P<value>" + r"\d*" * 6 + ") g'\n[means]\nunit = 'g'",
            3,
            "too long",
        ),
        ("[frame]\nend = x\n", None, "line 2"),
    ],
)
def test_an_unusable_description_names_file_line_and_remedy(
    tmp_path: Path, text: str, line: int | None, remedy: str
) -> None:
    path = tmp_path / "scale.toml"
    path.write_text(text, "utf-8")

    with pytest.raises(ConfigError) as caught:
        load_description(path)

    assert str(path) in str(caught.value)
    assert remedy in str(caught.value)
    if line is not None:
        assert caught.value.where == f"{path}, line {line}"


def test_a_description_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match=r"nowhere\.toml"):
        load_description(tmp_path / "nowhere.toml")


@pytest.mark.parametrize(
    "pattern",
    [
        r"(?P<value>[+-]?\d+(?:\.\d+)?) (?P<unit>g|kg)",
        r"(?P<value> *\d+\.?\d*) (?P<unit>g)",
        r"\((?P<value>[()*+|\d]+)\)(?P<unit>g)",
        r"(?:\d{2}:){2}\d{2} (?P<value>\d+)(?P<unit>g)",
    ],
)
def test_ordinary_patterns_are_not_held_for_dangerous(pattern: str) -> None:
    description = parse_description(f"[frame]\nend = ';'\npattern = '{pattern}'\n")

    assert description.pattern.pattern == pattern
