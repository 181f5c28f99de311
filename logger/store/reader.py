"""`Reader`: questions to a log that somebody else may be writing.

Its connections cannot write. Every answer is one short statement read to its end, and long ones
are paged by position: a cursor left half-read would keep the write-ahead log growing.
"""

from __future__ import annotations

import json
import queue
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from drivers.reading import Reading
from logger.engine import concerns
from logger.entries import Entry, InstrumentState, PlanEntry
from logger.plan import Plan
from logger.store import bakes, charts, rows
from logger.store.charts import Chart
from logger.store.found import AlertRow, BatchRow, ChannelRow, EventRow, RefusedRow
from logger.store.schema import FILE_NAME, StoreError, StoreNotThere

PAGE = 2000
IDLE_CONNECTIONS = 8
_BATCH = (
    "SELECT id, title, oven, opened_pos, plan_pos, closed_pos, opened_us, closed_us, flagged"
    " FROM batch"
)
_EVENT = "SELECT pos, n, batch, id, kind, at_us, body FROM event"


def _batch(row: tuple[Any, ...]) -> BatchRow:
    id_, title, oven, opened, plan, closed, opened_us, closed_us, flagged = row
    return BatchRow(id_, title, oven, opened, plan, closed, opened_us, closed_us, bool(flagged))


class Reader:
    """Opens the log of a folder (or the file itself) for reading, from any number of threads.

    The file need not be there yet: each question raises `StoreNotThere` until it is.
    """

    def __init__(self, path: Path) -> None:
        self.path = path / FILE_NAME if path.is_dir() or path.suffix != ".db" else path
        self._idle: queue.SimpleQueue[sqlite3.Connection] = queue.SimpleQueue()
        self._closed = False

    @contextmanager
    def _connection(self) -> Iterator[sqlite3.Connection]:
        if self._closed:
            raise StoreError(self.path, f"the reader of {self.path} is closed")
        try:
            connection = self._idle.get_nowait()
        except queue.Empty:
            connection = self._open()
        try:
            yield connection
        except sqlite3.Error as error:
            connection.close()
            raise StoreError(self.path, f"{self.path} cannot be read: {error}") from error
        except BaseException:
            connection.close()
            raise
        if self._closed or self._idle.qsize() >= IDLE_CONNECTIONS:
            connection.close()
        else:
            self._idle.put(connection)

    def _open(self) -> sqlite3.Connection:
        if not self.path.is_file():
            raise StoreNotThere(
                self.path, f"there is no log at {self.path}; start the recorder first"
            )
        connection = sqlite3.connect(
            f"{self.path.absolute().as_uri()}?mode=ro",
            uri=True,
            timeout=5.0,
            isolation_level=None,
            check_same_thread=False,  # one thread at a time: whoever took it from the idle ones
        )
        connection.execute("PRAGMA query_only=ON")
        return connection

    def _ask(
        self, sql: str, values: tuple[Any, ...] | dict[str, Any] = ()
    ) -> list[tuple[Any, ...]]:
        with self._connection() as connection:
            return connection.execute(sql, values).fetchall()

    def __enter__(self) -> Reader:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close what is open. May be repeated."""
        self._closed = True
        while True:
            try:
                self._idle.get_nowait().close()
            except queue.Empty:
                return

    # -- the log -------------------------------------------------------------------------------

    def log_id(self) -> str:
        """The log's id."""
        return str(self._ask("SELECT value FROM meta WHERE key = 'log'")[0][0])

    def last_pos(self) -> int:
        """Position of the last entry, 0 in an empty log."""
        return int(self._ask("SELECT coalesce(max(pos), 0) FROM log")[0][0])

    def mark_pos(self, mark_id: str) -> int | None:
        """Position of the mark with this id; None while it is not stored."""
        found = self._ask("SELECT pos FROM mark WHERE id = ?", (mark_id,))
        return int(found[0][0]) if found else None

    def mark_refused(self, mark_id: str) -> str | None:
        """Why the mark with this id was refused; None when it was not."""
        found = self._ask("SELECT reason FROM refused WHERE mark = ?", (mark_id,))
        return str(found[0][0]) if found else None

    def log_entries(self, after: int = 0, *, page: int = PAGE) -> Iterator[tuple[int, Entry]]:
        """Every entry after a position, in order."""
        yield from self._paged("", {}, after, None, page)

    def entries(self, batch: str, plan: Plan, *, page: int = PAGE) -> Iterator[tuple[int, Entry]]:
        """The entries that concern a batch, plan first, up to the one that closed it.

        Raises:
            KeyError: no such batch.
        """
        row = self.batch(batch)
        if row is None:
            raise KeyError(batch)
        # The rule itself is the engine's `concerns`; SQL only leaves out what cannot pass it.
        only = (
            " AND l.session IN ('', :batch) AND (l.channel IS NULL OR l.channel IN (SELECT id FROM"
            " channel WHERE instrument || '/' || name IN (SELECT value FROM json_each(:names))))"
        )
        values = {"batch": batch, "names": json.dumps(sorted(plan.channels))}
        imported = (
            self._ask("SELECT session FROM log WHERE pos = ?", (row.plan_pos,))[0][0] == batch
        )
        if imported:
            only = only.replace("IN ('', :batch)", "= :batch")
        for pos, entry in self._paged(only, values, row.plan_pos - 1, row.closed_pos, page):
            if concerns(plan, batch, entry):
                yield pos, entry

    def entries_of(self, batch: str) -> Iterator[Entry]:
        """The entries that concern a batch, plan first, by the plan that is stored with it.

        Raises:
            KeyError: no such batch.
        """
        from logger.planfile import plan_from_document

        entry = self.plan_entry(batch)
        if entry is None:
            raise KeyError(batch)
        for _, found in self.entries(batch, plan_from_document(entry.document)):
            yield found

    def _paged(
        self, only: str, values: dict[str, Any], after: int, last: int | None, page: int
    ) -> Iterator[tuple[int, Entry]]:
        sql = (
            f"{rows.SELECT} WHERE l.pos > :after AND l.pos <= :last{only}"
            " ORDER BY l.pos LIMIT :page"
        )
        values = values | {"last": 2**62 if last is None else last, "page": page}
        while True:
            found = self._ask(sql, values | {"after": after})
            for row in found:
                yield rows.entry_of(row)
            if len(found) < page:
                return
            after = found[-1][0]

    # -- batches and events --------------------------------------------------------------------

    def batches(self, limit: int = 1000) -> list[BatchRow]:
        """The newest `limit` batches, the oldest of them first."""
        found = self._ask(f"{_BATCH} ORDER BY plan_pos DESC LIMIT ?", (limit,))
        return [_batch(row) for row in reversed(found)]

    def open_batches(self) -> list[BatchRow]:
        """The batches that are open, the oldest first."""
        found = self._ask(f"{_BATCH} WHERE closed_pos IS NULL ORDER BY plan_pos")
        return [_batch(row) for row in found]

    def batch(self, batch: str) -> BatchRow | None:
        """A batch by its id."""
        found = self._ask(f"{_BATCH} WHERE id = ?", (batch,))
        return _batch(found[0]) if found else None

    def plan_entry(self, batch: str) -> PlanEntry | None:
        """The plan a batch rests on, with all that is frozen in it."""
        row = self.batch(batch)
        if row is None:
            return None
        found = self._ask(f"{rows.SELECT} WHERE l.pos = ?", (row.plan_pos,))
        entry = rows.entry_of(found[0])[1]
        return entry if isinstance(entry, PlanEntry) else None

    def events(
        self, batch: str, after_id: int = 0, *, kind: str | None = None, limit: int = 1_000_000
    ) -> list[EventRow]:
        """A batch's events after an id, in order; only those of one kind where `kind` is given."""
        only = "" if kind is None else " AND kind = :kind"
        values = {"batch": batch, "after": after_id, "kind": kind, "limit": limit}
        sql = f"{_EVENT} WHERE batch = :batch AND id > :after{only} ORDER BY id LIMIT :limit"
        return [EventRow(*row) for row in self._ask(sql, values)]

    def events_of(self, batch: str) -> Iterator[EventRow]:
        """All events of a batch in order, paged."""
        after = 0
        while page := self.events(batch, after, limit=PAGE):
            yield from page
            after = page[-1].id

    def events_after(self, pos: int, n: int = 0, *, limit: int = 500) -> list[EventRow]:
        """Events of all batches after the place (pos, n), in order: what a subscriber missed."""
        sql = f"{_EVENT} WHERE (pos, n) > (?, ?) ORDER BY pos, n LIMIT ?"
        return [EventRow(*row) for row in self._ask(sql, (pos, n, limit))]

    def last_event_place(self) -> tuple[int, int]:
        """(pos, n) of the last event, (0, 0) before the first."""
        found = self._ask("SELECT pos, n FROM event ORDER BY pos DESC, n DESC LIMIT 1")
        return (int(found[0][0]), int(found[0][1])) if found else (0, 0)

    def earlier_bakes(
        self, oven: str, *, before_pos: int | None = None, limit: int = 400
    ) -> list[dict[str, Any]]:
        """Earlier bakes of an oven's channel, the oldest first, as a plan freezes them.

        Each with the fields of `logger.plan.EarlierBake`: the mean offset, swing and period of the
        cycles at the bake's last set point (those without a period are of no swing), the mean
        recovery, and whether the kitchen confirmed a new baseline in it. Flagged batches are left
        out. The charts' baseline is the first bakes of these, so `limit` is a year of them.
        """
        with self._connection() as connection:
            return bakes.earlier(connection, oven, before_pos, limit)

    def centre_tests(
        self, formula: str, *, before_pos: int | None = None, limit: int = 60
    ) -> list[dict[str, Any]]:
        """Earlier centre tests of a formula with a probe in the core, the oldest first.

        Each with the fields of `logger.plan.CentreTest`; flagged batches are left out.
        """
        with self._connection() as connection:
            return bakes.tests(connection, formula, before_pos, limit)

    # -- channels ------------------------------------------------------------------------------

    def channels(self) -> list[ChannelRow]:
        """Every channel ever recorded."""
        sql = "SELECT instrument, name, unit FROM channel ORDER BY instrument, name, unit"
        return [ChannelRow(*row) for row in self._ask(sql)]

    def latest(self) -> list[Reading]:
        """The newest reading of each channel, by its own time."""
        sql = (
            f"{rows.SELECT} WHERE l.pos IN (SELECT (SELECT pos FROM log WHERE channel = k.id"
            " ORDER BY t_us DESC LIMIT 1) FROM channel k) ORDER BY c.instrument, c.name, c.unit"
        )
        found = (rows.entry_of(row)[1] for row in self._ask(sql))
        return [entry for entry in found if isinstance(entry, Reading)]

    def chart(self, channel: str, from_us: int, to_us: int, *, points: int = 1500) -> Chart:
        """Readings of a channel (SenML name) with from_us <= t_us <= to_us, thinned to `points`."""
        with self._connection() as connection:
            return charts.chart(connection, channel, from_us, to_us, points)

    def gaps(self, instrument: str, from_us: int, to_us: int) -> list[dict[str, Any]]:
        """Declared gaps of an instrument that touch the time, as documents."""
        with self._connection() as connection:
            return charts.gaps(connection, instrument, from_us, to_us)

    def instruments(self) -> list[InstrumentState]:
        """The last stored state of each instrument."""
        found = self._ask("SELECT body FROM instrument ORDER BY name")
        return [rows.state_of(body) for (body,) in found]

    # -- what went wrong, and the arithmetic ----------------------------------------------------

    def progress(self) -> list[tuple[str, str, int, int]]:
        """(instrument, boot, sequence, gap number) up to which each outbox is stored."""
        found = self._ask("SELECT instrument, boot, seq, gap FROM progress ORDER BY id")
        return [(i, b, s, g) for i, b, s, g in found]

    def refused(self, limit: int = 100) -> list[RefusedRow]:
        """The newest refused messages, newest first."""
        sql = (
            "SELECT r.received_us, r.topic, r.reason, r.payload, p.instrument, p.boot, r.seq,"
            " r.mark FROM refused r LEFT JOIN progress p ON p.id = r.source"
            " ORDER BY r.id DESC LIMIT ?"
        )
        return [RefusedRow(*row) for row in self._ask(sql, (limit,))]

    def engine_errors(self, batch: str) -> list[tuple[int, str]]:
        """(position, error) of the engine's failures in a batch."""
        sql = "SELECT pos, error FROM engine_error WHERE batch = ? ORDER BY id"
        return [(pos, error) for pos, error in self._ask(sql, (batch,))]

    def alerts(self, limit: int = 100) -> list[AlertRow]:
        """The newest stored alerts, newest first."""
        sql = "SELECT raised_us, about, text, batch FROM alert ORDER BY id DESC LIMIT ?"
        return [AlertRow(*row) for row in self._ask(sql, (limit,))]

    def backup(self, path: Path) -> None:
        """Copy the whole log to `path`, while it is being written, by SQLite's backup interface.

        The copy opens by itself and holds every record committed before the call.

        Raises:
            StoreError: the copy cannot be written; `path` is then as it was.
        """
        part = path.with_name(path.name + ".part")
        try:
            with (
                closing(sqlite3.connect(part, isolation_level=None)) as target,
                self._connection() as connection,
            ):
                connection.backup(target)
                target.execute("PRAGMA journal_mode=DELETE")
            part.replace(path)
        except (OSError, sqlite3.Error) as error:
            part.unlink(missing_ok=True)
            raise StoreError(path, f"the copy {path} cannot be written: {error}") from error
