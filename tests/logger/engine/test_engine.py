"""The engine: time passes by the entries, rooms conclude, the order is the log's."""

from types import MappingProxyType

import pytest

from drivers.reading import Reading
from logger import events as ev
from logger.engine import BatchState, advance, concerns
from logger.entries import Gap, Mark, Tick
from logger.plan import Plan

T = 1_800_000_000_000_000
S = 1_000_000
PLAN = Plan(channels=MappingProxyType({"p/core": "core", "o/air": "oven"}))


class Listener:
    """A room that says an alert for each thing it is asked, and keeps the order."""

    def __init__(self):
        self.heard = []

    def on_reading(self, reading, role):
        self.heard.append((role, reading.value))
        return [ev.Alert("reading", f"{role} {reading.value}")]

    def on_mark(self, mark):
        self.heard.append(mark.kind)
        return []

    def on_gap(self, gap):
        self.heard.append("gap")
        return []

    def on_second(self, t_us):
        self.heard.append((t_us - T) // S)
        return []

    def on_event(self, event):
        return (
            [ev.Alert("after", event.body.text)]
            if getattr(event.body, "about", "") == "reading"
            else []
        )


def state_with(room):
    return BatchState("b", PLAN, [room])


def core(at_s, value, channel="core", instrument="p"):
    return Reading(instrument, channel, T + int(at_s * S), value, "Cel")


def run(entries):
    room = Listener()
    state = state_with(room)
    out = []
    for entry in entries:
        state, events = advance(state, entry)
        out += events
    return room, out


def test_each_whole_second_passes_before_the_record_after_it():
    room, _ = run([core(0.5, 1.0), core(2.2, 2.0)])

    assert room.heard == [("core", 1.0), 1, 2, ("core", 2.0)]


def test_ticks_change_nothing_in_a_time_ordered_session():
    readings = [core(0.5, 1.0), core(4.2, 2.0), core(9.0, 3.0)]

    _, plain = run(readings)
    _, ticked = run([readings[0], Tick(T + 2 * S), readings[1], Tick(T + 7 * S), readings[2]])

    assert [e.to_json() for e in plain] == [e.to_json() for e in ticked]


def test_a_late_record_concludes_nothing_but_another_channel_may_lag():
    room, _ = run([core(5, 1.0), core(4, 9.0), core(3, 7.0, "air", "o"), core(4, 8.0, "air", "o")])

    assert [h for h in room.heard if isinstance(h, tuple)] == [
        ("core", 1.0), ("oven", 7.0), ("oven", 8.0),
    ]  # fmt: skip


def test_events_are_numbered_and_never_dated_before_the_one_before():
    _, out = run([core(5, 1.0), core(3, 7.0, "air", "o")])

    assert [e.id for e in out] == list(range(1, len(out) + 1))
    assert [e.at_us for e in out] == sorted(e.at_us for e in out)
    assert [e.kind for e in out][:3] == ["batch.opened", "alert", "alert"]


def test_a_wild_stamp_does_not_make_a_million_seconds_pass():
    room, _ = run([core(0, 1.0), core(40 * 86_400, 2.0)])

    assert len(room.heard) <= 86_400 + 3


def test_only_what_concerns_the_batch_is_asked_about():
    gap = Gap("p", "boot", 1, None, None, T, T + S, "unplugged")

    assert concerns(PLAN, "b", gap)
    assert concerns(PLAN, "b", Mark("note", T))
    assert not concerns(PLAN, "b", Mark("note", T, batch="other"))
    assert not concerns(PLAN, "b", core(0, 1.0, "mass", "scale"))


def test_a_closed_batch_concludes_nothing_more():
    _, out = run([core(0, 1.0), Mark("close batch", T + S, batch="b"), core(3, 2.0)])

    assert out[-1].kind == "batch.closed"


def test_every_event_survives_its_json_form():
    event = ev.Event(3, T, "b", ev.OvenDoor(1.0, 2.0, 30.0))

    assert ev.from_json(event.to_json()) == event


class ManyAtOnce(Listener):
    """A room that has much to say of one mark."""

    def on_mark(self, mark):
        return [ev.Alert("reading", f"line {n}") for n in range(400)]


class AnswersItself(Listener):
    """A room with a mistake: each of its alerts causes the next."""

    def on_mark(self, mark):
        return [ev.Alert("round", "and round")]

    def on_event(self, event):
        return [event.body] if isinstance(event.body, ev.Alert) else []


def test_one_record_may_have_as_many_conclusions_as_a_long_formula_needs():
    _, events = advance(state_with(ManyAtOnce()), Mark("recover", T))

    said = [e.body.text for e in events if e.kind == "alert"]
    assert said == [f"line {n}" for n in range(400)] * 2
    assert [e.id for e in events] == list(range(1, len(events) + 1))


def test_a_room_that_answers_itself_without_end_is_stopped():
    with pytest.raises(RuntimeError, match="and round"):
        advance(state_with(AnswersItself()), Mark("recover", T))
