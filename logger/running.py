"""The open batches: each a state that is advanced with every entry that concerns it.

Recorder, rebuild after a restart, and the taking-in of a recording all go through here. What an
entry gives is drafted in the store beside the entry itself, to be written in one transaction.
"""

from __future__ import annotations

import logging
import traceback
from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Any, Protocol

from logger import events as ev
from logger.engine import BatchState, advance, concerns
from logger.entries import Entry, Mark, PlanEntry
from logger.events import Event
from logger.plan import Plan
from logger.store import Reader, Store
from logger.store.rows import text_of

log = logging.getLogger(__name__)

StartBatch = Callable[[PlanEntry], BatchState]


class View(Protocol):
    """A batch as it stands now, folded from its events."""

    def apply(self, event: Event) -> None: ...

    def to_json(self) -> dict[str, Any]: ...


ViewOf = Callable[[str, Plan], View]


@dataclass(slots=True)
class _Running:
    """One open batch; without a state when the engine failed in it."""

    batch: str
    state: BatchState | None
    view: View | None = None


@dataclass(frozen=True, slots=True)
class Said:
    """An event with its place in the log: for those who listen, once it is committed."""

    pos: int
    n: int
    event: Event


class RunningBatches:
    """The open batches of a store.

    Args:
        store: where what they conclude is drafted.
        start_batch: an empty engine from a plan entry; raises ValueError for a plan that cannot
            be used.
        view_of: makes the view whose document is published as the batch's present state.
    """

    def __init__(
        self, store: Store, start_batch: StartBatch, view_of: ViewOf | None = None
    ) -> None:
        self._store = store
        self._start_batch = start_batch
        self._view_of = view_of
        self._running: dict[str, _Running] = {}
        self.said: list[Said] = []
        self.ended: list[str] = []

    def __bool__(self) -> bool:
        return bool(self._running)

    def __contains__(self, batch: str) -> bool:
        return batch in self._running

    @property
    def names(self) -> list[str]:
        return list(self._running)

    def documents(self, only: Collection[str] | None = None) -> dict[str, dict[str, Any]]:
        """The present state of each open batch (of those in `only`) that has a view."""
        return {
            name: running.view.to_json()
            for name, running in self._running.items()
            if running.view is not None and (only is None or name in only)
        }

    def start(self, entry: PlanEntry) -> BatchState:
        """An empty engine at a plan, nothing drafted yet.

        Raises:
            ValueError: the plan cannot be used; in words for the person who sent it.
        """
        return self._start_batch(entry)

    def open(
        self,
        state: BatchState,
        entry: PlanEntry,
        opened_pos: int,
        received_us: int,
        session: str = "",
    ) -> None:
        """Draft the plan entry and the batch it opens, and advance its engine with the plan."""
        pos, stored = self._store.add(entry, received_us, session)
        formula = state.plan.formula
        title = formula.name if formula is not None else state.plan.cake.kind
        ovens = [name for name, role in state.plan.channels.items() if role == "oven"]
        self._store.open_batch(
            entry.batch, title, ovens[0] if ovens else None, opened_pos or pos, pos, entry.t_us
        )
        view = None if self._view_of is None else self._view_of(entry.batch, state.plan)
        self._running[entry.batch] = running = _Running(entry.batch, state, view)
        self._advance(running, pos, stored, received_us)

    def take(self, pos: int, entry: Entry, received_us: int, only: str | None = None) -> None:
        """Advance every open batch (or the one called `only`) that the entry concerns."""
        for running in list(self._running.values()):
            if only is None or running.batch == only:
                self._advance(running, pos, entry, received_us)

    def _advance(self, running: _Running, pos: int, entry: Entry, received_us: int) -> None:
        state = running.state
        if state is None:
            # The engine failed here earlier; a mark can still close the batch.
            if (
                isinstance(entry, Mark)
                and entry.kind == "close batch"
                and entry.batch in (None, running.batch)
            ):
                self._end(running, pos, entry.t_us)
            return
        if not concerns(state.plan, running.batch, entry):
            return
        try:
            _, events = advance(state, entry)
            said = self._store.add_events(pos, events)
        except Exception as error:
            self._fail(running, pos, received_us, error)
            return
        for n, event in said:
            self.said.append(Said(pos, n, event))
            self._show(running, event)
        if state.closed:
            self._end(running, pos, entry.t_us)

    def _show(self, running: _Running, event: Event) -> None:
        if running.view is None:
            return
        try:
            running.view.apply(event)
        except Exception:
            log.exception(
                "the view of %s fails at event %d; it is shown no more", running.batch, event.id
            )
            running.view = None

    def _fail(self, running: _Running, pos: int, received_us: int, error: Exception) -> None:
        log.exception("the engine fails in %s at position %d", running.batch, pos, exc_info=error)
        running.state = None
        self._store.add_engine_error(pos, running.batch, received_us, traceback.format_exc())
        self._store.add_alert(
            received_us,
            "engine error",
            f"the conclusions of {running.batch} stop at position {pos} of the log ({error}); "
            "recording goes on; please report it with the exported batch",
            running.batch,
        )

    def _end(self, running: _Running, pos: int, t_us: int) -> None:
        self._store.close_batch(running.batch, pos, t_us)
        del self._running[running.batch]
        self.ended.append(running.batch)

    def end(self, batch: str, pos: int, t_us: int) -> None:
        """Draft the end of a batch that no mark closed (a recording that is over)."""
        if batch in self._running:
            self._end(self._running[batch], pos, t_us)

    def drain(self) -> tuple[list[Said], list[str]]:
        """Events said and batches ended since the last call."""
        said, ended = self.said, self.ended
        self.said, self.ended = [], []
        return said, ended

    # -- after a restart -----------------------------------------------------------------------

    def rebuild(self, reader: Reader, now_us: int) -> None:
        """Bring back every open batch by advancing over its entries, and nothing else.

        Events are not written again; where they differ from the stored ones, that is an alert.
        """
        for row in reader.open_batches():
            entry = reader.plan_entry(row.id)
            if row.flagged or entry is None:
                self._running[row.id] = _Running(row.id, None)
                continue
            try:
                state = self._start_batch(entry)
                rebuilt = self._rebuilt(reader, state, row.id)
            except Exception as error:
                self._running[row.id] = running = _Running(row.id, None)
                self._fail(running, row.plan_pos, now_us, error)
                continue
            self._compare(reader, state, row.id, rebuilt, now_us)
            view = None if self._view_of is None else self._view_of(row.id, state.plan)
            self._running[row.id] = running = _Running(row.id, state, view)
            for event in rebuilt:
                self._show(running, event)

    @staticmethod
    def _rebuilt(reader: Reader, state: BatchState, batch: str) -> list[Event]:
        out: list[Event] = []
        for _, entry in reader.entries(batch, state.plan):
            _, events = advance(state, entry)
            out += events
        return out

    def _compare(
        self, reader: Reader, state: BatchState, batch: str, rebuilt: list[Event], now_us: int
    ) -> None:
        stored = list(reader.events_of(batch))
        same = len(stored) == len(rebuilt) and all(
            row.body == text_of(event.to_json()) for row, event in zip(stored, rebuilt, strict=True)
        )
        if same:
            return
        # Events are never rewritten: the numbering goes on after the stored ones.
        if stored:
            state.next_id = max(state.next_id, stored[-1].id + 1)
            state.last_at_us = max(state.last_at_us, stored[-1].at_us)
        version = stored[0].document.get("engine") if stored else None
        text = f"rebuilding {batch} gave {len(rebuilt)} events, {len(stored)} are stored"
        if len(stored) == len(rebuilt):
            text = f"rebuilding {batch} gave other events than those stored"
        if version not in (None, ev.ENGINE_VERSION):
            text += f"; those were concluded by version {version}, this is {ev.ENGINE_VERSION}"
        log.error("%s", text)
        self._store.add_alert(now_us, "rebuild differs", text, batch)
