"""What one transaction will write, and the statements that write it."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, field
from typing import Any

Row = tuple[Any, ...]


@dataclass(slots=True)
class NumberedSource:
    """Up to where the outbox with this boot id is stored.

    Attributes:
        id: of its row.
        seq: last sequence stored, declared missing, or refused; 0 at first.
        gap: number of its last stored gap or clock jump; 0 at first.
        received_us: when the last of it came.
    """

    id: int
    instrument: str
    boot: str
    seq: int = 0
    gap: int = 0
    received_us: int = 0


@dataclass(frozen=True, slots=True)
class DraftBatch:
    """A batch that is being opened."""

    id: str
    title: str | None
    oven: str | None
    opened_pos: int
    plan_pos: int
    opened_us: int


@dataclass(slots=True)
class Draft:
    """Rows waiting for their transaction, by table."""

    log: list[Row] = field(default_factory=list)
    channels: list[Row] = field(default_factory=list)
    sources: dict[int, NumberedSource] = field(default_factory=dict)
    marks: list[Row] = field(default_factory=list)
    instruments: dict[str, Row] = field(default_factory=dict)
    batches: dict[str, DraftBatch] = field(default_factory=dict)
    closings: list[Row] = field(default_factory=list)
    events: list[Row] = field(default_factory=list)
    errors: list[Row] = field(default_factory=list)
    refused: list[Row] = field(default_factory=list)
    alerts: list[Row] = field(default_factory=list)
    # To know again what is not in the file yet: ids of marks, and unnumbered readings.
    mark_ids: set[str] = field(default_factory=set)
    foreign: set[tuple[int, int, str]] = field(default_factory=set)
    _last_n: tuple[int, int] = (0, 0)

    @property
    def is_empty(self) -> bool:
        return not (
            self.log
            or self.sources
            or self.events
            or self.closings
            or self.errors
            or self.refused
            or self.alerts
        )

    def next_n(self, pos: int) -> int:
        """The next number among the events of a position."""
        n = self._last_n[1] + 1 if self._last_n[0] == pos else 1
        self._last_n = (pos, n)
        return n

    def write(self, connection: sqlite3.Connection, refused_kept: int) -> None:
        """Write all of it; the caller owns the transaction."""
        many = connection.executemany
        many("INSERT INTO channel (id, instrument, name, unit) VALUES (?, ?, ?, ?)", self.channels)
        many(
            "INSERT INTO progress (id, instrument, boot, seq, gap, received_us)"
            " VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (id) DO UPDATE"
            " SET seq = excluded.seq, gap = excluded.gap, received_us = excluded.received_us",
            [
                (s.id, s.instrument, s.boot, s.seq, s.gap, s.received_us)
                for s in self.sources.values()
            ],
        )
        many(
            "INSERT INTO log (pos, kind, t_us, received_us, channel, value, state, stable, net,"
            " division, source, seq, instrument, session, body)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            self.log,
        )
        many("INSERT INTO mark (id, pos) VALUES (?, ?)", self.marks)
        many(
            "INSERT INTO instrument (name, state, t_us, pos, body) VALUES (?, ?, ?, ?, ?)"
            " ON CONFLICT (name) DO UPDATE SET state = excluded.state, t_us = excluded.t_us,"
            " pos = excluded.pos, body = excluded.body",
            list(self.instruments.values()),
        )
        many(
            "INSERT INTO batch (id, title, oven, opened_pos, plan_pos, opened_us)"
            " VALUES (?, ?, ?, ?, ?, ?)",
            [
                (b.id, b.title, b.oven, b.opened_pos, b.plan_pos, b.opened_us)
                for b in self.batches.values()
            ],
        )
        many(
            "INSERT INTO event (pos, n, batch, id, kind, at_us, body) VALUES (?, ?, ?, ?, ?, ?, ?)",
            self.events,
        )
        many("UPDATE batch SET closed_pos = ?, closed_us = ? WHERE id = ?", self.closings)
        many(
            "INSERT INTO engine_error (pos, batch, received_us, error) VALUES (?, ?, ?, ?)",
            self.errors,
        )
        many("UPDATE batch SET flagged = 1 WHERE id = ?", [(row[1],) for row in self.errors])
        many("INSERT INTO alert (raised_us, about, text, batch) VALUES (?, ?, ?, ?)", self.alerts)
        many(
            "INSERT INTO refused (received_us, topic, reason, payload, source, seq, mark)"
            " VALUES (?, ?, ?, ?, ?, ?, ?)",
            self.refused,
        )
        if self.refused:
            connection.execute(
                "DELETE FROM refused WHERE source IS NULL AND mark IS NULL"
                " AND id <= (SELECT max(id) FROM refused) - ?",
                (refused_kept,),
            )
