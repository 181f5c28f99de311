"""From an ensemble to a forecast: run every member on, note when it crosses, take quantiles."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from logger.thermal.baking import at_tip
from logger.thermal.cake_model import step, surface
from logger.thermal.design_points import Array
from logger.thermal.ensemble import (
    AIR,
    EXPANSION,
    FUTURE_AIR_DRIFT_K,
    FUTURE_RATE_DRIFT,
    LONGEST_DRIFT_H,
    MEMBERS,
    TIP,
    Ensemble,
)

# A milestone that takes longer than this is 'never': nobody waits for it, and a room is another
# room by then.
HORIZON_COOLING_S = 5 * 3600.0
HORIZON_BAKE_S = 3 * 3600.0
PROBE_ERROR_K = 0.2  # of a kitchen's probe: limits of ± 0.4 °C (IEC 60751 class B at 25 °C: 0.43)
SHORTEST_S = 180.0  # the follower asks the course what to expect until the next one
FIRST_STEP_S = 20.0
GROWTH = 1.12
LONGEST_STEP_COOLING_S = 600.0
LONGEST_STEP_BAKE_S = 45.0
# The crust dries meanwhile and gives off less, so that in hours a cake does come up to the room:
# weight falls by 1 to 2 % in the first hours and hardly after (common practice, no source).
CRUST_DRIES_S = 3 * 3600.0
LOW, MEDIAN, HIGH = 0.05, 0.5, 0.95
# A cake near the room's temperature may or may not come down to it: a time is promised where it is
# clearly likelier than not, so that it does not come and go with every reading.
LIKELY = 0.6


@dataclass(frozen=True, slots=True)
class Goal:
    """What is waited for.

    Attributes:
        celsius: temperature, of the core or the surface; or kelvins above the room.
        of: ``core``, ``surface`` or ``above room``.
        rising: crossed upward.
        hold_s: added to the crossing.
    """

    celsius: float
    of: str
    rising: bool
    hold_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Course:
    """What the members will do.

    Attributes:
        times_s: the instants, from the ensemble's time on.
        core_mean, core_sd: of the core at these instants.
        crossings: for each goal the members' times (inf: never), shape (MEMBERS,).
        settles: for each goal where the members end (a peak for a rising goal).
    """

    times_s: Array
    core_mean: Array
    core_sd: Array
    crossings: list[Array]
    settles: list[Array]


@dataclass(frozen=True, slots=True)
class Outlook:
    """Quantiles of one goal's crossing, in seconds; None where never."""

    median_s: float | None
    low_s: float | None
    high_s: float | None
    settles_c: float


def run(ensemble: Ensemble, air_c: float, room_c: float, goals: Sequence[Goal]) -> Course:
    """Run the members on in air of `air_c` (the oven's, if they are in it).

    `room_c` is what a goal above the room is above of.
    """
    rates = ensemble.rates()
    cells = ensemble.x[:3].copy()
    in_oven = ensemble.in_oven
    drift, air_drift = ensemble.future()
    doubt = ensemble.doubt_now()
    horizon = HORIZON_BAKE_S if in_oven else HORIZON_COOLING_S
    longest = LONGEST_STEP_BAKE_S if in_oven else LONGEST_STEP_COOLING_S
    offset = np.zeros(MEMBERS) if in_oven else ensemble.x[AIR]
    tip = ensemble.x[TIP], np.exp(ensemble.x[EXPANSION]), rates.sides
    # What the probe reads and what the cake is differ by the probe's own error, for good.
    probe_k = np.zeros(MEMBERS) if in_oven else PROBE_ERROR_K * ensemble.probe_errors()
    t, dt = 0.0, FIRST_STEP_S
    core = _inside(cells, *tip) if in_oven else cells[2]
    times, means, sds = [0.0], [float(core.mean())], [float(core.std())]
    crossings = [np.full(MEMBERS, math.inf) for _ in goals]
    values = [_value(goal, cells, core, room_c) + probe_k for goal in goals]
    for goal, value, crossing in zip(goals, values, crossings, strict=True):
        crossing[_beyond(goal, value)] = 0.0
    peaks = [value.copy() for value in values]
    while t < SHORTEST_S or (t < horizon and any(np.isinf(c).any() for c in crossings)):
        hours = min(t / 3600.0, LONGEST_DRIFT_H)
        root = math.sqrt(hours)
        factor = np.exp((doubt + FUTURE_RATE_DRIFT * root) * drift)
        moved = replace(
            rates,
            exchange=rates.exchange * factor if in_oven else rates.exchange,
            loss=rates.loss * factor,
            heating=rates.heating * factor,
            dryness=rates.dryness * math.exp(-t / CRUST_DRIES_S),
        )
        room_drift = FUTURE_AIR_DRIFT_K * root * air_drift
        air = air_c + (np.zeros(MEMBERS) if in_oven else offset + room_drift)
        cells = step(cells, dt, air, moved, in_oven)
        core = _inside(cells, *tip) if in_oven else cells[2]
        t += dt
        for i, goal in enumerate(goals):
            value = _value(goal, cells, core, room_c + (0.0 if in_oven else room_drift)) + probe_k
            new = np.isinf(crossings[i]) & _beyond(goal, value)
            if new.any():
                before, after = values[i][new], value[new]
                share = (goal.celsius - before) / np.where(after == before, 1.0, after - before)
                crossings[i][new] = t - dt + dt * np.clip(share, 0.0, 1.0)
            values[i] = value
            peaks[i] = np.maximum(peaks[i], value) if goal.rising else value
        times.append(t)
        means.append(float(core.mean()))
        sds.append(float(core.std()))
        dt = min(dt * GROWTH, longest)
    return Course(
        times_s=ensemble.t_s + np.array(times),
        core_mean=np.array(means),
        core_sd=np.array(sds),
        crossings=[
            ensemble.t_s + c + goal.hold_s for c, goal in zip(crossings, goals, strict=True)
        ],
        settles=peaks,
    )


def _inside(cells: Array, tip: Array, expansion: Array, sides: float) -> Array:
    """What the tip reads once it is covered; until then the core's, which crosses nothing."""
    inside, covered = at_tip(cells, tip, expansion, sides)
    return np.where(covered, inside, cells[2])


def _value(goal: Goal, cells: Array, core: Array, room: float | Array) -> Array:
    if goal.of == "surface":
        return surface(cells)
    return core - room if goal.of == "above room" else core


def _beyond(goal: Goal, value: Array) -> NDArray[np.bool_]:
    out: NDArray[np.bool_] = value >= goal.celsius if goal.rising else value <= goal.celsius
    return out


def outlook(crossing: Array, settles: Array, likely: float = MEDIAN) -> Outlook:
    """Central 90 % interval and median of the members' crossings.

    Where fewer than a share of `likely` cross, there is no median.
    """
    ordered = np.sort(crossing)

    def quantile(p: float) -> float | None:
        at = p * (len(ordered) - 1)
        low, share = int(at), at - int(at)
        a, b = float(ordered[low]), float(ordered[min(low + 1, len(ordered) - 1)])
        if math.isinf(a) or (math.isinf(b) and share > 0):
            return None
        return a + share * (b - a) if share else a

    never = np.isinf(crossing)
    settled = float(np.median(settles[never])) if never.any() else float(np.median(settles))
    median_s = quantile(MEDIAN) if 1.0 - float(np.mean(never)) >= likely else None
    return Outlook(median_s, quantile(LOW), quantile(HIGH), settled)
