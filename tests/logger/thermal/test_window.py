"""The formula's own time for the bake as a cross-check."""

from __future__ import annotations

from typing import Any

import pytest

from logger.events import (
    BakeForecast,
    BakeIn,
    BakeOut,
    BakeReached,
    BakeWindow,
    Body,
    OvenCycle,
    OvenPreheated,
)
from logger.plan import Formula, Milestone, MixingStep, OvenPlan, Plan
from logger.thermal.window import Window

IN_AT = 1_800_000_000.0
MINUTE = 60.0


def _plan(**changes: Any) -> Plan:
    bake = MixingStep("bake", duration_s=28 * MINUTE, longest_s=32 * MINUTE, set_point_c=177.0)
    formula = Formula("Pear and ginger layer cake", (), steps=(MixingStep("mix"), bake))
    given: dict[str, Any] = {
        "formulas": (formula,),
        "bake_milestones": (Milestone("done", core_c=97.0),),
        "oven": OvenPlan(set_point_c=177.0),
    }
    return Plan(**(given | changes))


def _forecast(expected_min: float, plus_minus_min: float) -> BakeForecast:
    low, expected, high = (IN_AT + MINUTE * (expected_min + k * plus_minus_min) for k in (-1, 0, 1))
    return BakeForecast("done", IN_AT, expected, low, high, True)


def _cycle(mean_c: float, to_min: float) -> OvenCycle:
    to_at = IN_AT + MINUTE * to_min
    return OvenCycle(to_at - 300.0, to_at, mean_c, 14.0, 300.0, 177.0, mean_c - 177.0)


def _hear(plan: Plan, *heard: tuple[float, Body]) -> list[BakeWindow]:
    window = Window(plan)
    said = [b for minute, body in heard for b in window.hear(body, IN_AT + MINUTE * minute)]
    return [b for b in said if isinstance(b, BakeWindow)]


BEGIN = (0.0, BakeIn(IN_AT, "marked", 1.0))


def test_a_cool_oven_is_named_where_the_core_is_clearly_behind() -> None:
    (said,) = _hear(_plan(), BEGIN, (12.0, _cycle(166.0, 12.0)), (15.0, _forecast(40.0, 6.0)))

    assert said.text == (
        "done is expected 8 minutes behind the formula's window of 28-32 min: oven 11 °C cool"
    )
    assert said.outside_s == pytest.approx(8 * MINUTE)
    assert said.oven_offset_c == pytest.approx(-11.0)
    assert not said.reached


def test_a_wide_interval_that_touches_the_window_says_nothing() -> None:
    assert _hear(_plan(), BEGIN, (5.0, _forecast(40.0, 9.0))) == []


def test_it_is_said_again_when_it_has_moved_and_not_every_minute() -> None:
    said = _hear(
        _plan(),
        BEGIN,
        (15.0, _forecast(40.0, 6.0)),
        (16.0, _forecast(44.0, 6.0)),
        (21.0, _forecast(44.0, 6.0)),
        (27.0, _forecast(45.0, 6.0)),
    )

    assert [round(s.outside_s / MINUTE) for s in said] == [8, 12]


def test_it_is_taken_back_when_the_core_catches_up() -> None:
    said = _hear(_plan(), BEGIN, (15.0, _forecast(40.0, 6.0)), (24.0, _forecast(31.0, 3.0)))

    assert [s.outside_s for s in said] == [pytest.approx(8 * MINUTE), 0.0]
    assert "within" in said[-1].text


def test_the_end_is_said_once_and_without_a_cause_that_does_not_fit() -> None:
    reached = (25.0, BakeReached("done", IN_AT + 25 * MINUTE, 97.0))

    (said,) = _hear(_plan(), (-5.0, OvenPreheated(IN_AT - 300, 170.0, 177.0)), BEGIN, reached,
                    (26.0, _forecast(40.0, 2.0)))  # fmt: skip

    assert said.reached
    assert said.text == "done 3 minutes ahead of the formula's window of 28-32 min"


def test_an_oven_at_its_set_point_is_not_blamed() -> None:
    (said,) = _hear(_plan(), BEGIN, (9.0, _cycle(178.0, 9.0)), (15.0, _forecast(40.0, 6.0)))

    assert said.text.endswith("; the oven holds its set point")


def test_without_milestones_the_way_out_is_compared() -> None:
    (said,) = _hear(
        _plan(bake_milestones=()), BEGIN, (33.0, BakeOut(IN_AT + 33 * MINUTE, "marked", 1.0))
    )

    assert said.milestone is None
    assert said.text == "out of the oven 1 minute behind the formula's window of 28-32 min"


def test_a_formula_without_a_time_says_nothing() -> None:
    plan = _plan(formulas=(Formula("Sponge", (), steps=(MixingStep("bake", set_point_c=170.0),)),))

    assert _hear(plan, BEGIN, (15.0, _forecast(90.0, 2.0))) == []


def test_a_target_out_of_reach_is_left_to_its_forecast() -> None:
    never = BakeForecast("done", IN_AT, None, None, None, False, 95.0, "judge by a centre test")

    assert _hear(_plan(), BEGIN, (40.0, never)) == []
