"""How good the forecasts are, on cakes made by other equations than the forecaster's.

The expectations follow from prototypes measured elsewhere: two coupled nodes with a good prior were
12, 8, 6 and 7 % of the remaining time off at 10, 25, 50 and 75 % elapsed, with a weak one 15, 16,
11 and 8 %; a single exponential with a known room 33, 25, 12 and 9 %.

Error model and structure of the oven were chosen on cakes of draw 3; those of this test (draw 17)
were drawn afterwards, from the same equations and ranges.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import ModuleType

import numpy as np
import pytest

from logger.plan import CakePlan, OvenPlan, Pan, Plan
from logger.thermal import ensemble as rows
from logger.thermal.ensemble import Ensemble
from logger.thermal.forecast import Goal, outlook, run
from logger.thermal.priors import priors

FRACTIONS = (0.1, 0.25, 0.5, 0.75, 0.9)
CAKES = 60


@dataclass
class Said:
    phase: str
    fraction: float
    now_s: float
    truth_s: float
    median_s: float
    low_s: float
    high_s: float

    @property
    def error(self) -> float:
        return abs(self.median_s - self.truth_s) / (self.truth_s - self.now_s)

    @property
    def covers(self) -> bool:
        return self.low_s <= self.truth_s <= self.high_s


def plan_of(case: object) -> Plan:
    mass, radius = case.mass_kg_m2, case.radius_m  # type: ignore[attr-defined]
    return Plan(
        altitude_m=20.0,
        oven=OvenPlan(175.0),
        cake=CakePlan(
            "layer",
            mass * np.pi * radius**2,
            None,
            1,
            # The physics heats the base by 0.8 of the top, as only a dark pan is.
            Pan("round", diameter_m=2 * radius, depth_m=0.05, material="dark"),
        ),
    )


def follow(case: object, curve: object, plan: Plan, number: int) -> list[Said]:
    rng = np.random.default_rng(number)
    t, core = curve.t_s, curve.core_c  # type: ignore[attr-defined]
    out_s = curve.out_s  # type: ignore[attr-defined]
    read = np.round(core + rng.normal(0, 0.05, len(core)), 1)
    room_error = rng.normal(0, 0.3)
    said: list[Said] = []
    e = Ensemble(priors(plan), 0.0)
    e.enter_oven(float(core[0]), 0.5)

    def tell(phase: str, fraction: float, celsius: float, air: float, truth: float) -> None:
        course = run(e, air, 22.0, [Goal(celsius, "core", phase == "bake")])
        crossing = course.crossings[0]
        o = outlook(crossing, course.settles[0])
        high = np.inf if o.high_s is None else o.high_s
        median = np.inf if o.told_s is None else o.told_s
        low = np.inf if o.low_s is None else o.low_s
        said.append(Said(phase, fraction, e.t_s, truth, median, low, high))

    def goes_to(celsius: float, rising: bool) -> float:
        """When, or inf where the recording ends before."""
        there = core >= celsius if rising else (core <= celsius) & (t > out_s + 300)
        return float(t[there][0]) if there.any() else np.inf

    jobs = [("bake", f, c, goes_to(c, True)) for c in (80.0, 95.0) for f in FRACTIONS]
    due = [(f * truth, p, f, c, truth) for p, f, c, truth in jobs if truth < out_s]
    for celsius in (45.0, 31.0):
        truth = goes_to(celsius, False)
        if np.isinf(truth):
            continue
        due += [(out_s + f * (truth - out_s), "cooling", f, celsius, truth) for f in FRACTIONS]
    due.sort()
    now = 0.0
    while due:
        end = min(now + 30.0, out_s) if now < out_s else now + 30.0
        inside = (t > now) & (t <= end)
        if e.in_oven and now >= out_s:
            e.leave_oven()
            e.loosen(rows.EXCHANGE, 0.25)
            e.spread_air(0.5)
        room = float(np.interp(end, t, curve.room_c)) + room_error  # type: ignore[attr-defined]
        air = case.oven_c if e.in_oven else room  # type: ignore[attr-defined]
        if inside.any():
            e.advance(float(t[inside].mean()), air)
            e.assimilate(float(read[inside].mean()))
        now = end
        while due and due[0][0] <= now:
            _, phase, fraction, celsius, truth = due.pop(0)
            if now < truth and (phase == "cooling") != e.in_oven:
                tell(phase, fraction, celsius, air, truth)
    return said


@pytest.fixture(scope="module")
def said(physics: ModuleType) -> list[Said]:
    cases = [replace(case, cool_s=4.0 * 3600) for case in physics.varied(CAKES, draw=17)]
    curves = physics.bake_and_cool(cases)
    return [
        s
        for i, (case, curve) in enumerate(zip(cases, curves, strict=True))
        for s in follow(case, curve, plan_of(case), i)
    ]


def of(said: list[Said], phase: str, fraction: float) -> list[Said]:
    return [s for s in said if s.phase == phase and s.fraction == fraction]


# Plain slabs in a steady oven are the easiest of what a bake must allow for, so that all may be held;
# how wide the intervals are is held by the next test.
@pytest.mark.parametrize(("phase", "most"), [("bake", 1.0), ("cooling", 0.995)])
def test_nine_in_ten_intervals_hold_what_happens_and_not_all_of_them_for_being_wide(
    said: list[Said], phase: str, most: float
) -> None:
    covered = [s.covers for s in said if s.phase == phase]

    share = sum(covered) / len(covered)

    assert len(covered) > 3 * CAKES
    assert 0.80 <= share <= most


def test_half_way_the_interval_of_a_bake_is_no_wider_than_the_time_that_is_left(
    said: list[Said],
) -> None:
    widths = [(s.high_s - s.low_s) / (s.truth_s - s.now_s) for s in of(said, "bake", 0.5)]

    assert np.median(widths) <= 1.05


@pytest.mark.parametrize("phase", ["bake", "cooling"])
@pytest.mark.parametrize("fraction", FRACTIONS)
def test_at_no_stage_are_the_intervals_too_sure(
    said: list[Said], phase: str, fraction: float
) -> None:
    some = of(said, phase, fraction)

    assert sum(s.covers for s in some) / len(some) >= 0.80


@pytest.mark.parametrize(
    ("fraction", "allowed"), [(0.1, 0.20), (0.25, 0.12), (0.5, 0.08), (0.75, 0.08), (0.9, 0.10)]
)
def test_cooling_forecasts_are_near_what_two_nodes_with_a_good_prior_can_do(
    said: list[Said], fraction: float, allowed: float
) -> None:
    assert np.median([s.error for s in of(said, "cooling", fraction)]) <= allowed


@pytest.mark.parametrize(
    ("fraction", "allowed"), [(0.1, 0.20), (0.25, 0.20), (0.5, 0.13), (0.75, 0.14), (0.9, 0.16)]
)
def test_bake_forecasts_find_their_way_through_the_s_of_the_core(
    said: list[Said], fraction: float, allowed: float
) -> None:
    assert np.median([s.error for s in of(said, "bake", fraction)]) <= allowed


def test_the_interval_narrows_as_the_cake_cools(said: list[Said]) -> None:
    def width(fraction: float) -> float:
        return float(np.median([s.high_s - s.low_s for s in of(said, "cooling", fraction)]))

    widths = [width(f) for f in FRACTIONS]

    assert widths == sorted(widths, reverse=True)
