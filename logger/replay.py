"""Replay: a recording in, the same events out as the recorder gave."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from logger.engine import BatchState, advance
from logger.entries import Entry, PlanEntry
from logger.events import Event
from logger.plan import Plan


class NoPlan(ValueError):
    """A session without a plan of its own, and none given beside it."""

    def __init__(self) -> None:
        super().__init__(
            "the session holds no plan and none was given; name one with --plan PLAN.toml"
        )


def replay(
    entries: Iterable[Entry],
    plan: Plan | None,
    start: Callable[[str, Plan], BatchState],
    start_from: Callable[[PlanEntry], BatchState],
) -> Iterator[Event]:
    """Events of the entries, each as soon as the entry before it has been taken.

    Args:
        entries: in log order; the engine sees none before its turn.
        plan: what the batch rests on; None takes the plan record the session begins with.
        start, start_from: an empty engine at a plan, and at a plan record.

    Raises:
        NoPlan: the first entry is no plan record and `plan` is None.
    """
    state: BatchState | None = None if plan is None else start("", plan)
    for entry in entries:
        if state is None:
            if not isinstance(entry, PlanEntry):
                raise NoPlan
            state = start_from(entry)
        elif isinstance(entry, PlanEntry) and not state.opened and plan is not None:
            state.batch = entry.batch  # a given plan is used in place of the recorded one
        state, events = advance(state, entry)
        yield from events
