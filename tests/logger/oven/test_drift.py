"""Drift over bakes: what is said, by which bake, how often, and with which advice."""

from __future__ import annotations

import random
from collections.abc import Callable
from statistics import median
from types import ModuleType
from typing import Any

import pytest

from logger.engine import BatchState, advance
from logger.entries import Mark
from logger.events import Event, OvenBaseline, OvenCycle, OvenDrift
from logger.oven import DriftChart, Oven, bake_offset, cusum, ewma
from logger.plan import EarlierBake, OvenPlan, Plan

STEADY = (0.3, -0.2, 0.0, 0.1, -0.4, 0.2, 0.1, 0.0, -0.1, 0.3, -0.3, 0.1)


def _cycle(offset_c: float | None) -> OvenCycle:
    return OvenCycle(0.0, 600.0, 175.0, 20.0, 600.0, 175.0, offset_c)


def _bake(i: int, offset_c: float, **facts: Any) -> EarlierBake:
    given = {"set_point_c": 175.0, "cycles": 3, "swing_c": 20.0, "period_s": 500.0, **facts}
    return EarlierBake(batch=f"b{i}", at_us=i + 1, offset_c=offset_c, **given)


def _fold(bakes: list[EarlierBake]) -> list[tuple[int, OvenDrift]]:
    """Index of the bake that showed it, and the drift."""
    chart = DriftChart()
    return [(i, d) for i, bake in enumerate(bakes) if (d := chart.add(bake)) is not None]


def _series(
    chance: random.Random, count: int, shift: Callable[[int], float], sigma_c: float = 1.0
) -> list[EarlierBake]:
    own = chance.uniform(-6, 6)
    return [
        _bake(
            i,
            own + shift(i) + chance.gauss(0, sigma_c),
            swing_c=20 * chance.uniform(0.9, 1.1),
            period_s=500 * chance.uniform(0.92, 1.08),
        )
        for i in range(count)
    ]


def test_a_bakes_offset_leaves_out_what_lies_apart() -> None:
    offset = bake_offset([_cycle(o) for o in (-3.0, -3.2, -2.8, -3.0, 14.0)])

    assert offset is not None
    assert offset[0] == pytest.approx(-3.0)
    assert offset[1] == 4


def test_a_bake_without_a_set_point_has_no_offset() -> None:
    assert bake_offset([_cycle(None)]) is None
    assert bake_offset([]) is None


def test_the_first_twelve_bakes_are_the_baseline_whatever_they_do() -> None:
    assert _fold([_bake(i, 20.0 * (i > 5)) for i in range(12)]) == []


@pytest.mark.parametrize("shift_c", [-8.0, -4.0, 4.0, 9.0])
def test_a_step_is_said_once_with_its_beginning_and_a_dial_setting(shift_c: float) -> None:
    offsets = [2 + o for o in STEADY] + [2 + shift_c + o for o in STEADY]

    said = _fold([_bake(i, o) for i, o in enumerate(offsets)])

    assert len(said) == 1
    at, drift = said[0]
    assert 12 <= at <= 15
    assert drift.shift_c == pytest.approx(shift_c, abs=0.7)
    assert drift.since_batch == "b12"
    assert drift.found_by == f"b{at}"
    assert drift.dial_advice_c == pytest.approx(175.0 - 2 - shift_c, abs=0.7)
    assert drift.bakes == at + 1
    assert abs(drift.value) > abs(drift.limit)
    assert drift.value * shift_c > 0
    assert drift.measure == "offset"
    assert drift.likely == "the thermostat's scale has moved"


def test_steps_of_three_degrees_are_found_within_five_bakes_and_advice_is_right() -> None:
    chance = random.Random(1)
    delays, errors = [], []
    for _ in range(60):
        bakes = _series(chance, 50, lambda i: 3.0 * (i >= 20))
        found = [(i, d) for i, d in _fold(bakes) if i >= 20]
        delays.append(found[0][0] - 19 if found else 30)
        if found:
            true_c = 175 - sum(b.offset_c for b in bakes[20:]) / 30
            errors.append(abs((found[0][1].dial_advice_c or 0.0) - true_c))

    assert median(delays) <= 4
    assert median(errors) <= 0.75


def test_a_creep_of_a_third_of_a_degree_is_found_within_twelve_bakes() -> None:
    chance = random.Random(2)
    delays, errors = [], []
    for _ in range(60):
        found = _fold(_series(chance, 50, lambda i: -0.3 * max(0, i - 14)))
        delays.append(found[0][0] - 14 if found else 35)
        assert found
        errors.append(found[0][1].shift_c + 0.3 * (found[0][0] - 14))

    assert median(delays) <= 10
    assert abs(median(errors)) <= 1.0


def test_three_thousand_steady_bakes_give_few_alarms() -> None:
    chance = random.Random(3)

    said = [_fold(_series(chance, 312, lambda i: 0.0)) for _ in range(10)]

    assert sum(map(len, said)) <= 3


def test_one_bad_bake_is_no_drift() -> None:
    for at in (4, 12, 15):
        offsets = [*STEADY, *STEADY]
        offsets[at] = 18.0

        assert _fold([_bake(i, o) for i, o in enumerate(offsets)]) == []


def test_a_change_of_the_set_point_is_no_drift() -> None:
    bakes = [_bake(i, -3 + o) for i, o in enumerate(STEADY)]
    # This dial's scale is 2 % short.
    bakes += [_bake(12 + i, -2.5 + o, set_point_c=150.0) for i, o in enumerate(STEADY)]
    bakes += [_bake(24 + i, -3.5 + o, set_point_c=200.0) for i, o in enumerate(STEADY)]

    assert _fold(bakes) == []


def test_advice_is_for_the_present_set_point() -> None:
    bakes = [_bake(i, o, set_point_c=(150.0, 200.0)[i % 2]) for i, o in enumerate(STEADY)]
    bakes += [_bake(12 + i, 6.0, set_point_c=200.0) for i in range(4)]

    (_, drift), *_ = _fold(bakes)

    assert drift.dial_advice_c == pytest.approx(194.0, abs=0.6)
    assert drift.dial_plus_minus_c is not None
    assert 0.3 < drift.dial_plus_minus_c < 3


def test_a_weak_element_shows_in_longer_cycles() -> None:
    bakes = [_bake(i, o, period_s=500 + 60 * o) for i, o in enumerate(STEADY)]
    bakes += [_bake(12 + i, -4 + o, period_s=720.0) for i, o in enumerate(STEADY)]

    (_, drift), *rest = _fold(bakes)

    assert rest == []
    assert drift.likely == "an element heats less"
    assert drift.period_ratio == pytest.approx(1.44, abs=0.05)
    assert drift.swing_ratio == pytest.approx(1.0, abs=0.05)


def test_a_sticking_thermostat_shows_in_a_wider_swing_at_the_same_mean() -> None:
    bakes = [_bake(i, o, swing_c=20 + 2 * o) for i, o in enumerate(STEADY)]
    bakes += [_bake(12 + i, o, swing_c=32.0, period_s=650.0) for i, o in enumerate(STEADY)]

    (_, drift), *rest = _fold(bakes)

    assert rest == []
    assert drift.measure == "swing"
    assert drift.likely == "the thermostat switches late"
    assert drift.swing_ratio == pytest.approx(1.6, abs=0.1)
    assert drift.dial_advice_c == pytest.approx(175.0, abs=1.0)


def test_an_oven_that_does_not_cycle_is_charted_by_its_offset() -> None:
    offsets = [*STEADY, 5.0, 5.0, 5.0, 5.0]

    said = _fold([_bake(i, o, swing_c=None, period_s=None) for i, o in enumerate(offsets)])

    assert len(said) == 1
    assert said[0][1].swing_ratio is None
    assert said[0][1].period_ratio is None


def test_a_confirmed_baseline_begins_anew() -> None:
    offsets = [*STEADY, *(5 + o for o in STEADY), *(5 + o for o in STEADY), 11.0, 11.0, 11.0, 11.0]
    bakes = [_bake(i, o, new_baseline=i == 24) for i, o in enumerate(offsets)]

    (first, _), (second, drift) = _fold(bakes)

    assert 12 <= first <= 15
    assert 36 <= second <= 39
    assert drift.shift_c == pytest.approx(6.0, abs=0.5)
    assert drift.bakes == second - 23


def test_a_drift_found_stands_with_present_advice() -> None:
    chart = DriftChart()
    for i, o in enumerate([*STEADY, *(4 + o for o in STEADY), *(4 + o for o in STEADY)]):
        chart.add(_bake(i, o))

    standing = chart.standing(160.0)

    assert standing is not None
    assert standing.since_batch == "b12"
    assert standing.bakes == 36
    assert standing.shift_c == pytest.approx(4.0, abs=0.3)
    assert standing.dial_advice_c == pytest.approx(156.0, abs=0.5)
    assert DriftChart().standing(160.0) is None


def _whole(session: Any, plan: Plan, closes: bool = True) -> list[Event]:
    state = BatchState("b-now", plan, [Oven(plan)])
    out: list[Event] = []
    entries = list(session.readings)
    if closes:
        entries.append(Mark("close batch", entries[-1].t_us + 1_000_000))
    for entry in entries:
        state, events = advance(state, entry)
        out += events
    return out


def test_the_bake_that_shows_a_drift_says_it_at_its_end(ovens: ModuleType) -> None:
    session = ovens.simulate(ovens.Invented(offset_c=-9.0, begins_hot=True, wall_s=500.0))
    earlier = [*STEADY, -7.5]
    bare = session.plan()
    plan = Plan(
        channels=bare.channels,
        oven=OvenPlan(set_point_c=175.0),
        earlier_bakes=tuple(_bake(i, o) for i, o in enumerate(earlier)),
    )

    drifts = [e for e in _whole(session, plan) if isinstance(e.body, OvenDrift)]

    assert len(drifts) == 1
    assert drifts[0].at_us >= session.readings[-1].t_us
    body = drifts[0].body
    assert isinstance(body, OvenDrift)
    assert body.found_by == "b-now"
    assert body.since_batch == "b12"
    mean = session.true_mean(3000, 5400)
    assert body.dial_advice_c == pytest.approx(175.0 - (mean - 175.0), abs=2.0)
    assert not [e for e in _whole(session, plan, closes=False) if isinstance(e.body, OvenDrift)]


def test_the_recorder_and_a_file_of_bakes_conclude_the_same(ovens: ModuleType) -> None:
    session = ovens.simulate(ovens.Invented(length_s=60.0))
    bakes = [_bake(i, o) for i, o in enumerate([*STEADY, *(-6 + o for o in STEADY)])]
    plan = Plan(
        channels=session.plan().channels,
        oven=OvenPlan(set_point_c=175.0),
        earlier_bakes=tuple(reversed(bakes)),  # in any order
    )

    said = Oven(plan).on_reading(session.readings[0], "oven")

    (at, drift), *_ = _fold(bakes)
    assert [b.kind for b in said] == ["oven.drift"]
    standing = said[0]
    assert isinstance(standing, OvenDrift)
    assert standing.found_by == f"b{at}" == drift.found_by
    assert standing.statistic == drift.statistic
    assert standing.shift_c == pytest.approx(-6.0, abs=0.3)


def test_a_mark_confirms_the_oven_as_it_is(ovens: ModuleType) -> None:
    session = ovens.simulate(ovens.Invented(length_s=60.0))
    room = Oven(session.plan())

    said = room.on_mark(Mark("oven baseline", session.readings[-1].t_us))

    assert said == [OvenBaseline(session.readings[-1].t_us / 1e6)]


@pytest.mark.parametrize("weight", [0.0, -0.1, 1.1])
def test_a_weight_that_is_none_is_refused(weight: float) -> None:
    with pytest.raises(ValueError, match="weight"):
        ewma([1.0], 0.0, weight)


def test_a_slack_below_zero_is_refused() -> None:
    with pytest.raises(ValueError, match="slack"):
        cusum([1.0], 0.0, -0.5)
