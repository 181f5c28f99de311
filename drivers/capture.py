"""Captures: bytes as they were read from a port, decoded into readings.

A capture is JSON Lines, optionally gzipped, a read a line: ``{"t": seconds, "text": "…"}`` or
``{"t": seconds, "hex": "…"}``. A read may hold part of a frame, several, or noise. ``text`` stands
for its UTF-8 bytes; a byte that is no UTF-8 is written as its surrogate escape (``\\udc80`` to
``\\udcff``, as Python's error handler of that name makes them), or better as ``hex``.

A frame's time is that of the read that ended it; further frames in that read follow at 1 µs, and
the time of a channel always grows.
"""

from __future__ import annotations

import gzip
import json
import math
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, TextIO

from drivers.config import ConfigError
from drivers.frames import Description, Garbage, Overflow, TemperatureFrame, parser_for, readings_of
from drivers.reading import LATEST_US, MICROSECOND, NAME, Reading, microseconds

DEFAULT_SCALE = "scale/mass"
DEFAULT_PROBE = "probe"


class _Refused(ValueError):
    """A line that is no read of a port."""


def open_text(path: Path) -> TextIO:
    """Open a capture or session, gzipped (name ends in ``.gz``) or not, as text.

    Bytes that are no UTF-8 come as surrogate escapes, so that one bad line costs only itself.

    Raises:
        OSError: there is no such file, or it cannot be read.
    """
    if path.suffix == ".gz":
        return gzip.open(path, "rt", encoding="utf-8", errors="surrogateescape")
    return path.open("r", encoding="utf-8", errors="surrogateescape")


def decode(
    lines: Iterable[str],
    family: str,
    channel: str | None = None,
    description: Description | Path | str | None = None,
    labels: Mapping[str, str] | None = None,
    complain: Callable[[int, str], None] | None = None,
    on_noise: Callable[[int, Garbage | Overflow], None] | None = None,
) -> Iterator[Reading]:
    """The readings of a capture, in the order of its frames.

    Args:
        lines: of the capture.
        family: frame family, one of `drivers.frames.FAMILIES`.
        channel: SenML name of a scale's channel (``scale/mass``); of a thermometer, the instrument
            (``probe``: its channels are named after their labels) or, where it has one channel,
            that channel (``probe/core``). None for ``scale/mass`` or ``probe``.
        description: for the family ``described``: the description or its file.
        labels: label of a thermometer's channel → channel name.
        complain: told of each line that cannot be used, by its number in the file (from 1) and the
            reason; decoding goes on with the next.
        on_noise: told of bytes that were no sound frame, with the line that ended them.

    Raises:
        ConfigError: an unknown family, an impossible channel, an unusable description. Raised at
            the call, before the first line.

    >>> [r.value for r in decode(['{"t": 1800000000, "text": "123.4 g\\\\r\\\\n"}'], "value-unit")]
    [0.1234]
    """
    parser = parser_for(family, description)
    naming = _Naming(family, channel, labels)

    def readings() -> Iterator[Reading]:
        newest: dict[str, int] = {}
        for number, t_us, data in _reads(lines, complain):
            later_us = 0
            for event in parser.feed(data):
                if isinstance(event, Garbage | Overflow):
                    if on_noise is not None:
                        on_noise(number, event)
                    continue
                if reason := naming.trouble(event):
                    if complain is not None:
                        complain(number, reason)
                    continue
                found = naming.readings(event, t_us + later_us)
                later_us += bool(found)
                for reading in found:
                    at_us = max(reading.t_us, newest.get(reading.name, reading.t_us - 1) + 1)
                    newest[reading.name] = at_us
                    yield reading if at_us == reading.t_us else replace(reading, t_us=at_us)

    return readings()


class _Naming:
    """Which channel a frame speaks for."""

    def __init__(self, family: str, channel: str | None, labels: Mapping[str, str] | None) -> None:
        self.labels = labels
        self.only_label: str | None = None
        # A scale's usual name is no thermometer's, whoever passed it.
        self.is_default = channel in (None, DEFAULT_SCALE)
        name = channel or (DEFAULT_PROBE if family == "text-probe" else DEFAULT_SCALE)
        self.instrument, slash, rest = name.partition("/")
        self.channel = rest if slash else None
        for part in (self.instrument, rest) if slash else (self.instrument,):
            if not NAME.fullmatch(part):
                raise ConfigError(
                    "channel", f"{name!r} is no channel; write instrument/channel, e.g. scale/mass"
                )

    def trouble(self, event: object) -> str | None:
        """Why a thermometer's line cannot go to the one channel that was named."""
        if not isinstance(event, TemperatureFrame) or self.channel is None or self.is_default:
            return None
        for value in event.values:
            if self.only_label is None:
                self.only_label = value.label
            if value.label != self.only_label:
                return (
                    f"channel {value.label!r} beside {self.only_label!r}; name the instrument "
                    f"alone ({self.instrument}), and each channel is named after its label"
                )
        return None

    def readings(self, event: Any, t_us: int) -> list[Reading]:
        is_probe = isinstance(event, TemperatureFrame)
        if is_probe and self.is_default:
            return readings_of(event, DEFAULT_PROBE, t_us, None, self.labels)
        return readings_of(event, self.instrument, t_us, self.channel, self.labels)


def _reads(
    lines: Iterable[str], complain: Callable[[int, str], None] | None
) -> Iterator[tuple[int, int, bytes]]:
    number = 0
    try:
        for number, line in enumerate(lines, 1):
            if not line.strip():
                continue
            try:
                t_us, data = _read(line)
            except _Refused as error:
                if complain is not None:
                    complain(number, str(error))
                continue
            yield number, t_us, data
    except (EOFError, zlib.error, OSError) as error:
        # A gzip file that was cut short: what was whole has been given.
        if complain is not None:
            complain(number + 1, f"the file breaks off here: {error}")


def _no_constant(text: str) -> float:
    raise _Refused(f"{text} is not a number in JSON")


def _read(line: str) -> tuple[int, bytes]:
    """Time (µs) and bytes of one line."""
    try:
        document = json.loads(line, parse_constant=_no_constant)
    except json.JSONDecodeError as error:
        raise _Refused(f"not JSON: {error.msg} at character {error.pos}") from error
    except (RecursionError, _Refused, ValueError) as error:
        raise _Refused(str(error) or "not JSON that can be read") from error
    if not isinstance(document, dict):
        raise _Refused('not a read of a port; write {"t": seconds, "text": "…"}')
    t = document.get("t")
    if isinstance(t, bool) or not isinstance(t, int | float):
        raise _Refused(f"the time t is {t!r}, not seconds since the epoch")
    if not 0 <= t < LATEST_US // MICROSECOND or not math.isfinite(t):
        raise _Refused(f"the time t is {t!r}, which lies outside 1970 to 2100")
    text, hexadecimal = document.get("text"), document.get("hex")
    if (text is None) == (hexadecimal is None):
        raise _Refused("a read has either text or hex")
    try:
        if isinstance(hexadecimal, str):
            return microseconds(t), bytes.fromhex(hexadecimal)
        if isinstance(text, str):
            return microseconds(t), text.encode("utf-8", "surrogateescape")
    except UnicodeEncodeError as error:
        raise _Refused(f"text holds a lone surrogate at character {error.start}") from error
    except ValueError as error:
        raise _Refused(f"hex is not pairs of hexadecimal digits: {error}") from error
    raise _Refused("text and hex are texts")
