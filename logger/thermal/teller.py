"""Puts an ensemble's outlook into the words of an event."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from logger.events import BakeForecast, CoolingForecast
from logger.plan import Milestone
from logger.thermal.design_points import Array
from logger.thermal.ensemble import MEMBERS, PLATEAU, Ensemble
from logger.thermal.forecast import Course, Goal, outlook, run

OUT_WITHOUT_MILESTONE_K = 2.5  # below the plateau, where the plan has no milestone of the bake
OUT_WHEN_NEVER_S = 1200.0
OUT_SOON_S = 120.0


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
    told = outlook(crossing, settles)
    expected, low, high = _times(told.median_s, told.low_s, told.high_s, now_s, origin_s)
    if expected is None:
        text = bake_proposal(told.settles_c, boiling_c, is_out)
        return BakeForecast(
            milestone.name,
            origin_s + now_s,
            None,
            None,
            None,
            False,
            round(told.settles_c, 2),
            text,
        )
    return BakeForecast(milestone.name, origin_s + now_s, expected, low, high, True)


def cooling_forecast(
    milestone: Milestone, crossing: Array, settles: Array, now_s: float, origin_s: float
) -> CoolingForecast:
    """One forecast of the cooling; times are seconds from the origin."""
    told = outlook(crossing, settles)
    expected, low, high = _times(told.median_s, told.low_s, told.high_s, now_s, origin_s)
    if expected is None:
        text = cooling_proposal(told.settles_c, goal(milestone, False))
        return CoolingForecast(
            milestone.name,
            origin_s + now_s,
            None,
            None,
            None,
            False,
            round(told.settles_c, 2),
            text,
        )
    return CoolingForecast(milestone.name, origin_s + now_s, expected, low, high, True)


def _times(
    median_s: float | None, low_s: float | None, high_s: float | None, now_s: float, origin_s: float
) -> tuple[float | None, float | None, float | None]:
    """Epoch times in tenths of a second, none before now and in order."""
    if median_s is None:
        return None, None, None

    def said(t_s: float | None) -> float | None:
        return None if t_s is None else round(origin_s + max(t_s, now_s), 1)

    return said(median_s), said(low_s), said(high_s)


def way_out_of_members(course: Course, open_goals: int, all_reached: bool, now_s: float) -> Array:
    """When each member would leave the oven: at its last milestone of the bake."""
    if open_goals == 0:
        return np.full(MEMBERS, now_s + (OUT_SOON_S if all_reached else OUT_WHEN_NEVER_S))
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
    later.in_oven = False
    later.t_s = later.changed_s = 0.0
    later.spread_air(spread_k)
    later.start_hot(float(later.x[PLATEAU].mean()) - OUT_WITHOUT_MILESTONE_K)
    return run(later, air_c, room_c, goals)
