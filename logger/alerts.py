"""Alerts of the recorder itself: what stands in the way of recording, until it is gone.

An alert stands under a short name (`disk full`, `disk nearly full`, `readings refused` …). It is
logged once when it is raised and once when it is over, not each time the matter is met again.
"""

from __future__ import annotations

import logging
import threading
from dataclasses import dataclass
from typing import Any

from drivers.reading import seconds

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Standing:
    """An alert that stands.

    Attributes:
        about: short name of the matter.
        text: what is wrong, where, what to do.
        since_us: when it was raised.
    """

    about: str
    text: str
    since_us: int

    def to_json(self) -> dict[str, Any]:
        return {"about": self.about, "text": self.text, "since_at": seconds(self.since_us)}


class Alerts:
    """The alerts that stand; safe to use from several threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._standing: dict[str, Standing] = {}

    def put(self, about: str, text: str, now_us: int) -> bool:
        """Raise an alert; True when it did not stand already."""
        with self._lock:
            if about in self._standing:
                return False
            self._standing[about] = Standing(about, text, now_us)
        log.error("%s: %s", about, text)
        return True

    def clear(self, about: str) -> bool:
        """The matter is over; True when it stood until now."""
        with self._lock:
            gone = self._standing.pop(about, None)
        if gone is None:
            return False
        log.warning("over: %s", about)
        return True

    def standing(self) -> list[dict[str, Any]]:
        """The alerts that stand, as documents, the oldest first."""
        with self._lock:
            found = sorted(self._standing.values(), key=lambda alert: (alert.since_us, alert.about))
        return [alert.to_json() for alert in found]
