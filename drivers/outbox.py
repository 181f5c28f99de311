"""The outbox: every reading on disk, numbered, until the recorder says it is stored.

One SQLite file for the drivers process, written by one thread. The boot id is made with the file;
sequences start at 1 with it and run on over restarts. A reading is committed before it is
published, so a number is never used for a second reading, not even after a power cut. Gaps and
clock jumps are notices: they have numbers of their own and are kept until stored like readings.
"""

from __future__ import annotations

import contextlib
import fcntl
import logging
import os
import sqlite3
import uuid
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from drivers.lanes import (
    SCHEMA,
    SCHEMA_VERSION,
    Item,
    Lane,
    insert_notice,
    load_lanes,
    new_notice,
    row_of,
    save_lanes,
)
from drivers.notices import Gap, Jump, Notice
from drivers.reading import Reading

log = logging.getLogger(__name__)


class OutboxError(OSError):
    """The outbox file cannot be used.

    Attributes:
        path: the file.
        reason: what is wrong and what to do.
    """

    def __init__(self, path: Path, reason: str) -> None:
        super().__init__(f"the outbox {path} {reason}")
        self.path = path
        self.reason = reason

    def __reduce__(self) -> tuple[type[OutboxError], tuple[Path, str]]:
        return (type(self), (self.path, self.reason))


class Outbox:
    """The file and its arithmetic. After construction all calls belong to one thread.

    Args:
        path: the SQLite file; made where missing.
        budget: how many readings are kept; past it the oldest are dropped and declared missing.

    Raises:
        OutboxError: another process uses the file, or it is no outbox of this version.
    """

    def __init__(self, path: Path, budget: int = 1_000_000) -> None:
        self.path = path
        self._budget = budget
        self._lock_fd = self._lock(path)
        try:
            self._db = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
            self._prepare()
            facts = dict(self._db.execute("SELECT key, value FROM fact"))
            self.boot: str = facts["boot"]
            self.log_id: str | None = facts.get("log")
            self.lanes: dict[str, Lane] = load_lanes(self._db)
        except (sqlite3.DatabaseError, KeyError) as error:
            os.close(self._lock_fd)
            raise OutboxError(
                path, f"cannot be read ({error}); move it aside and a new one is made"
            ) from error
        except OutboxError:
            self._db.close()
            os.close(self._lock_fd)
            raise
        self._kept = sum(lane.kept for lane in self.lanes.values())
        self._stored: dict[str, tuple[int, int]] = {}

    @staticmethod
    def _lock(path: Path) -> int:
        lock_path = path.with_name(path.name + ".lock")
        try:
            fd = os.open(lock_path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as error:
            raise OutboxError(path, f"cannot be made: {error.strerror}") from error
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            holder = os.read(fd, 32).decode("ascii", "replace").strip() or "unknown"
            os.close(fd)
            raise OutboxError(
                path, f"is in use by the drivers process {holder}; stop that one first"
            ) from error
        os.ftruncate(fd, 0)
        os.write(fd, f"{os.getpid()}\n".encode())
        return fd

    def _prepare(self) -> None:
        self._db.execute("PRAGMA journal_mode = WAL")
        self._db.execute("PRAGMA synchronous = FULL")
        version = self._db.execute("PRAGMA user_version").fetchone()[0]
        if version == 0:
            with self._transaction():
                for statement in SCHEMA.split(";"):
                    self._db.execute(statement)
                self._db.execute("INSERT INTO fact VALUES ('boot', ?)", (uuid.uuid4().hex[:16],))
                self._db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
        elif version != SCHEMA_VERSION:
            raise OutboxError(
                self.path,
                f"was made by a newer version (layout {version}); "
                "install that version, or move the file aside",
            )

    @contextlib.contextmanager
    def _transaction(self) -> Any:
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._db.execute("COMMIT")
        except BaseException:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            raise

    def last_us(self, instrument: str) -> int | None:
        """Time of the newest reading ever committed for the instrument."""
        lane = self.lanes.get(instrument)
        return None if lane is None else lane.last_us

    def commit(self, items: Sequence[Item]) -> list[Reading]:
        """Number the items, commit them durably, drop what is stored or over the budget.

        Returns:
            The readings among `items`, numbered, in their order.

        Raises:
            sqlite3.OperationalError: nothing was committed and no number was used (a full disk).
        """
        touched: dict[str, Lane] = {}

        def lane_of(name: str) -> Lane:
            if name not in touched:
                touched[name] = self.lanes[name].copy() if name in self.lanes else Lane(name)
            return touched[name]

        numbered: list[Reading] = []
        fresh: list[tuple[Lane, Notice]] = []
        for item in items:
            lane = lane_of(item.instrument)
            if isinstance(item, Reading):
                numbered.append(replace(item, boot=self.boot, seq=lane.next_seq))
                lane.next_seq += 1
                lane.last_us = item.t_us
                lane.first_us = item.t_us if lane.first_us is None else lane.first_us
            else:
                fresh.append((lane, new_notice(lane, item, lane.next_seq)))
        stored = dict(self._stored)
        with self._transaction():
            self._db.executemany(
                "INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", map(row_of, numbered)
            )
            for name, (seq, number) in stored.items():
                lane = lane_of(name)
                self._forget(lane, min(seq, lane.next_seq - 1), number)
            kept = (
                self._kept
                + len(numbered)
                - sum(
                    lane.dropped_seq - self.lanes[name].dropped_seq
                    for name, lane in touched.items()
                    if name in self.lanes
                )
            )
            if kept > self._budget:
                fresh.append(self._drop_oldest(touched, kept - self._budget))
            for lane, notice in fresh:
                insert_notice(self._db, lane, notice)
            save_lanes(self._db, touched.values())
        self.lanes.update(touched)
        self._kept = sum(lane.kept for lane in self.lanes.values())
        for name in stored:
            if self._stored.get(name) == stored[name]:
                del self._stored[name]
        return numbered

    def _forget(self, lane: Lane, seq: int, number: int) -> None:
        """Drop readings up to `seq` and notices up to `number`, inside a transaction."""
        if seq > lane.dropped_seq:
            found = self._db.execute(
                "SELECT t_us FROM reading WHERE instrument = ? AND seq = ?", (lane.instrument, seq)
            ).fetchone()
            lane.dropped_us = found[0]
            self._db.execute(
                "DELETE FROM reading WHERE instrument = ? AND seq <= ?", (lane.instrument, seq)
            )
            lane.dropped_seq = seq
        if lane.notices and lane.notices[0].number <= number:
            self._db.execute(
                "DELETE FROM notice WHERE instrument = ? AND number <= ?", (lane.instrument, number)
            )
            lane.notices = [notice for notice in lane.notices if notice.number > number]

    def _drop_oldest(self, touched: dict[str, Lane], excess: int) -> tuple[Lane, Notice]:
        """Drop from the fullest lane; a hundredth of the budget at once, so that gaps stay few."""
        everyone = self.lanes | touched
        name = max(everyone, key=lambda name: everyone[name].kept)
        if name not in touched:
            touched[name] = self.lanes[name].copy()
        lane = touched[name]
        first = lane.dropped_seq + 1
        last = min(lane.next_seq - 1, lane.dropped_seq + max(excess, self._budget // 100))
        from_us = self._db.execute(
            "SELECT t_us FROM reading WHERE instrument = ? AND seq = ?", (name, first)
        ).fetchone()[0]
        self._forget(lane, last, 0)
        to_us = max(from_us, lane.dropped_us or from_us)
        reason = f"the outbox was full ({self._budget} readings); the oldest were dropped"
        log.warning("%s: %s: readings %d to %d", name, reason, first, last)
        return lane, new_notice(lane, Gap(name, first, last, from_us, to_us, reason), last + 1)

    def note_stored(self, instrument: str, seq: int, number: int) -> None:
        """Remember what the recorder has stored; it leaves the file with the next commit."""
        old_seq, old_number = self._stored.get(instrument, (0, 0))
        self._stored[instrument] = (max(seq, old_seq), max(number, old_number))

    @property
    def has_stored(self) -> bool:
        """True while stored readings still lie in the file."""
        return bool(self._stored)

    def new_log(self, log_id: str) -> None:
        """A recorder with another log is there: declare to it what has been dropped already.

        The notices kept are numbered anew behind that gap: the new log knows none of them.
        """
        known = self.log_id is not None
        touched = {name: lane.copy() for name, lane in self.lanes.items()}
        with self._transaction():
            self._db.execute("INSERT OR REPLACE INTO fact VALUES ('log', ?)", (log_id,))
            if known:
                for name, lane in touched.items():
                    if lane.dropped_seq:
                        self._declare_dropped(lane, 1, lane.first_us, "the log is new")
                        log.info("%s: missing in the new log: 1 to %d", name, lane.dropped_seq)
                save_lanes(self._db, touched.values())
        self.log_id = log_id
        self.lanes.update(touched)
        self._stored.clear()

    def log_lost(self, instrument: str, stored_seq: int) -> None:
        """The present log ends at `stored_seq`, before what was dropped here: declare the rest."""
        lane = self.lanes[instrument].copy()
        with self._transaction():
            self._declare_dropped(lane, stored_seq + 1, lane.first_us, "the log no longer has them")
            save_lanes(self._db, [lane])
        self.lanes[instrument] = lane

    def _declare_dropped(self, lane: Lane, first: int, from_us: int | None, reason: str) -> None:
        to_us = lane.dropped_us or 0
        whole = Gap(lane.instrument, first, lane.dropped_seq, from_us or to_us, to_us, reason)
        kept = [n for n in lane.notices if not _covered(n.content, first, lane.dropped_seq)]
        self._db.execute("DELETE FROM notice WHERE instrument = ?", (lane.instrument,))
        lane.notices = []
        insert_notice(self._db, lane, new_notice(lane, whole, lane.dropped_seq + 1))
        for old in kept:
            insert_notice(self._db, lane, new_notice(lane, old.content, old.before_seq))

    def read(self, instrument: str, after_seq: int, limit: int) -> list[Reading]:
        """At most `limit` kept readings of the instrument after `after_seq`, in order."""
        rows = self._db.execute(
            "SELECT instrument, channel, t_us, value, unit, state, stable, net, division, seq "
            "FROM reading WHERE instrument = ? AND seq > ? ORDER BY seq LIMIT ?",
            (instrument, after_seq, limit),
        )
        return [
            Reading(
                instrument=name,
                channel=channel,
                t_us=t_us,
                value=value,
                unit=unit,
                state=state,
                stable=None if stable is None else bool(stable),
                net=None if net is None else bool(net),
                division=division,
                boot=self.boot,
                seq=seq,
            )
            for name, channel, t_us, value, unit, state, stable, net, division, seq in rows
        ]

    def start_anew(self) -> None:
        """Number everything kept from 1 under a new boot id.

        For a file that proves to be an old copy: its numbers were used before, for readings that
        the log has. A reading the log has already may come twice so, but none is lost.
        """
        boot = uuid.uuid4().hex[:16]
        touched = {name: lane.copy() for name, lane in self.lanes.items()}
        with self._transaction():
            self._db.execute("UPDATE fact SET value = ? WHERE key = 'boot'", (boot,))
            for name, lane in touched.items():
                # In two steps: the new numbers may lie among the old ones.
                self._db.execute(
                    "UPDATE reading SET seq = ? - seq WHERE instrument = ?",
                    (lane.dropped_seq, name),
                )
                self._db.execute("UPDATE reading SET seq = -seq WHERE instrument = ?", (name,))
                self._db.execute("DELETE FROM notice WHERE instrument = ?", (name,))
                notices, moved, lane.notices = lane.notices, lane.dropped_seq, []
                lane.next_seq, lane.next_number, lane.dropped_seq = lane.next_seq - moved, 1, 0
                lane.first_us, lane.dropped_us = None, None
                for old in notices:
                    content = old.content
                    if isinstance(content, Gap):
                        content = replace(content, first=None, last=None)
                    insert_notice(
                        self._db, lane, new_notice(lane, content, max(1, old.before_seq - moved))
                    )
                found = self.read(name, 0, 1)
                lane.first_us = found[0].t_us if found else None
            save_lanes(self._db, touched.values())
        self.boot = boot
        self.lanes.update(touched)
        self._stored.clear()

    def close(self) -> None:
        """Close the file and let the next process have it."""
        self._db.close()
        os.close(self._lock_fd)


def _covered(content: Gap | Jump, first: int, last: int) -> bool:
    """True for a numbered gap that lies within the numbers `first` to `last`."""
    return (
        isinstance(content, Gap)
        and content.first is not None
        and content.last is not None
        and first <= content.first
        and content.last <= last
    )
