"""The recorder's own topic: who records on this broker, and whether that may be us.

Two recorders would each tell the drivers "stored" for what the other has not. So the second one
refuses to start while the first is online. Should two start in the same moment, the one whose
start came later gives way.
"""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable
from importlib import metadata
from typing import Any

from drivers import mqtt
from drivers.reading import seconds


class AnotherRecorder(RuntimeError):
    """Another recorder is online on this broker.

    Attributes:
        id, log_id: of the other.
    """

    def __init__(self, id_: str, log_id: str) -> None:
        super().__init__(id_, log_id)
        self.id = id_
        self.log_id = log_id

    def __str__(self) -> str:
        return (
            f"recorder {self.id} (log {self.log_id}) is online on this broker already; stop it, or "
            "give this one another kitchen name or broker"
        )


def version() -> str:
    """The installed version; ``0`` when run from a checkout that is not installed."""
    try:
        return metadata.version("coolcrumb")
    except metadata.PackageNotFoundError:
        return "0"


class Presence:
    """What this recorder says of itself, and what it hears of others.

    Args:
        log_id: of the store it has locked; a recorder heard with the same log id can only be an
            earlier start of this one whose Last Will has not come yet.
        started_us: kitchen time of this start.
        say: publishes a document, retained; called on whatever thread hears or changes something.
        on_rival: called once when this recorder must give way.
    """

    def __init__(
        self,
        log_id: str,
        started_us: int,
        say: Callable[[dict[str, Any]], object],
        on_rival: Callable[[AnotherRecorder], None],
    ) -> None:
        self.id = uuid.uuid4().hex[:12]
        self._log_id = log_id
        self._started_us = started_us
        self._say = say
        self._on_rival = on_rival
        self._lock = threading.Lock()
        self._online = False
        self._rival: dict[str, Any] | None = None
        self._alerts: list[dict[str, Any]] = []

    def document(self, online: bool) -> dict[str, Any]:
        """The document of the `recorder` topic."""
        with self._lock:
            alerts = list(self._alerts)
        return {
            "id": self.id,
            "log": self._log_id,
            "version": version(),
            "online": online,
            "t": seconds(self._started_us),
            "alerts": alerts if online else [],
        }

    def rival(self) -> AnotherRecorder | None:
        """Another recorder that is online, as far as heard."""
        with self._lock:
            rival = self._rival
        return None if rival is None else AnotherRecorder(str(rival["id"]), str(rival["log"]))

    def appear(self) -> None:
        """From now on: say that we are online, and say it again whenever it is forgotten."""
        self._online = True
        self._say(self.document(True))

    def disappear(self) -> None:
        self._online = False

    def repeat(self) -> None:
        """Say it again (after a reconnect)."""
        if self._online:
            self._say(self.document(True))

    def set_alerts(self, alerts: list[dict[str, Any]]) -> None:
        """Change the alerts that are said along."""
        with self._lock:
            if alerts == self._alerts:
                return
            self._alerts = alerts
        self.repeat()

    def hear(self, payload: bytes) -> None:
        """A message on the recorder's topic."""
        try:
            heard = mqtt.decode(payload) if payload else {"online": False}
        except mqtt.NotAnObject:
            heard = {"online": False}
        online = heard.get("online") is True
        heard_id, log_id = str(heard.get("id", "")), str(heard.get("log", ""))
        if heard_id == self.id:
            if not online:
                self.repeat()  # our own Last Will, late
            return
        if not online or log_id == self._log_id:
            with self._lock:
                self._rival = None
            self.repeat()
            return
        with self._lock:
            self._rival = {"id": heard_id, "log": log_id}
        if not self._online:
            return
        try:
            theirs = (float(heard.get("t", 0)), heard_id)
        except (TypeError, ValueError):
            theirs = (0.0, heard_id)
        if theirs < (seconds(self._started_us), self.id):
            self._on_rival(AnotherRecorder(heard_id, log_id))
        else:
            self.repeat()
