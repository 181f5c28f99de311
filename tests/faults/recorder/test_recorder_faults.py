"""Killed, starved and held up: nothing is lost, nothing is doubled."""

from __future__ import annotations

import random
import shutil
import signal
import sqlite3
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from recorder_bench import (
    KITCHEN,
    PLAN,
    T0,
    TOPICS,
    FakeOutbox,
    Listener,
    ToyClock,
    open_mark,
    reading,
    start_batch,
    until,
)

from drivers.reading import Reading
from drivers.senml import pack
from logger import broker
from logger.broker import RunningBroker
from logger.engine import advance
from logger.recorder import Pace, Recorder
from logger.store import Reader, Store
from logger.store.rows import text_of

FIRST = "mosquitto" if broker.find_mosquitto() else "embedded"
Start = Callable[[], "subprocess.Popen[bytes]"]


def seqs(reader: Reader) -> list[int | None]:
    return [e.seq for _, e in reader.log_entries() if isinstance(e, Reading)]


def assert_replay_is_what_is_stored(reader: Reader, batch: str) -> int:
    """The log gives the stored events again, byte for byte; how many."""
    plan = reader.plan_entry(batch)
    assert plan is not None
    state, bodies = start_batch(plan), []
    for _, entry in reader.entries(batch, state.plan):
        bodies += [text_of(event.to_json()) for event in advance(state, entry)[1]]
    assert bodies == [row.body for row in reader.events_of(batch)]
    return len(bodies)


def test_a_recorder_killed_at_random_moments_has_stored_everything_once_and_in_order(
    start_process: Start, running_broker: RunningBroker, listener: Listener, tmp_path: Path
) -> None:
    kills = 10 if running_broker.kind == FIRST else 3
    random_ = random.Random(7)
    readings = [reading(i, 2.0 if i % 5 == 0 else 0.5) for i in range(1, 600 * kills + 1)]
    process = start_process()
    listener.say(TOPICS.marks, open_mark(batch="pear-1"))
    outbox = FakeOutbox(running_broker.address, readings, pack=3)
    errors: list[BaseException] = []

    def send() -> None:
        try:
            outbox.send_all(deadline_s=90, resend_s=0.4, window=45)
        except BaseException as error:
            errors.append(error)

    sender = threading.Thread(target=send)
    sender.start()
    killed_at = []
    for _ in range(kills):
        moving = outbox.stored
        until(lambda moving=moving: outbox.stored > moving or not sender.is_alive(), 20)
        threading.Event().wait(random_.uniform(0.01, 0.25))
        process.kill()
        process.wait()
        killed_at.append(outbox.stored)
        process = start_process()
    sender.join(90)

    assert errors == []
    process.send_signal(signal.SIGTERM)
    assert process.wait(5) == 0
    outbox.close()
    assert killed_at[-1] < len(readings), "the load was over before the last kill"
    with Reader(tmp_path / "store") as reader:
        assert seqs(reader) == list(range(1, len(readings) + 1))
        assert assert_replay_is_what_is_stored(reader, "pear-1") > 100 * kills
        assert [alert.about for alert in reader.alerts()] == []


def test_sigterm_under_load_ends_cleanly_within_five_seconds(
    start_process: Start, running_broker: RunningBroker, listener: Listener, tmp_path: Path
) -> None:
    process = start_process()
    outbox = FakeOutbox(running_broker.address, [reading(i) for i in range(1, 3001)])
    sender = threading.Thread(target=lambda: outbox.publish(0, 500))
    sender.start()
    sender.join()
    until(lambda: outbox.stored > 0)

    began = time.monotonic()
    process.send_signal(signal.SIGTERM)

    assert process.wait(5) == 0
    assert time.monotonic() - began < 5
    until(lambda: (listener.last(TOPICS.recorder) or {}).get("online") is False)
    with Reader(tmp_path / "store") as reader:
        assert seqs(reader) == list(range(1, 501))
    said = (tmp_path / "recorder.log").read_text()
    assert "Traceback" not in said
    outbox.close()


def test_sigterm_while_the_broker_is_away_ends_cleanly(
    command: list[str], environment: dict[str, str], tmp_path: Path
) -> None:
    more = ["--broker", "mqtt://127.0.0.1:1", "--folder", str(tmp_path)]
    with subprocess.Popen([*command, *more], env=environment) as process:
        until(lambda: (tmp_path / "coolcrumb.db").exists())

        process.send_signal(signal.SIGTERM)

        assert process.wait(5) == 0


@pytest.fixture
def recorder(
    running_broker: RunningBroker, listener: Listener, tmp_path: Path
) -> Iterator[Recorder]:
    recorder = Recorder(
        running_broker.address, KITCHEN, tmp_path / "store", ToyClock(), start_batch,
        pace=Pace(probe_s=0.1, retry_s=0.1),
    )  # fmt: skip
    recorder.start()
    until(lambda: (listener.last(TOPICS.recorder) or {}).get("online"))
    yield recorder
    recorder.stop()


def test_a_full_disk_is_reported_and_nothing_is_lost_when_there_is_room_again(
    recorder: Recorder, running_broker: RunningBroker, listener: Listener, tmp_path: Path
) -> None:
    listener.say(TOPICS.marks, open_mark(batch="pear-1"))
    with Reader(tmp_path / "store") as reader:
        until(lambda: reader.mark_pos("m-open"))
        connection = recorder._store._connection
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count={pages + 4}")
        readings = [reading(i, 2.0 if i % 9 == 0 else 0.5) for i in range(1, 3001)]
        outbox = FakeOutbox(running_broker.address, readings)
        sender = threading.Thread(target=outbox.send_all)
        sender.start()

        until(lambda: (listener.last(TOPICS.recorder) or {}).get("alerts"), what="an alert")
        said = listener.last(TOPICS.recorder)
        stuck = outbox.stored
        stored_then = reader.progress()
        assert said is not None
        assert said["alerts"][0]["about"] == "disk full"
        assert "make room" in said["alerts"][0]["text"]
        assert stuck < 3000
        assert stored_then in ([], [("bench-scale", "b1", stuck, 0)])
        connection.execute("PRAGMA max_page_count=1000000")
        sender.join(30)

        outbox.close()
        until(lambda: not (listener.last(TOPICS.recorder) or {}).get("alerts"))
        until(lambda: [alert.about for alert in reader.alerts()] == ["disk full"])
        assert seqs(reader) == list(range(1, 3001))
        assert assert_replay_is_what_is_stored(reader, "pear-1") > 300


def test_a_store_held_by_another_program_delays_and_loses_nothing(
    recorder: Recorder, running_broker: RunningBroker, listener: Listener, tmp_path: Path
) -> None:
    slowest_s = 0.0
    receive = recorder._receive
    disconnected: list[str] = []
    recorder._wire._on_disconnect = disconnected.append

    def timed(topic: str, payload: bytes, retained: bool) -> None:
        nonlocal slowest_s
        began = time.monotonic()
        receive(topic, payload, retained)
        slowest_s = max(slowest_s, time.monotonic() - began)

    for pattern in list(recorder._wire._subscriptions):
        if "/readings/" in pattern:
            recorder._wire._subscriptions[pattern] = timed
    outside = sqlite3.connect(tmp_path / "store" / "coolcrumb.db", isolation_level=None)
    outside.execute("BEGIN IMMEDIATE")
    outbox = FakeOutbox(running_broker.address, [reading(i) for i in range(1, 1001)])
    sender = threading.Thread(target=lambda: outbox.send_all(window=1000, resend_s=20))
    sender.start()
    until(lambda: outbox.sent >= 1000)

    threading.Event().wait(1.0)
    assert outbox.stored == 0
    outside.execute("COMMIT")
    outside.close()
    sender.join(20)

    outbox.close()
    with Reader(tmp_path / "store") as reader:
        assert seqs(reader) == list(range(1, 1001))
    assert slowest_s < 0.5
    assert disconnected == []


def test_poison_on_the_wire_leaves_the_threads_alone_and_the_next_reading_is_stored(
    recorder: Recorder, listener: Listener, tmp_path: Path
) -> None:
    topic = TOPICS.readings("bench-scale")
    threads = {thread.name for thread in threading.enumerate()}
    poison = [b"", b"x" * 5_000_000, b"\xff\xfe", b"{", b"[" * 1000 + b"]" * 1000,
              b'[{"n":"bench-scale/mass","v":NaN}]']  # fmt: skip
    for payload in poison:
        listener.say(topic, payload)

    began = time.monotonic()
    listener.say(topic, pack([reading(1)]))

    with Reader(tmp_path / "store") as reader:
        until(lambda: reader.last_pos() == 1, 5)
        assert time.monotonic() - began < 1
        assert len(reader.refused()) == len(poison)
    assert {thread.name for thread in threading.enumerate()} == threads
    assert not recorder.wait(0)


def test_a_dead_network_thread_is_a_failure_and_not_silence(recorder: Recorder) -> None:
    recorder._wire._client.loop_stop()

    assert until(lambda: recorder.wait(0.05), 5)
    assert "network thread" in str(recorder.failure)


def test_a_write_ahead_log_torn_anywhere_leaves_a_whole_prefix(tmp_path: Path) -> None:
    from drivers.mqtt import encode
    from logger.intake import Intake, Message
    from logger.running import RunningBatches

    store = Store(tmp_path / "store")
    store._connection.execute("PRAGMA wal_autocheckpoint=0")
    running = RunningBatches(store, start_batch)
    intake = Intake(store, running, TOPICS, lambda _d, _p: {}, store.commit)
    mark = encode(open_mark(batch="pear-1", plan=PLAN))
    intake.take(Message(TOPICS.marks, mark, False, T0, len(mark)))
    store.commit()
    for first in range(1, 400, 4):
        payload = pack([reading(i, 2.0, boot="b1", seq=i) for i in range(first, first + 4)])
        intake.take(Message(TOPICS.readings("bench-scale"), payload, False, T0, len(payload)))
        store.commit()
    shutil.copy(store.path, tmp_path / "main.db")
    wal = store.path.with_name("coolcrumb.db-wal").read_bytes()

    lengths = set()
    for cut in range(0, 65_536 + 512, 512):
        torn = tmp_path / f"torn-{cut}"
        torn.mkdir()
        shutil.copy(tmp_path / "main.db", torn / "coolcrumb.db")
        (torn / "coolcrumb.db-wal").write_bytes(wal[: len(wal) - cut])
        connection = sqlite3.connect(torn / "coolcrumb.db")
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        connection.close()
        with Reader(torn) as reader:
            positions = [pos for pos, _ in reader.log_entries()]
            assert positions == list(range(1, len(positions) + 1))
            assert reader.progress() == [("bench-scale", "b1", len(positions) - 2, 0)]
            assert_replay_is_what_is_stored(reader, "pear-1")
        lengths.add(len(positions))
        shutil.rmtree(torn)
    store.close()

    assert len(lengths) >= 3  # the cuts reached into several commits
    assert max(lengths) == 402
