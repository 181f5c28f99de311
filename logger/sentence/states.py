"""Which sentence the state of a batch has."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import tzinfo

from drivers.reading import MICROSECOND
from logger.batch import BatchView
from logger.sentence.cooling import cooling
from logger.sentence.oven import baking, before_baking
from logger.sentence.parts import NOTHING, Number, Sentence
from logger.sentence.weighing import pouring, taking_back, weigh_next
from logger.sentence.wording import clock


def no_batch() -> Sentence:
    """The sentence of a kitchen without an open batch."""
    return Sentence(
        "Nothing is open. Open a batch with your plan to begin.",
        "Readings are stored all the same.",
        NOTHING,
    )


def sentence(
    view: BatchView, now_us: int, tz: tzinfo, live: Mapping[str, float] | None = None
) -> Sentence:
    """The sentence of a batch.

    Args:
        view: what stands of it.
        now_us: kitchen time, µs since the epoch.
        tz: the kitchen's zone.
        live: newest value of each role (``core``, ``oven``, ``scale``), °C or kg, where fresh.
    """
    now = now_us / MICROSECOND
    live = live or {}
    if view.closed_at is not None:
        return _closed(view, tz)
    if view.pouring is not None:
        return pouring(view)
    if view.cooling_started_at is not None or (view.in_at is not None and view.out_at is not None):
        return cooling(view, now, tz, live)
    if view.in_at is not None:
        return baking(view, now, tz, live)
    if (taking := taking_back(view)) is not None:
        return taking
    line = view.next_line
    if line is not None:
        return weigh_next(view, line)
    return before_baking(view, tz, live)


def _closed(view: BatchView, tz: tzinfo) -> Sentence:
    at = view.closed_at or 0.0
    reached = [m for m in view.cooling if m.reached_at is not None]
    if reached:
        last = reached[-1]
        assert last.reached_at is not None
        when = clock(last.reached_at, tz)
        then = f"{last.name.capitalize()} came true at {when}."
        return Sentence(
            f"Batch closed at {clock(at, tz)}.", then, Number(when, "", "clock", last.name)
        )
    return Sentence(f"Batch closed at {clock(at, tz)}.", "The record is kept.", NOTHING)
