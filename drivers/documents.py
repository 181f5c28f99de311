"""Documents that are no readings (states of instruments, answers to commands), until they are sent.

A few an hour, put in by the instruments' threads and sent by the outbox's.
"""

from __future__ import annotations

import threading
from collections import deque
from typing import Any

from drivers.mqtt import Wire
from drivers.topics import Topics

MOST_WAITING = 1_000


class Documents:
    """What waits, in order, and the newest state of each instrument.

    At most `MOST_WAITING` wait; then the oldest is given up.
    """

    def __init__(self, topics: Topics) -> None:
        self._topics = topics
        self._lock = threading.Lock()
        self._waiting: deque[tuple[str, dict[str, Any], bool]] = deque(maxlen=MOST_WAITING)
        self._states: dict[str, dict[str, Any]] = {}

    def announce(self, instrument: str, document: dict[str, Any]) -> None:
        """An instrument's state: retained, and repeated by `repeat_states`."""
        with self._lock:
            self._states[instrument] = document
            self._waiting.append((self._topics.instruments(instrument), document, True))

    def answer(self, instrument: str, document: dict[str, Any]) -> None:
        """The answer to a command."""
        with self._lock:
            self._waiting.append((self._topics.answers(instrument), document, False))

    def repeat_states(self, wire: Wire) -> None:
        """Publish each instrument's state again, but for those that wait anyway."""
        with self._lock:
            waiting = {topic for topic, _, _ in self._waiting}
            states = dict(self._states)
        for name, document in states.items():
            if self._topics.instruments(name) not in waiting:
                wire.publish_json(self._topics.instruments(name), document, retain=True)

    def send(self, wire: Wire) -> bool:
        """Publish what waits; False when the wire did not take all, and the rest waits on."""
        while self._waiting:
            with self._lock:
                topic, document, retain = self._waiting.popleft()
            if not wire.publish_json(topic, document, retain=retain):
                with self._lock:
                    self._waiting.appendleft((topic, document, retain))
                return False
        return True
