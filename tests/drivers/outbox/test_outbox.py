"""The arithmetic of the outbox: numbers once given, kept until stored, dropped and declared."""

from __future__ import annotations

import pickle
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from drivers.notices import Gap, Jump
from drivers.outbox import Outbox, OutboxError
from drivers.reading import Reading

T0_US = 1_800_000_000_000_000


def reading(i: int, instrument: str = "bench-scale") -> Reading:
    return Reading(instrument, "mass", T0_US + i, i / 1000, "kg", stable=True, division=0.001)


def gap(reason: str = "unplugged", instrument: str = "bench-scale") -> Gap:
    return Gap(instrument, None, None, T0_US, T0_US + 1, reason)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "outbox.sqlite"


@pytest.fixture
def outbox(path: Path) -> Iterator[Outbox]:
    one = Outbox(path, budget=100)
    yield one
    one.close()


def test_a_reading_comes_back_as_it_went_in_with_its_number(outbox: Outbox) -> None:
    strange = Reading("bench-scale", "mass", T0_US, None, "kg", state="overload", net=False)

    numbered = outbox.commit([strange, reading(1)])

    assert outbox.read("bench-scale", 0, 10) == numbered
    assert [(r.seq, r.boot, r.state) for r in numbered] == [
        (1, outbox.boot, "overload"),
        (2, outbox.boot, None),
    ]


def test_each_instrument_counts_for_itself(outbox: Outbox) -> None:
    numbered = outbox.commit([reading(1), reading(1, "cake-probe"), reading(2)])

    assert [(r.instrument, r.seq) for r in numbered] == [
        ("bench-scale", 1),
        ("cake-probe", 1),
        ("bench-scale", 2),
    ]


def test_numbers_run_on_over_a_restart_even_when_everything_was_stored(path: Path) -> None:
    first = Outbox(path)
    first.commit([reading(i) for i in range(5)] + [gap()])
    first.note_stored("bench-scale", 5, 1)
    first.commit([])
    first.close()

    second = Outbox(path)
    numbered = second.commit([reading(9), gap("again")])
    kept, notices = second.read("bench-scale", 0, 10), second.lanes["bench-scale"].notices
    second.close()

    assert second.boot == first.boot
    assert [r.seq for r in numbered] == [6]
    assert kept == numbered
    assert [(n.number, n.before_seq) for n in notices] == [(2, 7)]


def test_the_last_time_of_an_instrument_survives(path: Path) -> None:
    first = Outbox(path)
    first.commit([reading(7)])
    first.close()

    second = Outbox(path)

    assert second.last_us("bench-scale") == T0_US + 7
    assert second.last_us("never heard of") is None
    second.close()


def test_a_failed_commit_uses_no_number_and_loses_nothing(outbox: Outbox) -> None:
    outbox.commit([reading(0)])
    outbox._db.execute("PRAGMA max_page_count = 1")  # a full disk, as SQLite sees it
    many = [reading(i) for i in range(1, 90)] + [gap("x" * 20_000)]

    with pytest.raises(sqlite3.OperationalError, match="full"):
        outbox.commit(many)
    outbox._db.execute("PRAGMA max_page_count = 100000")
    numbered = outbox.commit(many)

    assert [r.seq for r in numbered] == list(range(2, 91))
    assert [n.number for n in outbox.lanes["bench-scale"].notices] == [1]


def test_past_the_budget_the_oldest_go_and_are_declared_exactly(outbox: Outbox) -> None:
    for start in range(0, 250, 10):
        outbox.commit([reading(i) for i in range(start, start + 10)])

    lane = outbox.lanes["bench-scale"]
    kept = outbox.read("bench-scale", 0, 1000)
    missing = [
        seq
        for notice in lane.notices
        if isinstance(notice.content, Gap) and notice.content.first and notice.content.last
        for seq in range(notice.content.first, notice.content.last + 1)
    ]
    assert [r.seq for r in kept] == list(range(151, 251))
    assert missing == list(range(1, 151))
    first = lane.notices[0].content
    assert isinstance(first, Gap)
    assert (first.from_us, first.to_us) == (T0_US, T0_US + 9)
    assert "full" in first.reason


def test_the_fullest_instrument_gives_way(outbox: Outbox) -> None:
    outbox.commit([reading(i) for i in range(95)])
    outbox.commit([reading(i, "cake-probe") for i in range(10)])

    assert outbox.lanes["bench-scale"].kept == 90
    assert outbox.lanes["cake-probe"].kept == 10


def test_a_new_log_is_told_what_was_dropped_before_the_rest(outbox: Outbox) -> None:
    outbox.new_log("log-1")
    outbox.commit([reading(i) for i in range(4)])
    outbox.note_stored("bench-scale", 3, 0)
    outbox.commit([Jump("bench-scale", T0_US + 9, 5_000_000), reading(10)])

    outbox.new_log("log-2")

    notices = outbox.lanes["bench-scale"].notices
    assert notices[0].content == Gap("bench-scale", 1, 3, T0_US, T0_US + 2, "the log is new")
    assert [(n.number, n.before_seq) for n in notices] == [(2, 4), (3, 5)]
    assert [r.seq for r in outbox.read("bench-scale", 0, 10)] == [4, 5]


def test_the_first_log_ever_is_told_nothing(outbox: Outbox) -> None:
    outbox.commit([reading(1)])

    outbox.new_log("log-1")

    assert outbox.lanes["bench-scale"].notices == []


def test_an_old_copy_is_numbered_anew_and_keeps_everything(outbox: Outbox) -> None:
    outbox.commit([reading(i) for i in range(6)])
    outbox.note_stored("bench-scale", 2, 0)
    outbox.commit([gap(), reading(7)])
    before = outbox.boot

    outbox.start_anew()

    kept = outbox.read("bench-scale", 0, 10)
    assert outbox.boot != before
    assert [(r.seq, r.t_us - T0_US) for r in kept] == [(1, 2), (2, 3), (3, 4), (4, 5), (5, 7)]
    assert [(n.number, n.before_seq) for n in outbox.lanes["bench-scale"].notices] == [(1, 5)]


def test_a_second_process_is_refused_and_told_who_holds_the_file(
    outbox: Outbox, path: Path
) -> None:
    with pytest.raises(OutboxError, match=r"is in use by the drivers process \d+; stop that one"):
        Outbox(path)
    assert outbox.commit([reading(1)])[0].seq == 1


def test_a_file_that_is_no_outbox_is_named_and_left_alone(path: Path) -> None:
    path.write_bytes(b"a shopping list, not a database" * 40)

    with pytest.raises(OutboxError, match=r"outbox\.sqlite cannot be read .* move it aside") as it:
        Outbox(path)

    assert path.read_bytes().startswith(b"a shopping list")
    assert pickle.loads(pickle.dumps(it.value)).path == path


def test_a_file_of_a_newer_version_is_refused(path: Path) -> None:
    Outbox(path).close()
    db = sqlite3.connect(path)
    db.execute("PRAGMA user_version = 99")
    db.close()

    with pytest.raises(OutboxError, match=r"newer version \(layout 99\)"):
        Outbox(path)


def test_a_commit_reaches_the_disk_before_it_returns(outbox: Outbox) -> None:
    assert outbox._db.execute("PRAGMA synchronous").fetchone() == (2,)
    assert outbox._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
