"""How well the room knows ovens of another make, with a load that goes in and comes out."""

from __future__ import annotations

from statistics import median
from types import ModuleType
from typing import Any

import pytest

from logger.events import Body, OvenCycle, OvenDoor, OvenForecast, OvenPreheated
from logger.oven import Oven

DRAWS = (300, 301, 303, 304, 306, 307, 309, 310)


@pytest.fixture(scope="module")
def heard(real_ovens: ModuleType) -> list[tuple[Any, list[Body]]]:
    """Each session with what the room concluded from it."""
    out = []
    for draw in DRAWS:
        session = real_ovens.invent(draw)
        room = Oven(session.plan())
        out.append((session, [b for r in session.readings for b in room.on_reading(r, "oven")]))
    return out


def _quiet_cycles(real_ovens: ModuleType, session: Any, bodies: list[Body]) -> list[Any]:
    begin, off_s = real_ovens.BEGIN_US / 1e6, session.facts.off_s
    cycles = [(b, b.from_at - begin, b.to_at - begin) for b in bodies if isinstance(b, OvenCycle)]
    return [c for c in cycles if off_s is None or c[2] < off_s]


def test_means_periods_and_swings(real_ovens: ModuleType, heard: Any) -> None:
    means, periods, swings = [], [], []
    for session, bodies in heard:
        for cycle, a, b in _quiet_cycles(real_ovens, session, bodies):
            means.append(abs(cycle.mean_c - session.mean(a, b)))
            if cycle.period_s is not None and not session.facts.pulsed:
                periods.append(abs(cycle.period_s / session.period(a, b) - 1))
                swings.append(abs(cycle.swing_c / session.swing(a, b) - 1))

    assert len(periods) > 40
    assert median(means) <= 0.1
    assert max(means) <= 1.0
    assert median(periods) <= 0.01
    assert median(swings) <= 0.15


def test_doors_of_ten_seconds_are_found_and_hardly_any_invented(
    real_ovens: ModuleType, heard: Any
) -> None:
    begin = real_ovens.BEGIN_US / 1e6
    found = long = invented = 0
    for session, bodies in heard:
        said = [b for b in bodies if isinstance(b, OvenDoor)]
        for opened, shut in session.facts.doors:
            near = [
                d for d in said if d.start_at - begin < shut + 45 and d.end_at - begin > opened - 15
            ]
            is_hidden = any(a < shut and b > opened for a, b in session.facts.gaps)
            if shut - opened > 10 and not is_hidden:
                long += 1
                found += bool(near)
            if near:
                said.remove(near[0])
        invented += len(said)

    assert long >= 15
    assert found / long >= 0.95
    assert invented <= 2


def test_each_is_preheated_once_and_forecast_until_then(heard: Any) -> None:
    covered = []
    for _, bodies in heard:
        (reached,) = [b.reached_at for b in bodies if isinstance(b, OvenPreheated)]
        forecasts = [b for b in bodies if isinstance(b, OvenForecast)]
        assert len(forecasts) >= (reached - forecasts[0].made_at) / 75
        for said in forecasts:
            assert said.milestone == "preheated"
            assert said.reachable
            low, expected, high = said.low_at, said.expected_at, said.high_at
            assert low is not None
            assert expected is not None
            assert high is not None
            assert said.made_at <= low <= expected <= high
            covered.append(low <= reached <= high)

    assert sum(covered) / len(covered) >= 0.7


def test_an_oven_that_is_off_is_forecast_never_to_be_preheated(real_ovens: ModuleType) -> None:
    facts = real_ovens.facts(5)
    facts.off_s, facts.length_s, facts.doors, facts.in_s = 0.0, 900.0, [], 5000.0
    facts.glitches, facts.gaps = 0, []
    session = real_ovens.simulate(facts)
    room = Oven(session.plan())

    said = [b for r in session.readings for b in room.on_reading(r, "oven")]

    forecasts = [b for b in said if isinstance(b, OvenForecast)]
    assert forecasts
    for body in forecasts:
        assert not body.reachable
        assert body.expected_at is body.low_at is body.high_at is None
        assert body.settles_c == pytest.approx(23.0, abs=6.0)
        assert body.proposal == "switch the oven on"
