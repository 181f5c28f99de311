"""SMA SCP-0499, levels 1 and 2 (Scale Manufacturers Association), as other documents quote it."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest

from drivers.frames import FrameEvent, Garbage, Overflow, Parser, Reply, SmaParser, WeightFrame

EachWay = Callable[[Callable[[], Parser], bytes], list[FrameEvent]]


@pytest.mark.parametrize(
    ("frame", "expected"),
    [
        (b"\n 1G       123.4g  \r", WeightFrame(Decimal("123.4"), "g", None, True, False)),
        (b"\nZ1G         0.0g  \r", WeightFrame(Decimal("0.0"), "g", None, True, False)),
        (b"\n 1NM      -12.3g  \r", WeightFrame(Decimal("-12.3"), "g", None, False, True)),
        (b"\n 2n     12.3456kg \r", WeightFrame(Decimal("12.3456"), "kg", None, True, True)),
        (b"\n 1g       8.125oz \r", WeightFrame(Decimal("8.125"), "oz", None, True, False)),
        (b"\n 1G       +1.50lb \r", WeightFrame(Decimal("1.50"), "lb", None, True, False)),
        (
            b"\n 1T        35.0g  \r",
            WeightFrame(Decimal("35.0"), "g", None, True, None, None, True),
        ),
        (b"\nO1GM ----------g  \r", WeightFrame(None, "g", "overload", False, False)),
        (b"\nU1G  ----------g  \r", WeightFrame(None, "g", "underload", True, False)),
        (b"\nE1G  ----------g  \r", WeightFrame(None, "g", "zero error", True, False)),
        (b"\nI1G  ----------kg \r", WeightFrame(None, "kg", "initial zero error", True, False)),
        (b"\nT1N  ----------g  \r", WeightFrame(None, "g", "tare error", True, True)),
        (b"\n 1G  ----------g  \r", WeightFrame(None, "g", "no weight", True, False)),
        # The status stands above a number that is sent all the same.
        (b"\nO1G       999.9g  \r", WeightFrame(None, "g", "overload", True, False)),
    ],
)
def test_each_status_kind_and_unit_is_read(
    frame: bytes, expected: WeightFrame, each_way: EachWay
) -> None:
    assert len(frame) == 20

    assert each_way(SmaParser, frame) == [expected]


def test_minus_zero_is_zero() -> None:
    frame = SmaParser().feed(b"\n 1G        -0.0g  \r")[0]

    assert isinstance(frame, WeightFrame)
    assert str(frame.value) == "0.0"


@pytest.mark.parametrize(
    "frame",
    [
        b"\nX1G       123.4g  \r",
        b"\n 0G       123.4g  \r",
        b"\n 1X       123.4g  \r",
        b"\n 1GX      123.4g  \r",
        b"\n 1G       123.4mg \r",
        b"\n 1G       123.4 g \r",
        b"\n 1G      1 23.4g  \r",
        b"\n 1G      1.23.4g  \r",
        b"\n 1G     123.4  g  \r",
        b"\n 1G            g  \r",
        b"\n 1G         nang  \r",
        b"\n 1G        1e10g  \r",
        b"\nZ1G  ----------g  \r",
        b"\n 1G      123.4g  \r",
        b"\n 1G        123.4g  \r",
        b"\n 1G       123.4g \r",
    ],
)
def test_what_the_layout_does_not_allow_is_garbage(frame: bytes, each_way: EachWay) -> None:
    events = each_way(SmaParser, frame)

    assert [type(event) for event in events] == [Garbage]


def test_a_lost_byte_anywhere_refuses_the_frame_and_spares_the_next() -> None:
    frame, following = b"\n 1N      1234.5kg \r", b"\n 1N         7.5kg \r"

    for at in range(len(frame)):
        events = SmaParser().feed(frame[:at] + frame[at + 1 :] + following)

        weights = [event for event in events if isinstance(event, WeightFrame)]
        assert [weight.value for weight in weights] == [Decimal("7.5")], at


@pytest.mark.parametrize(
    ("answer", "text"),
    [(b"\n?\r", "?"), (b"\nSMA:2/1.0\r", "SMA:2/1.0"), (b"\nREC \r", "REC")],
)
def test_answers_are_no_weights(answer: bytes, text: str, each_way: EachWay) -> None:
    # "?" is from the standard; the forms of the other two are from memory.
    assert each_way(SmaParser, answer) == [Reply(text)]


def test_bytes_without_a_line_feed_overflow_by_the_limit() -> None:
    parser = SmaParser()

    events = parser.feed(b"a" * 300) + parser.feed(b"\n 1G       123.4g  \r")

    assert [type(event) for event in events] == [Overflow, Overflow, Garbage, WeightFrame]


def test_the_commands_are_those_of_the_standard() -> None:
    parser = SmaParser()

    assert parser.poll() == b"\nW\r"
    assert parser.tare() == b"\nT\r"
    assert parser.zero() == b"\nZ\r"
    assert parser.start_continuous() == b"\nR\r"
    assert parser.stop_continuous() == b"\x1b"
