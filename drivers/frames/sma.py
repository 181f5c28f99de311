"""Family ``sma``: the trade association's serial protocol.

    LF s r n m f wwwwwwwwww uuu CR        20 bytes

    s      status: blank, Z centre of zero, O over, U under capacity, E zero error,
           I initial zero error, T tare error
    r      range, 1 to 9
    n      G gross, N net, T tare weight, g and n the same at high resolution
    m      M in motion, blank at rest
    f      reserved: any printable character, ignored
    w      weight, right-justified, sign and point; dashes where there is none
    u      g, kg, oz, lb, filled with blanks

Source: Scale Manufacturers Association, SMA SCP-0499 (1999, modified 2005), levels 1 and 2, read
where other documents quote it. The forms of the diagnostics and about answers are from memory.

LF occurs only at the beginning of a frame and CR only at its end, so three kinds of damage are
found: junk before (no LF yet), junk inside (the layout does not fit), an end that is lost (LF
where CR was due). In each case the next LF begins anew.
"""

from __future__ import annotations

import re
from decimal import Decimal

from drivers.frames.frame import (
    INITIAL_ZERO_ERROR,
    NO_WEIGHT,
    OVERLOAD,
    TARE_ERROR,
    UNDERLOAD,
    ZERO_ERROR,
    FrameEvent,
    Garbage,
    Overflow,
    Reply,
    WeightFrame,
)

# Six frames' worth: the longest answer that is no weight is one about line.
LIMIT = 128
FRAME = re.compile(
    rb"\n([ ZOUEIT])[1-9]([GNTgn])([ M])[ -~]"
    rb"(?=[^\r]{10}(?:g  |kg |oz |lb )\r)"
    rb" *(?:([+-]?(?:\d+(?:\.\d*)?|\.\d+))|-+(?:\.-+)?)(g|kg|oz|lb) +\r"
)
FRAME_BYTES = 20
ANSWER = re.compile(rb"\n(\?|[A-Za-z]{1,3} ?:[ -~]*|[A-Z ]{1,5})\r")
STATE = {
    b"O": OVERLOAD,
    b"U": UNDERLOAD,
    b"E": ZERO_ERROR,
    b"I": INITIAL_ZERO_ERROR,
    b"T": TARE_ERROR,
}
NET = {b"G": False, b"g": False, b"N": True, b"n": True, b"T": None}
UNIT = {b"g": "g", b"kg": "kg", b"oz": "oz", b"lb": "lb"}


class SmaParser:
    """Parser and commands of the family.

    >>> SmaParser().feed(b"\\n 1G       123.4g  \\r")[0].value
    Decimal('123.4')
    """

    limit = LIMIT

    def __init__(self) -> None:
        self._pending = b""

    def feed(self, data: bytes) -> list[FrameEvent]:
        """Take bytes, give events; see `drivers.frames.frame.Parser`."""
        if not data:
            return []
        out: list[FrameEvent] = []
        text = self._pending + data
        at = 0
        while True:
            start = text.find(b"\n", at)
            junk_end = len(text) if start < 0 else start
            while junk_end - at >= LIMIT:
                out.append(Overflow(LIMIT, text[at : at + LIMIT]))
                at += LIMIT
            if start < 0:
                break
            if junk_end > at:
                self._refuse(text[at:junk_end], "no line feed begins a frame here", out)
            at = start
            end = text.find(b"\r", start + 1, start + LIMIT)
            again = text.find(b"\n", start + 1, end if end >= 0 else start + LIMIT)
            if end < 0 and again < 0 and len(text) - start >= LIMIT:
                out.append(Overflow(LIMIT, text[start : start + LIMIT]))
                at = start + LIMIT
            elif again >= 0:
                self._refuse(text[start:again], "the end of the frame is lost", out)
                at = again
            elif end < 0:
                break
            else:
                at = end + 1
                self._frame(text[start:at], out)
        self._pending = text[at:]
        return out

    def _refuse(self, data: bytes, reason: str, out: list[FrameEvent]) -> None:
        if data.strip(b"\r\n"):
            out.append(Garbage(data, reason))

    def _frame(self, frame: bytes, out: list[FrameEvent]) -> None:
        match = FRAME.fullmatch(frame)
        if match is None:
            if answer := ANSWER.fullmatch(frame):
                out.append(Reply(answer[1].decode("ascii").strip()))
            else:
                self._refuse(frame, _why_not(frame), out)
            return
        status, kind, motion, number, unit = match.groups()
        state = STATE.get(status)
        if state is None and number is None:
            if status == b"Z":
                out.append(Garbage(frame, "centre of zero, and yet no weight"))
                return
            state = NO_WEIGHT
        out.append(
            WeightFrame(
                # Adding 0 turns the -0.0 that some scales print into 0.0.
                value=Decimal(number.decode("ascii")) + 0 if state is None else None,
                unit=UNIT[unit],
                state=state,
                stable=motion == b" ",
                net=NET[kind],
                is_tare=kind == b"T",
            )
        )

    def poll(self) -> bytes | None:
        """W: one weight, now."""
        return b"\nW\r"

    def tare(self) -> bytes | None:
        """T: tare."""
        return b"\nT\r"

    def zero(self) -> bytes | None:
        """Z: zero."""
        return b"\nZ\r"

    def start_continuous(self) -> bytes | None:
        """R: weights until told otherwise."""
        return b"\nR\r"

    def stop_continuous(self) -> bytes | None:
        """ESC ends a repeat."""
        return b"\x1b"


def _why_not(frame: bytes) -> str:
    if len(frame) != FRAME_BYTES:
        return f"{len(frame)} bytes where a weight has {FRAME_BYTES}"
    for at, allowed, what in (
        (1, b" ZOUEIT", "status"),
        (2, b"123456789", "range"),
        (3, b"GNTgn", "kind"),
        (4, b" M", "motion"),
    ):
        if frame[at] not in allowed:
            return f"{bytes(frame[at : at + 1])!r} is no {what}"
    return "weight or unit are not as the layout says"
