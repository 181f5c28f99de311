"""The entries of the log: every kind of record the engine may see, and its JSON form.

Readings have SenML's own resolved form; every other kind is one JSON object with the time `t`
(seconds since the epoch) and one key that names the kind: ``mark``, ``gap``, ``jump``, ``tick``,
``state``, ``command``, ``answer`` or ``plan``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from drivers import senml
from drivers.reading import EARLIEST_US, LATEST_US, Reading, ReadingRefused, microseconds, seconds


class EntryRefused(ValueError):
    """A record that cannot be understood; says what is wrong and what to write.

    Attributes:
        reason: a sentence for a person.
    """

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason

    def __reduce__(self) -> tuple[type[EntryRefused], tuple[str]]:
        return (type(self), (self.reason,))


@dataclass(frozen=True, slots=True)
class Mark:
    """What a person did or said.

    Attributes:
        kind: ``into oven``, ``line``, ``confirm``, ``moved`` … (design of the mark document).
        t_us: when.
        id: the sender's id, by which a repeated mark is known; None in recordings.
        batch: which batch, where there are several.
        probe: which probe (SenML name), where there are several.
        document: the whole JSON object as it came, for the kinds' own fields.
    """

    kind: str
    t_us: int
    id: str | None = None
    batch: str | None = None
    probe: str | None = None
    document: Mapping[str, Any] = field(default_factory=dict)

    def text(self, key: str) -> str | None:
        """A field that is a text, or None."""
        value = self.document.get(key)
        return value if isinstance(value, str) else None

    def number(self, key: str) -> float | None:
        """A field that is a number, or None."""
        value = self.document.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            return None
        return float(value)


# No kitchen weighs more at once; far beyond it a slip of the keyboard.
MOST_TOLD_G = 1e6


def told_mass_g(mark: Mark) -> float | None:
    """The mass that a person told with a mark `confirm`, in grams; None where none was told.

    Raises:
        EntryRefused: it is no number from 0 to a tonne.
    """
    value = mark.document.get("mass_g")
    if value is None:
        return None
    mass_g = mark.number("mass_g")
    if mass_g is None or not 0 <= mass_g <= MOST_TOLD_G:
        raise EntryRefused(
            f"'mass_g' must be a mass in grams from 0 to {MOST_TOLD_G:.0f}, not {value!r}"
        )
    return mass_g


@dataclass(frozen=True, slots=True)
class Gap:
    """Readings that are missing, said so.

    Attributes:
        instrument: whose.
        boot: boot id of the outbox.
        number: the gap's own number within instrument and boot, from 1.
        first, last: missing sequence numbers; None where the readings were never numbered.
        from_us, to_us: the time in which readings are missing.
        reason: why, in words.
    """

    instrument: str
    boot: str
    number: int
    first: int | None
    last: int | None
    from_us: int
    to_us: int
    reason: str

    @property
    def t_us(self) -> int:
        return self.to_us


@dataclass(frozen=True, slots=True)
class ClockJump:
    """The clock of the machine with this instrument stepped by `jump_us` at `t_us`.

    `number` counts with the gaps of the instrument (both are kept in the outbox until stored).
    """

    instrument: str
    boot: str
    number: int
    t_us: int
    jump_us: int


@dataclass(frozen=True, slots=True)
class Tick:
    """Nothing came for a while: time has passed all the same."""

    t_us: int


@dataclass(frozen=True, slots=True)
class InstrumentState:
    """An instrument's state as it was announced; `document` is the wire's (channels, driver)."""

    instrument: str
    t_us: int
    state: str
    document: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Command:
    """A command to an instrument (``tare``, ``zero``)."""

    instrument: str
    t_us: int
    command: str
    id: str


@dataclass(frozen=True, slots=True)
class Answer:
    """The instrument's answer to the command with the same id."""

    instrument: str
    t_us: int
    id: str
    done: bool
    text: str = ""


@dataclass(frozen=True, slots=True)
class PlanEntry:
    """The plan of a batch with all it rests on frozen in.

    `document`: {"plan": the plan's TOML as JSON, "formulas": the formulas',
    "frozen": {"earlier_bakes": [...], ...}}.
    """

    t_us: int
    batch: str
    document: Mapping[str, Any] = field(default_factory=dict)


Entry = Reading | Mark | Gap | ClockJump | Tick | InstrumentState | Command | Answer | PlanEntry


def to_json(entry: Entry) -> dict[str, Any]:
    """The entry as one JSON object (a line of a session, the body in the store)."""
    match entry:
        case Reading():
            return senml.record(entry)
        case Mark():
            head: dict[str, Any] = {"mark": entry.kind, "t": seconds(entry.t_us)}
            named = {"id": entry.id, "batch": entry.batch, "probe": entry.probe}
            head |= {key: value for key, value in named.items() if value is not None}
            return head | {k: v for k, v in entry.document.items() if k not in head}
        case Gap():
            return {
                "gap": entry.instrument,
                "t": seconds(entry.to_us),
                "boot": entry.boot,
                "number": entry.number,
                "first": entry.first,
                "last": entry.last,
                "from_at": seconds(entry.from_us),
                "to_at": seconds(entry.to_us),
                "reason": entry.reason,
            }
        case ClockJump():
            return {
                "jump": entry.instrument,
                "t": seconds(entry.t_us),
                "boot": entry.boot,
                "number": entry.number,
                "jump_s": seconds(entry.jump_us),
            }
        case Tick():
            return {"tick": True, "t": seconds(entry.t_us)}
        case InstrumentState():
            head = {"state": entry.state, "t": seconds(entry.t_us), "instrument": entry.instrument}
            return head | {k: v for k, v in entry.document.items() if k not in head}
        case Command():
            return {
                "command": entry.command,
                "t": seconds(entry.t_us),
                "instrument": entry.instrument,
                "id": entry.id,
            }
        case Answer():
            return {
                "answer": entry.id,
                "t": seconds(entry.t_us),
                "instrument": entry.instrument,
                "done": entry.done,
                "text": entry.text,
            }
        case PlanEntry():
            return {"plan": entry.batch, "t": seconds(entry.t_us), "document": dict(entry.document)}


def from_json(document: Any) -> list[Entry]:
    """The entries of one JSON value: a SenML pack (array), or one object of any kind.

    Raises:
        EntryRefused: with the reason and what to write instead.
    """
    try:
        if isinstance(document, list):
            return list(senml.resolve(document))
        if not isinstance(document, dict):
            raise EntryRefused("a line is a JSON object or a SenML pack")
        for key, build in _KINDS.items():
            if key in document:
                return [build(document)]
        if "n" in document or "bn" in document:
            return list(senml.resolve([document]))
    except ReadingRefused as refused:
        raise EntryRefused(refused.reason) from refused
    raise EntryRefused(f"a record of no known kind; it has none of {', '.join(_KINDS)}, n, bn")


def _time(document: Mapping[str, Any], key: str = "t") -> int:
    value = document.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise EntryRefused(f"{key!r} must be a time in seconds since the epoch, not {value!r}")
    if not EARLIEST_US <= value * 1e6 < LATEST_US:
        raise EntryRefused(f"{key!r} is {value!r}; times lie between 2020 and 2100")
    return microseconds(value)


def _text(document: Mapping[str, Any], key: str) -> str:
    value = document.get(key)
    if not isinstance(value, str) or not value:
        raise EntryRefused(f"{key!r} must be a text, not {value!r}")
    return value


def _optional_text(document: Mapping[str, Any], key: str) -> str | None:
    return None if document.get(key) is None else _text(document, key)


def _whole(document: Mapping[str, Any], key: str, lowest: int = 1) -> int:
    value = document.get(key)
    if isinstance(value, bool) or not isinstance(value, int) or not lowest <= value < 2**62:
        raise EntryRefused(f"{key!r} must be a whole number from {lowest} up, not {value!r}")
    return value


def _optional_whole(document: Mapping[str, Any], key: str) -> int | None:
    return None if document.get(key) is None else _whole(document, key)


def mark(document: Mapping[str, Any]) -> Mark:
    """A mark from its document.

    Raises:
        EntryRefused: no kind or no time.
    """
    return Mark(
        kind=_text(document, "mark"),
        t_us=_time(document),
        id=_optional_text(document, "id"),
        batch=_optional_text(document, "batch"),
        probe=_optional_text(document, "probe"),
        document={
            key: value
            for key, value in document.items()
            if key not in ("mark", "t", "id", "batch", "probe")
        },
    )


def gap(document: Mapping[str, Any]) -> Gap:
    """A gap from its document (the wire's or the log's).

    Raises:
        EntryRefused: a field is missing or the numbers run backwards.
    """
    out = Gap(
        instrument=_text(document, "gap"),
        boot=_text(document, "boot"),
        number=_whole(document, "number"),
        first=_optional_whole(document, "first"),
        last=_optional_whole(document, "last"),
        from_us=_time(document, "from_at"),
        to_us=_time(document, "to_at"),
        reason=_text(document, "reason"),
    )
    if (out.first is None) != (out.last is None) or out.to_us < out.from_us:
        raise EntryRefused(
            "a gap has both first and last or neither, and does not end before it starts"
        )
    if out.first is not None and out.last is not None and out.last < out.first:
        raise EntryRefused("a gap's last number is not before its first")
    return out


def clock_jump(document: Mapping[str, Any]) -> ClockJump:
    """A clock jump from its document."""
    jump_s = document.get("jump_s")
    if isinstance(jump_s, bool) or not isinstance(jump_s, int | float) or abs(jump_s) > 1e10:
        raise EntryRefused(f"'jump_s' must be a number of seconds, not {jump_s!r}")
    return ClockJump(
        instrument=_text(document, "jump"),
        boot=_text(document, "boot"),
        number=_whole(document, "number"),
        t_us=_time(document),
        jump_us=microseconds(jump_s),
    )


def _tick(document: Mapping[str, Any]) -> Tick:
    return Tick(_time(document))


def instrument_state(document: Mapping[str, Any]) -> InstrumentState:
    """An instrument's state from its document."""
    return InstrumentState(
        instrument=_text(document, "instrument"),
        t_us=_time(document),
        state=_text(document, "state"),
        document={k: v for k, v in document.items() if k not in ("instrument", "t", "state")},
    )


def command(document: Mapping[str, Any]) -> Command:
    """A command from its document."""
    return Command(
        instrument=_text(document, "instrument"),
        t_us=_time(document),
        command=_text(document, "command"),
        id=_text(document, "id"),
    )


def answer(document: Mapping[str, Any]) -> Answer:
    """An answer from its document."""
    return Answer(
        instrument=_text(document, "instrument"),
        t_us=_time(document),
        id=_text(document, "answer"),
        done=document.get("done") is True,
        text=str(document.get("text", "")),
    )


def _plan(document: Mapping[str, Any]) -> PlanEntry:
    body = document.get("document")
    if not isinstance(body, dict):
        raise EntryRefused("'document' of a plan record must be an object")
    return PlanEntry(t_us=_time(document), batch=_text(document, "plan"), document=body)


_KINDS: dict[str, Any] = {
    "mark": mark,
    "gap": gap,
    "jump": clock_jump,
    "tick": _tick,
    "state": instrument_state,
    "command": command,
    "answer": answer,
    "plan": _plan,
}
