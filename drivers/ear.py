"""What the network thread hears and leaves for the outbox's thread, which is woken and takes it.

Bounded by its nature: the newest word of each topic, no queue.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from drivers.mqtt import NotAnObject, decode
from drivers.topics import Topics

log = logging.getLogger(__name__)


@dataclass(slots=True)
class Heard:
    """What came since the last look.

    Attributes:
        recorder: the recorder's newest word, None where there was none.
        spoke: True when it said a word just now; False when the broker only kept it.
        stored: the newest stored-up-to by instrument.
        connected: True when the connection is a new one.
    """

    recorder: dict[str, Any] | None = None
    spoke: bool = False
    stored: dict[str, dict[str, Any]] = field(default_factory=dict)
    connected: bool = False


class Ear:
    """The callbacks of the wire; none of them blocks.

    Args:
        topics: of the kitchen.
        wake: called after each word.
        on_command: called with each command document, its instrument added.
    """

    def __init__(
        self,
        topics: Topics,
        wake: Callable[[], None],
        on_command: Callable[[dict[str, Any]], None] | None,
    ) -> None:
        self._topics = topics
        self._wake = wake
        self._on_command = on_command
        self._lock = threading.Lock()
        self._heard = Heard()

    def take(self) -> Heard:
        """What was heard since the last call."""
        with self._lock:
            heard, self._heard = self._heard, Heard()
        return heard

    def connect(self) -> None:
        with self._lock:
            self._heard.connected = True
        self._wake()

    def recorder(self, topic: str, payload: bytes, retained: bool) -> None:
        if (document := _document(topic, payload)) is None:
            return
        with self._lock:
            self._heard.recorder = document
            self._heard.spoke = self._heard.spoke or not retained
        self._wake()

    def stored(self, topic: str, payload: bytes, _retained: bool) -> None:
        found, document = self._topics.parse(topic), _document(topic, payload)
        if found is None or document is None:
            return
        with self._lock:
            self._heard.stored[found[1]] = document
        self._wake()

    def command(self, topic: str, payload: bytes, retained: bool) -> None:
        """A command that was left lying about (retained) is nobody's present wish."""
        found = self._topics.parse(topic)
        if retained or found is None or self._on_command is None:
            return
        if (document := _document(topic, payload)) is not None:
            self._on_command(document | {"instrument": found[1]})


def _document(topic: str, payload: bytes) -> dict[str, Any] | None:
    if not payload:
        return None  # a cleared topic
    try:
        return decode(payload)
    except NotAnObject as error:
        log.warning("%s cannot be read: %s", topic, error)
        return None
