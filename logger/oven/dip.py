"""One dip of the air: where it began, whether it came back or stopped falling, when it was shut."""

from __future__ import annotations

import math
from dataclasses import dataclass

from logger.oven.air import Sample, Trace, line

# How much of the dip must come back before it is believed to be over.
RETURN_C, RETURN_SHARE, RETURN_SIGMAS = 2.0, 0.25, 4.0
# A longer dip is a door only where this share of it came in its first third.
LONGEST_SLOW_S = 140.0
EARLY_SHARE = 0.55
# Longest time open: longer is not a door but an oven switched off, or left open.
LONGEST_OPEN_S = 420.0
# A door that is shut while the heat is off does not come back; its fall ends. So long a stretch
# must fall no faster than this share of the steep part, which must be this many times as large as
# a door must be; and nothing may come back for so long (a door that stands open stops falling, too,
# and comes back when it is shut).
STOPPED_S, STOPPED_SHARE, STOPPED_TIMES = 35.0, 0.25, 1.6
STOPPED_WAIT_S = 120.0
# The part of the whole depth that the steep part makes.
STEEP_SHARE = 0.8


@dataclass(frozen=True, slots=True)
class Dip:
    """A door: opened, shut, how deep the reading fell, when it was lowest, when it was known."""

    start_s: float
    end_s: float
    depth_c: float
    lowest_s: float
    known_s: float


@dataclass(slots=True)
class Opened:
    """A dip whose return has not come.

    Attributes:
        start_s: when it began.
        base_c: where the air was heading then.
        is_rising: whether it was rising.
        limits: how large a door's drop is here, on each scale.
        lowest: lowest reading since.
        times: its largest drop, in such drops.
        stopped: where a steep fall ended, if it did.
    """

    start_s: float
    base_c: float
    is_rising: bool
    limits: tuple[float, ...]
    lowest: Sample
    times: float = 1.0
    stopped: Sample | None = None

    def has_returned(self, trace: Trace) -> bool:
        """Whether enough of the dip has come back."""
        back = min(s.celsius for s in trace.samples[-2:]) - self.lowest.celsius
        depth = self.base_c - self.lowest.celsius
        least = max(RETURN_C, RETURN_SIGMAS * trace.noise.sigma_c, RETURN_SHARE * depth)
        return back >= least

    def has_stopped(self, trace: Trace) -> bool:
        """Whether a steep fall ended long ago and nothing came back; `lowest` is then its end."""
        if self.stopped is None:
            self.stopped = self._steep_end(trace)
        if self.stopped is None or trace.samples[-1].t_s < self.stopped.t_s + STOPPED_WAIT_S:
            return False
        self.lowest = self.stopped
        return True

    def _steep_end(self, trace: Trace) -> Sample | None:
        now_s = trace.samples[-1].t_s
        rest = trace.between(now_s - STOPPED_S, now_s)
        if self.times < STOPPED_TIMES or len(rest) < 4 or rest[0].t_s < self.start_s + 5.0:
            return None
        fallen = self.base_c - rest[0].celsius
        across_s = (rest[-1].t_s - rest[0].t_s) * math.sqrt(len(rest) / 12)
        slope = line(rest)[2] + 2 * trace.noise.sigma_c / across_s
        if -slope > max(0.0, STOPPED_SHARE * fallen / (rest[0].t_s - self.start_s)):
            return None
        whole = self.base_c - self.lowest.celsius
        return rest[0] if fallen >= STEEP_SHARE * whole else None

    def is_slow(self, trace: Trace) -> bool:
        """Whether it took long and came evenly or late, unlike behind an open door."""
        length_s = self.lowest.t_s - self.start_s
        if length_s <= LONGEST_SLOW_S:
            return False
        early = trace.between(self.start_s - 1.0, self.start_s + length_s / 3)
        early_c = min(s.celsius for s in early)
        return self.base_c - early_c < EARLY_SHARE * (self.base_c - self.lowest.celsius)

    def shut_s(self, trace: Trace, lag_s: float) -> float:
        """When the air itself (the reading without the probe's lag) was lowest."""
        samples = trace.between(self.start_s - 10.0, trace.samples[-1].t_s)
        lowest, at_s = math.inf, self.lowest.t_s
        for i in range(1, len(samples) - 1):
            if not self.start_s < samples[i].t_s <= self.lowest.t_s:
                continue
            near = [s for s in samples if abs(s.t_s - samples[i].t_s) <= 5.0]
            if len(near) < 3:
                near = samples[i - 1 : i + 2]
            t, c, slope = line(near)
            air = c + slope * (samples[i].t_s - t + lag_s)
            if air < lowest:
                lowest, at_s = air, samples[i].t_s
        return at_s


def trend_end(trace: Trace, end_s: float, level_c: float, slope: float) -> Sample:
    """The last sample that still lay on the trend (a rise stops, a fall goes on)."""
    near = max(0.8, 1.5 * trace.noise.sigma_c)
    possible = trace.between(end_s - 20.0, trace.samples[-1].t_s)
    for sample in reversed(possible):
        if sample.celsius >= level_c + min(slope, 0.0) * (sample.t_s - end_s) - near:
            return sample
    return possible[0]
