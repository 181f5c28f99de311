"""The recorder on a real broker and a real store."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from recorder_bench import (
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
from logger.entries import Gap, InstrumentState, Mark, PlanEntry, Tick
from logger.presence import AnotherRecorder
from logger.recorder import Pace, Recorder
from logger.store import Reader, StoreBusy

Start = Callable[..., Recorder]


def seqs(reader: Reader) -> list[int | None]:
    return [e.seq for _, e in reader.log_entries() if isinstance(e, Reading)]


def numbered(first: int, last: int, boot: str = "b1") -> bytes:
    return pack([reading(i, boot=boot, seq=i) for i in range(first, last + 1)])


def test_readings_are_stored_in_order_and_then_reported(
    start_recorder: Start, listener: Listener, tmp_path: Path
) -> None:
    recorder = start_recorder()

    listener.say(TOPICS.readings("bench-scale"), numbered(1, 5))

    stored = until(lambda: listener.last(TOPICS.stored("bench-scale")), what="stored")
    assert stored == {"log": recorder.log_id, "boot": "b1", "seq": 5, "gap": 0, "t": T0 / 1e6}
    with Reader(tmp_path / "store") as reader:
        entries = [entry for _, entry in reader.log_entries()]
    assert entries == [reading(i, boot="b1", seq=i) for i in range(1, 6)]


def test_only_the_next_sequence_is_accepted(
    start_recorder: Start, listener: Listener, tmp_path: Path
) -> None:
    start_recorder()
    topic = TOPICS.readings("bench-scale")

    listener.say(topic, numbered(3, 4))  # ahead
    listener.say(topic, numbered(1, 2))
    listener.say(topic, numbered(1, 2))  # known
    listener.say(topic, numbered(2, 4))  # partly known
    listener.say(topic, numbered(1, 2, boot="b2"))  # another outbox

    with Reader(tmp_path / "store") as reader:
        until(lambda: len(seqs(reader)) == 6, what="six readings")
        assert seqs(reader) == [1, 2, 3, 4, 1, 2]
        assert reader.progress() == [("bench-scale", "b1", 4, 0), ("bench-scale", "b2", 2, 0)]


def test_the_one_after_a_declared_gap_is_accepted_and_what_is_stored_is_not_missing(
    start_recorder: Start, listener: Listener, tmp_path: Path
) -> None:
    start_recorder()
    topic, gaps = TOPICS.readings("bench-scale"), TOPICS.gaps("bench-scale")
    gap = {
        "gap": "bench-scale", "t": T0 / 1e6, "boot": "b1", "number": 1, "first": 2, "last": 9,
        "from_at": T0 / 1e6, "to_at": T0 / 1e6, "reason": "the outbox was full",
    }  # fmt: skip

    listener.say(topic, numbered(1, 4))
    listener.say(gaps, {**gap, "number": 2, "first": 20, "last": 30})  # ahead
    listener.say(gaps, gap)
    listener.say(gaps, gap)  # repeated
    listener.say(topic, numbered(10, 11))

    with Reader(tmp_path / "store") as reader:
        until(lambda: len(seqs(reader)) == 6, what="six readings")
        found = [e for _, e in reader.log_entries() if isinstance(e, Gap)]
        assert [(g.number, g.first, g.last) for g in found] == [(1, 5, 9)]
        assert seqs(reader) == [1, 2, 3, 4, 10, 11]
        assert len(reader.gaps("bench-scale", T0 - 1, T0 + 1)) == 1
    until(lambda: (listener.last(TOPICS.stored("bench-scale")) or {}).get("gap") == 1)


def test_a_clock_jump_is_stored_once_and_reported_by_its_number(
    start_recorder: Start, listener: Listener, tmp_path: Path
) -> None:
    start_recorder()
    jump = {"jump": "bench-scale", "t": T0 / 1e6, "boot": "b1", "number": 1, "jump_s": 3600.0}

    for _ in range(3):
        listener.say(TOPICS.gaps("bench-scale"), jump)
    listener.say(TOPICS.readings("bench-scale"), numbered(1, 1))

    with Reader(tmp_path / "store") as reader:
        until(lambda: reader.last_pos() == 2)
        assert reader.progress() == [("bench-scale", "b1", 1, 1)]


def test_a_bad_record_in_a_numbered_pack_counts_as_stored_with_its_reason(
    start_recorder: Start, listener: Listener, tmp_path: Path
) -> None:
    start_recorder()
    bad = (
        b'[{"bn":"bench-scale/","boot":"b1","bseq":1,"n":"mass","u":"kg","t":1800000000.1,"v":0.1},'
        b'{"n":"mass","u":"kg","t":1800000000.2,"v":1e12},'
        b'{"n":"mass","u":"kg","t":1800000000.3,"v":NaN},'
        b'{"n":"mass","u":"kg","t":1800000000.4,"v":0.4}]'
    )

    listener.say(TOPICS.readings("bench-scale"), bad)
    listener.say(TOPICS.readings("bench-scale"), numbered(5, 5))

    with Reader(tmp_path / "store") as reader:
        until(lambda: seqs(reader) == [1, 4, 5])
        refused = [(row.seq, row.boot, row.reason) for row in reader.refused()]
        assert [(seq, boot) for seq, boot, _ in refused] == [(3, "b1"), (2, "b1")]
        assert "cannot be true" in refused[1][2]
        assert reader.progress() == [("bench-scale", "b1", 5, 0)]


def test_a_foreign_publisher_is_stored_as_it_comes_and_known_by_name_and_time(
    start_recorder: Start, listener: Listener, tmp_path: Path
) -> None:
    start_recorder()
    topic = TOPICS.readings("wall")

    for t in (1800000000.0, 1800000000.0, 1800000009.0, 1800000003.0):
        listener.say(topic, [{"bn": "wall/", "n": "air", "u": "Cel", "t": t, "v": 21.5}])

    with Reader(tmp_path / "store") as reader:
        until(lambda: reader.last_pos() == 3)
        found = [(e.t_us - T0) // 1_000_000 for _, e in reader.log_entries() if e.t_us >= T0]
        assert found == [0, 9, 3]
        assert [r.t_us for r in reader.latest()] == [T0 + 9_000_000]
    assert listener.last(TOPICS.stored("wall")) is None


def test_a_retained_reading_is_never_taken_for_live(
    running_broker: object, listener: Listener, start_recorder: Start, tmp_path: Path
) -> None:
    listener.say(TOPICS.readings("bench-scale"), pack([reading(1)]), retain=True)

    start_recorder()
    listener.say(TOPICS.readings("wall"), b'[{"n":"wall/air","u":"Cel","t":1800000000,"v":21}]')

    with Reader(tmp_path / "store") as reader:
        until(lambda: reader.last_pos() == 1)
        assert [r.name for r in reader.latest()] == ["wall/air"]
        assert "not live" in reader.refused()[0].reason


def test_a_batch_is_opened_advanced_published_and_closed(
    start_recorder: Start, listener: Listener, tmp_path: Path
) -> None:
    start_recorder()
    topic = TOPICS.readings("bench-scale")
    scale = {"state": "online", "since": T0 / 1e6, "driver": "d1", "channels": []}
    listener.say(TOPICS.instruments("bench-scale"), scale, retain=True)

    listener.say(TOPICS.marks, open_mark(batch="pear-1"))
    listener.say(TOPICS.marks, open_mark(batch="pear-1"))  # repeated
    listener.say(topic, pack([reading(1, 2.5, boot="b1", seq=1)]))
    until(lambda: listener.documents(TOPICS.events("weighing.container")), what="event")
    view = until(lambda: listener.last(TOPICS.now("pear-1")), what="now")
    listener.say(TOPICS.marks, {"mark": "close batch", "t": T0 / 1e6 + 5, "id": "m-close"})

    until(lambda: (TOPICS.now("pear-1"), b"", False) in listener.heard, what="now cleared")
    with Reader(tmp_path / "store") as reader:
        (batch,) = reader.batches()
        kinds = [event.kind for event in reader.events("pear-1")]
        plan = reader.plan_entry("pear-1")
        entries = [type(entry) for _, entry in reader.log_entries()]
        last = reader.last_pos()
        assert reader.mark_pos("m-open") == batch.opened_pos
    assert view["batch"] == "pear-1"
    assert entries == [InstrumentState, Mark, PlanEntry, Reading, Mark]
    assert (batch.opened_pos, batch.plan_pos, batch.closed_pos) == (2, 3, last)
    assert (batch.title, batch.oven) == ("Pear and ginger layer cake", "oven-probe/air")
    assert kinds[0] == "batch.opened"
    assert kinds[-1] == "batch.closed"
    assert "weighing.container" in kinds
    assert plan is not None
    assert plan.document["plan"] == PLAN
    assert plan.document["frozen"]["instruments"]["bench-scale"]["state"] == "online"


@pytest.mark.parametrize(
    ("more", "reason"),
    [
        ({"plan": {"bad": True, "channels": {}}}, "key bad"),
        ({"plan": None}, "needs a 'plan'"),
        ({"batch": "a/b"}, "cannot name a batch"),
        ({"batch": "pear-1"}, "already"),
    ],
)
def test_a_batch_that_cannot_be_opened_is_refused_with_the_reason(
    start_recorder: Start, listener: Listener, tmp_path: Path, more: dict[str, object], reason: str
) -> None:
    start_recorder()
    listener.say(TOPICS.marks, open_mark(batch="pear-1"))

    listener.say(TOPICS.marks, open_mark(mark_id="m-2", **more))

    with Reader(tmp_path / "store") as reader:
        assert reason in until(lambda: reader.mark_refused("m-2"))
        assert [batch.id for batch in reader.batches()] == ["pear-1"]


def test_marks_without_a_batch_are_stored_and_marks_without_an_id_are_not(
    start_recorder: Start, listener: Listener, tmp_path: Path
) -> None:
    start_recorder()

    listener.say(TOPICS.marks, {"mark": "note", "t": T0 / 1e6, "text": "no id"})
    listener.say(TOPICS.marks, {"mark": "note", "t": T0 / 1e6, "text": "hello", "id": "n1"})

    with Reader(tmp_path / "store") as reader:
        assert until(lambda: reader.mark_pos("n1")) == 1
        assert "needs an 'id'" in reader.refused()[0].reason


def test_silence_becomes_a_tick_while_a_batch_is_open_and_only_then(
    start_recorder: Start, listener: Listener, clock: ToyClock, tmp_path: Path
) -> None:
    start_recorder()
    with Reader(tmp_path / "store") as reader:
        clock.us += 60_000_000
        listener.say(TOPICS.marks, open_mark(clock.us, batch="pear-1"))
        until(lambda: reader.mark_pos("m-open"))
        before = reader.last_pos()

        clock.us += 60_000_000

        until(lambda: reader.last_pos() > before)
        entries = [entry for _, entry in reader.log_entries()]
        assert entries[2:] == [Tick(clock.us)]
        assert [e.kind for e in reader.events("pear-1")] == ["batch.opened", "alert"]


def test_an_error_in_the_engine_flags_the_batch_and_recording_goes_on(
    start_recorder: Start, listener: Listener, tmp_path: Path
) -> None:
    first = start_recorder()
    topic = TOPICS.readings("bench-scale")
    listener.say(TOPICS.marks, open_mark(batch="pear-1"))
    listener.say(topic, pack([reading(1, 666.0, boot="b1", seq=1)]))
    listener.say(topic, pack([reading(2, 2.0, boot="b1", seq=2)]))
    with Reader(tmp_path / "store") as reader:
        until(lambda: seqs(reader) == [1, 2])
        batch = reader.batch("pear-1")
        assert batch is not None
        assert batch.flagged
        assert [pos for pos, error in reader.engine_errors("pear-1") if "divide" in error] == [3]
        assert [alert.about for alert in reader.alerts()] == ["engine error"]

        first.stop()
        start_recorder()
        listener.say(TOPICS.marks, {"mark": "close batch", "t": T0 / 1e6 + 5, "id": "m-close"})

        until(lambda: reader.open_batches() == [])
        assert len(reader.engine_errors("pear-1")) == 1


def test_a_restarted_recorder_goes_on_as_if_it_had_never_stopped(
    start_recorder: Start, listener: Listener, tmp_path: Path
) -> None:
    recorder = start_recorder()
    topic = TOPICS.readings("bench-scale")
    listener.say(TOPICS.marks, open_mark(batch="pear-1"))
    listener.say(
        topic, pack([reading(1, 2.5, boot="b1", seq=1), reading(2, 2.6, boot="b1", seq=2)])
    )
    with Reader(tmp_path / "store") as reader:
        until(lambda: seqs(reader) == [1, 2])
        recorder.stop()
        listener.say(topic, pack([reading(3, 2.7, boot="b1", seq=3)]))  # nobody listens

        again = start_recorder()
        listener.say(topic, pack([reading(3, 2.7, boot="b1", seq=3)]))
        until(lambda: seqs(reader) == [1, 2, 3])

        assert again.log_id == recorder.log_id
        assert reader.alerts() == []
        assert [e.id for e in reader.events("pear-1")] == list(
            range(1, len(reader.events("pear-1")) + 1)
        )
        # The log gives the stored events again, byte for byte.
        from logger.engine import advance
        from logger.store.rows import text_of

        plan = reader.plan_entry("pear-1")
        assert plan is not None
        state, bodies = start_batch(plan), []
        for _, entry in reader.entries("pear-1", state.plan):
            bodies += [text_of(event.to_json()) for event in advance(state, entry)[1]]
        assert bodies == [event.body for event in reader.events("pear-1")]


def test_instruments_of_a_dead_driver_are_offline(
    start_recorder: Start, listener: Listener, tmp_path: Path
) -> None:
    start_recorder()
    scale = {"state": "online", "since": T0 / 1e6, "driver": "d1", "channels": []}
    listener.say(TOPICS.drivers("d1"), {"online": True}, retain=True)
    listener.say(TOPICS.instruments("bench-scale"), scale, retain=True)
    listener.say(TOPICS.instruments("bench-scale"), scale, retain=True)
    listener.say(TOPICS.drivers("d1"), {"online": False}, retain=True)

    with Reader(tmp_path / "store") as reader:
        until(lambda: reader.last_pos() == 2)
        states = [e.state for _, e in reader.log_entries() if isinstance(e, InstrumentState)]
        assert states == ["online", "offline"]
        assert [state.state for state in reader.instruments()] == ["offline"]


def test_commands_and_answers_are_part_of_the_log(
    start_recorder: Start, listener: Listener, tmp_path: Path
) -> None:
    start_recorder()
    command = {"command": "tare", "id": "c1", "t": T0 / 1e6}

    listener.say(TOPICS.commands("bench-scale"), command)
    listener.say(TOPICS.commands("bench-scale"), command)
    listener.say(TOPICS.answers("bench-scale"), {"id": "c1", "done": True, "t": T0 / 1e6})

    with Reader(tmp_path / "store") as reader:
        until(lambda: reader.last_pos() == 2)
        assert [type(e).__name__ for _, e in reader.log_entries()] == ["Command", "Answer"]


def test_a_second_recorder_refuses_to_start_and_names_the_first(
    start_recorder: Start, listener: Listener
) -> None:
    first = start_recorder()

    with pytest.raises(AnotherRecorder) as refused:
        start_recorder(folder="another", pace=Pace(probe_s=1.0))

    assert first.presence.id in str(refused.value)
    assert refused.value.log_id == first.log_id
    said = listener.last(TOPICS.recorder)
    assert said is not None
    assert (said["id"], said["online"]) == (first.presence.id, True)


def test_a_second_process_on_the_same_store_is_refused(start_recorder: Start) -> None:
    start_recorder()

    with pytest.raises(StoreBusy, match="another process"):
        start_recorder()


def test_a_stale_word_of_an_earlier_start_does_not_stop_the_next(
    start_recorder: Start, listener: Listener
) -> None:
    first = start_recorder()
    said = until(lambda: listener.last(TOPICS.recorder))
    first.stop()
    listener.say(TOPICS.recorder, said, retain=True)  # as after a power cut

    second = start_recorder()
    listener.say(TOPICS.recorder, {**said, "online": False}, retain=True)  # the late Last Will

    until(lambda: (listener.last(TOPICS.recorder) or {}).get("online"), what="online again")
    last = listener.last(TOPICS.recorder)
    assert last is not None
    assert last["id"] == second.presence.id


def test_what_is_stored_is_said_again_on_each_start(
    start_recorder: Start, listener: Listener
) -> None:
    recorder = start_recorder()
    listener.say(TOPICS.readings("bench-scale"), numbered(1, 3))
    until(lambda: listener.last(TOPICS.stored("bench-scale")))
    recorder.stop()
    listener.heard.clear()

    start_recorder()

    stored = until(lambda: listener.last(TOPICS.stored("bench-scale")))
    assert (stored["boot"], stored["seq"]) == ("b1", 3)


def test_an_outbox_gets_everything_stored_through_a_tiny_queue(
    start_recorder: Start, running_broker: object, listener: Listener, tmp_path: Path
) -> None:
    recorder = start_recorder(pace=Pace(probe_s=0.2, queue=3, commit_s=0.01))
    outbox = FakeOutbox(running_broker.address, [reading(i) for i in range(1, 1001)])  # type: ignore[attr-defined]

    outbox.send_all()

    outbox.close()
    recorder.stop()
    with Reader(tmp_path / "store") as reader:
        assert seqs(reader) == list(range(1, 1001))
