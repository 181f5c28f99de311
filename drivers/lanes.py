"""Lanes: what the outbox's file holds of each instrument, and how it is laid out."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from drivers.notices import Gap, Jump, Notice
from drivers.reading import Reading

SCHEMA_VERSION = 1
SCHEMA = """
CREATE TABLE fact (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
CREATE TABLE lane (
    instrument  TEXT PRIMARY KEY,
    next_seq    INTEGER NOT NULL,   -- number of the next reading
    next_number INTEGER NOT NULL,   -- number of the next notice
    dropped_seq INTEGER NOT NULL,   -- newest sequence that is no longer kept, 0 at first
    first_us    INTEGER,            -- time of reading 1
    dropped_us  INTEGER,            -- time of reading dropped_seq
    last_us     INTEGER             -- time of the newest reading
) STRICT;
CREATE TABLE reading (
    instrument TEXT NOT NULL,
    seq        INTEGER NOT NULL,
    channel    TEXT NOT NULL,
    t_us       INTEGER NOT NULL,
    value      REAL,
    unit       TEXT NOT NULL,
    state      TEXT,
    stable     INTEGER,
    net        INTEGER,
    division   REAL,
    PRIMARY KEY (instrument, seq)
) STRICT, WITHOUT ROWID;
CREATE TABLE notice (
    instrument TEXT NOT NULL,
    number     INTEGER NOT NULL,
    before_seq INTEGER NOT NULL,    -- it is sent before this reading
    kind       TEXT NOT NULL,       -- gap or jump
    first      INTEGER,
    last       INTEGER,
    from_us    INTEGER,
    to_us      INTEGER NOT NULL,    -- of a jump: when
    jump_us    INTEGER,
    reason     TEXT NOT NULL,
    PRIMARY KEY (instrument, number)
) STRICT;
"""

Item = Reading | Gap | Jump


@dataclass(slots=True)
class Lane:
    """What the outbox knows of one instrument; the columns are explained in `SCHEMA`.

    `notices` are those not known to be stored, by number.
    """

    instrument: str
    next_seq: int = 1
    next_number: int = 1
    dropped_seq: int = 0
    first_us: int | None = None
    dropped_us: int | None = None
    last_us: int | None = None
    notices: list[Notice] = field(default_factory=list)

    @property
    def kept(self) -> int:
        """How many readings are kept."""
        return self.next_seq - 1 - self.dropped_seq

    def copy(self) -> Lane:
        return replace(self, notices=list(self.notices))


def load_lanes(db: sqlite3.Connection) -> dict[str, Lane]:
    """All lanes of a file with their notices, by instrument."""
    lanes = {
        row[0]: Lane(*row)
        for row in db.execute(
            "SELECT instrument, next_seq, next_number, dropped_seq, first_us, dropped_us, "
            "last_us FROM lane"
        )
    }
    rows = db.execute(
        "SELECT instrument, number, before_seq, kind, first, last, from_us, to_us, jump_us, "
        "reason FROM notice ORDER BY instrument, number"
    )
    for name, number, before, kind, first, last, from_us, to_us, jump_us, reason in rows:
        content: Gap | Jump = (
            Gap(name, first, last, from_us, to_us, reason)
            if kind == "gap"
            else Jump(name, to_us, jump_us)
        )
        lanes[name].notices.append(Notice(number, before, content))
    return lanes


def save_lanes(db: sqlite3.Connection, lanes: Iterable[Lane]) -> None:
    """Write what a lane knows of itself, inside the caller's transaction."""
    db.executemany(
        "INSERT OR REPLACE INTO lane VALUES (?, ?, ?, ?, ?, ?, ?)",
        [
            (
                lane.instrument,
                lane.next_seq,
                lane.next_number,
                lane.dropped_seq,
                lane.first_us,
                lane.dropped_us,
                lane.last_us,
            )
            for lane in lanes
        ],
    )


def new_notice(lane: Lane, content: Gap | Jump, before_seq: int) -> Notice:
    """Give a gap or jump its number in the lane."""
    notice = Notice(lane.next_number, before_seq, content)
    lane.next_number += 1
    lane.notices.append(notice)
    return notice


def insert_notice(db: sqlite3.Connection, lane: Lane, notice: Notice) -> None:
    """Write one notice, inside the caller's transaction."""
    match notice.content:
        case Gap(_, first, last, from_us, to_us, reason):
            content: tuple[Any, ...] = ("gap", first, last, from_us, to_us, None, reason)
        case Jump(_, t_us, jump_us):
            content = ("jump", None, None, None, t_us, jump_us, "")
    db.execute(
        "INSERT INTO notice VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (lane.instrument, notice.number, notice.before_seq, *content),
    )


def row_of(reading: Reading) -> tuple[Any, ...]:
    """A reading as a row of its table."""
    return (
        reading.instrument,
        reading.seq,
        reading.channel,
        reading.t_us,
        reading.value,
        reading.unit,
        reading.state,
        reading.stable,
        reading.net,
        reading.division,
    )
