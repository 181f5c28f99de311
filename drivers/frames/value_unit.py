"""Family ``value-unit``: a number and a unit on a line (``%9.1f g`` CR LF and the like).

Plain text, no source, and no checksum: the only protection is strictness. The whole line must be
blanks, sign, number, unit. A line of dashes says that there is no weight.

Where stray bytes stand before a line, or the end of the line before is lost, the number may have
lost its head, so the rest counts only when it is provably whole: it has the very width of the
last sound padded line and begins with its padding; or, before any such line was seen, much noise
and at least two blanks stand before the number. A line end born of damage cuts a number in two:
the line after a bare beginning of a number is refused too. Among lines padded with blanks to one
width, the first of another width has lost or gained a byte, perhaps a digit, and is refused once.
"""

from __future__ import annotations

import re
from decimal import Decimal

from drivers.frames.frame import (
    NO_WEIGHT,
    FrameEvent,
    Garbage,
    WeightFrame,
)
from drivers.frames.lines import LineParser

_NUMBER_AND_UNIT = rb"(\d{1,8}(?:\.\d{1,6})?|\.\d{1,6}) *(g|kg|oz|lb)[ \t]*"
LINE = re.compile(rb"[ \t]*([+-]?) *" + _NUMBER_AND_UNIT, re.IGNORECASE)
DASHES = re.compile(rb"[ \t]*-{2,}(?:\.-+|-)[ \t]*(g|kg|oz|lb)?[ \t]*", re.IGNORECASE)
# Noise of at least this many bytes is no damaged sign or padding of the same line.
LONG_NOISE = 16
AFTER_NOISE = re.compile(rb"[^ \t\d.+-]( {2,}([+-]?)" + _NUMBER_AND_UNIT + rb")\Z", re.IGNORECASE)
HEAD_OF_A_NUMBER = re.compile(rb"[ \t]*[+-]?[ \t]*\d*\.?\d*[ \t]*")
SIGN_APART = re.compile(rb"[ \t]*[+-] ")
# "5g" is so short that noise writes it (once in about 100 MB); right after noise it is refused.
SHORT = 4
PADDING = b" \t+-"
BLANKS = b" \t"
SAME_WIDTH = 3  # padded lines in a row, until another width is doubted


class ValueUnitParser(LineParser):
    """Parser of the family; it has no commands.

    >>> ValueUnitParser().feed(b"    123.4 g\\r\\n")[0].value
    Decimal('123.4')
    """

    def __init__(self) -> None:
        super().__init__()
        self._width: int | None = None
        self._after_head = False
        self._padded = (0, 0)  # width, and how many lines in a row were padded to it

    def _line(self, line: bytes, whole: bool, out: list[FrameEvent]) -> None:
        match = LINE.fullmatch(line) if whole else None
        doubt = self._doubt(line, match[1]) if match else None
        if match:
            width, number = self._padded
            if len(line) != width or doubt is not None:
                number = 0
            self._padded = (len(line), number + 1 if line[0] in BLANKS else 0)
        if match and doubt is None:
            # Right after noise, one more blank of it would make the line too wide.
            if line[0] in PADDING and not self._after_garbage:
                self._width = len(line)
            self._after_garbage = self._after_head = False
            out.append(_weight(*match.groups()))
        elif whole and (dashes := DASHES.fullmatch(line)):
            unit = dashes[1]
            self._after_garbage = self._after_head = False
            out.append(WeightFrame(None, unit.decode().lower() if unit else None, NO_WEIGHT))
        elif not self._after_head and (found := self._behind_noise(line)):
            at, frame = found
            self._after_garbage = False
            out += [Garbage(line[:at], "stray bytes before a line"), frame]
        else:
            # A line in doubt is not noise: doubted once, the next of its kind is believed.
            self._after_garbage = doubt is None
            self._after_head = not self._after_head and HEAD_OF_A_NUMBER.fullmatch(line) is not None
            out.append(Garbage(line, doubt or "not a number and a unit"))

    def _doubt(self, line: bytes, sign: bytes) -> str | None:
        """Why a line that reads like a weight may still be none."""
        is_padded = line[0] in PADDING
        if self._after_head and not (is_padded and len(line) == self._width):
            return "the number may have begun on the line before"
        width, number = self._padded
        if number >= SAME_WIDTH and len(line) != width:
            return "another width than before"
        if self._after_garbage:
            if len(line) < SHORT:
                return "too short to be believed right after noise"
            if is_padded and self._width is not None and len(line) > self._width:
                return "wider than before, right after noise"
            if sign and self._width is None and SIGN_APART.match(line):
                return "a sign apart from its number, right after noise"
        return None

    def _behind_noise(self, line: bytes) -> tuple[int, WeightFrame] | None:
        if self._width is not None:
            at = len(line) - self._width
            if at > 0 and line[at] in PADDING and (match := LINE.fullmatch(line, at)):
                return at, _weight(*match.groups())
        elif (match := AFTER_NOISE.search(line)) and match.start(1) >= LONG_NOISE:
            return match.start(1), _weight(match[2], match[3], match[4])
        return None


def _weight(sign: bytes, number: bytes, unit: bytes) -> WeightFrame:
    # Adding 0 turns the -0.0 that some scales print into 0.0.
    return WeightFrame(Decimal((sign + number).decode("ascii")) + 0, unit.decode("ascii").lower())
