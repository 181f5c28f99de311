"""Kitchen time: the only place that reads a clock.

In life kitchen time is the machine's UTC time. In the demo it is read from a small clock file that
the simulated kitchen rewrites when the speed changes, one JSON object::

    {"segments": [[monotonic_ns, kitchen_us, speed], ...]}

At the monotonic instant m (CLOCK_MONOTONIC, shared by all processes of a machine) the last segment
whose ``monotonic_ns <= m`` holds: ``kitchen_us + (m - monotonic_ns) / 1000 * speed``. A new segment
lies at least 200 ms in the future, so that every process changes at the same instant.
"""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

POLL_NS = 50_000_000


class Clock(Protocol):
    """Where stamps come from. Anything that stamps or waits takes one of these."""

    def now_us(self) -> int:
        """Kitchen time, UTC microseconds since the epoch."""
        ...

    def speed(self) -> float:
        """Kitchen seconds per real second (1.0 in life)."""
        ...


class SystemClock:
    """The machine's own clock."""

    def now_us(self) -> int:
        return time.time_ns() // 1000

    def speed(self) -> float:
        return 1.0


class KitchenClock:
    """Kitchen time read from a clock file; safe to use from several threads.

    Raises:
        ClockFileError: at construction, when the file is missing or not of this layout.
    """

    def __init__(self, path: Path, monotonic_ns: Callable[[], int] = time.monotonic_ns) -> None:
        self._path = path
        self._monotonic_ns = monotonic_ns
        self._lock = threading.Lock()
        self._segments: list[tuple[int, int, float]] = []
        self._identity: tuple[int, int] | None = None
        self._checked_ns = 0
        self._read()

    def _read(self) -> None:
        try:
            status = self._path.stat()
            if (identity := (status.st_ino, status.st_mtime_ns)) == self._identity:
                return
            document = json.loads(self._path.read_text("utf-8"))
            segments = [(int(m), int(k), float(s)) for m, k, s in document["segments"]]
            if not segments:
                raise ValueError("no segments")
        except (OSError, ValueError, KeyError, TypeError) as error:
            if self._segments:
                return  # keep the last known segments; the writer replaces the file whole
            raise ClockFileError(self._path, str(error)) from error
        self._segments, self._identity = segments, identity

    def _segment(self) -> tuple[int, tuple[int, int, float]]:
        now = self._monotonic_ns()
        with self._lock:
            if now - self._checked_ns >= POLL_NS:
                self._checked_ns = now
                self._read()
            current = self._segments[0]
            for segment in self._segments:
                if segment[0] <= now:
                    current = segment
            return now, current

    def now_us(self) -> int:
        now, (start_ns, kitchen_us, speed) = self._segment()
        return kitchen_us + int((now - start_ns) / 1000 * speed)

    def speed(self) -> float:
        return self._segment()[1][2]


class ClockFileError(OSError):
    """The clock file is missing or unreadable.

    Attributes:
        path: the file.
        reason: what is wrong with it.
    """

    def __init__(self, path: Path, reason: str) -> None:
        super().__init__(f"clock file {path}: {reason}; start the simulated kitchen first")
        self.path = path
        self.reason = reason

    def __reduce__(self) -> tuple[type[ClockFileError], tuple[Path, str]]:
        return (type(self), (self.path, self.reason))


class Stamper:
    """Stamps that strictly increase and that a jump of the wall clock neither reorders nor repeats.

    Between calls the stamp advances with the monotonic clock and follows slow corrections of the
    wall clock. A step forward larger than `tolerance_us` is followed and returned once as a jump.
    A step backward is returned once too, but not followed: the stamps go on at the monotonic pace,
    ahead of the wall clock by the size of the step, so that durations stay right.

    Args:
        clock: kitchen time.
        monotonic_ns: the monotonic clock.
        tolerance_us: the largest difference that is no jump.
        after_us: newest stamp given by an earlier process; a clock that stands before it has
            stepped backward meanwhile.
    """

    def __init__(
        self,
        clock: Clock,
        monotonic_ns: Callable[[], int] = time.monotonic_ns,
        tolerance_us: int = 1_000_000,
        after_us: int = 0,
    ) -> None:
        self._clock = clock
        self._monotonic_ns = monotonic_ns
        self._tolerance_us = tolerance_us
        self._previous: tuple[int, int, float] | None = None
        self._ahead_us = 0
        self._last_us = after_us

    def stamp(self) -> tuple[int, int | None]:
        """(event time in µs, None or the size in µs of the clock's jump since the last stamp)."""
        now_ns, clock_us, speed = self._monotonic_ns(), self._clock.now_us(), self._clock.speed()
        jump: int | None = None
        if self._previous is None and clock_us < self._last_us:
            self._ahead_us = self._last_us - clock_us
            jump = -self._ahead_us if self._ahead_us > self._tolerance_us else None
        elif self._previous is not None and self._previous[2] == speed:
            then_ns, then_us, _ = self._previous
            step = clock_us - then_us - int((now_ns - then_ns) / 1000 * speed)
            if abs(step) > self._tolerance_us * max(1.0, speed):
                jump = step
                # Forward steps are followed (a step back taken before is given up by as much).
                self._ahead_us = max(0, self._ahead_us - step)
        self._previous = (now_ns, clock_us, speed)
        self._last_us = max(clock_us + self._ahead_us, self._last_us + 1)
        return self._last_us, jump
