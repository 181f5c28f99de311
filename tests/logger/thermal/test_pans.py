"""Several pans: the batch is done, or ready, when the last of them is."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable
from dataclasses import replace

import pytest

from drivers.reading import Reading
from logger.entries import Entry
from logger.events import (
    BakeForecast,
    BakeIn,
    BakeOut,
    BakeReached,
    Body,
    CoolingForecast,
    CoolingReached,
    CoolingStarted,
    Event,
)
from logger.plan import Plan
from logger.thermal import Thermal, thermal

LATER_S = 420.0  # the second pan is so far behind the first

Run = Callable[[Plan, Iterable[Entry]], list[Event]]


def two(plan: Plan) -> Plan:
    return replace(plan, channels={**plan.channels, "second-probe/core": "core 2"})


def second(entries: Iterable[Entry], later_s: float, until_s: float | None = None) -> list[Entry]:
    """The core's readings again, of another probe in a slower pan."""
    return [
        replace(e, instrument="second-probe", t_us=e.t_us + round(later_s * 1e6))
        for e in entries
        if isinstance(e, Reading)
        and e.instrument == "cake-probe"
        and (until_s is None or e.t_us < until_s * 1e6)
    ]


def marked(kitchen) -> list[Entry]:
    return [kitchen.mark("into oven", 0.0), kitchen.mark("out of oven", kitchen.out_s)]


def bodies(events: list[Event], kind: type[Body]) -> list[Body]:
    return [e.body for e in events if isinstance(e.body, kind)]


@pytest.fixture(scope="module")
def both(kitchen, put_through: Run) -> list[Event]:
    entries = kitchen.readings(period_s=5.0)
    return put_through(two(kitchen.plan), [*entries, *marked(kitchen), *second(entries, LATER_S)])


def test_a_plan_with_one_core_has_one_pan(kitchen) -> None:
    assert isinstance(thermal(kitchen.plan), Thermal)


def test_a_milestone_is_reached_when_the_last_pan_has_reached_it(kitchen, both) -> None:
    reached = {b.milestone: b for b in bodies(both, CoolingReached)}

    first = kitchen.falls_to(60.0)
    assert kitchen.since_in(reached["unmould"].reached_at) == pytest.approx(first + LATER_S, abs=40)
    assert reached["unmould"].core == "core 2"
    assert [b.milestone for b in bodies(both, CoolingReached)] == ["unmould", "frost"]
    assert [b.core for b in bodies(both, BakeReached)] == ["core 2"]


def test_the_forecast_that_stands_is_that_of_the_last_pan(kitchen, both) -> None:
    half_way = kitchen.at(kitchen.falls_to(60.0) * 0.7)
    said = [b for b in bodies(both, CoolingForecast) if b.milestone == "unmould"]
    standing = [b for b in said if b.made_at <= half_way][-1]

    assert standing.core == "core 2"
    assert standing.low_at <= kitchen.at(kitchen.falls_to(60.0) + LATER_S) <= standing.high_at


def test_what_pans_do_together_is_said_once(both) -> None:
    assert len(bodies(both, BakeIn)) == 1
    assert len(bodies(both, BakeOut)) == 1
    assert len(bodies(both, CoolingStarted)) == 1


def test_forecasts_still_come_at_least_once_a_minute(kitchen, both) -> None:
    made = [b.made_at for b in bodies(both, BakeForecast)]

    assert max(b - a for a, b in itertools.pairwise(made)) <= 60.0


def test_a_probe_that_falls_silent_holds_nothing_up(kitchen, put_through: Run) -> None:
    entries = kitchen.readings(period_s=5.0)
    until = kitchen.at(kitchen.out_s + 300.0)
    events = put_through(
        two(kitchen.plan), [*entries, *marked(kitchen), *second(entries, LATER_S, until)]
    )

    reached = {b.milestone: b for b in bodies(events, CoolingReached)}
    assert reached["frost"].core == "core"
    assert kitchen.since_in(reached["frost"].reached_at) == pytest.approx(
        kitchen.falls_to(27.0), abs=90
    )


def test_a_mark_that_names_a_probe_is_about_its_pan_alone(kitchen, put_through: Run) -> None:
    entries = kitchen.readings(period_s=5.0, to_s=kitchen.out_s + 1800)
    plain = [*entries, *marked(kitchen), *second(entries, LATER_S)]
    moved = kitchen.mark("probe moved", kitchen.out_s + 900)

    without = put_through(two(kitchen.plan), plain)
    named = put_through(two(kitchen.plan), [*plain, replace(moved, probe="cake-probe/core")])

    assert bodies(named, CoolingReached) == bodies(without, CoolingReached)
