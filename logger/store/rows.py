"""Entries of the log ⇄ rows of its table."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass
from typing import Any

from drivers.reading import Reading
from logger import entries
from logger.entries import (
    Answer,
    ClockJump,
    Command,
    Entry,
    EntryRefused,
    Gap,
    InstrumentState,
    Mark,
    PlanEntry,
    Tick,
)

_KINDS: dict[type[Any], str] = {
    Reading: "reading",
    Mark: "mark",
    Gap: "gap",
    ClockJump: "jump",
    Tick: "tick",
    InstrumentState: "state",
    Command: "command",
    Answer: "answer",
    PlanEntry: "plan",
}


def state_of(body: str) -> InstrumentState:
    """The instrument state of a stored body."""
    return entries.instrument_state(json.loads(body))


# Columns and joins from which `entry_of` makes an entry.
SELECT = (
    "SELECT l.pos, l.kind, l.t_us, l.value, l.state, l.stable, l.net, l.division, l.seq, l.body,"
    " c.instrument, c.name, c.unit, p.boot"
    " FROM log l LEFT JOIN channel c ON c.id = l.channel LEFT JOIN progress p ON p.id = l.source"
)


def kind_of(entry: Entry) -> str:
    """The entry's kind, as the table calls it."""
    return _KINDS[type(entry)]


def text_of(document: Any) -> str:
    """A document as compact JSON text that SQLite and every reader can hold.

    Raises:
        ValueError: NaN, an infinity, or half a character (a lone surrogate) somewhere in it.
    """
    text = json.dumps(document, separators=(",", ":"), allow_nan=False, ensure_ascii=False)
    text.encode()  # a lone surrogate cannot be written anywhere; say so now
    return text


@dataclass(frozen=True, slots=True)
class Stored:
    """An entry as the log gives it back, and the text of its body (None for a reading)."""

    entry: Entry
    body: str | None


def as_stored(entry: Entry) -> Stored:
    """The entry exactly as a later reader of the log will see it.

    The engine is advanced with this one, so that a rebuild cannot see anything else.

    Raises:
        ValueError: it cannot be written as JSON (see `text_of`).
    """
    if isinstance(entry, Reading):
        for text in (entry.unit, entry.state, entry.boot):
            if text is not None:
                text.encode()
        if entry.value == 0.0 and str(entry.value) == "-0.0":
            # SQLite keeps whole numbers as integers: minus zero would come back as zero.
            entry = Reading(
                entry.instrument, entry.channel, entry.t_us, 0.0, entry.unit, entry.state,
                entry.stable, entry.net, entry.division, entry.boot, entry.seq,
            )  # fmt: skip
        return Stored(entry, None)
    body = text_of(entries.to_json(entry))
    (again,) = entries.from_json(json.loads(body))
    return Stored(again, body)


def entry_of(row: sqlite3.Row | tuple[Any, ...]) -> tuple[int, Entry]:
    """(position, entry) of a row selected by `SELECT`.

    Raises:
        EntryRefused: the body is no entry (the store was edited by another program).
    """
    pos, kind, t_us, value, state, stable, net, division, seq, body, *of = row
    if kind == "reading":
        instrument, name, unit, boot = of
        return pos, Reading(
            instrument=instrument,
            channel=name,
            t_us=t_us,
            value=value,
            unit=unit,
            state=state,
            stable=None if stable is None else bool(stable),
            net=None if net is None else bool(net),
            division=division,
            boot=boot,
            seq=seq,
        )
    try:
        (entry,) = entries.from_json(json.loads(body))
    except (ValueError, TypeError) as error:
        raise EntryRefused(f"position {pos} of the log cannot be read: {error}") from error
    return pos, entry
