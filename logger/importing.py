"""Taking a recording into the store as a closed batch, through the code that records live."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from drivers.reading import Reading
from logger.entries import Entry, PlanEntry
from logger.running import RunningBatches, StartBatch
from logger.store import Store


class RecordingRefused(ValueError):
    """The recording cannot be taken in; nothing of it was stored."""


def import_session(
    store: Store,
    entries: Iterable[Entry],
    plan_document: Mapping[str, Any],
    batch_id: str,
    *,
    start_batch: StartBatch,
) -> int:
    """Append a recording to the log as a closed batch, in one transaction.

    Its entries belong to this batch alone: an open batch does not see them. Readings lose the
    numbers an outbox gave them elsewhere; a plan in the recording gives way to `plan_document`.

    Returns:
        How many events it gave.

    Raises:
        RecordingRefused: empty, a batch of that id is there already, or the plan cannot be used.
        StoreStalled: the disk is full; nothing of it was stored.
    """
    if store.is_drafted:
        raise RuntimeError("commit what is drafted before a recording is taken in")
    if store.has_batch(batch_id):
        raise RecordingRefused(f"there is a batch {batch_id!r} already; choose another id")
    running = RunningBatches(store, start_batch)
    pos, last_us = 0, 0
    try:
        for entry in entries:
            if isinstance(entry, PlanEntry):
                continue
            if not pos:
                plan = PlanEntry(entry.t_us, batch_id, dict(plan_document))
                running.open(running.start(plan), plan, 0, entry.t_us, batch_id)
            if isinstance(entry, Reading):
                entry = replace(entry, boot=None, seq=None)
                if store.has_reading(entry, batch_id):
                    continue
            pos, stored = store.add(entry, entry.t_us, batch_id)
            running.take(pos, stored, stored.t_us)
            last_us = max(last_us, entry.t_us)
        if not pos:
            raise RecordingRefused("the recording holds no entry")
        running.end(batch_id, pos, last_us)
        store.commit()
    except ValueError as error:
        store.discard()
        if isinstance(error, RecordingRefused):
            raise
        raise RecordingRefused(f"the recording cannot be taken in: {error}") from error
    except BaseException:
        store.discard()
        raise
    said, _ = running.drain()
    return len(said)
