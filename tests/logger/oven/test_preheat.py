"""When an oven is preheated, and when it is not."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import pytest

from logger.events import Body, OvenCycle, OvenPreheated
from logger.oven import Oven


def _preheated(ovens: ModuleType, **facts: Any) -> tuple[Any, float | None, OvenPreheated | None]:
    """The session, when it was said (seconds), and what was said."""
    session = ovens.simulate(ovens.Invented(**facts))
    room = Oven(session.plan())
    for reading in session.readings:
        for body in room.on_reading(reading, "oven"):
            if isinstance(body, OvenPreheated):
                return session, (reading.t_us - ovens.BEGIN_US) / 1e6, body
    return session, None, None


THERMOSTAT = {"half_band_c": 6.0, "wall_s": 500.0, "length_s": 5400.0}


def test_the_first_peak_is_not_the_mean(ovens: ModuleType) -> None:
    session, said, _ = _preheated(ovens, **THERMOSTAT)

    peak = next(t for t in range(len(session.air_c)) if session.air_c[t] > 180)
    assert said is not None
    assert said > peak + 200


@pytest.mark.parametrize("offset_c", [-25.0, -15.0, -8.0, 15.0, 25.0])
def test_an_oven_that_never_meets_its_dial_is_preheated_all_the_same(
    ovens: ModuleType, offset_c: float
) -> None:
    session, said, body = _preheated(ovens, offset_c=offset_c, **THERMOSTAT)

    settled = session.true_mean(4000, 5400)
    assert said is not None
    assert body is not None
    assert body.mean_c == pytest.approx(settled, abs=3.0)
    assert body.set_point_c == 175.0


def test_slow_walls_are_waited_for_below_the_dial(ovens: ModuleType) -> None:
    facts = {**THERMOSTAT, "wall_s": 1600.0, "offset_c": -12.0, "length_s": 9000.0}
    session, said, body = _preheated(ovens, **facts)

    assert said is not None
    assert body is not None
    assert body.mean_c >= session.true_mean(7000, 9000) - 3.0


def test_a_hot_cycling_oven_is_preheated_within_one_period(ovens: ModuleType) -> None:
    session, said, body = _preheated(ovens, begins_hot=True, **THERMOSTAT)

    assert body is not None
    assert said is not None
    assert body.reached_at == pytest.approx(session.readings[0].t_us / 1e6)
    assert said < 700


def test_a_regulated_oven_is_preheated_when_it_is_flat(ovens: ModuleType) -> None:
    session, said, body = _preheated(ovens, regulated=True, wall_s=500.0, length_s=7200.0)

    assert said is not None
    assert body is not None
    assert abs(session.true_mean(said - 300, said) - 175.0) <= 3.0


@pytest.mark.parametrize("dial_c", [150.0, 175.0])
def test_a_cold_oven_is_never_preheated(ovens: ModuleType, dial_c: float) -> None:
    _, said, _ = _preheated(
        ovens, dial_c=dial_c, element_power_c_per_s=0.0, length_s=3000.0, wall_s=500.0
    )

    assert said is None


def test_an_oven_switched_off_tells_no_stretches_while_it_cools(ovens: ModuleType) -> None:
    session = ovens.simulate(
        ovens.Invented(begins_hot=True, element_power_c_per_s=0.0, length_s=5400.0)
    )
    room = Oven(session.plan())

    bodies: list[Body] = [b for r in session.readings for b in room.on_reading(r, "oven")]

    assert not [b for b in bodies if isinstance(b, OvenCycle | OvenPreheated)]
