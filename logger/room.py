"""What the engine asks of a room: three questions, each answered with conclusions.

A room is pure and deterministic: no socket, file, clock, thread, or randomness. It keeps its own
state; the same calls in the same order give the same answers. It sees only readings that are not
late within their channel, corrected by calibration.
"""

from __future__ import annotations

from typing import Protocol

from drivers.reading import Reading
from logger.entries import Gap, Mark
from logger.events import Body, Event


class Room(Protocol):
    """A domain room: weighing, oven, thermal."""

    def on_reading(self, reading: Reading, role: str) -> list[Body]:
        """A reading of a channel that plays `role` (``scale``, ``oven``, ``core`` …)."""
        ...

    def on_mark(self, mark: Mark) -> list[Body]:
        """What a person did or said."""
        ...

    def on_gap(self, gap: Gap) -> list[Body]:
        """Readings of an instrument are missing between `gap.from_us` and `gap.to_us`."""
        ...

    def on_second(self, t_us: int) -> list[Body]:
        """A whole second of event time has passed (silence included)."""
        ...

    def on_event(self, event: Event) -> list[Body]:
        """An event of this batch was concluded, by this room or another (its id is now known).

        Only bodies that the event directly causes may be returned; a room must not answer its own
        kinds with the same kind.
        """
        ...
