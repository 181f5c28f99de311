"""The door: dips of the air that are faster than the thermostat's own falls.

The statistic is the *drop*: how far the air lies below where it was heading just before (a rise is
taken to stop, a fall to go on). It is asked on two scales: over a minute, which sees shallow dips
through noise, and over half of that, which tells the sharp beginning of a dip from the round
beginning of a fast thermostat's fall. What drops this oven's ordinary cycles make is learnt from
cycles without a door; a door must be clearly larger, and must come back. A dip is said when it
comes back: only then is its end known, and an oven that was switched off never comes back.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

from logger.oven.air import Sample, Trace, line

# Until the oven's own falls are known a slow fall is taken for one of them. So it is in an oven
# without cycles for ten minutes after a door: its regulator overshoots, and falls.
LONGEST_UNKNOWN_S = 110.0
UNSETTLED_S = 600.0
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


@dataclass(slots=True)
class _Drops:
    """The drops on one scale: the last hour's, and the largest of each ordinary cycle."""

    scale: Scale
    seen: deque[Sample] = field(default_factory=lambda: deque(maxlen=2000))
    own: deque[float] = field(default_factory=lambda: deque(maxlen=5))

    def ordinary(self, from_s: float, to_s: float) -> None:
        drops = [d.celsius for d in self.seen if from_s <= d.t_s <= to_s]
        if drops:
            self.own.append(max(drops))

    def threshold(self, is_known: bool, is_marked: bool, sigma_c: float) -> float:
        if self.own and is_known:
            own = sorted(self.own)[len(self.own) // 2]
            drop = max(self.scale.smallest_c, self.scale.ratio * own + self.scale.plus_c)
        else:
            drop = self.scale.unknown_c
        return max(drop * (MARKED_SHARE if is_marked else 1.0), NOISE_SIGMAS * sigma_c)


@dataclass(slots=True)
class Door:
    """Watches the trace for dips."""

    trace: Trace
    _open: _Open | None = None
    _scales: tuple[_Drops, ...] = field(default_factory=lambda: tuple(map(_Drops, SCALES)))
    _quiet_until_s: float = -1e9
    _marks: list[float] = field(default_factory=list)
    _in_a_row: int = 0
    _unsettled_until_s: float = -1e9

    def marked(self, t_s: float) -> None:
        """A person said that something went into or out of the oven."""
        self._marks.append(t_s)

    def ordinary(self, from_s: float, to_s: float, is_cycle: bool) -> None:
        """The oven ran here without a door: learn the largest drops it makes by itself."""
        self._in_a_row = self._in_a_row + 1 if is_cycle else 0
        for drops in self._scales:
            drops.ordinary(from_s, to_s)

    def opened_s(self) -> float | None:
        """When a dip began whose return has not come; None where there is none."""
        return None if self._open is None else self._open.start_s

    def _is_known(self, t_s: float) -> bool:
        """Whether the oven's own drops are known, and hold at this time."""
        is_cycling = self._in_a_row >= CYCLES_IN_A_ROW
        return bool(self._scales[0].own) and (is_cycling or t_s > self._unsettled_until_s)

    def add(self, lag_s: float) -> Dip | None:
        """Take the trace's last sample; the door it makes known, if any."""
        now = self.trace.samples[-1]
        if self._open is not None:
            return self._follow(now, lag_s)
        for drops in self._scales:
            self._watch(drops, now)
        return None

    def _watch(self, drops: _Drops, now: Sample) -> None:
        scale = drops.scale
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
        drops.seen.append(Sample(now.t_s, drop))
        if self._open is not None or now.t_s < self._quiet_until_s:
            return
        ahead = (now.t_s if slope < 0 else end_s) - t
        across = sum((s.t_s - t) ** 2 for s in before)
        sigma = self.trace.noise.sigma_c * math.sqrt(
            1 / len(recent) + 1 / len(before) + ahead**2 / across
        )
        is_marked = any(abs(now.t_s - m) <= MARKED_WITHIN_S for m in self._marks[-4:])
        if drop <= drops.threshold(self._is_known(now.t_s), is_marked, sigma):
            return
        start = self._start(end_s, level_c, slope)
        base_c = level_c + slope * (start.t_s - end_s)
        self._open = _Open(start.t_s, base_c, min(recent, key=_celsius))

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
            return None
        self._open = None
        end_s = self._shut(dip, lag_s)
        self._quiet_until_s = now.t_s + REST_S
        if dip.lowest.t_s - dip.start_s > LONGEST_SLOW_S and not self._fell_fast(dip):
            return None
        if not self._is_known(dip.start_s) and dip.lowest.t_s - dip.start_s > LONGEST_UNKNOWN_S:
            return None
        if depth < max(SMALLEST_DEPTH_C, 3 * sigma):
            return None
        self._unsettled_until_s = end_s + UNSETTLED_S
        return Dip(dip.start_s, end_s, depth, dip.lowest.t_s, now.t_s)

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


def _celsius(sample: Sample) -> float:
    return sample.celsius
