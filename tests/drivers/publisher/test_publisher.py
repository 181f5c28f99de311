"""From the outbox to a recorder over a real broker: in order, each once, nothing lost."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from drivers.clock import SystemClock
from drivers.mqtt import BrokerAddress
from drivers.notices import Gap
from drivers.outbox import Outbox
from drivers.publisher import Publisher
from drivers.reading import Reading
from drivers.topics import Topics

T0_US = 1_800_000_000_000_000
TOPICS = Topics("harbour-steps")
NAME = "bench-scale"


def readings(first: int, last: int) -> list[Reading]:
    return [Reading(NAME, "mass", T0_US + i * 1000, i / 1000, "kg") for i in range(first, last + 1)]


def unplugged(at: int) -> Gap:
    return Gap(NAME, None, None, T0_US + at * 1000 - 1000, T0_US + at * 1000, "unplugged")


Start = Callable[..., Publisher]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "outbox.sqlite"


@pytest.fixture
def died() -> list[BaseException]:
    return []


@pytest.fixture
def start(broker: Any, path: Path, died: list[BaseException]) -> Iterator[Start]:
    made: list[Publisher] = []

    def make(
        budget: int = 100_000,
        stall_s: float = 0.3,
        address: BrokerAddress | None = None,
        on_command: Callable[[dict[str, Any]], None] | None = None,
    ) -> Publisher:
        made.append(
            Publisher(
                address or broker.address,
                TOPICS,
                Outbox(path, budget),
                SystemClock(),
                on_death=died.append,
                on_command=on_command,
                stall_s=stall_s,
            )
        )
        made[-1].start()
        return made[-1]

    yield make
    for one in made:
        one.stop()


def kept(path: Path) -> int:
    db = sqlite3.connect(path)
    try:
        return int(db.execute("SELECT count(*) FROM reading").fetchone()[0])
    finally:
        db.close()


def test_what_waited_for_the_recorder_is_stored_in_order_and_leaves_the_outbox(
    start: Start, record: Any, path: Path, wait_until: Any
) -> None:
    publisher = start()
    for first in range(1, 3001, 100):
        assert publisher.put(readings(first, first + 99))
    wait_until(lambda: kept(path) == 3000)

    recorder = record()

    wait_until(lambda: len(recorder.readings) == 3000)
    assert recorder.seqs() == list(range(1, 3001))
    wait_until(lambda: kept(path) == 0)


def test_a_gap_arrives_before_the_reading_that_ends_it(
    start: Start, record: Any, listen: Any, wait_until: Any
) -> None:
    heard = listen()
    publisher = start()
    publisher.put(readings(1, 2))
    publisher.put([unplugged(3), *readings(3, 4)])
    # All of it has passed before a recorder subscribes to the one topic and then to the other.
    wait_until(lambda: len(heard.readings(NAME)) == 4)

    recorder = record()

    wait_until(lambda: len(recorder.readings) == 4)
    assert recorder.order == ["reading 1", "reading 2", "gap", "reading 3", "reading 4"]
    assert recorder.gaps[0] == {
        "gap": NAME,
        "t": 1_800_000_000.003,
        "boot": publisher.boot,
        "number": 1,
        "first": None,
        "last": None,
        "from_at": 1_800_000_000.002,
        "to_at": 1_800_000_000.003,
        "reason": "unplugged",
    }


def test_live_readings_reach_listeners_though_no_recorder_is_there(
    start: Start, listen: Any, wait_until: Any
) -> None:
    listener = listen()
    publisher = start()
    wait_until(publisher.wire.connected.is_set)
    publisher.put(readings(1, 2000))
    wait_until(lambda: {r.seq for r in listener.readings(NAME)} >= set(range(1, 2001)))

    publisher.put(readings(2001, 2010))  # beyond the window

    wait_until(lambda: listener.readings(NAME)[-1].seq == 2010)
    assert publisher._courses[NAME].sent_seq == 2000
    assert all(not retained for topic, _, retained in listener.heard if "readings" in topic)


def test_a_broker_that_is_killed_loses_and_doubles_nothing(
    start: Start, broker: Any, record: Any, wait_until: Any
) -> None:
    recorder = record()
    publisher = start()
    publisher.put(readings(1, 50))
    wait_until(lambda: len(recorder.readings) == 50)

    broker.kill()
    wait_until(lambda: not publisher.wire.connected.is_set())
    publisher.put(readings(51, 100))
    broker.start()
    publisher.put(readings(101, 120))

    wait_until(lambda: len(recorder.readings) >= 120)
    assert recorder.seqs() == list(range(1, 121))


def test_a_broker_that_comes_late_is_found(
    start: Start, broker: Any, record: Any, wait_until: Any
) -> None:
    broker.kill()
    publisher = start()
    publisher.put(readings(1, 5))

    broker.start()
    recorder = record()

    wait_until(lambda: recorder.seqs() == [1, 2, 3, 4, 5])


def test_without_progress_everything_unstored_is_sent_again(
    start: Start, record: Any, wait_until: Any
) -> None:
    recorder = record()
    recorder.deaf = True
    publisher = start()
    publisher.put([unplugged(1), *readings(1, 10)])
    wait_until(lambda: publisher._courses.get(NAME) and publisher._courses[NAME].sent_seq == 10)

    recorder.deaf = False

    wait_until(lambda: recorder.seqs() == list(range(1, 11)) and len(recorder.gaps) == 1)


@pytest.mark.parametrize("start_id", ["r2", "r1"], ids=["started again", "connected again"])
def test_a_recorder_that_comes_back_is_sent_what_it_lacks_at_once(
    start: Start, record: Any, wait_until: Any, start_id: str
) -> None:
    first = record()
    publisher = start(stall_s=60.0)
    publisher.put(readings(1, 3))
    wait_until(lambda: len(first.readings) == 3)
    first.deaf = True
    publisher.put(readings(4, 6))
    wait_until(lambda: publisher._courses[NAME].sent_seq == 6)

    first.deaf = False
    first.start_id = start_id
    first.say_hello()

    wait_until(lambda: first.seqs() == [1, 2, 3, 4, 5, 6])


def test_a_new_log_is_told_what_is_missing_and_gets_the_rest(
    start: Start, record: Any, path: Path, wait_until: Any
) -> None:
    old = record(log_id="log-1")
    publisher = start()
    publisher.put(readings(1, 5))
    wait_until(lambda: len(old.readings) == 5)
    wait_until(lambda: kept(path) == 0)
    old.stop()
    publisher.put(readings(6, 8))

    new = record(log_id="log-2", start_id="r2")

    wait_until(lambda: len(new.readings) == 3)
    assert new.order == ["gap", "reading 6", "reading 7", "reading 8"]
    assert (new.gaps[0]["first"], new.gaps[0]["last"]) == (1, 5)
    assert new.gaps[0]["reason"] == "the log is new"
    assert new.gaps[0]["from_at"] == pytest.approx(1_800_000_000.001)


def test_a_log_restored_from_an_older_copy_is_told_what_it_lacks(
    start: Start, record: Any, path: Path, wait_until: Any
) -> None:
    recorder = record()
    publisher = start(stall_s=0.2)
    publisher.put(readings(1, 9))
    wait_until(lambda: len(recorder.readings) == 9)
    wait_until(lambda: kept(path) == 0)

    key = (NAME, publisher.boot)
    recorder._next[key] = 4  # the copy ends at reading 3
    recorder.start_id = "r2"
    recorder.say_hello()
    recorder.say_stored(*key)
    publisher.put(readings(10, 10))

    wait_until(lambda: recorder.seqs()[-1] == 10)
    assert [(g["first"], g["last"]) for g in recorder.gaps] == [(4, 9)]


def test_words_of_other_logs_other_boots_and_the_past_drop_nothing(
    start: Start, record: Any, path: Path, wait_until: Any
) -> None:
    recorder = record()
    publisher = start()
    publisher.put(readings(1, 4))
    wait_until(lambda: len(recorder.readings) == 4)
    wait_until(lambda: kept(path) == 0)
    recorder.deaf = True
    publisher.put(readings(5, 9))
    wait_until(lambda: kept(path) == 5)

    right = {"log": "log-1", "boot": publisher.boot, "seq": 9, "gap": 0, "t": 0}
    for wrong in (
        right | {"log": "log-0"},
        right | {"boot": "another"},
        right | {"seq": 2},
        right | {"seq": "9"},
        {},
    ):
        recorder.wire.publish_json(TOPICS.stored(NAME), wrong, retain=True)
    recorder.wire.publish(TOPICS.stored(NAME), b"\xff not JSON", retain=False)
    recorder.wire.publish_json(TOPICS.stored(NAME), right | {"seq": 6}, retain=True)

    wait_until(lambda: kept(path) == 3)
    recorder._next[(NAME, publisher.boot)] = 7
    recorder.deaf = False
    wait_until(lambda: recorder.seqs() == [1, 2, 3, 4, 7, 8, 9])


def test_an_outbox_over_its_budget_keeps_the_new_and_counts_the_old(
    start: Start, broker: Any, record: Any, path: Path, wait_until: Any
) -> None:
    broker.kill()
    publisher = start(budget=1000)
    for first in range(1, 5001, 100):
        wait_until(lambda first=first: publisher.put(readings(first, first + 99)))
    wait_until(lambda: publisher._queue.empty() and kept(path) <= 1000)

    broker.start()
    recorder = record()

    wait_until(lambda: recorder.seqs() and recorder.seqs()[-1] == 5000)
    missing = [seq for g in recorder.gaps for seq in range(g["first"], g["last"] + 1)]
    assert missing + recorder.seqs() == list(range(1, 5001))
    assert 900 <= len(recorder.readings) <= 1000


def test_an_old_copy_of_the_outbox_loses_no_reading(
    start: Start, record: Any, path: Path, tmp_path: Path, wait_until: Any
) -> None:
    recorder = record()
    first = start()
    first.put(readings(1, 3))
    wait_until(lambda: len(recorder.readings) == 3)
    wait_until(lambda: kept(path) == 0)
    first.stop()
    shutil.copy(path, tmp_path / "copy.sqlite")
    second = start()
    second.put(readings(4, 9))
    wait_until(lambda: len(recorder.readings) == 9)
    second.stop()
    for leftover in tmp_path.glob("outbox.sqlite-*"):
        leftover.unlink()
    shutil.copy(tmp_path / "copy.sqlite", path)

    third = start()
    third.put(readings(20, 22))

    wait_until(lambda: len(recorder.readings) == 12)
    assert third.boot != first.boot
    assert [r.value for r in recorder.readings[-3:]] == [0.020, 0.021, 0.022]


def test_states_are_retained_and_said_again_to_a_broker_that_forgot(
    start: Start, broker: Any, listen: Any, wait_until: Any
) -> None:
    publisher = start()
    state = {"state": "online", "t": 1.0, "instrument": NAME, "since": 1.0}
    publisher.announce(NAME, state)
    first = listen()
    wait_until(lambda: first.documents(TOPICS.instruments(NAME)) == [state])
    wait_until(lambda: first.documents(TOPICS.drivers(publisher.driver_id)))

    broker.kill()
    broker.start()
    wait_until(publisher.wire.connected.is_set)
    second = listen()

    wait_until(lambda: second.documents(TOPICS.instruments(NAME)))
    wait_until(lambda: second.documents(TOPICS.drivers(publisher.driver_id)))
    assert second.documents(TOPICS.instruments(NAME))[0] == state
    assert second.documents(TOPICS.drivers(publisher.driver_id))[-1]["online"] is True


def test_the_last_word_is_offline(start: Start, listen: Any, wait_until: Any) -> None:
    listener = listen()
    publisher = start()
    wait_until(lambda: listener.documents(TOPICS.drivers(publisher.driver_id)))

    publisher.stop()

    topic = TOPICS.drivers(publisher.driver_id)
    wait_until(lambda: listener.documents(topic)[-1]["online"] is False)


def test_commands_come_with_their_instrument_and_retained_ones_are_passed_over(
    start: Start, listen: Any, wait_until: Any
) -> None:
    heard: list[dict[str, Any]] = []
    listener = listen()
    stale = {"command": "tare", "t": 1, "instrument": NAME, "id": "old"}
    assert listener.wire.publish_json(TOPICS.commands(NAME), stale, retain=True)
    wait_until(lambda: listener.documents(TOPICS.commands(NAME)))
    publisher = start(on_command=heard.append)
    wait_until(publisher.wire.connected.is_set)
    wait_until(lambda: listener.documents(TOPICS.drivers(publisher.driver_id)))

    listener.wire.publish(TOPICS.commands(NAME), b"[not an object]")
    listener.wire.publish_json(TOPICS.commands(NAME), stale | {"id": "new"})

    wait_until(lambda: heard)
    assert [document["id"] for document in heard] == ["new"]


def test_a_full_disk_is_waited_for(
    start: Start, record: Any, wait_until: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("drivers.publisher.DISK_RETRY_S", 0.02)
    recorder = record()
    publisher = start()
    commit, refusals = publisher._outbox.commit, [3]

    def full(items: Any) -> list[Reading]:
        if refusals[0]:
            refusals[0] -= 1
            raise sqlite3.OperationalError("database or disk is full")
        return commit(items)

    monkeypatch.setattr(publisher._outbox, "commit", full)
    publisher.put(readings(1, 3))

    wait_until(lambda: recorder.seqs() == [1, 2, 3])


def test_a_broken_outbox_ends_the_thread_and_says_why(
    start: Start, died: list[BaseException], wait_until: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    publisher = start()

    def broken(items: Any) -> list[Reading]:
        raise sqlite3.DatabaseError("database disk image is malformed")

    monkeypatch.setattr(publisher._outbox, "commit", broken)
    publisher.put(readings(1, 1))

    wait_until(lambda: died)
    assert "malformed" in str(died[0])
    wait_until(lambda: not publisher.alive)


def test_a_full_queue_refuses_instead_of_growing(
    start: Start, wait_until: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("drivers.publisher.DISK_RETRY_S", 0.02)
    publisher = start()

    def full(items: Any) -> list[Reading]:
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(publisher._outbox, "commit", full)

    taken = 0
    while publisher.put(readings(1, 1)):
        taken += 1
        assert taken < 10_000

    assert taken >= 1000
