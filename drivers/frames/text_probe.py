"""Family ``text-probe``: the channels of a thermometer on a line (``T1 96.4 C, T2 175.8 C``).

Each channel is a name or a number, a value, ``C`` or ``F``; comma, semicolon, colon, equals sign
or white space stand between. Dashes or ``open`` stand where a probe is missing, with or without
the unit. Plain text, no source, no checksum: one thing out of place refuses the line.

Behind stray bytes a line counts when it holds exactly the labels of the last sound line; so does
the line after a refused one, for damage may have cut its first label.
"""

from __future__ import annotations

import re
from decimal import Decimal

from drivers.frames.frame import (
    OPEN_CIRCUIT,
    FrameEvent,
    Garbage,
    Temperature,
    TemperatureFrame,
)
from drivers.frames.lines import LineParser

MOST_CHANNELS = 32
BETWEEN = re.compile(r"[,;:= \t]+")
NAME = re.compile(r"[A-Za-z][A-Za-z0-9_.-]{0,31}|[0-9]{1,3}")
VALUE = re.compile(r"([+-]?[0-9]{1,4}(?:\.[0-9]{1,4})?)(°?[CF])?")
UNIT = re.compile(r"°?[CF]")
MISSING = re.compile(r"-{2,}(?:\.-+)?|open", re.IGNORECASE)


class TextProbeParser(LineParser):
    """Parser of the family; it has no commands.

    >>> [v.value for v in TextProbeParser().feed(b"T1 96.4 C, T2 ----\\r\\n")[0].values]
    [Decimal('96.4'), None]
    """

    def __init__(self) -> None:
        super().__init__()
        self._labels: tuple[str, ...] | None = None
        # Labels seen once right after noise: seen twice, they are believed.
        self._doubtful: tuple[str, ...] | None = None

    def _line(self, line: bytes, whole: bool, out: list[FrameEvent]) -> None:
        text = line.decode("latin-1")
        values = channels(text) if whole else None
        if values is not None:
            labels = tuple(value.label for value in values)
            is_sure = not self._after_garbage or labels in (self._labels, self._doubtful)
            self._after_garbage = False
            if is_sure:
                self._labels, self._doubtful = labels, None
            else:
                self._doubtful = labels
                if self._labels is not None:
                    out.append(Garbage(line, "other labels than before, right after noise"))
                    return
            out.append(TemperatureFrame(values))
        elif found := self._behind_noise(text):
            at, values = found
            self._after_garbage = False
            out.append(Garbage(line[:at], "stray bytes before a line"))
            out.append(TemperatureFrame(values))
        else:
            self._after_garbage = True
            out.append(Garbage(line, "not names, values and C or F"))

    def _behind_noise(self, text: str) -> tuple[int, tuple[Temperature, ...]] | None:
        if not self._labels:
            return None
        first = self._labels[0]
        # "T1" right behind noise is itself; "1" might be the end of "T1" or of "21".
        may_be_an_end = len(first) == 1 or first.isdigit()
        at = 0
        while (at := text.find(first, at + 1)) > 0:
            if may_be_an_end and text[at - 1].isascii() and text[at - 1].isalnum():
                continue
            values = channels(text[at:])
            if values is not None and tuple(value.label for value in values) == self._labels:
                return at, values
        return None


def channels(text: str) -> tuple[Temperature, ...] | None:
    """The channels a line names, or None where it is not such a line.

    >>> [t.label for t in channels("1;96.4;C;2;open")]
    ['1', '2']
    """
    # The degree sign of a UTF-8 instrument, read as Latin-1, has a letter before it.
    words = BETWEEN.split(text.strip(" \t,;").replace("Â°", "°"))
    values = _from(words, 0, MOST_CHANNELS)
    if not values:
        return None
    labels = {value.label.casefold() for value in values}
    return tuple(values) if len(labels) == len(values) else None


def _from(words: list[str], at: int, most: int) -> list[Temperature] | None:
    """Channels of the words from `at` on. Only after dashes is there a choice (is ``C`` the unit
    or the next name?): the unit is tried first."""
    found: list[Temperature] = []
    while at < len(words):
        if len(found) >= most or at + 1 >= len(words) or not NAME.fullmatch(words[at]):
            return None
        if MISSING.fullmatch(words[at]):
            return None
        label, word = words[at], words[at + 1]
        at += 2
        if MISSING.fullmatch(word):
            if at < len(words) and UNIT.fullmatch(words[at]):
                rest = _from(words, at + 1, most - len(found) - 1)
                if rest is not None:
                    missing = Temperature(label, None, words[at][-1], OPEN_CIRCUIT)
                    return [*found, missing, *rest]
            found.append(Temperature(label, None, None, OPEN_CIRCUIT))
            continue
        match = VALUE.fullmatch(word)
        if match is None:
            return None
        unit = match[2]
        if unit is None:
            if at >= len(words) or not UNIT.fullmatch(words[at]):
                return None
            unit = words[at]
            at += 1
        found.append(Temperature(label, Decimal(match[1]) + 0, unit[-1]))
    return found
