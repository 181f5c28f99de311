"""Kitchen time: a clock that all processes of the demo share through one small file.

The file is one JSON object, replaced as a whole (temporary file, then rename)::

    {"segments": [[monotonic_ns, kitchen_us, speed], ...]}

with at most the last two segments. The kitchen time at a monotonic instant m comes from the last
segment whose monotonic_ns <= m: ``kitchen_us + (m - monotonic_ns) / 1000 * speed``. ``speed`` is
kitchen seconds per real second. A new segment is written at least 200 ms ahead, and readers look at
the file at most every 50 ms, so all change at the same instant and time never runs backwards.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

LEAD_NS = 250_000_000  # more than the 200 ms promised: writing the file takes time too
POLL_NS = 40_000_000  # less than the 50 ms promised


class Segment(NamedTuple):
    """A stretch of kitchen time that begins at a monotonic instant.

    Kitchen time runs from ``kitchen_us`` at ``speed`` kitchen seconds a second.
    """

    monotonic_ns: int
    kitchen_us: int
    speed: float

    def at(self, monotonic_ns: int) -> int:
        """Kitchen time in microseconds at a monotonic instant in nanoseconds."""
        return self.kitchen_us + int((monotonic_ns - self.monotonic_ns) / 1000 * self.speed)


class ClockFileError(ValueError):
    """The clock file is not what a clock file must be; the sentence says what was found."""

    def __init__(self, path: Path, what: str) -> None:
        self.path = path
        self.what = what
        super().__init__(f"The clock file {path} cannot be used: {what}. Start the kitchen first.")


def wall_us() -> int:
    """UTC now, microseconds since the epoch: where a kitchen's time starts when nobody says."""
    return time.time_ns() // 1000


def kitchen_at(segments: list[Segment], monotonic_ns: int) -> int:
    """Kitchen time in microseconds at ``monotonic_ns``.

    Before the first segment time stands still at its start.

    >>> kitchen_at([Segment(0, 0, 1.0), Segment(2_000_000_000, 2_000_000, 10.0)], 3_000_000_000)
    12000000
    """
    chosen = segments[0]
    for segment in segments[1:]:
        if segment.monotonic_ns <= monotonic_ns:
            chosen = segment
    return chosen.at(max(monotonic_ns, chosen.monotonic_ns))


def monotonic_for(segments: list[Segment], kitchen_us: int) -> int | None:
    """The first monotonic instant (ns) at which kitchen time reaches ``kitchen_us``.

    None while it never does.
    """
    for index, segment in enumerate(segments):
        if segment.speed <= 0:
            if kitchen_us <= segment.kitchen_us:
                return segment.monotonic_ns
            continue
        ahead_ns = (kitchen_us - segment.kitchen_us) * 1000 / segment.speed
        reached = segment.monotonic_ns + max(int(ahead_ns), 0)
        last = index + 1 == len(segments)
        if last or reached < segments[index + 1].monotonic_ns:
            return reached
    return None


def read_segments(path: Path) -> list[Segment]:
    """The segments in a clock file.

    Raises:
        ClockFileError: the file is missing, is no JSON, or holds no segment.
    """
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
        rows = document["segments"]
        found = [Segment(int(m), int(k), float(speed)) for m, k, speed in rows]
    except OSError as error:
        raise ClockFileError(path, f"it cannot be read ({error.strerror})") from error
    except (ValueError, KeyError, TypeError) as error:
        raise ClockFileError(path, "it does not hold a list of segments") from error
    if not found:
        raise ClockFileError(path, "it holds no segment")
    return found


class ClockReader:
    """Kitchen time as the clock file tells it.

    Args:
        path: the clock file; it must exist.
        monotonic_ns: the monotonic clock, nanoseconds.
    """

    def __init__(self, path: Path, monotonic_ns: Callable[[], int] = time.monotonic_ns) -> None:
        self._path = path
        self._monotonic_ns = monotonic_ns
        self._segments = read_segments(path)
        self._looked_ns = monotonic_ns()

    def segments(self) -> list[Segment]:
        """The segments, looked up again when the last look is old."""
        now = self._monotonic_ns()
        if now - self._looked_ns >= POLL_NS:
            self._looked_ns = now
            self._segments = read_segments(self._path)
        return self._segments

    def now_us(self) -> int:
        """Kitchen time now, microseconds since the epoch."""
        segments = self.segments()
        return kitchen_at(segments, self._monotonic_ns())

    def seconds_until(self, kitchen_us: int) -> float | None:
        """Real seconds until kitchen time reaches ``kitchen_us``.

        0 when past, None while time stands.
        """
        return _seconds_until(self.segments(), kitchen_us, self._monotonic_ns())


class ClockWriter:
    """The kitchen's own clock, which it writes for everybody.

    Args:
        path: the clock file, created or replaced at once with the first segment.
        start_us: kitchen time of the first segment, microseconds since the epoch.
        speed: kitchen seconds per real second of the first segment; 0 stands still.
        monotonic_ns: the monotonic clock, nanoseconds.
    """

    def __init__(
        self,
        path: Path | None,
        start_us: int,
        speed: float = 0.0,
        monotonic_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        self._path = path
        self._monotonic_ns = monotonic_ns
        self._segments = [Segment(monotonic_ns(), start_us, _checked(speed))]
        self._write()

    def now_us(self) -> int:
        """Kitchen time now, microseconds since the epoch."""
        return kitchen_at(self._segments, self._monotonic_ns())

    @property
    def speed(self) -> float:
        """The speed of the newest segment, in force or announced."""
        return self._segments[-1].speed

    def seconds_until(self, kitchen_us: int) -> float | None:
        """Real seconds until kitchen time reaches ``kitchen_us``.

        0 when past, None while time stands.
        """
        return _seconds_until(self._segments, kitchen_us, self._monotonic_ns())

    def request(self, speed: float) -> bool:
        """Announce a new speed; False while an earlier announcement is not yet in force.

        Ask again later then. An announced segment may already have been read elsewhere, so it is
        never replaced.
        """
        _checked(speed)
        newest = self._segments[-1]
        if speed == newest.speed:
            return True
        now = self._monotonic_ns()
        if newest.monotonic_ns > now:
            return False
        start = now + LEAD_NS
        self._segments = [newest, Segment(start, newest.at(start), speed)]
        self._write()
        return True

    def _write(self) -> None:
        if self._path is None:
            return
        text = json.dumps({"segments": [list(segment) for segment in self._segments]})
        beside = self._path.with_name(f".{self._path.name}.{os.getpid()}")
        beside.write_text(text, encoding="utf-8")
        beside.replace(self._path)


def _checked(speed: float) -> float:
    if not 0 <= speed <= 100_000:
        raise ValueError(f"speed is kitchen seconds per second, from 0 to 100000, not {speed!r}")
    return speed


def _seconds_until(segments: list[Segment], kitchen_us: int, now_ns: int) -> float | None:
    if kitchen_at(segments, now_ns) >= kitchen_us:
        return 0.0
    at_ns = monotonic_for(segments, kitchen_us)
    return None if at_ns is None else max(at_ns - now_ns, 0) / 1e9
