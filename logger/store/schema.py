"""The tables, typed by hand, and the named steps by which they came to be.

A step that was once released is never edited: the next change is a step of its own, so that every
store in the world can be brought up to date. No insert may create or alter a table.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

from sqlite_utils import Database, Migrations

FILE_NAME = "coolcrumb.db"

# Hand-typed and STRICT: a weight can never come back as text, and NaN never becomes NULL unseen.
TABLES: dict[str, str] = {
    "meta": """CREATE TABLE meta (
        key TEXT PRIMARY KEY,
        value TEXT NOT NULL
    ) STRICT, WITHOUT ROWID""",
    "channel": """CREATE TABLE channel (
        id INTEGER PRIMARY KEY,
        instrument TEXT NOT NULL,
        name TEXT NOT NULL,
        unit TEXT NOT NULL,
        UNIQUE (instrument, name, unit)
    ) STRICT""",
    # Up to where each outbox (instrument, boot id) is stored: sequence, and number of its gaps.
    "progress": """CREATE TABLE progress (
        id INTEGER PRIMARY KEY,
        instrument TEXT NOT NULL,
        boot TEXT NOT NULL,
        seq INTEGER NOT NULL,
        gap INTEGER NOT NULL,
        received_us INTEGER NOT NULL,
        UNIQUE (instrument, boot)
    ) STRICT""",
    # Readings use the columns from channel to seq (source: the outbox that numbered them, seq
    # within it); every other kind has its document in body. session: the batch whose recording
    # was taken in and to which alone the record belongs; '' for what was recorded here.
    "log": """CREATE TABLE log (
        pos INTEGER PRIMARY KEY,
        kind TEXT NOT NULL,
        t_us INTEGER NOT NULL,
        received_us INTEGER NOT NULL,
        channel INTEGER REFERENCES channel (id),
        value REAL,
        state TEXT,
        stable INTEGER,
        net INTEGER,
        division REAL,
        source INTEGER REFERENCES progress (id),
        seq INTEGER,
        instrument TEXT,
        session TEXT NOT NULL DEFAULT '',
        body TEXT
    ) STRICT""",
    "mark": """CREATE TABLE mark (
        id TEXT PRIMARY KEY,
        pos INTEGER NOT NULL REFERENCES log (pos)
    ) STRICT, WITHOUT ROWID""",
    # Present state of each instrument, as last written to the log at pos.
    "instrument": """CREATE TABLE instrument (
        name TEXT PRIMARY KEY,
        state TEXT NOT NULL,
        t_us INTEGER NOT NULL,
        pos INTEGER NOT NULL REFERENCES log (pos),
        body TEXT NOT NULL
    ) STRICT, WITHOUT ROWID""",
    "batch": """CREATE TABLE batch (
        id TEXT PRIMARY KEY,
        title TEXT,
        oven TEXT,
        opened_pos INTEGER NOT NULL,
        plan_pos INTEGER NOT NULL,
        closed_pos INTEGER,
        opened_us INTEGER NOT NULL,
        closed_us INTEGER,
        flagged INTEGER NOT NULL DEFAULT 0
    ) STRICT""",
    # n orders the events of one position over all batches: (pos, n) is the id to resume from.
    "event": """CREATE TABLE event (
        pos INTEGER NOT NULL REFERENCES log (pos),
        n INTEGER NOT NULL,
        batch TEXT NOT NULL REFERENCES batch (id),
        id INTEGER NOT NULL,
        kind TEXT NOT NULL,
        at_us INTEGER NOT NULL,
        body TEXT NOT NULL,
        PRIMARY KEY (pos, batch, id)
    ) STRICT, WITHOUT ROWID""",
    "refused": """CREATE TABLE refused (
        id INTEGER PRIMARY KEY,
        received_us INTEGER NOT NULL,
        topic TEXT NOT NULL,
        reason TEXT NOT NULL,
        payload BLOB NOT NULL,
        source INTEGER REFERENCES progress (id),
        seq INTEGER,
        mark TEXT
    ) STRICT""",
    "engine_error": """CREATE TABLE engine_error (
        id INTEGER PRIMARY KEY,
        pos INTEGER NOT NULL REFERENCES log (pos),
        batch TEXT NOT NULL REFERENCES batch (id),
        received_us INTEGER NOT NULL,
        error TEXT NOT NULL
    ) STRICT""",
    "alert": """CREATE TABLE alert (
        id INTEGER PRIMARY KEY,
        raised_us INTEGER NOT NULL,
        about TEXT NOT NULL,
        text TEXT NOT NULL,
        batch TEXT
    ) STRICT""",
}

INDEXES: dict[str, str] = {
    # A numbered reading is stored once, whatever the broker repeats.
    "log_numbered": "CREATE UNIQUE INDEX log_numbered ON log (source, seq)"
    " WHERE source IS NOT NULL",
    # One without numbers is known by its channel and time.
    "log_foreign": "CREATE UNIQUE INDEX log_foreign ON log (channel, t_us, session)"
    " WHERE channel IS NOT NULL AND source IS NULL",
    "log_chart": "CREATE INDEX log_chart ON log (channel, t_us) WHERE channel IS NOT NULL",
    "log_others": "CREATE INDEX log_others ON log (kind, instrument, t_us) WHERE channel IS NULL",
    "event_batch": "CREATE UNIQUE INDEX event_batch ON event (batch, id)",
    "event_kind": "CREATE INDEX event_kind ON event (kind, batch)",
    "event_order": "CREATE UNIQUE INDEX event_order ON event (pos, n)",
    "refused_numbered": "CREATE INDEX refused_numbered ON refused (source, seq)"
    " WHERE source IS NOT NULL",
    "refused_mark": "CREATE INDEX refused_mark ON refused (mark) WHERE mark IS NOT NULL",
}

steps = Migrations("coolcrumb-log")


@steps(name="0001 the log and what is read from it")
def _lay_down(db: Database) -> None:
    for statement in (*TABLES.values(), *INDEXES.values()):
        db.execute(statement)


class StoreError(Exception):
    """Base of what can go wrong with a store; `path` is its file."""

    def __init__(self, path: Path, text: str) -> None:
        super().__init__(text)
        self.path = path
        self.text = text

    def __str__(self) -> str:
        return self.text

    def __reduce__(self) -> tuple[type[StoreError], tuple[Path, str]]:
        return (type(self), (self.path, self.text))


class StoreNotThere(StoreError, FileNotFoundError):
    """There is no store at this place (yet)."""


class StoreNewer(StoreError, ValueError):
    """The store was written by a newer version of this program."""


def bring_up_to_date(connection: sqlite3.Connection, path: Path) -> None:
    """Apply the steps this store has not seen.

    Raises:
        StoreNewer: it has seen steps that this version does not know.
    """
    db = Database(connection)
    known = {step.name for step in steps._migrations}
    unknown = [step.name for step in steps.applied(db) if step.name not in known]
    if unknown:
        raise StoreNewer(
            path, f"{path} was written by a newer version ({unknown[0]!r}); install that version"
        )
    if steps.pending(db):
        steps.apply(db)
