"""Lines out of a stream of bytes, for the families that write one frame a line.

A line ends with LF, CR LF or CR alone. Whether an instrument writes CR alone is learnt from the
byte after its first CR; from then on its lines end at the CR. So a line of a CR LF instrument ends
with its LF, and its time is that of the read which brought the LF.

A line that outgrows the limit loses its oldest bytes and keeps the youngest `KEEP`, so that a
sound frame behind much noise is still there when its end comes.
"""

from __future__ import annotations

from abc import ABC, abstractmethod

from drivers.frames.frame import FrameEvent, ListensOnly, Overflow

KEEP = 64


class LineBuffer:
    """Gives each ended line without its end, and whether its beginning is still there.

    Empty lines are passed over.

    Args:
        limit: most bytes of a line without its end; more than `KEEP`.

    >>> LineBuffer(256).feed(b"one\\r\\n\\ntwo\\nthr")
    [(b'one', True), (b'two', True)]
    """

    def __init__(self, limit: int) -> None:
        if limit <= KEEP:
            raise ValueError(f"the limit of a line must be more than {KEEP} bytes, not {limit}")
        self.limit = limit
        self._pending = b""
        self._whole = True
        self._ends_at_cr = False
        self._after_cr = False

    def feed(self, data: bytes) -> list[tuple[bytes, bool] | Overflow]:
        """Take bytes, give the lines they ended."""
        if not data:
            return []
        out: list[tuple[bytes, bool] | Overflow] = []
        if self._after_cr:
            self._after_cr = False
            if data[0] == 0x0A:
                self._ends_at_cr = False
        *ended, rest = (self._pending + data).split(b"\n")
        for segment in ended:
            if segment.count(b"\r", 0, -1):
                segment = self._at_carriage_returns(segment, out)
            if segment.endswith(b"\r"):
                self._ends_at_cr = False
            self._line(segment, out)
        if rest.count(b"\r", 0, -1):
            rest = self._at_carriage_returns(rest, out)
        if self._ends_at_cr and rest.endswith(b"\r"):
            self._line(rest, out)
            rest = b""
            self._after_cr = True
        self._pending = self._shortened(rest, out)
        return out

    def _at_carriage_returns(
        self, segment: bytes, out: list[tuple[bytes, bool] | Overflow]
    ) -> bytes:
        """Give the lines ended by a CR inside the segment, return what follows the last of them."""
        closing = segment.endswith(b"\r")
        *parts, last = (segment[:-1] if closing else segment).split(b"\r")
        for part in parts:
            self._line(part + b"\r", out)
        self._ends_at_cr = True
        return last + b"\r" if closing else last

    def _shortened(self, line: bytes, out: list[tuple[bytes, bool] | Overflow]) -> bytes:
        cut = self.limit + 1 - KEEP
        while len(line) > self.limit:
            out.append(Overflow(self.limit, line[:cut]))
            line = line[cut:]
            self._whole = False
        return line

    def _line(self, line: bytes, out: list[tuple[bytes, bool] | Overflow]) -> None:
        if len(line) > self.limit:
            line = self._shortened(line, out)
        line = line.removesuffix(b"\r")
        if line:
            out.append((line, self._whole))
        self._whole = True


class LineParser(ListensOnly, ABC):
    """What the families of plain lines share: bytes become lines, and noise is remembered.

    Attributes:
        limit: most bytes of a line without its end.
    """

    limit = 256

    def __init__(self) -> None:
        self._lines = LineBuffer(self.limit)
        # Whether what came last was noise: the next line may be damaged by it.
        self._after_garbage = False

    def feed(self, data: bytes) -> list[FrameEvent]:
        """Take bytes, give events; see `drivers.frames.frame.Parser`."""
        out: list[FrameEvent] = []
        for item in self._lines.feed(data):
            if isinstance(item, Overflow):
                out.append(item)
                self._after_garbage = True
            else:
                self._line(*item, out)
        return out

    @abstractmethod
    def _line(self, line: bytes, whole: bool, out: list[FrameEvent]) -> None:
        """Append what a line gives; `whole`: its beginning is still there."""
