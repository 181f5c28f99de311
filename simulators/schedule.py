"""What happens next in a kitchen: tasks in the order of kitchen time, each at start + n × period.

One loop runs them all, so that with the same random start value everything happens in the same
order whatever the speed. A loop that is late does the missed tasks at once, in order: nothing is
left out.
"""

from __future__ import annotations

import heapq
import threading
from collections.abc import Callable, Iterator
from typing import Protocol

LONGEST_SLEEP_S = 0.05  # the clock may change its speed meanwhile

Task = Callable[[int], None]
Story = Iterator[float]


class Clock(Protocol):
    """What a schedule needs of a clock."""

    def now_us(self) -> int:
        """Kitchen time now, microseconds since the epoch."""

    def seconds_until(self, kitchen_us: int) -> float | None:
        """Real seconds until then; None while time stands."""


class Schedule:
    """Tasks by kitchen time.

    Args:
        start_us: kitchen time of the beginning, microseconds since the epoch.
    """

    def __init__(self, start_us: int) -> None:
        self.start_us = start_us
        self.now_us = start_us
        self._heap: list[tuple[int, int, Callable[[int], int | None]]] = []
        self._order = 0

    def every(self, period_us: int, task: Task, first_us: int | None = None) -> None:
        """Call ``task(kitchen_us)`` at first_us (default the start), first_us + period_us, …"""
        first = self.start_us if first_us is None else first_us
        count = 0

        def again(at_us: int) -> int | None:
            nonlocal count
            task(at_us)
            count += 1
            return first + count * period_us

        self._push(first, again)

    def follow(self, story: Story, finished: Callable[[], None]) -> None:
        """Go through a story that yields how many kitchen seconds to let pass.

        Then call ``finished``.
        """
        due = self.start_us

        def again(at_us: int) -> int | None:
            nonlocal due
            pause_s = next(story, None)
            if pause_s is None:
                finished()
                return None
            due += max(round(pause_s * 1e6), 1)
            return due

        self._push(due, again)

    def run_until(self, kitchen_us: int, stopped: Callable[[], bool] = lambda: False) -> None:
        """Run every task due up to and including ``kitchen_us``."""
        while self._heap and self._heap[0][0] <= kitchen_us and not stopped():
            due, order, task = heapq.heappop(self._heap)
            self.now_us = due
            following = task(due)
            if following is not None:
                heapq.heappush(self._heap, (following, order, task))

    def next_us(self) -> int | None:
        """When the next task is due, or None when there is none."""
        return self._heap[0][0] if self._heap else None

    def run(
        self, clock: Clock, stop: threading.Event, meanwhile: Callable[[], None] = lambda: None
    ) -> None:
        """Run the tasks by a clock until ``stop`` is set or none is left.

        ``meanwhile`` is called between them.
        """
        while not stop.is_set():
            meanwhile()
            # a second of kitchen time at a time, so that a late loop still hears stop and pace
            until_us = min(clock.now_us(), (self.next_us() or self.now_us) + 1_000_000)
            self.run_until(until_us, stop.is_set)
            following = self.next_us()
            if following is None:
                return
            pause_s = clock.seconds_until(following)
            if pause_s is None or pause_s > 0:
                stop.wait(LONGEST_SLEEP_S if pause_s is None else min(pause_s, LONGEST_SLEEP_S))

    def _push(self, due_us: int, task: Callable[[int], int | None]) -> None:
        heapq.heappush(self._heap, (due_us, self._order, task))
        self._order += 1


class ScheduleThread(threading.Thread):
    """A schedule that runs in a thread of its own.

    An exception in it is kept and raised by :meth:`finish`.
    """

    def __init__(self, name: str, schedule: Schedule, clock: Clock) -> None:
        super().__init__(name=name, daemon=False)
        self._schedule = schedule
        self._clock = clock
        self._stop_asked = threading.Event()
        self._error: BaseException | None = None

    def run(self) -> None:
        """Run until asked to finish."""
        try:
            self._schedule.run(self._clock, self._stop_asked)
        except BaseException as error:
            self._error = error

    def finish(self, timeout_s: float = 5.0) -> None:
        """Stop, wait for the end, and raise what went wrong.

        Raises:
            TimeoutError: the thread did not end in time.
        """
        self._stop_asked.set()
        self.join(timeout_s)
        if self.is_alive():
            raise TimeoutError(f"{self.name} did not end within {timeout_s} s")
        if self._error is not None:
            raise self._error
