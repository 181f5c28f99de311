"""The door: dips of the air that are faster than the thermostat's own falls.

The statistic is the *drop*: how far the air lies below where it was heading just before (a rise is
taken to stop, a fall to go on). It is asked on two scales: over a minute, which sees shallow dips
through noise, and over half of that, which tells the sharp beginning of a dip from the round
beginning of a fast thermostat's fall. What drops this oven makes by itself is learnt from its
cycles, by level and by whether the air was rising or falling (`logger.oven.own`): a thermostat
falls from its peaks, a door from anywhere. A door must be clearly larger, and its fall must end: it
comes back, or, shut while the heat is off, falls no faster than before (`logger.oven.dip`). A dip
is said when it is over: only then is its end known, and an oven that was switched off only goes on
falling. What dips before the oven's own falls are known waits until they are
(`logger.oven.waiting`), unless it begins where no thermostat switches; dips alike at equal
distances are the thermostat's. What a person told of went through a door (`logger.oven.told`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise

from logger.oven.air import Sample, Trace, line
from logger.oven.dip import LONGEST_OPEN_S, Dip, Opened, trend_end
from logger.oven.own import Drop, OwnDrops
from logger.oven.told import Told
from logger.oven.waiting import Candidate, Waiting

# An oven without cycles overshoots for ten minutes after a door, and falls: its own falls are not
# known then, and a slow one is taken for one of them.
LONGEST_UNKNOWN_S = 110.0
UNSETTLED_S = 600.0
# An overshoot is smaller than this share of the door that caused it, and falls from further above
# what the oven holds than this share of its depth.
OVERSHOOT_SHARE, OVER_SHARE = 0.5, 0.25
# The own falls are known after this many cycles (rise to rise and fall to fall overlap by half).
KNOWN_CYCLES = 4
# A regulator's overshoot may make one cycle (rise to rise and fall to fall), but not a second.
CYCLES_IN_A_ROW = 3
# A thermostat first switches near its dial; a dip that begins further below it is a door's.
NEAR_DIAL_C = 30.0
# After a door the thermostat's first fall is steeper than its others (the element is hotter, the
# walls are cooler), and so are those of the way up; a door must then be larger by this much.
FIRST_FALL_S, FIRST_RATIO, FIRST_PLUS_C = 480.0, 2.0, 1.5
# A dip from a peak before which no fall of the oven was seen must be so much larger than one that
# may wait.
WAITED_RATIO = 1.6
# An oven that has fallen in every one of these parts has the heat off: nothing switches, and what
# drops it makes by itself are those of that time.
OFF_PARTS, OFF_PART_S, OFF_BEFORE_S = 5, 120.0, 60.0
# Chance alone makes a drop this many of its own sigmas large once in many hours (computed).
NOISE_SIGMAS = 4.5
# A person said that something went in or out: a smaller dip is a door, too.
MARKED_SHARE = 0.6
SMALLEST_DEPTH_C, SMALLEST_SIGMAS = 2.5, 3.0
REST_S = 15.0
RECENT_S = 4.5
# The highest reading before a dip is looked for from so long before it on.
HIGH_S = 15.0
REMEMBERED = 8


@dataclass(frozen=True, slots=True)
class Scale:
    """Over which time a drop is asked, and how large a door's is (first values, no source).

    Attributes:
        from_s, to_s: the time before now that says where the air is heading.
        shortest_s: shortest stretch of readings in it that can say it.
        smallest_c: smallest drop of a door where the oven's own drops are known.
        unknown_c: the same before they are.
        ratio, plus_c: how much larger than the oven's own a door's drop must be.
    """

    from_s: float
    to_s: float
    shortest_s: float
    smallest_c: float
    unknown_c: float
    ratio: float
    plus_c: float

    def limit_c(self, usual_c: float) -> float:
        """Smallest drop of a door where the oven's own is `usual_c`."""
        return max(self.smallest_c, self.ratio * usual_c + self.plus_c)


SCALES = (
    Scale(75.0, 18.0, 30.0, 2.5, 13.0, 1.4, 0.7),
    Scale(45.0, 10.0, 20.0, 1.4, 5.5, 1.35, 0.4),
)


@dataclass(slots=True)
class Door:
    """Watches the trace for dips."""

    trace: Trace
    set_point_c: float | None = None
    _open: Opened | None = None
    _own: tuple[OwnDrops, ...] = field(default_factory=lambda: tuple(OwnDrops() for _ in SCALES))
    _quiet_until_s: float = -1e9
    _told: Told = field(default_factory=Told)
    _said: list[Dip] = field(default_factory=list)
    _in_a_row: int = 0
    _holds_still: bool = False
    _unsettled_until_s: float = -1e9
    _last_depth_c: float = 0.0
    _first_fall_until_s: float = -1e9
    _waiting: Waiting = field(default_factory=Waiting)

    def marked(self, t_s: float) -> list[Dip]:
        """A person said that something went into or out of the oven: what waited near it is one."""
        self._told.add(t_s)
        return self._say(self._waiting.judged(lambda c: self._told.is_near(c.dip.start_s) or None))

    def ordinary(self, from_s: float, to_s: float, is_cycle: bool) -> list[Dip]:
        """The oven ran here by itself: learn the drops it makes. Gives the doors now known."""
        self._in_a_row = self._in_a_row + 1 if is_cycle else 0
        still = self._holds_still or not is_cycle
        self._holds_still = still and self._in_a_row < CYCLES_IN_A_ROW
        for own in self._own:
            own.ordinary(from_s, to_s)
        if not self._is_known(to_s):
            return []
        return self._say(self._waiting.judged(self._is_larger))

    def opened_s(self) -> float | None:
        """When a dip began whose end has not come; None where there is none."""
        return None if self._open is None else self._open.start_s

    def add(self, lag_s: float) -> list[Dip]:
        """Take the trace's last sample; the doors it makes known."""
        now = self.trace.samples[-1]
        was_open = self._open is not None
        for i in range(len(SCALES)):
            self._watch(i, now)
        found = self._follow(now, lag_s) if was_open else None
        out = self._say([] if found is None else [found])
        if self._open is None:
            out += self._say(self._told.unseen(self.trace, self._said))
        return out

    def _say(self, dips: list[Dip]) -> list[Dip]:
        self._said = [*self._said, *dips][-REMEMBERED:]
        return dips

    def _is_known(self, t_s: float) -> bool:
        """Whether the oven's own drops are known, and hold at this time."""
        known = len(self._own[0].cycles)
        if self._holds_still:
            return known > 0 and t_s > self._unsettled_until_s
        return known >= KNOWN_CYCLES

    def _is_off(self, t_s: float) -> bool:
        """Whether the air has only fallen for long."""
        from_s = t_s - OFF_BEFORE_S - OFF_PARTS * OFF_PART_S
        parts = [
            self.trace.between(from_s + k * OFF_PART_S, from_s + (k + 1) * OFF_PART_S)
            for k in range(OFF_PARTS)
        ]
        if self.trace.samples[0].t_s > from_s or not all(parts):
            return False
        means = [sum(s.celsius for s in part) / len(part) for part in parts]
        return all(b < a for a, b in pairwise(means))

    def _threshold(self, i: int, t_s: float, level_c: float, is_rising: bool) -> float:
        scale, own = SCALES[i], self._own[i]
        if self._is_known(t_s):
            drop = scale.limit_c(own.largest(level_c, is_rising))
            if t_s < self._first_fall_until_s:
                drop = FIRST_RATIO * drop + FIRST_PLUS_C
        elif self._is_off(t_s):
            from_s = t_s - OFF_BEFORE_S - OFF_PARTS * OFF_PART_S
            drop = FIRST_RATIO * scale.limit_c(own.within(from_s, t_s - OFF_BEFORE_S))
        else:
            drop = scale.unknown_c
        return drop * (MARKED_SHARE if self._told.is_near(t_s) else 1.0)

    def _is_larger(self, c: Candidate) -> bool | None:
        """Whether a dip that waited is larger than any that the oven is now known to make.

        None while too few of the cycles are without it.
        """
        marked = MARKED_SHARE if self._told.is_near(c.dip.start_s) else 1.0
        for scale, every in zip(SCALES, self._own, strict=True):
            own = every.without(c.dip.start_s, c.dip.known_s)
            if len(own.cycles) < KNOWN_CYCLES:
                return None
            drop = own.within(c.dip.start_s, c.dip.lowest_s + RECENT_S)
            at_top = c.high_c > own.top_c()
            if at_top and self._holds_still:
                return False  # a regulator's first fall: none of the still times shows it
            usual = own.largest(math.inf if at_top else c.level_c, not at_top and c.is_rising)
            limit = FIRST_RATIO * scale.limit_c(usual)
            if at_top and all(cycle.to_s > c.dip.start_s for cycle in own.cycles):
                limit = max(limit, WAITED_RATIO * scale.unknown_c)
            if drop > limit * marked:
                return True
        return False

    def _watch(self, i: int, now: Sample) -> None:
        scale = SCALES[i]
        before = self.trace.between(now.t_s - scale.from_s, now.t_s - scale.to_s)
        if len(before) < 3 or before[-1].t_s - before[0].t_s < scale.shortest_s:
            return
        if self.trace.missing_s(before[0].t_s, now.t_s) > 0:
            return
        t, c, slope = line(before)
        end_s = before[-1].t_s
        level_c = c + slope * (end_s - t)
        fall = min(slope, 0.0)
        recent = self.trace.between(now.t_s - RECENT_S, now.t_s)
        if len(recent) < 2:
            recent = self.trace.samples[-2:]
        drop = sum(level_c + fall * (s.t_s - end_s) - s.celsius for s in recent) / len(recent)
        is_rising = slope > 0
        self._own[i].seen.append(Drop(now.t_s, drop, level_c, is_rising))
        if self._open is not None:
            self._open.times = max(self._open.times, drop / self._open.limits[i])
            return
        if now.t_s < self._quiet_until_s:
            return
        ahead = (now.t_s if slope < 0 else end_s) - t
        across = sum((s.t_s - t) ** 2 for s in before)
        sigma = self.trace.noise.sigma_c * math.sqrt(
            1 / len(recent) + 1 / len(before) + ahead**2 / across
        )
        if drop <= max(NOISE_SIGMAS * sigma, MARKED_SHARE * scale.smallest_c):
            return
        if drop <= self._threshold(i, now.t_s, level_c, is_rising):
            return
        start = trend_end(self.trace, end_s, level_c, slope)
        base_c = level_c + slope * (start.t_s - end_s)
        limits = tuple(self._threshold(k, now.t_s, level_c, is_rising) for k in range(len(SCALES)))
        lowest = min(recent, key=_celsius)
        self._open = Opened(start.t_s, base_c, is_rising, limits, lowest)

    def _follow(self, now: Sample, lag_s: float) -> Dip | None:
        dip = self._open
        assert dip is not None
        if now.celsius < dip.lowest.celsius:
            dip.lowest = now
        if now.t_s - dip.start_s > LONGEST_OPEN_S or self.trace.missing_s(dip.start_s, now.t_s) > 0:
            self._open = None
            return None
        knows = self._is_known(dip.start_s) or self._is_off(dip.start_s)
        if not dip.has_returned(self.trace) and not (knows and dip.has_stopped(self.trace)):
            return None
        self._open = None
        self._quiet_until_s = now.t_s + REST_S
        depth = dip.base_c - dip.lowest.celsius
        least_c = max(SMALLEST_DEPTH_C, SMALLEST_SIGMAS * self.trace.noise.sigma_c)
        if self._told.is_near(dip.start_s):
            least_c *= MARKED_SHARE
        if dip.is_slow(self.trace) or depth < least_c:
            return None
        end_s = dip.shut_s(self.trace, lag_s)
        found = Dip(dip.start_s, end_s, depth, dip.lowest.t_s, now.t_s)
        near = self.trace.between(dip.start_s - HIGH_S, dip.lowest.t_s)
        high_c = max(s.celsius for s in near)
        return self._judge(Candidate(found, dip.base_c, high_c, dip.is_rising))

    def _judge(self, found: Candidate) -> Dip | None:
        """Say it, keep it waiting, or know it for the thermostat's."""
        dip = found.dip
        if self._is_known(dip.start_s):
            self._first_fall_until_s = dip.known_s + FIRST_FALL_S
            self._unsettled_until_s, self._last_depth_c = dip.end_s + UNSETTLED_S, dip.depth_c
            return dip
        if self._waiting.repeats(found):
            return None
        near = self.set_point_c is None or found.level_c > self.set_point_c - NEAR_DIAL_C
        if self._told.is_near(dip.start_s) or not near or self._is_off(dip.start_s):
            return dip
        if self._holds_still and len(self._own[0].cycles) > 0:
            # An oven that holds still, unsettled by the door before: its regulator overshoots.
            is_slow = dip.lowest_s - dip.start_s > LONGEST_UNKNOWN_S
            is_over = found.level_c - self._own[0].middle_c() > OVER_SHARE * dip.depth_c
            if is_slow or is_over or dip.depth_c < OVERSHOOT_SHARE * self._last_depth_c:
                return None
            self._unsettled_until_s, self._last_depth_c = dip.end_s + UNSETTLED_S, dip.depth_c
            return dip
        self._waiting.add(found)
        return None


def _celsius(sample: Sample) -> float:
    return sample.celsius
