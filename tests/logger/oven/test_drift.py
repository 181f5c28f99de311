"""Drift over bakes: offsets of a bake, charts of them, what is said and how often."""

from __future__ import annotations

import random
from types import ModuleType

import pytest

from logger.events import OvenCycle, OvenDrift
from logger.oven import Oven, bake_offset, cusum, ewma
from logger.oven.drift import baseline, drifts
from logger.plan import EarlierBake, OvenPlan, Plan


def _cycle(offset_c: float | None) -> OvenCycle:
    return OvenCycle(0.0, 600.0, 175.0, 20.0, 600.0, 175.0, offset_c)


def _bakes(offsets: list[float]) -> tuple[EarlierBake, ...]:
    return tuple(EarlierBake(f"b{i}", i + 1, 175.0, o, 3) for i, o in enumerate(offsets))


def test_a_bakes_offset_leaves_out_what_lies_apart() -> None:
    offset = bake_offset([_cycle(o) for o in (-3.0, -3.2, -2.8, -3.0, 14.0)])

    assert offset is not None
    assert offset[0] == pytest.approx(-3.0)
    assert offset[1] == 4


def test_a_bake_without_a_set_point_has_no_offset() -> None:
    assert bake_offset([_cycle(None)]) is None
    assert bake_offset([]) is None


def test_few_bakes_have_no_baseline() -> None:
    assert baseline([1.0] * 5) is None
    assert drifts(_bakes([0.0, 0.0, 20.0, 20.0, 20.0]), 20.0, 175.0) == []


@pytest.mark.parametrize("shift_c", [-8.0, -6.0, 6.0, 9.0])
def test_a_shift_is_said_with_its_beginning_and_a_dial_setting(shift_c: float) -> None:
    chance = random.Random(4)
    offsets = [2 + chance.gauss(0, 1) for _ in range(10)]
    offsets += [2 + shift_c + chance.gauss(0, 1) for _ in range(4)]

    said = drifts(_bakes(offsets), 2 + shift_c, 175.0)

    assert {d.statistic for d in said} == {"ewma", "cusum"}
    for drift in said:
        assert drift.shift_c == pytest.approx(shift_c, abs=1.5)
        assert drift.since_batch == "b10"
        assert drift.dial_advice_c == pytest.approx(175.0 - 2 - shift_c, abs=1.5)
        assert drift.bakes == 14
        assert abs(drift.value) > abs(drift.limit)


def test_a_slow_creep_is_found() -> None:
    offsets = [0.5 * i for i in range(16)]

    assert drifts(_bakes(offsets), 8.0, 175.0)


def test_steady_ovens_are_rarely_called_drifting() -> None:
    chance = random.Random(8)
    false = 0
    for _ in range(400):
        offsets = [-4 + chance.gauss(0, 1.5) for _ in range(chance.choice((8, 12, 20)))]
        false += bool(drifts(_bakes(offsets), -4 + chance.gauss(0, 1.5), 175.0))

    assert false / 400 < 0.06


def test_one_bad_bake_among_the_first_moves_no_baseline() -> None:
    steady = [0.2, -0.3, 0.1, 18.0, 0.0, -0.2, 0.3, 0.1, -0.1, 0.2, 0.0, -0.2]

    base = baseline(steady)

    assert base is not None
    assert base.centre_c == pytest.approx(0.0, abs=0.3)
    assert base.sigma_c < 1.5


def test_drift_is_said_once_in_a_batch(ovens: ModuleType) -> None:
    session = ovens.simulate(ovens.Invented(offset_c=-9.0, begins_hot=True, wall_s=500.0))
    plan = Plan(
        channels=session.plan().channels,
        oven=OvenPlan(set_point_c=175.0),
        earlier_bakes=_bakes([0.3, -0.2, 0.0, 0.1, -0.4, 0.2, 0.1, 0.0]),
    )
    room = Oven(plan)

    said = [b for r in session.readings for b in room.on_reading(r, "oven")]

    drift = [b for b in said if isinstance(b, OvenDrift)]
    assert [d.statistic for d in drift].count("cusum") == 1
    assert [d.statistic for d in drift].count("ewma") == 1
    cycles_before = [b for b in said[: said.index(drift[0])] if isinstance(b, OvenCycle)]
    assert len(cycles_before) == 2
    assert drift[0].since_batch is None
    mean = session.true_mean(3000, 5400)
    assert drift[0].dial_advice_c == pytest.approx(175.0 - (mean - 175.0), abs=2.0)


def test_drift_of_the_earlier_bakes_is_said_at_the_first_reading(ovens: ModuleType) -> None:
    session = ovens.simulate(ovens.Invented(length_s=60.0))
    plan = Plan(
        channels=session.plan().channels,
        oven=OvenPlan(set_point_c=175.0),
        earlier_bakes=_bakes([0.0] * 6 + [8.0] * 4),
    )

    said = Oven(plan).on_reading(session.readings[0], "oven")

    assert {b.statistic for b in said if isinstance(b, OvenDrift)} == {"ewma", "cusum"}


@pytest.mark.parametrize("weight", [0.0, -0.1, 1.1])
def test_a_weight_that_is_none_is_refused(weight: float) -> None:
    with pytest.raises(ValueError, match="weight"):
        ewma([1.0], 0.0, weight)


def test_a_slack_below_zero_is_refused() -> None:
    with pytest.raises(ValueError, match="slack"):
        cusum([1.0], 0.0, -0.5)
