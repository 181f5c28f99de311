"""The door: dips of the air that are faster than the thermostat's own falls.

The statistic is the *drop*: how far the air lies below where its last minute was heading (a rise is
taken to stop, a fall to go on). What drops this oven's ordinary cycles make is learnt from cycles
without a door; a door must be clearly larger, and must come back. A dip is said when it comes back:
only then is its end known, and an oven that was switched off never comes back.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from logger.oven.air import Sample, Trace, line

# The minute that says where the air is heading ends this long before now.
TREND_FROM_S, TREND_TO_S = 75.0, 18.0
SHORTEST_TREND_S = 30.0
# Smallest drop that is a door where the oven's own drops are known, and before they are.
SMALLEST_DROP_C = 3.5
UNKNOWN_DROP_C = 8.0
# A door's drop against the oven's own largest, and the noise's share of it.
LARGER_THAN_OWN = 1.5
NOISE_SIGMAS = 5.0
# A person said that something went in or out: a smaller dip is a door, too.
MARKED_WITHIN_S = 90.0
MARKED_SHARE = 0.6
SMALLEST_MARKED_C = 2.5
# Longest time open: longer is not a door but an oven switched off, or left open.
LONGEST_OPEN_S = 420.0
# Until the oven's own falls are known a slow fall is taken for one of them.
LONGEST_UNKNOWN_S = 150.0
REST_S = 15.0


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
    slope_c: float
    lowest: Sample
    drop_c: float


@dataclass(slots=True)
class Door:
    """Watches the trace for dips."""

    trace: Trace
    _open: _Open | None = None
    _drops: deque[Sample] = field(default_factory=lambda: deque(maxlen=2000))
    _own: list[float] = field(default_factory=list)
    _quiet_until_s: float = -1e9
    _marks: list[float] = field(default_factory=list)

    def marked(self, t_s: float) -> None:
        """A person said that something went into or out of the oven."""
        self._marks.append(t_s)

    def ordinary(self, from_s: float, to_s: float) -> None:
        """The oven ran here without a door: learn the largest drop it makes by itself."""
        drops = [d.celsius for d in self._drops if from_s <= d.t_s <= to_s]
        if drops:
            self._own.append(max(drops))

    def is_open(self) -> bool:
        """Whether a dip is being watched whose return has not come."""
        return self._open is not None

    def add(self, lag_s: float) -> Dip | None:
        """Take the trace's last sample; the door it makes known, if any."""
        now = self.trace.samples[-1]
        if self._open is not None:
            return self._follow(now, lag_s)
        self._watch(now)
        return None

    def _watch(self, now: Sample) -> None:
        before = self.trace.between(now.t_s - TREND_FROM_S, now.t_s - TREND_TO_S)
        if len(before) < 3 or before[-1].t_s - before[0].t_s < SHORTEST_TREND_S:
            return
        if self.trace.missing_s(before[0].t_s, now.t_s) > 0:
            return
        t, c, slope = line(before)
        end_s = before[-1].t_s
        level_c = c + slope * (end_s - t)
        fall = min(slope, 0.0)
        recent = self.trace.between(now.t_s - 4.5, now.t_s)
        if len(recent) < 2:
            recent = self.trace.samples[-2:]
        drop = sum(level_c + fall * (s.t_s - end_s) - s.celsius for s in recent) / len(recent)
        self._drops.append(Sample(now.t_s, drop))
        if now.t_s < self._quiet_until_s or drop <= self._threshold(now.t_s):
            return
        start = self._start(end_s, level_c, slope)
        self._open = _Open(
            start.t_s, level_c + slope * (start.t_s - end_s), fall, min(recent, key=_celsius), drop
        )

    def _threshold(self, t_s: float) -> float:
        sigma = self.trace.noise.sigma_c
        if self._own:
            own = sorted(self._own[-3:])
            drop = max(SMALLEST_DROP_C, LARGER_THAN_OWN * own[(len(own) - 1) // 2] + 1.0)
        else:
            drop = UNKNOWN_DROP_C
        if any(abs(t_s - m) <= MARKED_WITHIN_S for m in self._marks[-4:]):
            drop = max(SMALLEST_MARKED_C, MARKED_SHARE * drop)
        return max(drop, NOISE_SIGMAS * sigma)

    def _start(self, end_s: float, level_c: float, slope: float) -> Sample:
        """The last sample that still lay on the trend."""
        near = max(0.8, 1.5 * self.trace.noise.sigma_c)
        for sample in reversed(self.trace.between(end_s - 20.0, self.trace.samples[-1].t_s)):
            if sample.celsius >= level_c + min(slope, 0.0) * (sample.t_s - end_s) - near:
                return sample
        return self.trace.between(end_s - 20.0, end_s)[-1]

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
        back = sum(s.celsius for s in self.trace.samples[-2:]) / 2 - dip.lowest.celsius
        if back < max(2.0, 3 * sigma, 0.2 * depth):
            return None
        self._open = None
        end_s = self._shut(dip, lag_s)
        self._quiet_until_s = now.t_s + REST_S
        if not self._own and dip.lowest.t_s - dip.start_s > LONGEST_UNKNOWN_S:
            return None
        if depth < max(SMALLEST_MARKED_C, 3 * sigma):
            return None
        return Dip(dip.start_s, end_s, depth, dip.lowest.t_s, now.t_s)

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
