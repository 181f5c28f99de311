"""`Store`: the one writer of a log.

What belongs together is drafted (`add`, `add_events`, `advance_source` …) and then written by one
`commit`: a record and the events it gave, the sequence number it advanced, the batch it opened.
A commit that fails leaves the draft as it was, to be tried again; nothing is half written.
"""

from __future__ import annotations

import os
import sqlite3
import threading
import uuid
from collections.abc import Sequence
from pathlib import Path

from drivers.reading import Reading
from logger.entries import Entry, InstrumentState, Mark
from logger.events import Event
from logger.store import rows
from logger.store.draft import Draft, DraftBatch, NumberedSource
from logger.store.lock import lock
from logger.store.schema import FILE_NAME, StoreError, bring_up_to_date

# A refused message is kept to show what it was, not to be kept whole.
REFUSED_PAYLOAD_BYTES = 2048
# Refused messages without a number (anybody can send them) are kept up to this many.
REFUSED_KEPT = 10_000


class StoreStalled(StoreError):
    """A commit did not succeed (disk full, locked from outside); the draft waits for the next try.

    Attributes:
        full: the disk (or the store's page limit) is full, as far as SQLite can tell.
    """

    def __init__(self, path: Path, text: str, full: bool = False) -> None:
        super().__init__(path, text)
        self.full = full


class Store:
    """Opens (and brings up to date) the log in `folder` for writing.

    Args:
        folder: where the store lives; made when missing.
        busy_s: how long a commit waits for a lock held from outside.

    The thread that opened it owns it; `adopt` hands it to the calling thread.

    Raises:
        StoreBusy: another process writes to it.
        StoreNewer: it was written by a newer version.
        StoreError: the folder or the file cannot be used.
    """

    def __init__(self, folder: Path, *, busy_s: float = 5.0) -> None:
        self.folder = folder
        self.path = folder / FILE_NAME
        self._closed = False
        self._owner = threading.get_ident()
        self._lock_fd = lock(folder)
        try:
            self._connection = sqlite3.connect(
                self.path, timeout=busy_s, isolation_level=None, check_same_thread=False
            )
            self._connection.execute("PRAGMA journal_mode=WAL")
            # NORMAL may lose the last commits in a power cut, after they were reported as stored.
            self._connection.execute("PRAGMA synchronous=FULL")
            self._connection.execute("PRAGMA foreign_keys=ON")
            self._connection.execute("PRAGMA journal_size_limit=8388608")
            bring_up_to_date(self._connection, self.path)
            self.log_id = self._identity()
            self._load()
        except sqlite3.Error as error:
            self.close()
            raise StoreError(
                self.path, f"the store {self.path} cannot be opened: {error}"
            ) from error
        except StoreError:
            self.close()
            raise

    def _identity(self) -> str:
        row = self._connection.execute("SELECT value FROM meta WHERE key = 'log'").fetchone()
        if row is not None:
            return str(row[0])
        fresh = uuid.uuid4().hex[:16]
        self._connection.execute("BEGIN IMMEDIATE")
        self._connection.execute("INSERT INTO meta (key, value) VALUES ('log', ?)", (fresh,))
        self._connection.execute("COMMIT")
        return fresh

    def _load(self) -> None:
        """Read what the writer keeps in mind: counters, channels, sources."""
        ask = self._connection.execute
        self._pos = int(ask("SELECT coalesce(max(pos), 0) FROM log").fetchone()[0])
        self._channels = {
            (instrument, name, unit): int(id_)
            for id_, instrument, name, unit in ask("SELECT id, instrument, name, unit FROM channel")
        }
        self._sources = {
            (source.instrument, source.boot): source
            for source in (
                NumberedSource(*row)
                for row in ask(
                    "SELECT id, instrument, boot, seq, gap, received_us FROM progress"
                    " ORDER BY received_us, id"
                )
            )
        }
        self.instruments: dict[str, InstrumentState] = {}
        for (body,) in ask("SELECT body FROM instrument ORDER BY name"):
            state = rows.state_of(body)
            self.instruments[state.instrument] = state
        self._draft = Draft()

    def adopt(self) -> None:
        """Make the calling thread the owner."""
        self._owner = threading.get_ident()

    def _own(self) -> None:
        if threading.get_ident() != self._owner:
            raise RuntimeError("a store is written by the thread that owns it, and by no other")

    # -- what the writer knows -----------------------------------------------------------------

    @property
    def pos(self) -> int:
        """Position of the last entry, drafted ones included."""
        return self._pos

    @property
    def is_drafted(self) -> bool:
        """Whether there is anything to commit."""
        return not self._draft.is_empty

    @property
    def sources(self) -> Sequence[NumberedSource]:
        """All outboxes ever heard of, the most recently heard last."""
        return sorted(self._sources.values(), key=lambda s: (s.received_us, s.id))

    def source(self, instrument: str, boot: str) -> NumberedSource:
        """The outbox with this boot id; a new one starts at 0."""
        key = (instrument, boot)
        if key not in self._sources:
            self._sources[key] = source = NumberedSource(len(self._sources) + 1, instrument, boot)
            self._draft.sources[source.id] = source
        return self._sources[key]

    def has_mark(self, mark_id: str) -> bool:
        """Whether a mark with this id is stored, drafted, or was refused."""
        if mark_id in self._draft.mark_ids:
            return True
        found = self._connection.execute(
            "SELECT 1 FROM mark WHERE id = ?1 UNION ALL SELECT 1 FROM refused WHERE mark = ?1",
            (mark_id,),
        ).fetchone()
        return found is not None

    def has_batch(self, batch: str) -> bool:
        """Whether a batch of this id was ever opened."""
        if batch in self._draft.batches:
            return True
        found = self._connection.execute("SELECT 1 FROM batch WHERE id = ?", (batch,)).fetchone()
        return found is not None

    def has_reading(self, reading: Reading, session: str = "") -> bool:
        """Whether an unnumbered reading of this channel and time is stored or drafted."""
        channel = self._channels.get((reading.instrument, reading.channel, reading.unit))
        if channel is None:
            return False
        if (channel, reading.t_us, session) in self._draft.foreign:
            return True
        found = self._connection.execute(
            "SELECT 1 FROM log WHERE channel = ? AND t_us = ? AND session = ? AND source IS NULL"
            " AND channel IS NOT NULL",
            (channel, reading.t_us, session),
        ).fetchone()
        return found is not None

    # -- drafting ------------------------------------------------------------------------------

    def add(self, entry: Entry, received_us: int, session: str = "") -> tuple[int, Entry]:
        """Draft one entry; gives its position, and the entry as readers will see it.

        Raises:
            ValueError: it cannot be written as JSON; nothing is drafted.
        """
        self._own()
        stored = rows.as_stored(entry)
        entry = stored.entry
        pos = self._pos + 1
        if isinstance(entry, Reading):
            self._draft.log.append(self._reading_row(pos, entry, received_us, session))
        else:
            self._draft.log.append(
                (
                    pos,
                    rows.kind_of(entry),
                    entry.t_us,
                    received_us,
                    *([None] * 8),
                    getattr(entry, "instrument", None),
                    session,
                    stored.body,
                )
            )
        self._pos = pos
        if isinstance(entry, Mark) and entry.id is not None and not session:
            self._draft.marks.append((entry.id, pos))
            self._draft.mark_ids.add(entry.id)
        if isinstance(entry, InstrumentState) and not session:
            self._draft.instruments[entry.instrument] = (
                entry.instrument, entry.state, entry.t_us, pos, stored.body,
            )  # fmt: skip
            self.instruments[entry.instrument] = entry
        return pos, entry

    def _reading_row(
        self, pos: int, reading: Reading, received_us: int, session: str
    ) -> tuple[object, ...]:
        key = (reading.instrument, reading.channel, reading.unit)
        channel = self._channels.get(key)
        if channel is None:
            self._channels[key] = channel = len(self._channels) + 1
            self._draft.channels.append((channel, *key))
        source: int | None = None
        if reading.boot is not None and reading.seq is not None:
            source = self.source(reading.instrument, reading.boot).id
        else:
            self._draft.foreign.add((channel, reading.t_us, session))
        return (
            pos, "reading", reading.t_us, received_us, channel, reading.value, reading.state,
            reading.stable, reading.net, reading.division, source,
            reading.seq if source is not None else None, None, session, None,
        )  # fmt: skip

    def advance_source(
        self,
        source: NumberedSource,
        received_us: int,
        *,
        seq: int | None = None,
        gap: int | None = None,
    ) -> None:
        """Draft how far an outbox is stored now."""
        self._own()
        source.seq = source.seq if seq is None else seq
        source.gap = source.gap if gap is None else gap
        source.received_us = received_us
        self._draft.sources[source.id] = source

    def add_events(self, pos: int, events: Sequence[Event]) -> list[tuple[int, Event]]:
        """Draft the events an entry gave; gives each with its n at that position."""
        self._own()
        bodies = [rows.text_of(event.to_json()) for event in events]  # all of them, or none
        out: list[tuple[int, Event]] = []
        for event, body in zip(events, bodies, strict=True):
            n = self._draft.next_n(pos)
            self._draft.events.append(
                (pos, n, event.batch, event.id, event.kind, event.at_us, body)
            )
            out.append((n, event))
        return out

    def open_batch(
        self,
        batch: str,
        title: str | None,
        oven: str | None,
        opened_pos: int,
        plan_pos: int,
        t_us: int,
    ) -> None:
        """Draft a new batch; `oven` is the SenML name of the channel with that role."""
        self._own()
        self._draft.batches[batch] = DraftBatch(batch, title, oven, opened_pos, plan_pos, t_us)

    def close_batch(self, batch: str, closed_pos: int, t_us: int) -> None:
        """Draft the end of a batch."""
        self._own()
        self._draft.closings.append((closed_pos, t_us, batch))

    def add_engine_error(self, pos: int, batch: str, received_us: int, error: str) -> None:
        """Draft an error of the engine at an entry; the batch is flagged from now on."""
        self._own()
        self._draft.errors.append((pos, batch, received_us, error[-4000:]))

    def refuse(
        self,
        received_us: int,
        topic: str,
        reason: str,
        payload: bytes,
        *,
        source: NumberedSource | None = None,
        seq: int | None = None,
        mark: str | None = None,
    ) -> None:
        """Draft why a message was refused, with the beginning of it."""
        self._own()
        clean = [t.encode(errors="replace").decode() for t in (topic[:300], reason[:600])]
        self._draft.refused.append(
            (
                received_us,
                *clean,
                payload[:REFUSED_PAYLOAD_BYTES],
                source.id if source else None,
                seq,
                mark,
            )
        )
        if mark is not None:
            self._draft.mark_ids.add(mark)

    def add_alert(self, raised_us: int, about: str, text: str, batch: str | None = None) -> None:
        """Draft something a person should look at."""
        self._own()
        self._draft.alerts.append((raised_us, about, text, batch))

    # -- writing -------------------------------------------------------------------------------

    def commit(self) -> None:
        """Write the whole draft in one transaction.

        Raises:
            StoreStalled: not written; the draft is kept for the next try.
        """
        self._own()
        if self._draft.is_empty:
            return
        connection = self._connection
        try:
            connection.execute("BEGIN IMMEDIATE")
            self._draft.write(connection, REFUSED_KEPT)
            connection.execute("COMMIT")
        except sqlite3.OperationalError as error:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            code = getattr(error, "sqlite_errorcode", 0) & 0xFF
            full = code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR)
            raise StoreStalled(self.path, f"cannot write to {self.path}: {error}", full) from error
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
        self._draft = Draft()

    def discard(self) -> None:
        """Give up the draft."""
        self._own()
        self._load()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Give up a draft not yet committed, close the file, free the lock. May be repeated."""
        if self._closed:
            return
        self._closed = True
        connection = getattr(self, "_connection", None)
        if connection is not None:
            connection.close()
        os.close(self._lock_fd)
