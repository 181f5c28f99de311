"""`advance(state, entry) → (state, events)`: the log in, conclusions out.

The recorder and the replay call the same function. Nothing here knows a wall clock: time is the
time of the entries, and before an entry at time t every whole second up to t is passed.

A state is owned by whoever advances it: `advance` works on it in place and returns it, so that an
hour of readings costs no copies. `copy.deepcopy` gives a state to go back to.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field

from drivers.reading import MICROSECOND, Reading, seconds
from logger import events as ev
from logger.entries import ClockJump, Entry, Gap, InstrumentState, Mark, PlanEntry
from logger.events import Body, Event
from logger.plan import Plan
from logger.room import Room

# A stamp more than a day ahead of all before it (a broken clock, a pause between two days of one
# batch) does not make the engine pass a million seconds: only the last day is passed.
LONGEST_SILENCE_S = 86_400
# Conclusions may cause conclusions (the way out of the oven starts the cooling). A longer chain of
# causes than this is a mistake in a room, not a kitchen. How many one record has is no matter: a
# rescale says every line of a formula again.
LONGEST_CHAIN = 20


@dataclass(slots=True)
class BatchState:
    """All the engine knows of one batch.

    Attributes:
        batch: its id; '' until the first record gives it one.
        plan: what it rests on.
        rooms: the domain rooms, in the order in which they are asked.
        second: last whole second passed; None before the first record.
        newest_us: newest time of each channel, by SenML name.
        last_at_us: time of the last event.
        next_id: id of the next event.
        stage: present stage.
    """

    batch: str
    plan: Plan
    rooms: list[Room]
    second: int | None = None
    newest_us: dict[str, int] = field(default_factory=dict)
    last_at_us: int = 0
    next_id: int = 1
    stage: str | None = None
    opened: bool = False
    closed: bool = False
    instruments: dict[str, str] = field(default_factory=dict)


def concerns(plan: Plan, batch: str, entry: Entry) -> bool:
    """Whether an entry of the log belongs to the batch: the one rule for live, rebuild and export.

    Readings, gaps and states of instruments that play a role; marks for this batch or for none
    in particular; every tick; the batch's own plan.
    """
    match entry:
        case Reading():
            return plan.role(entry.name) is not None
        case Mark():
            return entry.batch in (None, batch)
        case PlanEntry():
            return entry.batch == batch
        case Gap() | ClockJump() | InstrumentState():
            return any(name.startswith(entry.instrument + "/") for name in plan.channels)
    return type(entry).__name__ == "Tick"


def advance(state: BatchState, entry: Entry) -> tuple[BatchState, list[Event]]:
    """Take one entry of the log and give the events it causes, in order.

    Entries that do not concern the batch only let time pass, as a tick would.
    """
    out: list[Event] = []
    t_us = entry.t_us
    if not state.opened:
        _open(state, t_us, out)
    if state.closed:
        return state, out
    _pass_seconds(state, t_us, out)
    if concerns(state.plan, state.batch, entry):
        _conclude(state, t_us, _ask(state, entry), out)
        if isinstance(entry, Mark) and entry.kind == "close batch":
            _conclude(state, t_us, [ev.BatchClosed()], out)
            state.closed = True
    return state, out


def _open(state: BatchState, t_us: int, out: list[Event]) -> None:
    state.opened = True
    if not state.batch:
        state.batch = batch_id(t_us)
    state.second = t_us // MICROSECOND
    formula = state.plan.formula
    _conclude(
        state,
        t_us,
        [
            ev.BatchOpened(
                title=formula.name if formula else state.plan.cake.kind,
                set_point_c=state.plan.oven.set_point_c,
                warnings=state.plan.warnings,
            )
        ],
        out,
    )


def batch_id(t_us: int) -> str:
    """``b`` and the first record's UTC time, where no mark gave the batch a name.

    >>> batch_id(1_800_000_000_250_000)
    'b20270115T080000'
    """
    # Civil time from days, without a clock or time zone (Howard Hinnant's public-domain algorithm).
    days, rest = divmod(t_us // MICROSECOND, 86_400)
    era, doe = divmod(days + 719_468, 146_097)
    yoe = (doe - doe // 1460 + doe // 36_524 - doe // 146_096) // 365
    doy = doe - (365 * yoe + yoe // 4 - yoe // 100)
    month_index = (5 * doy + 2) // 153
    day = doy - (153 * month_index + 2) // 5 + 1
    month = month_index + 3 if month_index < 10 else month_index - 9
    year = yoe + era * 400 + (month <= 2)
    hour, minute, second = rest // 3600, rest % 3600 // 60, rest % 60
    return f"b{year:04d}{month:02d}{day:02d}T{hour:02d}{minute:02d}{second:02d}"


def _pass_seconds(state: BatchState, t_us: int, out: list[Event]) -> None:
    second = t_us // MICROSECOND
    if state.second is None or second <= state.second:
        return
    for passed in range(max(state.second + 1, second - LONGEST_SILENCE_S), second + 1):
        passed_us = passed * MICROSECOND
        for room in state.rooms:
            bodies = room.on_second(passed_us)
            if bodies:
                _conclude(state, passed_us, bodies, out)
    state.second = second


def _ask(state: BatchState, entry: Entry) -> Iterable[Body]:
    bodies: list[Body] = []
    match entry:
        case Reading():
            role = state.plan.role(entry.name)
            if role is None or entry.t_us <= state.newest_us.get(entry.name, -1):
                return bodies  # late within its own channel: stored and drawn, concludes nothing
            state.newest_us[entry.name] = entry.t_us
            for room in state.rooms:
                bodies += room.on_reading(entry, role)
        case Mark():
            for room in state.rooms:
                bodies += room.on_mark(entry)
        case Gap():
            for room in state.rooms:
                bodies += room.on_gap(entry)
        case ClockJump():
            bodies.append(ev.ClockJumped(entry.instrument, seconds(entry.jump_us)))
        case InstrumentState():
            if state.instruments.get(entry.instrument) != entry.state:
                state.instruments[entry.instrument] = entry.state
                bodies.append(
                    ev.InstrumentStateChanged(entry.instrument, entry.state, seconds(entry.t_us))
                )
    return bodies


def _conclude(state: BatchState, t_us: int, bodies: Iterable[Body], out: list[Event]) -> None:
    """Number the bodies, and let every room hear of them, breadth first."""
    waiting = deque((body, 1) for body in bodies)
    while waiting:
        body, links = waiting.popleft()
        if links > LONGEST_CHAIN:
            raise RuntimeError(
                f"a chain of more than {LONGEST_CHAIN} conclusions from one record; "
                f"the last is {body}"
            )
        state.last_at_us = at_us = max(t_us, state.last_at_us)
        event = Event(state.next_id, at_us, state.batch, body)
        state.next_id += 1
        out.append(event)
        for room in state.rooms:
            waiting += ((caused, links + 1) for caused in room.on_event(event))
        if (stage := _stage_after(state, body)) is not None:
            state.stage = stage
            waiting.append((ev.BatchStage(stage), links + 1))


def _stage_after(state: BatchState, body: Body) -> str | None:
    """The stage the batch enters with this conclusion, None when it stays where it is."""
    match body:
        case ev.WeighingContainer() | ev.WeighingPouring() | ev.WeighingAddition():
            stage = "weighing" if state.stage is None else None
        case ev.BakeIn():
            stage = "baking"
        case ev.CoolingStarted():
            stage = "cooling"
        case ev.CoolingReached() if state.plan.cooling_milestones:
            last = min(
                state.plan.cooling_milestones,
                key=lambda m: m.core_c if m.core_c is not None else float("inf"),
            )
            stage = "ready" if body.milestone == last.name else None
        case _:
            stage = None
    return None if stage == state.stage else stage
