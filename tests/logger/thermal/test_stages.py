"""Bake and cooling of one layer: what is said, when, marked and unmarked."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from itertools import pairwise
from typing import TypeVar

import pytest

from drivers.reading import Reading
from logger.engine import BatchState, advance
from logger.entries import Entry, Tick
from logger.events import (
    BakeForecast,
    BakeIn,
    BakeOut,
    BakeReached,
    Body,
    CoolingChanged,
    CoolingForecast,
    CoolingReached,
    CoolingStarted,
    Event,
)
from logger.plan import Milestone, Plan, RoomTemperature
from logger.thermal import Thermal

PutThrough = Callable[[Plan, Iterable[Entry]], list[Event]]
MINUTE = 60.0
B = TypeVar("B", bound=Body)


def all_of(events: list[Event], kind: type[B], milestone: str | None = None) -> list[B]:
    return [
        e.body
        for e in events
        if isinstance(e.body, kind)
        and (milestone is None or getattr(e.body, "milestone", None) == milestone)
    ]


@pytest.fixture(scope="module")
def marked(kitchen, put_through: PutThrough) -> list[Event]:
    entries = kitchen.readings()
    entries += [kitchen.mark("into oven", 0.05), kitchen.mark("out of oven", kitchen.out_s + 0.05)]
    return put_through(kitchen.plan, entries)


@pytest.fixture(scope="module")
def unmarked(kitchen, put_through: PutThrough) -> list[Event]:
    return put_through(kitchen.plan, kitchen.readings(to_s=kitchen.out_s + 3600))


def test_marks_give_the_way_in_and_out_with_certainty(kitchen, marked: list[Event]) -> None:
    way_in, way_out = all_of(marked, BakeIn), all_of(marked, BakeOut)

    assert [(b.how, b.confidence) for b in way_in] == [("marked", 1.0)]
    assert kitchen.since_in(way_in[0].in_at) == pytest.approx(0.05)
    assert [(b.how, b.confidence) for b in way_out] == [("marked", 1.0)]
    assert len(all_of(marked, CoolingStarted)) == 1


def test_without_marks_the_way_in_and_out_are_noticed_and_dated(
    kitchen, unmarked: list[Event]
) -> None:
    way_in, way_out = all_of(unmarked, BakeIn), all_of(unmarked, BakeOut)

    assert [b.how for b in way_in] == ["noticed"]
    assert abs(kitchen.since_in(way_in[0].in_at)) < 3 * MINUTE
    assert 0.0 < way_in[0].confidence < 1.0
    assert [b.how for b in way_out] == ["noticed"]
    assert abs(kitchen.since_in(way_out[0].out_at) - kitchen.out_s) < 3 * MINUTE


def dipping(from_s: float) -> Callable[[float, float], float]:
    """A tip that is cooled for minutes, by a hand that turned the pan perhaps."""

    def change(t: float, v: float) -> float:
        return round(v - 20.0 * max(0.0, 1.0 - abs(t - from_s - 240.0) / 240.0), 1)

    return change


def test_a_core_that_rises_again_was_never_out_and_bakes_on_from_where_it_was(
    kitchen, put_through: PutThrough
) -> None:
    change = dipping(kitchen.rises_to(62.0))
    readings = kitchen.readings(to_s=kitchen.out_s, change=change)

    events = put_through(kitchen.plan, [kitchen.mark("into oven", 0.0), *readings])

    way_in = all_of(events, BakeIn)
    assert [b.how for b in way_in] == ["marked", "noticed"]
    assert way_in[1].in_at == way_in[0].in_at
    done = kitchen.at(kitchen.rises_to(96.5))
    said = [b for b in all_of(events, BakeForecast, "done") if b.made_at < done - 60.0][-1]
    assert said.expected_at == pytest.approx(done, rel=0, abs=90.0)


def test_the_mark_corrects_a_way_out_that_was_noticed_though_it_baked_on(
    kitchen, put_through: PutThrough
) -> None:
    entries = [
        kitchen.mark("into oven", 0.0),
        kitchen.mark("out of oven", kitchen.out_s),
        *kitchen.readings(change=dipping(kitchen.rises_to(75.0))),
    ]

    events = put_through(kitchen.plan, entries)

    assert [b.how for b in all_of(events, BakeOut)] == ["noticed", "marked"]
    started = [kitchen.since_in(b.start_at) for b in all_of(events, CoolingStarted)]
    assert started[-1] == pytest.approx(kitchen.out_s, abs=1.0)
    frosts = kitchen.at(kitchen.falls_to(27.0))
    soon = [b for b in all_of(events, CoolingForecast) if b.milestone == "frost"]
    said = next(b.expected_at for b in soon if b.made_at > kitchen.at(kitchen.out_s + 300.0))
    assert said == pytest.approx(frosts, rel=0, abs=0.5 * (frosts - kitchen.at(kitchen.out_s)))


def test_without_an_oven_probe_the_bake_is_noticed_with_less_confidence(
    kitchen, put_through: PutThrough
) -> None:
    events = put_through(kitchen.plan, kitchen.readings(to_s=900.0, oven=False))

    assert [b.confidence for b in all_of(events, BakeIn)] == [0.5]


def test_each_milestone_is_reached_once_when_the_reading_crosses(
    kitchen, marked: list[Event]
) -> None:
    done = all_of(marked, BakeReached)
    cool = {b.milestone: kitchen.since_in(b.reached_at) for b in all_of(marked, CoolingReached)}

    assert [b.milestone for b in done] == ["done"]
    assert kitchen.since_in(done[0].reached_at) == pytest.approx(kitchen.rises_to(96.5), abs=30)
    assert list(cool) == ["unmould", "frost"]
    assert cool["unmould"] == pytest.approx(kitchen.falls_to(60.0), abs=30)
    # At 27 °C the core falls by 0.1 °C a minute: the probe's step is a minute.
    assert cool["frost"] == pytest.approx(kitchen.falls_to(27.0), abs=120)


@pytest.mark.parametrize("name", ["done", "unmould", "frost"])
def test_every_open_milestone_is_forecast_each_minute_from_the_mark_on_and_not_after(
    kitchen, marked: list[Event], name: str
) -> None:
    kinds = (BakeForecast, CoolingForecast)
    said = [b.made_at for k in kinds for b in all_of(marked, k, name)]
    reached = next(
        e
        for e in marked
        if isinstance(e.body, BakeReached | CoolingReached) and e.body.milestone == name
    )

    assert kitchen.since_in(said[0]) <= 1.0
    assert all(b - a <= 60.0 for a, b in pairwise(said))
    assert reached.at_us / 1e6 - said[-1] <= 90.0
    assert said[-1] <= reached.body.reached_at


def test_forecasts_are_in_order_and_never_in_the_past(marked: list[Event]) -> None:
    said = all_of(marked, BakeForecast) + all_of(marked, CoolingForecast)

    for b in said:
        assert b.reachable == (b.expected_at is not None)
        if b.expected_at is not None:
            assert b.low_at is not None
            assert b.made_at <= b.low_at <= b.expected_at
            assert b.high_at is None or b.expected_at <= b.high_at
        else:
            assert b.settles_c is not None
            assert b.proposal


def test_half_way_the_frosting_is_forecast_within_an_eighth(kitchen, marked: list[Event]) -> None:
    truth = kitchen.falls_to(27.0)
    half = (kitchen.out_s + truth) / 2
    said = [
        b for b in all_of(marked, CoolingForecast, "frost") if kitchen.since_in(b.made_at) < half
    ]

    expected = said[-1].expected_at

    assert expected is not None
    assert abs(kitchen.since_in(expected) - truth) < (truth - half) / 8


def test_a_high_kitchen_cannot_reach_97_and_says_so(kitchen, put_through: PutThrough) -> None:
    plan = replace(
        kitchen.plan, altitude_m=2500.0, bake_milestones=(Milestone("done", core_c=97.0),)
    )
    entries = kitchen.readings(
        to_s=kitchen.out_s, change=lambda t, v: round(22 + (v - 22) * 0.93, 1)
    )

    events = put_through(plan, [*entries, kitchen.mark("into oven", 0.05)])

    last = all_of(events, BakeForecast)[-1]
    assert not last.reachable
    assert last.expected_at is last.low_at is last.high_at is None
    # Water boils at 91.65 °C at 2500 m (IAPWS-95), the syrup of a batter 1 to 3 K above it (common
    # practice).
    assert 91.65 < last.settles_c < 91.65 + 3.5
    assert last.proposal is not None
    assert "91.6" in last.proposal


def test_a_target_below_the_room_is_not_reachable_until_the_cake_goes_to_the_cold(
    kitchen, put_through: PutThrough
) -> None:
    plan = replace(kitchen.plan, cooling_milestones=(Milestone("cold", core_c=10.0),))
    end = kitchen.out_s + 50 * MINUTE
    entries = kitchen.readings(to_s=end)
    entries += [
        kitchen.mark("into oven", 0.05),
        kitchen.mark("out of oven", kitchen.out_s + 0.05),
        kitchen.mark("moved", kitchen.out_s + 45 * MINUTE, place="refrigerator"),
    ]

    events = put_through(plan, entries)

    said = all_of(events, CoolingForecast, "cold")
    before = [b for b in said if kitchen.since_in(b.made_at) < kitchen.out_s + 44 * MINUTE]
    assert not before[-1].reachable
    assert before[-1].settles_c == pytest.approx(22.5, abs=1.5)
    assert said[-1].reachable
    changes = all_of(events, CoolingChanged)
    assert [(c.what, c.place, c.how) for c in changes] == [("moved", "refrigerator", "marked")]


def test_moving_a_hot_cake_to_a_rack_says_that_it_is_out_of_the_oven(
    kitchen, put_through: PutThrough
) -> None:
    entries = kitchen.readings(to_s=kitchen.out_s + 120)
    entries += [
        kitchen.mark("into oven", 0.05),
        kitchen.mark("moved", kitchen.out_s + 0.05, place="in pan, on rack"),
    ]

    events = put_through(kitchen.plan, entries)

    assert [b.how for b in all_of(events, BakeOut)] == ["marked"]
    assert len(all_of(events, CoolingStarted)) == 1


def test_carry_over_after_the_oven_reaches_a_milestone_of_the_bake(
    kitchen, put_through: PutThrough
) -> None:
    peak = float(kitchen.core_c.max())
    plan = replace(kitchen.plan, bake_milestones=(Milestone("done", core_c=round(peak - 0.3, 1)),))
    out_s = kitchen.rises_to(peak - 1.0)
    entries = kitchen.readings(to_s=kitchen.out_s + 300)
    entries += [kitchen.mark("into oven", 0.05), kitchen.mark("out of oven", out_s)]

    events = put_through(plan, entries)

    reached = all_of(events, BakeReached)
    assert len(reached) == 1
    assert kitchen.since_in(reached[0].reached_at) > out_s


def test_a_session_may_begin_in_mid_cooling_with_a_plan_for_the_whole_bake(
    kitchen, put_through: PutThrough
) -> None:
    start = kitchen.out_s + 12 * MINUTE

    events = put_through(
        kitchen.plan, kitchen.readings(from_s=start, to_s=start + 3600, oven=False)
    )

    assert not all_of(events, BakeIn)
    assert not all_of(events, BakeForecast)
    assert kitchen.since_in(all_of(events, CoolingForecast)[0].made_at) - start < 5 * MINUTE
    assert [b.milestone for b in all_of(events, CoolingReached)] == ["unmould"]


def test_a_milestone_above_the_room_follows_the_measured_room(
    kitchen, put_through: PutThrough
) -> None:
    plan = replace(kitchen.plan, cooling_milestones=(Milestone("frost", core_above_room_k=15.0),))
    start = kitchen.out_s + 12 * MINUTE
    apart = kitchen.core_c - kitchen.room_c
    truth = float(kitchen.t_s[(apart <= 15.0) & (kitchen.t_s > start)][0])

    events = put_through(plan, kitchen.readings(from_s=start, to_s=truth + 600, oven=False))

    reached = all_of(events, CoolingReached)
    assert [b.milestone for b in reached] == ["frost"]
    assert kitchen.since_in(reached[0].reached_at) == pytest.approx(truth, abs=120)


def test_a_target_a_little_above_an_unknown_room_is_perhaps_never(
    kitchen, put_through: PutThrough
) -> None:
    start = kitchen.out_s + 10 * MINUTE
    entries = kitchen.readings(from_s=start, to_s=start + 600, oven=False, room=False)
    plan = Plan(
        channels={"cake-probe/core": "core"},
        cooling_milestones=(Milestone("frost", core_c=24.0),),
    )

    said = all_of(put_through(plan, entries), CoolingForecast)

    assert said
    assert said[-1].high_at is None


def test_an_assumed_room_is_enough_to_forecast(kitchen, put_through: PutThrough) -> None:
    start = kitchen.out_s + 10 * MINUTE
    entries = kitchen.readings(from_s=start, to_s=start + 1800, oven=False, room=False)
    plan = Plan(
        channels={"cake-probe/core": "core"},
        room=RoomTemperature(23.0, 1.0),
        cooling_milestones=(Milestone("warm", core_c=40.0),),
    )

    said = all_of(put_through(plan, entries), CoolingForecast)

    truth = kitchen.falls_to(40.0)
    assert kitchen.since_in(said[0].made_at) - start <= 2.0
    assert said[-1].low_at is not None
    assert said[-1].high_at is not None
    assert kitchen.since_in(said[-1].low_at) <= truth <= kitchen.since_in(said[-1].high_at)


def test_a_held_milestone_is_reached_when_it_has_held(kitchen, put_through: PutThrough) -> None:
    plan = replace(kitchen.plan, bake_milestones=(Milestone("done", core_c=90.0, hold_s=60.0),))
    entries = [*kitchen.readings(to_s=kitchen.out_s), kitchen.mark("into oven", 0.05)]

    reached = all_of(put_through(plan, entries), BakeReached)

    assert len(reached) == 1
    assert kitchen.since_in(reached[0].reached_at) == pytest.approx(
        kitchen.rises_to(90.0) + 60.0, abs=20
    )


def test_before_the_bake_nothing_is_forecast(kitchen, put_through: PutThrough) -> None:
    events = put_through(kitchen.plan, kitchen.readings(to_s=0.0))

    assert [e.kind for e in events] == ["batch.opened"]


def test_a_growing_recording_gives_the_same_beginning(kitchen, put_through: PutThrough) -> None:
    entries = kitchen.readings(to_s=kitchen.out_s + 900, period_s=5.0)
    whole = put_through(kitchen.plan, entries)

    for share in (0.35, 0.6, 0.85):
        part = put_through(
            kitchen.plan, sorted(entries, key=lambda e: e.t_us)[: int(share * len(entries))]
        )
        assert part == whole[: len(part)]


def test_ticks_change_nothing(kitchen, put_through: PutThrough) -> None:
    entries: list[Entry] = kitchen.readings(to_s=kitchen.out_s + 300, period_s=5.0)
    ticks: list[Entry] = [Tick(e.t_us + 700_000) for e in entries[::3]]

    assert put_through(kitchen.plan, entries + ticks) == put_through(kitchen.plan, entries)


def test_a_core_whose_readings_come_late_by_an_outbox_ends_the_same(
    kitchen, put_through: PutThrough
) -> None:
    """The other channels and the seconds run ahead by five minutes."""
    start, end = kitchen.out_s + 600, kitchen.out_s + 600 + 3600
    entries = kitchen.readings(from_s=start, to_s=end, oven=False)
    plan = replace(kitchen.plan, bake_milestones=())

    def late(e: Entry) -> float:
        assert isinstance(e, Reading)
        return e.t_us + (300e6 if e.channel == "core" else 0)

    state = BatchState(batch="", plan=plan, rooms=[Thermal(plan)])
    out: list[Event] = []
    for entry in sorted(entries, key=late):
        state, new = advance(state, entry)
        out += new

    reached = all_of(out, CoolingReached)
    assert [b.milestone for b in reached] == ["unmould"]
    assert kitchen.since_in(reached[0].reached_at) == pytest.approx(kitchen.falls_to(60.0), abs=30)


def test_a_probe_that_lies_in_the_room_does_not_hold_the_batch_up(
    kitchen, put_through: PutThrough
) -> None:
    start = kitchen.out_s + 600
    entries = kitchen.readings(from_s=start, to_s=start + 3600, oven=False)
    other = [
        Reading("old", "core", e.t_us + 1, 21.0, "Cel")
        for e in entries
        if isinstance(e, Reading) and e.channel == "core"
    ]
    plan = replace(
        kitchen.plan,
        channels={"old/core": "core", "cake-probe/core": "core 2", "wall/air": "room"},
    )

    events = put_through(plan, [*entries, *other])

    assert [b.milestone for b in all_of(events, CoolingReached)] == ["unmould"]
