"""Family ``hid-scale``: data reports of a USB scale.

    report id | status | unit | exponent (signed) | magnitude (unsigned, little endian)

Value = magnitude × 10^exponent in the unit; under zero (status 5) the magnitude is negative.
Source: USB-IF "HID Point of Sale Usage Tables" 1.02, section 4, usage page 0x8D. Lengths and codes
come from the scale's report descriptor where there is one, else from that document's example.

A report has no end mark and no checksum. In step, each report is checked field by field; one that
does not fit puts the parser out of step, and it hunts byte by byte for the next that fits and
speaks of the same unit and exponent as the last sound one (or of another, twice).

A report that came short takes its last bytes from the next one, and may so read like a weight. One
whose last bytes could be the beginning of another, and are not those of the last sound report, is
held until the bytes behind it tell which of the two it is.
"""

from __future__ import annotations

from decimal import Decimal

from drivers.frames.frame import (
    FAULT,
    NEEDS_CALIBRATION,
    NEEDS_ZEROING,
    OVERLOAD,
    FrameEvent,
    Garbage,
    ListensOnly,
    Overflow,
    WeightFrame,
)
from drivers.frames.hid_descriptor import EXAMPLE, Layout, read_descriptor

UNDER_ZERO = 5
STATE = {1: FAULT, 6: OVERLOAD, 7: NEEDS_CALIBRATION, 8: NEEDS_ZEROING}
STABLE = {2: True, 3: False, 4: True}
UNIT = {2: "g", 3: "kg", 11: "oz", 12: "lb"}
UNIT_NAME = {
    1: "milligram",
    4: "carat",
    5: "tael",
    6: "grain",
    7: "pennyweight",
    8: "metric ton",
    9: "avoirdupois ton",
    10: "troy ounce",
}
# No kitchen scale counts finer than a microgram or coarser than a hundred of its unit.
LOWEST_EXPONENT, HIGHEST_EXPONENT = -9, 2
# Noise is given in pieces of at most this many bytes.
MOST_NOISE = 256


class HidScaleParser(ListensOnly):
    """Parser of the family; reports of one scale, whole or in pieces.

    Args:
        descriptor: the scale's report descriptor, None for the document's example.

    Raises:
        DescriptorRefused: the descriptor is none of a scale.

    >>> HidScaleParser().feed(bytes.fromhex("03 04 02 FF D2 04"))[0].value
    Decimal('123.4')
    """

    def __init__(self, descriptor: bytes | None = None) -> None:
        self._layout: Layout = EXAMPLE if descriptor is None else read_descriptor(descriptor)
        self._longest = max([self._layout.length, *self._layout.others.values()])
        self._pending = b""
        self._noise = bytearray()
        self._noise_reason = ""
        self._in_step = True
        self._shape: tuple[str, int] | None = None
        self._other_shape: tuple[str, int] | None = None
        self._last = b""

    @property
    def limit(self) -> int:
        """Most bytes held: a report in doubt and the one behind it, and the noise before them."""
        return MOST_NOISE + 2 * self._longest

    def feed(self, data: bytes) -> list[FrameEvent]:
        """Take bytes, give events; see `drivers.frames.frame.Parser`."""
        if not data:
            return []
        out: list[FrameEvent] = []
        stream = self._pending + data
        layout, at = self._layout, 0
        while at < len(stream):
            length = layout.length
            is_other = False
            if layout.report_id is not None and stream[at] != layout.report_id:
                # Other reports of the scale are stepped over, but only in step: in noise any
                # byte might be their id.
                other = layout.others.get(stream[at]) if self._in_step else None
                if other is None:
                    self._stray(stream[at], "no report begins here", out)
                    at += 1
                    continue
                length, is_other = other, True
            if len(stream) - at < length:
                break
            if is_other:
                at += length
                continue
            report = stream[at : at + length]
            if (joint := self._joint(report)) is not None:
                if len(stream) - at < 2 * length:
                    break
                if not self._is_sound(stream[at + length :]) and self._is_sound(
                    stream[at + joint :]
                ):
                    for byte in stream[at : at + joint]:
                        self._stray(byte, "a report that came short", out)
                    at += joint
                    continue
            found = self._report(report)
            if isinstance(found, str):
                self._stray(stream[at], found, out)
                at += 1
                continue
            self._let_noise_go(out)
            self._in_step = True
            self._last = report
            out.append(found)
            at += length
        self._pending = stream[at:]
        return out

    def _joint(self, report: bytes) -> int | None:
        """Where in a report the beginning of another may stand; None where there is no doubt."""
        own = self._layout.report_id
        if own is None or not self._last or not self._in_step or not self._is_sound(report):
            return None
        for at in range(1, len(report)):
            if report[at] != own or report[at:] == self._last[at:]:
                continue
            # As far as it goes, it must read like the beginning of a report of this scale.
            if self._is_sound(report[at:] + report[len(report) - at :]):
                return at
        return None

    def _is_sound(self, stream: bytes) -> bool:
        """Whether a report of the known unit and exponent, or another one, begins here."""
        layout = self._layout
        report = stream[: layout.length]
        if len(report) < layout.length:
            return False
        if layout.report_id is not None and report[0] != layout.report_id:
            return report[0] in layout.others
        status_code, unit_code = layout.status.of(report), layout.unit.of(report)
        status = None if status_code is None else layout.statuses.get(status_code)
        number = None if unit_code is None else layout.units.get(unit_code)
        exponent = 0 if layout.exponent is None else layout.exponent.of(report)
        if status is None or not 1 <= status <= 8 or number not in UNIT or exponent is None:
            return False
        return self._shape in (None, (UNIT[number], exponent))

    def _stray(self, byte: int, reason: str, out: list[FrameEvent]) -> None:
        self._in_step = False
        self._noise_reason = self._noise_reason or reason
        self._noise.append(byte)
        if len(self._noise) >= MOST_NOISE:
            out.append(Overflow(self.limit, bytes(self._noise)))
            self._noise.clear()
            self._noise_reason = ""

    def _let_noise_go(self, out: list[FrameEvent]) -> None:
        if self._noise:
            out.append(Garbage(bytes(self._noise), self._noise_reason))
            self._noise.clear()
            self._noise_reason = ""

    def _report(self, report: bytes) -> WeightFrame | str:
        """The frame of a whole report, or why it is none."""
        layout = self._layout
        status_code, unit_code = layout.status.of(report), layout.unit.of(report)
        status = None if status_code is None else layout.statuses.get(status_code)
        number = None if unit_code is None else layout.units.get(unit_code)
        exponent = 0 if layout.exponent is None else layout.exponent.of(report)
        magnitude = layout.weight.of(report)
        if status is None or not 1 <= status <= 8:
            return f"{status_code} is no status of a scale"
        if number is None:
            return f"{unit_code} is no unit of a scale"
        if number not in UNIT:
            name = UNIT_NAME.get(number, number)
            return f"the unit {name} is not g, kg, oz or lb; change it on the scale"
        if exponent is None or not LOWEST_EXPONENT <= exponent <= HIGHEST_EXPONENT:
            return f"an exponent of {exponent} is none of a kitchen scale"
        shape = (UNIT[number], exponent)
        if not self._in_step and self._shape not in (None, shape) and self._other_shape != shape:
            self._other_shape = shape
            return "another unit or exponent than before, right after noise"
        if status in STATE:
            return WeightFrame(None, UNIT[number], STATE[status])
        if magnitude is None:
            return "the magnitude lies outside the range of the report"
        self._shape, self._other_shape = shape, None
        signed = -magnitude if status == UNDER_ZERO else magnitude
        value = Decimal(signed).scaleb(exponent)
        return WeightFrame(value, UNIT[number], stable=STABLE.get(status))
