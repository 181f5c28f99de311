"""House rules and properties that hold for the parser of every family."""

from __future__ import annotations

import random
from collections.abc import Callable
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drivers.frames import (
    FAMILIES,
    FrameEvent,
    Garbage,
    Overflow,
    Parser,
    TemperatureFrame,
    WeightFrame,
)
from simulators import frames as written

Make = Callable[[str], Callable[[], Parser]]
every_family = pytest.mark.parametrize("family", FAMILIES)


def frame_bytes(family: str, value: float) -> bytes:
    """A frame of the family saying the value (one decimal), by an encoder of another hand."""
    if family == "sma":
        return written.sma(value, decimals=1)
    if family == "value-unit":
        return written.value_unit(value)
    if family == "described":
        return written.described(value)
    if family == "hid-scale":
        return written.hid_scale(value, exponent=-1)
    return written.text_probe({"T1": value, "T2": None})


def sound(events: list[FrameEvent]) -> list[Decimal | None]:
    """The values that became frames."""
    out: list[Decimal | None] = []
    for event in events:
        if isinstance(event, WeightFrame):
            out.append(event.value)
        elif isinstance(event, TemperatureFrame):
            out.append(event.values[0].value)
    return out


@every_family
def test_feeding_nothing_gives_nothing(family: str, make: Make) -> None:
    parser = make(family)()

    assert parser.feed(b"") == []
    assert isinstance(parser, Parser)


@every_family
def test_a_parser_states_its_limit_and_holds_no_more(family: str, make: Make) -> None:
    parser = make(family)()
    told = 0

    for fed in range(5_000):
        for event in parser.feed(b"x"):
            assert isinstance(event, Garbage | Overflow)
            assert len(event.data) <= parser.limit
            told += len(event.data)
        assert fed + 1 - told <= parser.limit

    assert 0 < parser.limit <= 1024
    assert told > 0


@every_family
def test_commands_are_bytes_or_nothing(family: str, make: Make) -> None:
    parser = make(family)()

    for command in (
        parser.poll(),
        parser.tare(),
        parser.zero(),
        parser.start_continuous(),
        parser.stop_continuous(),
    ):
        assert command is None or (isinstance(command, bytes) and command)


@every_family
def test_a_frame_is_the_same_whole_in_bytes_and_with_a_tail(
    family: str, make: Make, each_way: Callable[[Callable[[], Parser], bytes], list[FrameEvent]]
) -> None:
    events = each_way(make(family), frame_bytes(family, 123.4))

    assert sound(events) == [Decimal("123.4")]
    assert len(events) == 1


@every_family
def test_many_frames_in_one_read_come_in_order(family: str, make: Make) -> None:
    values = [0.0, 0.1, 12.3, 123.4, 999.9]

    events = make(family)().feed(b"".join(frame_bytes(family, value) for value in values))

    assert sound(events) == [Decimal(str(value)) for value in values]


@every_family
def test_a_frame_that_is_not_ended_is_no_frame_yet(family: str, make: Make) -> None:
    parser = make(family)()

    assert parser.feed(frame_bytes(family, 123.4)[:-1]) == []
    assert sound(parser.feed(frame_bytes(family, 123.4)[-1:])) == [Decimal("123.4")]


PIECES = st.one_of(
    st.tuples(st.just("frame"), st.integers(0, 9999)),
    st.tuples(st.just("half"), st.integers(0, 9999)),
    st.tuples(st.just("damaged"), st.integers(0, 9999)),
    st.tuples(st.just("noise"), st.binary(max_size=40)),
    st.tuples(st.just("ends"), st.sampled_from([b"\r", b"\n", b"\r\n", b"\n\r", b"\r\r\n"])),
    st.tuples(st.just("long"), st.integers(60, 600)),
)


def stream_of(family: str, pieces: list[tuple[str, int | bytes]]) -> bytes:
    out = b""
    for kind, what in pieces:
        if isinstance(what, bytes):
            out += what
        elif kind == "long":
            out += b"7" * what
        else:
            frame = frame_bytes(family, what / 10)
            if kind == "half":
                frame = frame[: what % len(frame)]
            elif kind == "damaged":
                at = what % len(frame)
                frame = frame[:at] + bytes([what % 256]) + frame[at + 1 :]
            out += frame
    return out


@every_family
@settings(
    max_examples=60,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(pieces=st.lists(PIECES, max_size=8), cuts=st.lists(st.integers(0, 2000), max_size=12))
def test_any_chunking_gives_the_same_events(
    family: str, make: Make, pieces: list[tuple[str, int | bytes]], cuts: list[int]
) -> None:
    stream = stream_of(family, pieces)
    edges = [0, *sorted(cut % (len(stream) + 1) for cut in cuts), len(stream)]
    whole, by_byte, in_chunks = make(family)(), make(family)(), make(family)()

    events = whole.feed(stream)

    assert [e for byte in stream for e in by_byte.feed(bytes([byte]))] == events
    assert [e for a, b in pairwise(edges) for e in in_chunks.feed(stream[a:b])] == events


@every_family
@settings(
    max_examples=40,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(noise=st.binary(max_size=300))
def test_after_noise_the_second_sound_frame_is_found_at_the_latest(
    family: str, make: Make, noise: bytes
) -> None:
    parser = make(family)()
    parser.feed(frame_bytes(family, 1.0))

    events = parser.feed(noise + frame_bytes(family, 222.2) * 2)

    assert sound(events)[-1] == Decimal("222.2")


@every_family
def test_garbage_never_wins(family: str, make: Make) -> None:
    """Random bytes with a sound frame every 1 000: all of them are found, and nothing else."""
    source = random.Random(20)
    parser = make(family)()
    values = [source.randrange(1, 9999) / 10 for _ in range(200)]
    # One clean frame first: where a frame has no marks, its shape is learnt from it.
    stream = frame_bytes(family, values[0])
    for value in values[1:]:
        stream += source.randbytes(1000) + frame_bytes(family, value)

    events = [e for at in range(0, len(stream), 777) for e in parser.feed(stream[at : at + 777])]

    assert sound(events) == [Decimal(str(value)) for value in values]
    told = sum(len(e.data) for e in events if isinstance(e, Garbage | Overflow))
    assert told > 150_000


@every_family
@pytest.mark.parametrize("stray", [b"\xff", b"\x00\x00", b"#\x80z"])
def test_stray_bytes_before_a_frame_cost_no_frame(family: str, make: Make, stray: bytes) -> None:
    parser = make(family)()
    parser.feed(frame_bytes(family, 1.0))

    events = parser.feed(stray + frame_bytes(family, 222.2))

    assert sound(events) == [Decimal("222.2")]
    assert events[0] == Garbage(stray, events[0].reason)  # type: ignore[union-attr]


@pytest.mark.parametrize("family", ["sma", "value-unit", "described"])
def test_a_lost_end_costs_only_its_own_frame(family: str, make: Make) -> None:
    parser = make(family)()
    lost = frame_bytes(family, 111.1).rstrip(b"\r\n")
    stream = frame_bytes(family, 1.0) + lost + frame_bytes(family, 222.2)

    events = parser.feed(stream + frame_bytes(family, 333.3))

    assert sound(events) == [Decimal("1.0"), Decimal("222.2"), Decimal("333.3")]


@every_family
def test_a_spoilt_byte_never_becomes_a_reading(family: str, make: Make) -> None:
    frame = frame_bytes(family, 123.4)
    # Exponent and magnitude of a HID report may be any byte: there is nothing to know it by.
    # The reserved character of an SMA frame carries nothing and is printable only.
    ends = len(frame.rstrip(b"\r\n")) if family != "hid-scale" else 3

    for at in range(ends):
        parser = make(family)()
        spoilt = frame[:at] + b"\xff" + frame[at + 1 :]
        events = parser.feed(spoilt + frame_bytes(family, 222.2) + frame_bytes(family, 333.3))

        assert sound(events)[-1] == Decimal("333.3"), at
        assert set(sound(events)) <= {Decimal("222.2"), Decimal("333.3")}, at
