"""From an ensemble to a forecast: run every member on, note when it crosses, take quantiles."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.thermal import particles as of_bake
from logger.thermal.baking import at_tip, bake_step
from logger.thermal.cake_model import step, surface
from logger.thermal.design_points import Array
from logger.thermal.ensemble import (
    AIR,
    FUTURE_AIR_DRIFT_K,
    FUTURE_RATE_DRIFT,
    LONGEST_DRIFT_H,
    MEMBERS,
    TEMPERATURES,
    Ensemble,
)
from logger.thermal.particles import Particles

# A milestone that takes longer than this is 'never': nobody waits for it, and a room is another
# room by then.
HORIZON_COOLING_S = 5 * 3600.0
HORIZON_BAKE_S = 3 * 3600.0
PROBE_ERROR_K = 0.2  # of a kitchen's probe: limits of ± 0.4 °C (IEC 60751 class B at 25 °C: 0.43)
SHORTEST_S = 180.0  # the follower asks the course what to expect until the next one
FIRST_STEP_S = 30.0
GROWTH = 1.25
# In the oven a step grows faster, until it is so long, and later such a share of the time run.
# Against steps of 5 s the times told are off by 1 % of the time left (median).
GROWTH_BAKE, SHORTEST_LIMIT_S, STEP_SHARE = 1.3, 120.0, 0.25
# Between two steps a crossing is found on a straight line: off by dt²/8 over the time in which the
# cake cools, which is an hour and more: less than a minute, hours ahead.
LONGEST_STEP_COOLING_S = 1200.0
# In the oven, where steps are many, quantiles are taken from every third member; they are spread
# evenly over what is possible.
TOLD = slice(None, None, 3)
# The highest quantile told, with its neighbour.
QUANTILES_NEED = 0.96
# The crust dries meanwhile and gives off less, so that in time a cake does come up to the room.
# That takes long: one that is cool and not covered goes on losing tenths of a per cent of its
# weight an hour for most of a day (common practice, no source).
CRUST_DRIES_S = 6 * 3600.0
LOW, MEDIAN, HIGH = 0.05, 0.5, 0.95
# A cake near the room's temperature may or may not come down to it, one near boiling up to its
# goal: a time is promised where that is twice as likely as not, so that it does not come and go
# with every reading. A core that stays below boiling is seen to within minutes; for a cake that
# stays above a goal near the room somebody waits for hours, so there it is three times.
LIKELY, LIKELY_COOL = 0.7, 0.75
# Forecasts are renewed within a minute, so less than this is no time that is left.
SHORTEST_LEFT_S = 60.0


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
        crossings: for each goal the members' times (inf: never), shape (members told,).
        settles: for each goal where the members end (a peak for a rising goal).
        in_cold: the members whose cake is supposed to be in a cold place.
    """

    times_s: Array
    core_mean: Array
    core_sd: Array
    crossings: list[Array]
    settles: list[Array]
    in_cold: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Outlook:
    """One goal's crossing, in seconds; None where never.

    Attributes:
        told_s: the time to tell.
        low_s, high_s: the central 90 %.
        settles_c: where the members end that never cross; only where no time is told.
    """

    told_s: float | None
    low_s: float | None
    high_s: float | None
    settles_c: float | None = None


def run(ensemble: Ensemble, air_c: float, room_c: float, goals: Sequence[Goal]) -> Course:
    """Run the members that are told on in air of `air_c` (the oven's, if they are in it).

    `room_c` is what a goal above the room is above of.
    """
    bake = ensemble.bake
    if bake is not None:
        return _run_bake(ensemble, bake, air_c, room_c, goals)
    return _run_cooling(ensemble, air_c, room_c, goals)


def _run_bake(
    ensemble: Ensemble, bake: Particles, air_c: float, room_c: float, goals: Sequence[Goal]
) -> Course:
    index = bake.chosen(MEMBERS)[TOLD]
    rates = bake.rates(index)
    tip, lean = bake.parameters[[of_bake.TIP, of_bake.LEAN]][:, index]

    left_out_k = bake.left_out_k[index]

    def core(cells: Array, after_s: float) -> Array:
        """What the tip reads once it is covered; until then the core's, which crosses nothing."""
        inside, covered = at_tip(cells, tip, lean, rates.expansion, rates.shells)
        inside += math.exp(-after_s / of_bake.LEFT_OUT_S) * left_out_k
        # A tip in the crust gets hotter than the crumb ever does: that is no promise of a core.
        return np.where(covered, np.minimum(inside, rates.plateau), cells[-1])

    cells, water_k, pace = bake.cells[:, index], bake.water_k[index], bake.pace[:, index]
    factor = np.exp(ensemble.doubt_now() * ensemble.future()[0][TOLD])
    rates.exchange *= factor
    rates.heating *= factor
    seen = _Seen(goals, room_c, 0.0)
    seen.add(0.0, cells, core(cells, 0.0))
    # Boiling holds the crumb: what boils below a goal never comes to it.
    able = rates.plateau[None, :] > seen.celsius[:, None]
    t, dt = 0.0, FIRST_STEP_S
    while t < HORIZON_BAKE_S and (t < SHORTEST_S or not seen.is_decided(able)):
        before = cells
        cells, water_k = bake_step(before, water_k, dt, air_c, rates, pace)
        pace = (cells - before) * (1.0 / dt)
        t += dt
        seen.add(t, cells, core(cells, t))
        dt = min(dt * GROWTH_BAKE, max(SHORTEST_LIMIT_S, STEP_SHARE * t))
    return seen.course(ensemble.t_s, rates.plateau, ensemble.in_cold[TOLD])


def _run_cooling(ensemble: Ensemble, air_c: float, room_c: float, goals: Sequence[Goal]) -> Course:
    rates = ensemble.rates()
    x = ensemble.x
    cells = x[TEMPERATURES]
    drift, air_drift = ensemble.future()
    doubt = ensemble.doubt_now()
    # What the probe reads and what the cake is differ by the probe's own error, for good.
    seen = _Seen(goals, room_c, PROBE_ERROR_K * ensemble.probe_errors())
    seen.add(0.0, cells, cells[-1])
    t, dt = 0.0, FIRST_STEP_S
    loss, dryness = rates.loss, rates.dryness
    while t < HORIZON_COOLING_S and (t < SHORTEST_S or not seen.is_decided(None)):
        hours = min(t / 3600.0, LONGEST_DRIFT_H)
        root = math.sqrt(hours)
        rates.loss = loss * np.exp((doubt + FUTURE_RATE_DRIFT * root) * drift)
        rates.dryness = dryness * math.exp(-t / CRUST_DRIES_S)
        room_drift = FUTURE_AIR_DRIFT_K * root * air_drift
        cells = step(cells, dt, air_c + x[AIR] + room_drift, rates)
        t += dt
        seen.add(t, cells, cells[-1], room_drift)
        dt = min(dt * GROWTH, LONGEST_STEP_COOLING_S)
    return seen.course(ensemble.t_s, None, ensemble.in_cold)


class _Seen:
    """What a run has come to, and where its members cross the goals."""

    def __init__(self, goals: Sequence[Goal], room_c: float, probe_k: Array | float) -> None:
        self._goals, self._room_c, self._probe_k = goals, room_c, probe_k
        self._times: list[float] = []
        self._cores: list[Array] = []
        self._values: list[Array] = []
        self._crossed: NDArray[np.bool_] | None = None
        self.celsius = np.array([goal.celsius for goal in goals])
        # Every value times this is at or beyond its goal times this, once crossed.
        self._sign = np.array([[1.0 if goal.rising else -1.0] for goal in goals])
        self._wanted = self._sign * self.celsius[:, None]
        self._plain = all(goal.of == "core" for goal in goals)

    def add(self, t_s: float, cells: Array, core: Array, room_drift: Array | float = 0.0) -> None:
        """The members at one more time."""
        self._times.append(t_s)
        self._cores.append(core)
        if not self._goals:
            return
        value = core + self._probe_k
        if self._plain:
            signed = self._sign * value
        else:
            of = {
                "core": value,
                "surface": surface(cells) + self._probe_k,
                "above room": value - (self._room_c + room_drift),
            }
            signed = self._sign * np.array([of[goal.of] for goal in self._goals])
        self._values.append(signed)
        beyond = signed >= self._wanted
        self._crossed = beyond if self._crossed is None else self._crossed | beyond

    def is_decided(self, able: NDArray[np.bool_] | None) -> bool:
        """Whether going on changes no quantile that is told (`able`: which can cross at all)."""
        if self._crossed is None:
            return True
        decided = self._crossed.sum(axis=1) >= QUANTILES_NEED * self._crossed.shape[1]
        if able is not None:
            decided |= ~np.any(able & ~self._crossed, axis=1)
        return bool(decided.all())

    def course(self, from_s: float, limit_c: Array | None, in_cold: NDArray[np.bool_]) -> Course:
        """All of it; `limit_c` is where members end that do not cross."""
        times, cores = np.array(self._times), np.array(self._cores)
        crossings, settles = [], []
        for i, goal in enumerate(self._goals):
            values = np.array([signed[i] for signed in self._values])
            wanted = float(self._wanted[i, 0])
            beyond = values >= wanted
            first, crossed = np.argmax(beyond, axis=0), beyond.any(axis=0)
            members, at = np.arange(values.shape[1]), np.maximum(first, 1)
            before, after = values[at - 1, members], values[at, members]
            way = np.where(after == before, 1.0, after - before)
            share = np.clip((wanted - before) / way, 0.0, 1.0)
            time = times[at - 1] + share * (times[at] - times[at - 1])
            time = np.where(crossed, np.where(first == 0, 0.0, time), math.inf)
            crossings.append(from_s + time + goal.hold_s)
            end = values.max(axis=0) if goal.rising else -values[-1]
            settles.append(end if limit_c is None else np.where(crossed, end, limit_c))
        mean, sd = cores.mean(axis=1), cores.std(axis=1)
        return Course(from_s + times, mean, sd, crossings, settles, in_cold)


def telling_weights(crossing: Array, in_cold: NDArray[np.bool_], now_s: float) -> Array:
    """Weights of a cooling's members for the time to tell.

    Ten minutes too late are much of half an hour and little of three: between two explanations, as
    of a cake that is in the cold or not, errors count as a share of the time left. There the plain
    median is all or nothing, and its error is larger if it comes sooner than was said than the
    other way round. Within one explanation they count by the root of it, half way between minutes
    and shares.
    """
    left_s = np.maximum(crossing - now_s, SHORTEST_LEFT_S)
    weights = np.zeros(len(crossing))
    for members in (in_cold, ~in_cold):
        of_these = left_s[members]
        arriving = of_these[np.isfinite(of_these)]
        if arriving.size:
            usual_s = float(np.median(arriving))
            weights[members] = 1.0 / np.sqrt(usual_s * of_these)
    return weights


def outlook(
    crossing: Array, settles: Array, weights: Array | None = None, likely: float = LIKELY
) -> Outlook:
    """Central 90 % interval of the members' crossings, and the time to tell.

    Where fewer than a share of `likely` cross, none is told. Where it is, those that never cross
    are wrong whatever it says, so it is the middle of those that do.

    Args:
        crossing: when the members cross.
        settles: where they end.
        weights: how much each counts for the time to tell; the same, if not given.
        likely: the least share that crosses where a time is told.
    """
    order = np.argsort(crossing)
    ordered = crossing[order]

    def quantile(p: float) -> float | None:
        at = p * (len(ordered) - 1)
        low, share = int(at), at - int(at)
        a, b = float(ordered[low]), float(ordered[min(low + 1, len(ordered) - 1)])
        if math.isinf(a) or (math.isinf(b) and share > 0):
            return None
        return a + share * (b - a) if share else a

    low_s, high_s = quantile(LOW), quantile(HIGH)
    cross = int(np.searchsorted(ordered, math.inf))
    if cross < likely * len(ordered):
        return Outlook(None, low_s, high_s, float(np.median(settles[order[cross:]])))
    counts = np.ones(cross) if weights is None else weights[order[:cross]]
    below = (np.cumsum(counts) - 0.5 * counts) / counts.sum()
    told_s = float(np.interp(MEDIAN, below, ordered[:cross]))
    # A few that are there at once may weigh more than all the others.
    return Outlook(told_s if low_s is None else max(told_s, low_s), low_s, high_s)
