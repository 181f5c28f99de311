"""The mailbox of one page, and the places of events, which are their ids on the stream."""

from __future__ import annotations

import asyncio
import time
from collections import deque

MAILBOX = 100
Place = tuple[int, int]


def place_text(place: Place) -> str:
    """The id of an event on the stream: ``pos.n``."""
    return f"{place[0]}.{place[1]}"


def place_of(text: str) -> Place | None:
    """The place an id names, None where it is no id of ours.

    >>> place_of("12.1"), place_of("yesterday")
    ((12, 1), None)
    """
    pos, dot, n = text.partition(".")
    if not dot or not (pos.isascii() and pos.isdigit() and n.isascii() and n.isdigit()):
        return None
    return (int(pos), int(n)) if len(pos) < 19 and len(n) < 19 else None


class Mailbox:
    """What waits for one page: events in order, and the newest of everything else.

    Attributes:
        batch: the batch it shows; None follows the newest open one.
        address: the peer's, by which the server can drop it.
        closed: why it was closed, '' while open.
    """

    def __init__(self, batch: str | None, address: tuple[str, int] | None) -> None:
        self.batch = batch
        self.address = address
        self.closed = ""
        self.wake = asyncio.Event()
        self.waiting_since: float | None = None
        self.events: deque[tuple[Place, str]] = deque()
        self.newest: dict[str, tuple[str, str]] = {}

    def put_event(self, place: Place, body: str) -> None:
        """Queue an event; a full mailbox closes instead of dropping from its middle."""
        if len(self.events) >= MAILBOX:
            self.close(f"{MAILBOX} events behind")
            return
        self.events.append((place, body))
        self._stir()

    def put(self, key: str, kind: str, body: str) -> None:
        """Replace the newest message of this key."""
        self.newest[key] = (kind, body)
        self._stir()

    def _stir(self) -> None:
        if self.waiting_since is None:
            self.waiting_since = time.monotonic()
        self.wake.set()

    def close(self, reason: str) -> None:
        self.closed = self.closed or reason
        self.wake.set()

    def take(self) -> tuple[list[tuple[Place, str]], list[tuple[str, str]]]:
        """Everything that waits."""
        self.wake.clear()
        self.waiting_since = None
        events, newest = list(self.events), list(self.newest.values())
        self.events.clear()
        self.newest.clear()
        return events, newest
