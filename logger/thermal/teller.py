"""Tells what is to come: runs the ensemble on and puts its outlook into the words of events."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from logger.events import BakeForecast, Body, CoolingForecast
from logger.plan import Milestone
from logger.thermal.design_points import Array
from logger.thermal.ensemble import MEMBERS, PLATEAU, Ensemble
from logger.thermal.follower import Follower
from logger.thermal.forecast import (
    LIKELY_COOL,
    TOLD,
    Course,
    Goal,
    Outlook,
    outlook,
    run,
    telling_weights,
)
from logger.thermal.milestones import Milestones
from logger.thermal.surroundings import Surroundings

OUT_WITHOUT_MILESTONE_K = 2.5  # below the plateau, where the plan has no milestone of the bake
OUT_WHEN_NEVER_S = 1200.0
OUT_SOON_S = 120.0
DURATIONS_KEEP_S = 300.0

F = TypeVar("F", BakeForecast, CoolingForecast)


def goal(milestone: Milestone, rising: bool) -> Goal:
    """What a milestone waits for."""
    if milestone.core_c is not None:
        return Goal(milestone.core_c, "core", rising, milestone.hold_s)
    if milestone.surface_c is not None:
        return Goal(milestone.surface_c, "surface", rising, milestone.hold_s)
    return Goal(milestone.core_above_room_k or 0.0, "above room", rising, milestone.hold_s)


def bake_proposal(settles_c: float, boiling_c: float, is_out: bool) -> str:
    """What helps where the core will not get there."""
    if is_out:
        return (
            f"The core peaks near {settles_c:.1f} °C outside the oven; judge by a centre test, "
            "or bake on."
        )
    return (
        f"The core settles near {settles_c:.1f} °C; water boils at {boiling_c:.1f} °C here, and "
        f"moist crumb gets little hotter. Judge by a centre test, or plan "
        f"{math.floor(min(settles_c, boiling_c) - 1.5)} °C."
    )


def cooling_proposal(settles_c: float, wanted: Goal) -> str:
    """What helps where the cake will not get so cool."""
    if wanted.of == "above room":
        return "Move the cake to a cooler place, or allow it to be a little further above the room."
    return (
        f"It settles near {settles_c:.1f} °C where it stands. Move it to a cooler place or a "
        f"refrigerator, or plan {math.ceil(settles_c + 1.0)} °C or more."
    )


def bake_forecast(
    milestone: Milestone,
    crossing: Array,
    settles: Array,
    now_s: float,
    origin_s: float,
    boiling_c: float,
    is_out: bool,
) -> BakeForecast:
    """One forecast of the bake; times are seconds from the origin."""

    def propose(settles_c: float) -> str:
        return bake_proposal(settles_c, boiling_c, is_out)

    told = outlook(crossing, settles)
    return _said(BakeForecast, milestone, told, propose, now_s, origin_s)


def cooling_forecast(
    milestone: Milestone,
    crossing: Array,
    settles: Array,
    in_cold: NDArray[np.bool_],
    now_s: float,
    origin_s: float,
) -> CoolingForecast:
    """One forecast of the cooling; times are seconds from the origin."""

    def propose(settles_c: float) -> str:
        return cooling_proposal(settles_c, goal(milestone, False))

    weights = telling_weights(crossing, in_cold, now_s)
    told = outlook(crossing, settles, weights, LIKELY_COOL)
    return _said(CoolingForecast, milestone, told, propose, now_s, origin_s)


def _said(
    kind: type[F],
    milestone: Milestone,
    told: Outlook,
    propose: Callable[[float], str],
    now_s: float,
    origin_s: float,
) -> F:
    """The forecast's body; settling temperature and proposal only where it is not reachable."""
    made_at = origin_s + now_s
    if told.settles_c is not None:
        settles_c, proposal = round(told.settles_c, 2), propose(told.settles_c)
        return kind(milestone.name, made_at, None, None, None, False, settles_c, proposal)
    # Epoch times in tenths of a second, none before now and in order.
    expected, low, high = (
        None if t_s is None else round(origin_s + max(t_s, now_s), 1)
        for t_s in (told.told_s, told.low_s, told.high_s)
    )
    return kind(milestone.name, made_at, expected, low, high, True)


def way_out_of_members(course: Course, open_goals: int, all_reached: bool, now_s: float) -> Array:
    """When each member would leave the oven: at its last milestone of the bake."""
    if open_goals == 0:
        return np.full(MEMBERS, now_s + (OUT_SOON_S if all_reached else OUT_WHEN_NEVER_S))[TOLD]
    latest = np.maximum.reduce(course.crossings[:open_goals])
    finite = latest[np.isfinite(latest)]
    beyond = now_s + OUT_WHEN_NEVER_S
    instead = max(float(np.median(finite)), beyond) if finite.size else beyond
    return np.where(np.isfinite(latest), np.maximum(latest, now_s), instead)


def cooling_after_bake(
    ensemble: Ensemble, air_c: float, spread_k: float, room_c: float, goals: Sequence[Goal]
) -> Course:
    """What the members will do once they are out, from the way out at time 0 on."""
    later = ensemble.copy()
    later.leave_oven()
    later.t_s = later.changed_s = 0.0
    later.spread_air(spread_k)
    later.start_hot(float(later.x[PLATEAU].mean()) - OUT_WITHOUT_MILESTONE_K)
    return run(later, air_c, room_c, goals)


class Teller:
    """Forecasts of all open milestones, for one instant at a time."""

    def __init__(
        self, air: Surroundings, follower: Follower, milestones: Milestones, boiling_c: float
    ) -> None:
        self._air, self._follower, self._milestones = air, follower, milestones
        self._boiling_c = boiling_c
        self._in_oven = False
        self._durations: tuple[float, Course] | None = None

    def enter(self, in_oven: bool) -> None:
        """A new stage: what was foreseen of the cooling is out of date."""
        self._in_oven = in_oven
        self._durations = None

    def tell(self, now_s: float, origin_s: float, in_s: float) -> list[Body]:
        """A forecast of each open milestone at `now_s`; empty while there is nothing to follow."""
        e = self._follower.at_now(now_s)
        if e is None:
            return []
        m = self._milestones
        air_c = self._air.air_to_come_c(now_s, self._in_oven, in_s)
        room_c = self._air.room_c(now_s)
        bake = [c for c in m.bake if not c.reached and m.baked]
        cool = [
            (i, c)
            for i, c in enumerate(m.cooling)
            if not c.reached and (self._in_oven or m.is_ahead(c, now_s))
        ]
        goals = [goal(c.milestone, True) for c in bake]
        if not self._in_oven:
            goals += [goal(c.milestone, False) for _, c in cool]
        self._follower.course = course = run(e, air_c, room_c, goals)
        out: list[Body] = [
            bake_forecast(
                c.milestone,
                course.crossings[i],
                course.settles[i],
                now_s,
                origin_s,
                self._boiling_c,
                not self._in_oven,
            )
            for i, c in enumerate(bake)
        ]
        if self._in_oven and cool:
            later = self._cooling_to_come(e, now_s, room_c)
            leave_s = way_out_of_members(course, len(bake), bool(m.bake), now_s)
            outlooks = [
                (c, later.crossings[i][TOLD] + leave_s, later.settles[i][TOLD]) for i, c in cool
            ]
        else:
            first = len(bake)
            outlooks = [
                (c, course.crossings[first + k], course.settles[first + k])
                for k, (_, c) in enumerate(cool)
            ]
        out += [
            cooling_forecast(c.milestone, t, s, course.in_cold, now_s, origin_s)
            for c, t, s in outlooks
        ]
        return out

    def _cooling_to_come(self, e: Ensemble, now_s: float, room_c: float) -> Course:
        """Durations after the way out; they change slowly, so they are kept for a while."""
        if self._durations is None or now_s - self._durations[0] >= DURATIONS_KEEP_S:
            goals = [goal(c.milestone, False) for c in self._milestones.cooling]
            spread = self._air.air_spread_k()
            self._durations = (now_s, cooling_after_bake(e, room_c, spread, room_c, goals))
        return self._durations[1]
