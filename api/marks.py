"""Marks: sent over MQTT again and again until the store shows them."""

from __future__ import annotations

import time
import uuid
from collections.abc import Callable
from typing import Any

from drivers.mqtt import Wire, encode
from drivers.topics import Topics
from logger.store import Reader, StoreError

REPEAT_S = 1.0
LOOK_S = 0.02


class MarkRefused(ValueError):
    """The recorder refused the mark; the message is its reason."""


class NotStored(TimeoutError):
    """The store did not show the mark in time."""

    def __init__(self, waited_s: float) -> None:
        super().__init__(
            f"nobody stored it within {waited_s:.0f} s; see whether the recorder runs "
            "and the disk has room"
        )


class MarkSender:
    """Sends marks and waits for the store's word.

    Args:
        wire: a started connection to the broker.
        topics: of this kitchen.
        reader: the store, read-only.
    """

    def __init__(self, wire: Wire, topics: Topics, reader: Reader) -> None:
        self._wire = wire
        self._topics = topics
        self._reader = reader

    def send(
        self,
        document: dict[str, Any],
        timeout_s: float = 5.0,
        given_up: Callable[[], bool] = lambda: False,
    ) -> dict[str, Any]:
        """Publish the mark until it is stored; gives it with its id.

        Raises:
            MarkRefused: the recorder refused it, with the reason.
            NotStored: not stored within `timeout_s`.
        """
        mark = {"id": uuid.uuid4().hex, **document}
        payload = encode(mark)
        began = time.monotonic()
        sent: float | None = None
        while not given_up():
            now = time.monotonic()
            if now - began > timeout_s:
                break
            if sent is None or now - sent > REPEAT_S:
                self._wire.publish(self._topics.marks, payload)
                sent = now
            try:
                if self._reader.mark_pos(mark["id"]) is not None:
                    return mark
                if (reason := self._reader.mark_refused(mark["id"])) is not None:
                    raise MarkRefused(reason)
            except StoreError:
                pass  # the store is not there yet, or busy for a moment
            time.sleep(LOOK_S)
        raise NotStored(time.monotonic() - began)
