"""What a reader finds, a dataclass a row."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class BatchRow:
    """A batch: where it lies in the log, and when it was opened and closed (None while open).

    `oven` is the SenML name of the channel with that role; `flagged`: the engine failed in it.
    """

    id: str
    title: str | None
    oven: str | None
    opened_pos: int
    plan_pos: int
    closed_pos: int | None
    opened_us: int
    closed_us: int | None
    flagged: bool


@dataclass(frozen=True, slots=True)
class EventRow:
    """A stored event: `pos` and `n` are its place over all batches, `body` its JSON form."""

    pos: int
    n: int
    batch: str
    id: int
    kind: str
    at_us: int
    body: str

    @property
    def document(self) -> dict[str, Any]:
        """The body, read."""
        document: dict[str, Any] = json.loads(self.body)
        return document


@dataclass(frozen=True, slots=True)
class RefusedRow:
    """A refused message: why, and how it began. `seq` where an outbox had numbered it."""

    received_us: int
    topic: str
    reason: str
    payload: bytes
    instrument: str | None
    boot: str | None
    seq: int | None
    mark: str | None


@dataclass(frozen=True, slots=True)
class ChannelRow:
    """A channel ever recorded."""

    instrument: str
    name: str
    unit: str

    @property
    def senml_name(self) -> str:
        return f"{self.instrument}/{self.name}"


@dataclass(frozen=True, slots=True)
class AlertRow:
    """Something a person should look at."""

    raised_us: int
    about: str
    text: str
    batch: str | None
