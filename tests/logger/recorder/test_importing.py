"""Taking recordings into the store."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from recorder_bench import PLAN, T0, reading, start_batch

from logger.engine import advance
from logger.entries import Entry, Mark, PlanEntry
from logger.importing import RecordingRefused, import_session
from logger.store import Reader, Store
from logger.store.rows import text_of

DOCUMENT = {"plan": PLAN, "formulas": [], "frozen": {}}


def recording(n: int = 50) -> list[Entry]:
    readings: list[Entry] = [reading(i, 1.5 if i % 10 == 0 else 0.5) for i in range(1, n + 1)]
    return [*readings, Mark("note", T0 + 60_000_000, document={"text": "cold kitchen"})]


def test_a_recording_becomes_a_closed_batch_with_the_events_of_its_replay(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        said = import_session(store, recording(), DOCUMENT, "earlier-1", start_batch=start_batch)

    plan = PlanEntry(T0 + 100_000, "earlier-1", DOCUMENT)
    state, replayed = start_batch(plan), []
    for entry in [plan, *recording()]:
        replayed += [text_of(event.to_json()) for event in advance(state, entry)[1]]
    with Reader(tmp_path) as reader:
        (batch,) = reader.batches()
        assert batch.closed_pos == reader.last_pos()
        assert [event.body for event in reader.events("earlier-1")] == replayed
        assert len(replayed) == said > 5
        found = [entry for _, entry in reader.entries("earlier-1", state.plan)]
        assert found == [plan, *recording()]


def test_an_open_batch_does_not_see_what_is_taken_in(tmp_path: Path) -> None:
    plan = PlanEntry(T0, "live", DOCUMENT)
    with Store(tmp_path) as store:
        import_session(store, recording(), DOCUMENT, "earlier-1", start_batch=start_batch)
        import_session(store, recording(), DOCUMENT, "earlier-2", start_batch=start_batch)
        pos, _ = store.add(plan, T0)
        store.open_batch("live", None, None, pos, pos, T0)
        store.commit()
        import_session(store, recording(), DOCUMENT, "earlier-3", start_batch=start_batch)

    with Reader(tmp_path) as reader:
        state = start_batch(plan)
        assert [entry for _, entry in reader.entries("live", state.plan)] == [plan]


def test_a_recording_that_cannot_be_taken_in_leaves_nothing_behind(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        import_session(store, recording(), DOCUMENT, "earlier-1", start_batch=start_batch)
        last = store.pos
        for entries, document, name in (
            ([], DOCUMENT, "earlier-2"),
            (recording(), DOCUMENT, "earlier-1"),
            (recording(), {"plan": {"bad": True}}, "earlier-2"),
        ):
            with pytest.raises(RecordingRefused):
                import_session(store, entries, document, name, start_batch=start_batch)

        assert store.pos == last
        import_session(store, recording(), DOCUMENT, "earlier-2", start_batch=start_batch)
    with Reader(tmp_path) as reader:
        assert [batch.id for batch in reader.batches()] == ["earlier-1", "earlier-2"]


def test_twenty_recordings_of_700_readings_are_taken_in_within_seconds(tmp_path: Path) -> None:
    began = time.monotonic()

    with Store(tmp_path) as store:
        for i in range(20):
            import_session(store, recording(700), DOCUMENT, f"e{i}", start_batch=start_batch)

    assert time.monotonic() - began < 10
