"""Every frame is fed whole, byte by byte, and with the beginning of the next behind it."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from drivers.frames import FrameEvent, Parser, parse_description, parser_for

DESCRIPTION = r"""
[frame]
end = "\r\n"
pattern = '^!w=(?P<value>[+-]\d+\.?\d*|\++);u=(?P<unit>g|oz);s=(?P<stable>[01]);n=NET\*SUM$'
checksum = "xor8"
poll = ""
[means]
stable = { "1" = true, "0" = false }
net = { "1" = true, "0" = false }
overload = '^\++$'
""".replace("NET", "(?P<net>[01])").replace("SUM", "(?P<checksum>[0-9A-F]{2})")

EachWay = Callable[[Callable[[], Parser], bytes], list[FrameEvent]]


@pytest.fixture
def description_text() -> str:
    return DESCRIPTION


@pytest.fixture
def make() -> Callable[[str], Callable[[], Parser]]:
    """A maker of fresh parsers of a family."""

    def of(family: str) -> Callable[[], Parser]:
        described = parse_description(DESCRIPTION) if family == "described" else None
        return lambda: parser_for(family, described)

    return of


@pytest.fixture
def each_way() -> EachWay:
    """The events of bytes, the same whole, byte by byte, and with a tail."""

    def events(make_parser: Callable[[], Parser], data: bytes) -> list[FrameEvent]:
        whole = make_parser().feed(data)
        one_by_one = make_parser()
        by_byte = [event for byte in data for event in one_by_one.feed(bytes([byte]))]
        with_tail = make_parser().feed(data + data[:3])
        assert by_byte == whole
        assert with_tail[: len(whole)] == whole
        return whole

    return events
