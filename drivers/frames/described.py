"""Family ``described``: frames as a frame description says they are.

A frame counts only as a whole: the pattern must match from its first to its last byte, the
checksum must fit, each group's text must have a meaning. Behind stray bytes, or where the end of
the frame before is lost, a frame is looked for at the bytes it visibly begins with; where the
pattern begins with something variable there is no telling whether its head is lost, and the bytes
are refused.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from functools import reduce

from drivers.frames.description import LONGEST_FRAME, Description
from drivers.frames.frame import (
    TEMPERATURE_UNITS,
    WEIGHT_UNITS,
    FrameEvent,
    Garbage,
    ListensOnly,
    Overflow,
    Temperature,
    TemperatureFrame,
    WeightFrame,
)

NUMBER = re.compile(r"([+-]?) *(\d{1,12}(?:\.\d{0,12})?|\.\d{1,12})", re.ASCII)
HEXADECIMAL = re.compile(r"[0-9A-Fa-f]+")
# One channel of a thermometer that does not name it.
UNNAMED = "temperature"
UNITS = {unit.casefold(): unit for unit in (*WEIGHT_UNITS, *TEMPERATURE_UNITS)} | {
    f"°{unit.casefold()}": unit for unit in TEMPERATURE_UNITS
}
# Places in one stretch of bytes at which a frame is looked for; more of them is noise.
MOST_BEGINNINGS = 16


class DescribedParser(ListensOnly):
    """Parser of the family.

    Args:
        description: what the instrument writes.
    """

    limit = LONGEST_FRAME

    def __init__(self, description: Description) -> None:
        self._description = description
        self._pending = b""
        self._noise = bytearray()
        self._whole = True

    def feed(self, data: bytes) -> list[FrameEvent]:
        """Take bytes, give events; see `drivers.frames.frame.Parser`."""
        if not data:
            return []
        out: list[FrameEvent] = []
        stream = self._pending + data
        if self._description.end:
            self._pending = self._by_end(stream, out)
        else:
            self._pending = self._by_length(stream, self._description.length or 1, out)
        return out

    def poll(self) -> bytes | None:
        """What the description says."""
        return self._description.poll

    def tare(self) -> bytes | None:
        """What the description says."""
        return self._description.tare

    def zero(self) -> bytes | None:
        """What the description says."""
        return self._description.zero

    def _by_end(self, stream: bytes, out: list[FrameEvent]) -> bytes:
        end = self._description.end
        # While no end is seen, this many may be the beginning of one.
        most = self.limit - len(end) + 1
        at = 0
        while True:
            stop = stream.find(end, at)
            while (stop if stop >= 0 else len(stream) - len(end) + 1) - at > most - 1:
                out.append(Overflow(self.limit, stream[at : at + most // 2]))
                at += most // 2
                self._whole = False
            if stop < 0:
                return stream[at:]
            if stop > at:
                self._stretch(stream[at:stop], out)
            self._whole = True
            at = stop + len(end)

    def _stretch(self, stretch: bytes, out: list[FrameEvent]) -> None:
        """What stands between two ends: a frame, a frame behind stray bytes, or garbage."""
        first_reason = "" if self._whole else "the beginning of the frame is lost"
        for at in self._beginnings(stretch):
            found = self._frame(stretch[at:])
            if not isinstance(found, str):
                if at:
                    out.append(Garbage(stretch[:at], first_reason))
                out.append(found)
                return
            first_reason = first_reason or found
        out.append(Garbage(stretch, first_reason))

    def _beginnings(self, stretch: bytes) -> Iterator[int]:
        prefix = self._description.prefix
        if self._whole or (prefix and stretch.startswith(prefix)):
            yield 0
        at = 0
        for _ in range(MOST_BEGINNINGS if prefix else 0):
            at = stretch.find(prefix, at + 1)
            if at < 0:
                return
            yield at

    def _by_length(self, stream: bytes, length: int, out: list[FrameEvent]) -> bytes:
        """Frames of a fixed length: out of step, step on by a byte until one is sound."""
        start = self._description.start
        at = 0
        while True:
            if start and not stream.startswith(start, at):
                if start.startswith(stream[at : at + len(start)]):
                    return stream[at:]
                self._stray(stream[at], out)
                at += 1
                continue
            if len(stream) - at < length:
                return stream[at:]
            found = self._frame(stream[at : at + length])
            if isinstance(found, str):
                self._stray(stream[at], out)
                at += 1
                continue
            if self._noise:
                out.append(Garbage(bytes(self._noise), "no sound frame begins here"))
                self._noise.clear()
            out.append(found)
            at += length

    def _stray(self, byte: int, out: list[FrameEvent]) -> None:
        self._noise.append(byte)
        if len(self._noise) >= self.limit:
            out.append(Overflow(self.limit, bytes(self._noise)))
            self._noise.clear()

    def _frame(self, frame: bytes) -> FrameEvent | str:
        """The event of a whole frame, or why it is none."""
        description = self._description
        if description.length not in (None, len(frame), len(frame) + len(description.end)):
            return f"{len(frame)} bytes, not {description.length}"
        reason = "not as the pattern says"
        for candidate in (frame, frame.removeprefix(description.start)):
            for encoding in ("latin-1",) if candidate.isascii() else ("latin-1", "utf-8"):
                try:
                    match = description.pattern.fullmatch(candidate.decode(encoding))
                except UnicodeDecodeError:
                    continue
                if match is None:
                    continue
                if not self._sum_fits(candidate, match, encoding):
                    reason = "the checksum does not fit"
                    continue
                return self._meaning(match)
        return reason

    def _sum_fits(self, frame: bytes, match: re.Match[str], encoding: str) -> bool:
        kind = self._description.checksum
        if kind == "none":
            return True
        written = match["checksum"]
        begins = match.start("checksum")
        if written is None or begins < 1:
            return False
        over = match.string[: begins - 1].encode(encoding)
        size = 2 if kind == "crc16" else 1
        if len(written) == 2 * size and HEXADECIMAL.fullmatch(written):
            said = int(written, 16)
        elif len(raw := written.encode(encoding)) == size:
            said = int.from_bytes(raw, "big")
        else:
            return False
        return said == checksum_of(kind, over)

    def _meaning(self, match: re.Match[str]) -> FrameEvent | str:
        description = self._description
        groups = match.groupdict()
        flags: dict[str, bool | None] = {}
        for name, table in (("stable", description.stable), ("net", description.net)):
            text = groups.get(name)
            if text is not None and text not in table:
                return f"nothing says what {name} {text!r} means"
            flags[name] = None if text is None else table[text]
        state: str | None = None
        if (text := groups.get("state")) is not None:
            if text not in description.states:
                return f"nothing says what state {text!r} means"
            state = description.states[text]
        written = groups["value"] or ""
        for name, pattern in description.no_values:
            if state is None and pattern.fullmatch(written):
                state = name
        unit = self._unit(groups.get("unit"))
        value: Decimal | None = None
        if state is None:
            number = NUMBER.fullmatch(written.strip())
            if number is None:
                return f"{written!r} is no number"
            if unit is None:
                return f"{groups.get('unit')!r} is no unit; say in [means] unit what it means"
            value = Decimal(number[1] + number[2]) + 0
        if unit in TEMPERATURE_UNITS:
            label = (groups.get("channel") or UNNAMED).strip()
            return TemperatureFrame((Temperature(label, value, unit, state),))
        return WeightFrame(value, unit, state, flags["stable"], flags["net"])

    def _unit(self, text: str | None) -> str | None:
        if text is None or self._description.unit is not None:
            return self._description.unit
        if self._description.units:
            return self._description.units.get(text) or self._description.units.get(text.strip())
        return UNITS.get(text.strip().casefold())


def checksum_of(kind: str, data: bytes) -> int:
    """The checksum of the bytes: ``xor8``, ``sum8`` (modulo 256) or ``crc16``.

    ``crc16`` is CRC-16/MODBUS: polynomial 0x8005 reflected, start 0xFFFF. Its check value in the
    catalogues of such codes, of the nine bytes ``123456789``, is 0x4B37.

    >>> hex(checksum_of("crc16", b"123456789"))
    '0x4b37'
    """
    if kind == "xor8":
        return reduce(lambda total, byte: total ^ byte, data, 0)
    if kind == "sum8":
        return sum(data) & 0xFF
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ 0xA001 if crc & 1 else crc >> 1
    return crc
