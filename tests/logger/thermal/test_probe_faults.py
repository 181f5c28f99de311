"""What a probe does besides measuring crumb: nothing of it is a crossing."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import pytest

from drivers.reading import Reading
from logger.entries import Entry, Gap
from logger.events import (
    BakeIn,
    BakeOut,
    BakeReached,
    CoolingChanged,
    CoolingForecast,
    CoolingReached,
    CoolingStarted,
    Event,
)
from logger.plan import Plan

PutThrough = Callable[[Plan, Iterable[Entry]], list[Event]]
MINUTE = 60.0


def with_marks(kitchen, entries: list[Entry]) -> list[Entry]:
    marks = [kitchen.mark("into oven", 0.05), kitchen.mark("out of oven", kitchen.out_s + 0.05)]
    return entries + marks


def reached(kitchen, events: list[Event]) -> dict[str, float]:
    return {
        e.body.milestone: kitchen.since_in(e.body.reached_at)
        for e in events
        if isinstance(e.body, BakeReached | CoolingReached)
    }


@pytest.mark.parametrize("glitch", [85.0, 0.0, 300.0, 127.9375, -40.0, 20.0])
def test_glitches_reach_nothing_and_delay_nothing(
    kitchen, put_through: PutThrough, glitch: float
) -> None:
    end = kitchen.falls_to(58.0)
    change = lambda t, v: glitch if int(t) % 46 < 2 else v  # noqa: E731

    events = put_through(
        kitchen.plan, with_marks(kitchen, kitchen.readings(to_s=end, change=change))
    )

    times = reached(kitchen, events)
    assert times["done"] == pytest.approx(kitchen.rises_to(96.5), abs=30)
    assert times["unmould"] == pytest.approx(kitchen.falls_to(60.0), abs=40)
    assert set(times) == {"done", "unmould"}
    assert not [e for e in events if isinstance(e.body, CoolingChanged)]


def pulled(from_s: float, to_s: float, air_c: float) -> Callable[[float, float], float]:
    """A probe that is drawn into the air and pushed back, with a lag of ten seconds."""

    def change(t: float, v: float) -> float:
        if t < from_s:
            return v
        if t < to_s:
            return round(air_c + (v - air_c) * math.exp(-(t - from_s) / 10), 1)
        return round(v + (air_c - v) * math.exp(-(t - to_s) / 10), 1)

    return change


def test_a_probe_pulled_out_and_pushed_back_is_told_and_crosses_nothing(
    kitchen, put_through: PutThrough
) -> None:
    start = kitchen.falls_to(66.0)
    end = kitchen.falls_to(58.0)
    change = pulled(start, start + 100, 22.5)

    events = put_through(
        kitchen.plan, with_marks(kitchen, kitchen.readings(to_s=end, change=change))
    )

    whats = [e.body.what for e in events if isinstance(e.body, CoolingChanged)]
    assert whats == ["probe out", "probe back"]
    times = reached(kitchen, events)
    assert times["unmould"] == pytest.approx(kitchen.falls_to(60.0), abs=60)
    assert "frost" not in times


@pytest.mark.parametrize("for_s", [25.0, 100.0])
def test_a_probe_pushed_in_again_a_little_elsewhere_is_no_cake_that_was_moved(
    kitchen, put_through: PutThrough, for_s: float
) -> None:
    start = kitchen.falls_to(66.0)
    room_c = float(kitchen.room_c[0])
    out = pulled(start, start + for_s, room_c)
    elsewhere = lambda v: round(room_c + 0.92 * (v - room_c), 1)  # noqa: E731
    change = lambda t, v: out(t, v if t < start + for_s else elsewhere(v))  # noqa: E731
    end = start + 30 * MINUTE

    events = put_through(
        kitchen.plan, with_marks(kitchen, kitchen.readings(to_s=end, change=change))
    )

    whats = [e.body.what for e in events if isinstance(e.body, CoolingChanged)]
    assert "moved" not in whats
    said = [
        e.body
        for e in events
        if isinstance(e.body, CoolingForecast) and e.body.milestone == "frost"
    ][-1]
    goal_s = kitchen.falls_to(room_c + (27.0 - room_c) / 0.92)
    assert said.expected_at is not None
    assert kitchen.since_in(said.expected_at) - end == pytest.approx(goal_s - end, rel=0.15)


def test_a_probe_that_stays_out_reaches_nothing_and_is_still_forecast(
    kitchen, put_through: PutThrough
) -> None:
    start = kitchen.falls_to(70.0)
    end = start + 20 * MINUTE
    change = pulled(start, end + 1, 22.5)

    events = put_through(
        kitchen.plan, with_marks(kitchen, kitchen.readings(to_s=end, change=change))
    )

    assert set(reached(kitchen, events)) == {"done"}
    said = [e.body for e in events if isinstance(e.body, CoolingForecast)]
    assert kitchen.since_in(said[-1].made_at) > end - 61


def test_a_probe_stuck_at_one_value_reaches_nothing(kitchen, put_through: PutThrough) -> None:
    start = kitchen.falls_to(70.0)
    change = lambda t, v: 55.0 if t > start else v  # noqa: E731
    entries = kitchen.readings(to_s=start + 15 * MINUTE, change=change)

    events = put_through(kitchen.plan, with_marks(kitchen, entries))

    assert set(reached(kitchen, events)) == {"done"}


def test_a_centre_test_in_the_oven_is_no_way_out(kitchen, put_through: PutThrough) -> None:
    start = kitchen.rises_to(85.0)
    change = pulled(start, start + 45, 40.0)

    events = put_through(kitchen.plan, kitchen.readings(to_s=kitchen.out_s + 60, change=change))

    assert len([e for e in events if isinstance(e.body, BakeIn)]) == 1
    assert not [e for e in events if isinstance(e.body, BakeOut | CoolingStarted)]
    assert reached(kitchen, events)["done"] == pytest.approx(kitchen.rises_to(96.5), abs=40)


def test_oven_air_at_the_probe_before_the_batter_covers_it_is_not_the_cake(
    kitchen, put_through: PutThrough
) -> None:
    change = lambda t, v: 160 + 3 * math.sin(t / 40) if -200 < t < 90 else v  # noqa: E731
    entries = kitchen.readings(to_s=kitchen.out_s + 60, change=change)

    events = put_through(kitchen.plan, [*entries, kitchen.mark("into oven", 0.05)])

    times = reached(kitchen, events)
    assert not [e for e in events if isinstance(e.body, CoolingStarted)]
    assert times["done"] == pytest.approx(kitchen.rises_to(96.5), abs=30)


def test_a_tip_that_the_batter_rises_over_cools_in_it_and_is_not_out(
    kitchen, put_through: PutThrough
) -> None:
    covered_s = kitchen.rises_to(28.0)

    def change(t: float, v: float) -> float:
        """Oven air; covered it falls towards the crumb in minutes, with one reading that is off."""
        if t < covered_s:
            return v if t < 0.0 else 160.0
        off = 3.0 if 200.0 <= t - covered_s < 205.0 else 0.0
        return round(max(v, 72.0 + 70.0 * math.exp((covered_s - t) / 150.0)) + off, 1)

    entries = kitchen.readings(to_s=kitchen.out_s, period_s=5.0, change=change, oven=False)

    events = put_through(kitchen.plan, [*entries, kitchen.mark("into oven", 0.05)])

    assert not [e for e in events if isinstance(e.body, BakeOut | CoolingStarted)]


def test_two_readings_that_are_off_are_no_way_out(kitchen, put_through: PutThrough) -> None:
    late_s = kitchen.rises_to(91.0)
    change = lambda t, v: 85.0 if 0.0 <= t - late_s < 20.0 else v  # noqa: E731
    entries = kitchen.readings(to_s=kitchen.out_s, period_s=10.0, change=change)

    events = put_through(kitchen.plan, [*entries, kitchen.mark("into oven", 0.05)])

    assert not [e for e in events if isinstance(e.body, BakeOut)]


@pytest.mark.parametrize("declared", [True, False])
def test_a_gap_is_no_crossing_but_what_is_read_after_it_is(
    kitchen, put_through: PutThrough, declared: bool
) -> None:
    crossing = kitchen.falls_to(60.0)
    start, end = crossing - 180, crossing + 240
    change = lambda t, v: None if start < t < end else v  # noqa: E731
    entries = with_marks(kitchen, kitchen.readings(to_s=end + 300, change=change))
    if declared:
        at = [round(kitchen.at(t) * 1e6) for t in (start, end)]
        entries.append(Gap("cake-probe", "b", 1, 1, 210, at[0], at[1], "disk full"))

    events = put_through(kitchen.plan, entries)

    at_unmould = reached(kitchen, events)["unmould"]
    assert end <= at_unmould <= end + 10
    during = [
        e.body
        for e in events
        if isinstance(e.body, CoolingForecast)
        and e.body.milestone == "unmould"
        and start < kitchen.since_in(e.body.made_at) < end
    ]
    assert len(during) >= 6  # silence is forecast through


def test_a_probe_said_to_be_moved_to_a_cooler_place_has_not_crossed(
    kitchen, put_through: PutThrough
) -> None:
    move = kitchen.falls_to(64.0)
    change = lambda t, v: round(v - 8, 1) if t > move else v  # noqa: E731
    entries = with_marks(kitchen, kitchen.readings(to_s=move + 8 * MINUTE, change=change))

    events = put_through(kitchen.plan, [*entries, kitchen.mark("probe moved", move)])

    assert "unmould" not in reached(kitchen, events)
    changes = [e.body for e in events if isinstance(e.body, CoolingChanged)]
    assert [(c.what, c.how) for c in changes] == [("probe moved", "marked")]


def test_a_probe_found_in_another_place_is_followed_there(kitchen, put_through: PutThrough) -> None:
    move = kitchen.falls_to(75.0)
    change = lambda t, v: round(v - 12, 1) if t > move else v  # noqa: E731
    entries = with_marks(kitchen, kitchen.readings(to_s=move + 40 * MINUTE, change=change))

    events = put_through(kitchen.plan, entries)

    whats = [e.body.what for e in events if isinstance(e.body, CoolingChanged)]
    assert whats[:2] == ["probe out", "probe moved"]
    said = [
        e.body
        for e in events
        if isinstance(e.body, CoolingForecast) and e.body.milestone == "unmould"
    ]
    assert said[-1].expected_at is not None


def test_a_cake_taken_out_untold_is_noticed_though_its_probe_was_pushed_in_elsewhere(
    kitchen, put_through: PutThrough
) -> None:
    def change(t: float, v: float) -> float:
        since = t - kitchen.out_s
        if 0.0 < since < 90.0:
            return round(22.0 + (v - 22.0) * math.exp(-since / 8.0), 1)  # in the room's air
        return v - 9.0 if since > 0.0 else v

    entries = [kitchen.mark("into oven", 0.0), *kitchen.readings(change=change)]

    events = put_through(kitchen.plan, entries)

    (out,) = [e.body for e in events if isinstance(e.body, BakeOut)]
    assert out.how == "noticed"
    assert kitchen.since_in(out.out_at) == pytest.approx(kitchen.out_s, abs=120)
    assert {"unmould", "frost"} <= set(reached(kitchen, events))


def test_a_probe_left_lying_in_the_room_calls_no_milestone_however_long_it_lies(
    kitchen, put_through: PutThrough
) -> None:
    pulled = kitchen.falls_to(75.0)
    change = lambda t, v: 22.0 if t > pulled else v  # noqa: E731
    entries = with_marks(kitchen, kitchen.readings(change=change))

    events = put_through(kitchen.plan, entries)

    late = [
        e.body
        for e in events
        if isinstance(e.body, CoolingReached) and e.body.reached_at > kitchen.at(pulled)
    ]
    assert late == []


def test_states_without_a_value_are_passed_over(kitchen, put_through: PutThrough) -> None:
    entries = with_marks(kitchen, kitchen.readings(to_s=600))
    open_circuit = Reading(
        "cake-probe", "core", round(kitchen.at(300.5) * 1e6), None, "Cel", state="open circuit"
    )

    events = put_through(kitchen.plan, [*entries, open_circuit])

    assert [e for e in events if isinstance(e.body, BakeIn)]
