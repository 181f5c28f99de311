"""The store on disk: schema, one writer, readers that cannot write."""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from recorder_bench import T0, reading
from sqlite_utils import Database

from drivers.reading import Reading
from logger import events as ev
from logger.entries import (
    Answer,
    ClockJump,
    Command,
    Entry,
    Gap,
    InstrumentState,
    Mark,
    PlanEntry,
    Tick,
)
from logger.events import Event
from logger.store import (
    Reader,
    Store,
    StoreBusy,
    StoreError,
    StoreNewer,
    StoreNotThere,
    StoreStalled,
)
from logger.store.schema import INDEXES, TABLES
from logger.store.writer import REFUSED_PAYLOAD_BYTES

EVERY_KIND: list[Entry] = [
    reading(1, 0.24, stable=True, net=False, division=0.001),
    reading(2, boot="b1", seq=1),
    Reading("bench-scale", "mass", T0 + 3, None, "kg", state="overload", boot="b1", seq=2),
    Reading("cake-probe", "core", T0 + 4, -18.125, "Cel"),
    Mark("into oven", T0 + 5, id="m1", probe="cake-probe/core", document={"text": "größer"}),
    Gap("bench-scale", "b1", 1, 3, 9, T0, T0 + 6, "the outbox was full"),
    ClockJump("bench-scale", "b1", 2, T0 + 7, -3_600_000_000),
    Tick(T0 + 8_123_457),
    InstrumentState("bench-scale", T0 + 9, "online", {"driver": "d1", "channels": []}),
    Command("bench-scale", T0 + 10, "tare", "c1"),
    Answer("bench-scale", T0 + 11, "c1", True, "tared"),
    PlanEntry(T0 + 12, "pear-1", {"plan": {"channels": {}}, "formulas": [], "frozen": {}}),
]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path) as store:
        yield store


@pytest.fixture
def reader(store: Store) -> Iterator[Reader]:
    with Reader(store.folder) as reader:
        yield reader


def test_the_live_schema_is_the_declared_one(store: Store) -> None:
    with sqlite3.connect(store.path) as connection:
        live = dict(
            connection.execute(
                "SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL"
                " AND name NOT LIKE '%sqlite_migrations%'"
            )
        )
        strict = {
            name: is_strict
            for _, name, _, _, _, is_strict in connection.execute("PRAGMA table_list")
            if name in TABLES
        }
    connection.close()

    assert live == TABLES | INDEXES
    assert strict == dict.fromkeys(TABLES, 1)


def test_text_in_a_number_is_an_error_and_not_a_column_of_text(store: Store) -> None:
    connection = sqlite3.connect(store.path)
    with pytest.raises(sqlite3.IntegrityError, match="cannot store TEXT"):
        connection.execute(
            "INSERT INTO log (pos, kind, t_us, received_us, value) VALUES (1, 'x', 1, 1, '100.5 g')"
        )
    connection.close()


def test_the_writer_syncs_every_commit_to_the_disk(store: Store) -> None:
    ask = store._connection.execute

    assert ask("PRAGMA synchronous").fetchone() == (2,)  # FULL
    assert ask("PRAGMA journal_mode").fetchone() == ("wal",)


def test_every_kind_of_entry_comes_back_as_it_went_in(store: Store, reader: Reader) -> None:
    added = [store.add(entry, T0) for entry in EVERY_KIND]
    store.commit()

    assert [entry for _, entry in added] == EVERY_KIND
    assert list(reader.log_entries(page=5)) == list(enumerate(EVERY_KIND, 1))
    assert added == list(reader.log_entries())


def test_minus_zero_is_stored_as_the_zero_that_comes_back(store: Store, reader: Reader) -> None:
    _, entry = store.add(reading(1, -0.0), T0)
    store.commit()

    assert repr(entry.value) == "0.0" if isinstance(entry, Reading) else False
    assert [str(e.value) for _, e in reader.log_entries() if isinstance(e, Reading)] == ["0.0"]


def test_nothing_is_seen_before_the_commit_and_all_of_it_after(
    store: Store, reader: Reader
) -> None:
    pos, _ = store.add(EVERY_KIND[-1], T0)
    store.open_batch("pear-1", None, None, pos, pos, T0)
    store.add_events(pos, [Event(1, T0, "pear-1", ev.BatchClosed())])
    assert reader.last_pos() == 0
    assert reader.events_after(0) == []

    store.commit()

    assert (reader.last_pos(), len(reader.events_after(0)), len(reader.batches())) == (1, 1, 1)
    assert not store.is_drafted


def test_a_discarded_draft_leaves_no_trace(store: Store, reader: Reader) -> None:
    store.add(reading(1), T0)
    store.commit()
    store.add(Reading("new", "mass", T0, 1.0, "kg", boot="b9", seq=1), T0)

    store.discard()

    assert store.pos == 1
    assert store.add(reading(2), T0)[0] == 2
    store.commit()
    assert [channel.senml_name for channel in reader.channels()] == ["bench-scale/mass"]
    assert reader.progress() == []


def test_a_numbered_reading_cannot_be_stored_twice(store: Store) -> None:
    store.add(reading(1, boot="b1", seq=1), T0)
    store.commit()
    store.add(reading(2, boot="b1", seq=1), T0)

    with pytest.raises(sqlite3.IntegrityError):
        store.commit()


def test_a_second_writer_is_refused_by_name(store: Store) -> None:
    with pytest.raises(StoreBusy, match=f"process .id {os.getpid()}"):
        Store(store.folder)


def test_only_the_owning_thread_writes(store: Store) -> None:
    errors: list[BaseException] = []

    def write() -> None:
        try:
            store.add(reading(1), T0)
        except RuntimeError as error:
            errors.append(error)

    thread = threading.Thread(target=write)
    thread.start()
    thread.join()

    assert len(errors) == 1


def test_closing_twice_is_closing_once_and_frees_the_store(tmp_path: Path) -> None:
    store = Store(tmp_path)
    log_id = store.log_id
    store.close()
    store.close()

    with Store(tmp_path) as again:
        assert again.log_id == log_id


def test_a_reader_cannot_write(store: Store, reader: Reader) -> None:
    with pytest.raises(StoreError, match="readonly"):
        reader._ask("DELETE FROM log")
    reader.close()
    with pytest.raises(StoreError, match="closed"):
        reader.last_pos()


def test_a_reader_reads_when_nobody_writes(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        store.add(reading(1), T0)
        store.commit()

    with Reader(tmp_path) as reader:
        assert reader.last_pos() == 1


def test_a_store_that_is_not_there_is_said_so(tmp_path: Path) -> None:
    with pytest.raises(StoreNotThere, match="start the recorder"):
        Reader(tmp_path / "nowhere").last_pos()


def test_a_store_of_a_newer_version_is_left_alone(tmp_path: Path) -> None:
    Store(tmp_path).close()
    db = Database(tmp_path / "coolcrumb.db")
    db["_sqlite_migrations"].insert(
        {"migration_set": "coolcrumb-log", "name": "9999 from the future", "applied_at": ""}
    )
    db.close()

    with pytest.raises(StoreNewer, match="newer version"):
        Store(tmp_path)


def test_a_file_that_is_no_store_is_said_so(tmp_path: Path) -> None:
    (tmp_path / "coolcrumb.db").write_text("a recipe, not a database" * 100)

    with pytest.raises(StoreError, match="cannot be opened"):
        Store(tmp_path)


def test_a_lock_held_from_outside_is_waited_for_even_after_reading(tmp_path: Path) -> None:
    with Store(tmp_path, busy_s=5.0) as store, Reader(tmp_path) as reader:
        outside = sqlite3.connect(store.path, isolation_level=None, check_same_thread=False)
        store.has_mark("x")  # a read before the write must not spoil the waiting
        outside.execute("BEGIN IMMEDIATE")
        release = threading.Timer(0.5, lambda: outside.execute("COMMIT"))
        release.start()
        store.add(reading(1), T0)

        store.commit()

        release.join()
        outside.close()
        assert reader.last_pos() == 1


def test_a_stalled_commit_keeps_the_draft_for_the_next_try(tmp_path: Path) -> None:
    with Store(tmp_path, busy_s=0.05) as store, Reader(tmp_path) as reader:
        outside = sqlite3.connect(store.path, isolation_level=None)
        outside.execute("BEGIN IMMEDIATE")
        store.add(reading(1), T0)
        with pytest.raises(StoreStalled) as stalled:
            store.commit()
        outside.execute("COMMIT")
        outside.close()

        store.commit()

        assert not stalled.value.full
        assert reader.last_pos() == 1


def test_a_full_disk_keeps_the_draft_and_says_full(tmp_path: Path) -> None:
    with Store(tmp_path) as store, Reader(tmp_path) as reader:
        pages = store._connection.execute("PRAGMA page_count").fetchone()[0]
        store._connection.execute(f"PRAGMA max_page_count={pages}")
        for i in range(5000):
            store.add(reading(i), T0)
        with pytest.raises(StoreStalled) as stalled:
            store.commit()
        assert stalled.value.full
        assert reader.last_pos() == 0
        store._connection.execute("PRAGMA max_page_count=1000000")

        store.commit()

        assert reader.last_pos() == 5000


def test_refused_messages_are_kept_in_part_and_numbered_ones_for_good(
    store: Store, reader: Reader, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("logger.store.writer.REFUSED_KEPT", 3)
    source = store.source("bench-scale", "b1")
    store.refuse(T0, "t", "numbered", b"x" * 9000, source=source, seq=1)
    for i in range(9):
        store.refuse(T0, "t", f"anybody's {i}", b"x" * 9000)
    store.commit()

    kept = reader.refused()
    assert [row.reason for row in kept] == ["anybody's 8", "anybody's 7", "anybody's 6", "numbered"]
    assert {len(row.payload) for row in kept} == {REFUSED_PAYLOAD_BYTES}


def test_a_copy_opens_alone_and_holds_what_was_committed(
    store: Store, reader: Reader, tmp_path: Path
) -> None:
    for entry in EVERY_KIND:
        store.add(entry, T0)
    store.commit()

    reader.backup(tmp_path / "copy.db")

    with Reader(tmp_path / "copy.db") as copy:
        assert [entry for _, entry in copy.log_entries()] == EVERY_KIND
        assert copy.log_id() == store.log_id
    assert not (tmp_path / "copy.db.part").exists()
    with pytest.raises(StoreError, match="cannot be written"):
        reader.backup(tmp_path / "nowhere" / "copy.db")


def test_the_write_ahead_log_stays_small_beside_readers_that_stop_half_way(
    store: Store, reader: Reader
) -> None:
    for i in range(3000):
        store.add(reading(i), T0)
    store.commit()
    stopped = [reader.log_entries(page=100) for _ in range(3)]
    for entries in stopped:
        next(entries)

    for k in range(1, 101):
        for i in range(500):
            store.add(replace(reading(i), t_us=T0 + k * 1_000_000_000 + i), T0)
        store.commit()

    assert store.path.with_name("coolcrumb.db-wal").stat().st_size < 16 * 2**20
    assert sum(1 for _ in stopped[0]) == 52_999  # it goes on where it stopped
