"""The door: dips of the air that are faster than the thermostat's own falls.

The statistic is the *drop*: how far the air lies below where it was heading just before (a rise is
taken to stop, a fall to go on). It is asked on two scales: over a minute, which sees shallow dips
through noise, and over half of that, which tells the sharp beginning of a dip from the round
beginning of a fast thermostat's fall. What drops this oven makes by itself is learnt from its
cycles, by level and by whether the air was rising or falling (`logger.oven.own`): a thermostat
falls from its peaks, a door from anywhere. A door must be clearly larger, and must come back. A dip
is said when it comes back: only then is its end known, and an oven that was switched off never
comes back. What dips before the oven's own falls are known waits until they are, unless it begins
where no thermostat switches; dips alike at equal distances are the thermostat's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise

from logger.oven.air import Sample, Trace, line
from logger.oven.own import Drop, OwnDrops

# An oven without cycles overshoots for ten minutes after a door, and falls: its own falls are not
# known then, and a slow one is taken for one of them.
LONGEST_UNKNOWN_S = 110.0
UNSETTLED_S = 600.0
# An overshoot is smaller than this share of the door that caused it.
OVERSHOOT_SHARE = 0.5
OVER_SHARE = 0.25
# The own falls are known after this many cycles (rise to rise and fall to fall overlap by half).
KNOWN_CYCLES = 4
# A thermostat first switches near its dial; a dip that begins further below it is a door's.
NEAR_DIAL_C = 30.0
# After a door the thermostat's first fall is steeper than its others (the element is hotter, the
# walls are cooler), and so are those of the way up; a door must then be larger by this much.
FIRST_FALL_S, FIRST_RATIO, FIRST_PLUS_C = 480.0, 2.0, 1.5
# What waited longer than this for the own falls is forgotten.
LONGEST_WAIT_S = 2400.0
# What waited must be so much larger than what may wait.
WAITED_RATIO = 1.6
STOPPED_WAIT_S = 120.0
# Dips this much alike in depth, level (in depths), length and distance are the thermostat's.
ALIKE_DEPTH, ALIKE_LEVEL, ALIKE_LENGTH, ALIKE_APART = 0.25, 0.3, 0.4, 0.35
# A longer dip is a door only where this share of it came in its first third.
LONGEST_SLOW_S = 140.0
EARLY_SHARE = 0.55
# A regulator's overshoot may make one cycle (rise to rise and fall to fall), but not a second.
CYCLES_IN_A_ROW = 3
# Longest time open: longer is not a door but an oven switched off, or left open.
LONGEST_OPEN_S = 420.0
# Chance alone makes a drop this many of its own sigmas large once in many hours (computed).
NOISE_SIGMAS = 4.5
# A person said that something went in or out: a smaller dip is a door, too.
MARKED_WITHIN_S = 90.0
MARKED_SHARE = 0.6
SMALLEST_DEPTH_C = 2.5
# How much of the dip must come back before it is believed to be over.
RETURN_C, RETURN_SHARE, RETURN_SIGMAS = 2.0, 0.25, 4.0
REST_S = 15.0
STOPPED_S, STOPPED_SHARE, STOPPED_TIMES = 35.0, 0.25, 1.6
STOPPED_WAIT_S = 120.0
RECENT_S = 4.5


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


SCALES = (
    Scale(75.0, 18.0, 30.0, 2.5, 13.0, 1.4, 0.7),
    Scale(45.0, 10.0, 20.0, 1.4, 5.5, 1.35, 0.4),
)


@dataclass(frozen=True, slots=True)
class Dip:
    """A door: opened, shut, how deep the reading fell, when it was lowest, when it was known."""

    start_s: float
    end_s: float
    depth_c: float
    lowest_s: float
    known_s: float


@dataclass(slots=True)
class _Open:
    start_s: float
    base_c: float
    lowest: Sample
    is_rising: bool
    level_c: float
    slope: float
    times: float = 1.0
    stopped: Sample | None = None


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A dip that came back, with what is needed to judge it later."""

    dip: Dip
    level_c: float
    high_c: float
    is_rising: bool


@dataclass(slots=True)
class Door:
    """Watches the trace for dips."""

    trace: Trace
    set_point_c: float | None = None
    _open: _Open | None = None
    _own: tuple[OwnDrops, ...] = field(default_factory=lambda: tuple(OwnDrops() for _ in SCALES))
    _quiet_until_s: float = -1e9
    _marks: list[float] = field(default_factory=list)
    _in_a_row: int = 0
    _holds_still: bool = False
    _unsettled_until_s: float = -1e9
    _last_depth_c: float = 0.0
    _first_fall_until_s: float = -1e9
    _waiting: list[_Candidate] = field(default_factory=list)
    _seen: list[_Candidate] = field(default_factory=list)

    def marked(self, t_s: float) -> None:
        """A person said that something went into or out of the oven."""
        self._marks.append(t_s)

    def ordinary(self, from_s: float, to_s: float, is_cycle: bool) -> list[Dip]:
        """The oven ran here by itself: learn the drops it makes. Gives the doors now known."""
        self._in_a_row = self._in_a_row + 1 if is_cycle else 0
        self._holds_still = (self._holds_still or not is_cycle) and (
            self._in_a_row < CYCLES_IN_A_ROW
        )
        for own in self._own:
            own.ordinary(from_s, to_s)
        if not self._waiting or not self._is_known(to_s):
            return []
        judged = [(c, self._is_larger(c)) for c in self._waiting]
        self._waiting = [c for c, larger in judged if larger is None]
        return [c.dip for c, larger in judged if larger]

    def opened_s(self) -> float | None:
        """When a dip began whose return has not come; None where there is none."""
        return None if self._open is None else self._open.start_s

    def _is_known(self, t_s: float) -> bool:
        """Whether the oven's own drops are known, and hold at this time."""
        known = len(self._own[0].cycles)
        if self._holds_still:
            return known > 0 and t_s > self._unsettled_until_s
        return known >= KNOWN_CYCLES

    def _threshold(self, i: int, t_s: float, level_c: float, is_rising: bool) -> float:
        scale, own = SCALES[i], self._own[i]
        if self._is_known(t_s):
            usual = own.largest(level_c, is_rising)
            drop = max(scale.smallest_c, scale.ratio * usual + scale.plus_c)
            if t_s < self._first_fall_until_s:
                drop = FIRST_RATIO * drop + FIRST_PLUS_C
        else:
            drop = scale.unknown_c
        return drop * (MARKED_SHARE if self._is_marked(t_s) else 1.0)

    def _is_marked(self, t_s: float) -> bool:
        return any(abs(t_s - m) <= MARKED_WITHIN_S for m in self._marks[-4:])

    def _is_larger(self, c: _Candidate) -> bool | None:
        """Whether a dip that waited is larger than any that the oven is now known to make.

        None while too few of the cycles are without it.
        """
        marked = MARKED_SHARE if self._is_marked(c.dip.start_s) else 1.0
        for scale, every in zip(SCALES, self._own, strict=True):
            own = every.without(c.dip.start_s, c.dip.known_s)
            if len(own.cycles) < KNOWN_CYCLES:
                return None
            drop = own.within(c.dip.start_s, c.dip.lowest_s + RECENT_S)
            at_top = c.high_c > own.top_c()
            if at_top and self._holds_still:
                return False
            usual = own.largest(math.inf if at_top else c.level_c, not at_top and c.is_rising)
            limit = FIRST_RATIO * max(scale.smallest_c, scale.ratio * usual + scale.plus_c)
            if at_top and all(cycle.to_s > c.dip.start_s for cycle in own.cycles):
                limit = max(limit, WAITED_RATIO * scale.unknown_c)
            if drop > limit * marked:
                return True
        return False

    def add(self, lag_s: float) -> Dip | None:
        """Take the trace's last sample; the door it makes known, if any."""
        now = self.trace.samples[-1]
        was_open = self._open is not None
        for i in range(len(SCALES)):
            self._watch(i, now)
        if was_open:
            return self._follow(now, lag_s)
        return None

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
            limit = self._threshold(i, now.t_s, self._open.level_c, self._open.is_rising)
            self._open.times = max(self._open.times, drop / limit)
            return
        if now.t_s < self._quiet_until_s:
            return
        ahead = (now.t_s if slope < 0 else end_s) - t
        across = sum((s.t_s - t) ** 2 for s in before)
        sigma = self.trace.noise.sigma_c * math.sqrt(
            1 / len(recent) + 1 / len(before) + ahead**2 / across
        )
        if drop <= NOISE_SIGMAS * sigma:
            return
        if drop <= self._threshold(i, now.t_s, level_c, is_rising):
            return
        start = self._start(end_s, level_c, slope)
        base_c = level_c + slope * (start.t_s - end_s)
        self._open = _Open(
            start.t_s, base_c, min(recent, key=_celsius), is_rising, level_c, slope
        )

    def _start(self, end_s: float, level_c: float, slope: float) -> Sample:
        """The last sample that still lay on the trend."""
        near = max(0.8, 1.5 * self.trace.noise.sigma_c)
        possible = self.trace.between(end_s - 20.0, self.trace.samples[-1].t_s)
        for sample in reversed(possible):
            if sample.celsius >= level_c + min(slope, 0.0) * (sample.t_s - end_s) - near:
                return sample
        return possible[0]

    def _follow(self, now: Sample, lag_s: float) -> Dip | None:
        dip = self._open
        assert dip is not None
        if now.celsius < dip.lowest.celsius:
            dip.lowest = now
        sigma = self.trace.noise.sigma_c
        depth = dip.base_c - dip.lowest.celsius
        if now.t_s - dip.start_s > LONGEST_OPEN_S or self.trace.missing_s(dip.start_s, now.t_s) > 0:
            self._open = None
            return None
        back = min(s.celsius for s in self.trace.samples[-2:]) - dip.lowest.celsius
        if back < max(RETURN_C, RETURN_SIGMAS * sigma, RETURN_SHARE * depth):
            if dip.stopped is None:
                dip.stopped = self._stopped(dip, now)
            if dip.stopped is None or now.t_s - dip.stopped.t_s < STOPPED_WAIT_S:
                return None
            dip.lowest = dip.stopped
            depth = dip.base_c - dip.stopped.celsius
        self._open = None
        end_s = self._shut(dip, lag_s)
        self._quiet_until_s = now.t_s + REST_S
        if dip.lowest.t_s - dip.start_s > LONGEST_SLOW_S and not self._fell_fast(dip):
            return None
        if depth < max(SMALLEST_DEPTH_C, 3 * sigma):
            return None
        found = Dip(dip.start_s, end_s, depth, dip.lowest.t_s, now.t_s)
        near = self.trace.between(dip.start_s - 15.0, dip.lowest.t_s)
        high_c = max(s.celsius for s in near)
        return self._judge(_Candidate(found, dip.base_c, high_c, dip.is_rising))

    def _stopped(self, dip: _Open, now: Sample) -> Sample | None:
        """Where a steep fall ended in an ordinary one: shut, with the heat off."""
        if dip.times < STOPPED_TIMES or not self._is_known(dip.start_s):
            return None
        rest = self.trace.between(now.t_s - STOPPED_S, now.t_s)
        if len(rest) < 4 or rest[0].t_s < dip.start_s + 5.0:
            return None
        fallen = dip.base_c - rest[0].celsius
        steep = fallen / (rest[0].t_s - dip.start_s)
        _, _, slope = line(rest)
        across = (rest[-1].t_s - rest[0].t_s) * math.sqrt(len(rest) / 12)
        slope += 2 * self.trace.noise.sigma_c / across
        if -slope > max(STOPPED_SHARE * steep, 0.0):
            return None
        if fallen < 0.8 * (dip.base_c - dip.lowest.celsius):
            return None
        return rest[0]

    def _judge(self, found: _Candidate) -> Dip | None:
        """Say it, keep it waiting, or know it for the thermostat's."""
        dip = found.dip
        if self._is_known(dip.start_s):
            self._first_fall_until_s = dip.known_s + FIRST_FALL_S
            self._unsettled_until_s, self._last_depth_c = dip.end_s + UNSETTLED_S, dip.depth_c
            return dip
        repeats = self._is_repeated(found)
        self._seen.append(found)
        del self._seen[:-12]
        if repeats:
            self._waiting = [c for c in self._waiting if not _are_alike(c, found)]
            return None
        near = self.set_point_c is None or found.level_c > self.set_point_c - NEAR_DIAL_C
        if self._is_marked(dip.start_s) or not near:
            return dip
        if self._holds_still and len(self._own[0].cycles) > 0:
            # An oven that holds still, unsettled by the door before: its regulator overshoots.
            is_slow = dip.lowest_s - dip.start_s > LONGEST_UNKNOWN_S
            is_over = found.level_c - self._own[0].middle_c() > OVER_SHARE * dip.depth_c
            if is_slow or is_over or dip.depth_c < OVERSHOOT_SHARE * self._last_depth_c:
                return None
            self._unsettled_until_s, self._last_depth_c = dip.end_s + UNSETTLED_S, dip.depth_c
            return dip
        oldest_s = dip.start_s - LONGEST_WAIT_S
        self._waiting = [c for c in self._waiting if c.dip.start_s > oldest_s] + [found]
        return None

    def _is_repeated(self, found: _Candidate) -> bool:
        """Whether this dip and two before it are alike, at equal distances."""
        alike = [c for c in self._seen if _are_alike(c, found)] + [found]
        if len(alike) < 3:
            return False
        first, second = (b.dip.start_s - a.dip.start_s for a, b in pairwise(alike[-3:]))
        return abs(first - second) <= ALIKE_APART * max(first, second)

    def _fell_fast(self, dip: _Open) -> bool:
        """Whether most of the dip came early, as behind an open door, not evenly or late."""
        early_s = dip.start_s + (dip.lowest.t_s - dip.start_s) / 3
        early_c = min(s.celsius for s in self.trace.between(dip.start_s - 1.0, early_s))
        return dip.base_c - early_c >= EARLY_SHARE * (dip.base_c - dip.lowest.celsius)

    def _shut(self, dip: _Open, lag_s: float) -> float:
        """When the air itself (the reading without the probe's lag) was lowest."""
        samples = self.trace.between(dip.start_s - 10.0, self.trace.samples[-1].t_s)
        lowest, at_s = float("inf"), dip.lowest.t_s
        for i in range(1, len(samples) - 1):
            if not dip.start_s < samples[i].t_s <= dip.lowest.t_s:
                continue
            near = [s for s in samples if abs(s.t_s - samples[i].t_s) <= 5.0]
            if len(near) < 3:
                near = samples[i - 1 : i + 2]
            t, c, slope = line(near)
            air = c + slope * (samples[i].t_s - t + lag_s)
            if air < lowest:
                lowest, at_s = air, samples[i].t_s
        return at_s


def _are_alike(a: _Candidate, b: _Candidate) -> bool:
    depth = max(a.dip.depth_c, b.dip.depth_c)
    lengths = a.dip.lowest_s - a.dip.start_s, b.dip.lowest_s - b.dip.start_s
    return (
        abs(a.dip.depth_c - b.dip.depth_c) <= ALIKE_DEPTH * depth
        and abs(a.level_c - b.level_c) <= ALIKE_LEVEL * depth
        and abs(lengths[0] - lengths[1]) <= ALIKE_LENGTH * max(lengths)
    )


def _celsius(sample: Sample) -> float:
    return sample.celsius
