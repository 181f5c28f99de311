"""The air probe's lag, taken as of first order.

A cycle of period P is shown smaller by sqrt(1 + (2 pi lag / P)^2) and later; its mean is right. How
slow the probe is cannot be seen in a cycle; what comes back fast after a door was closed bounds it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from logger.oven.air import Trace, line

# Probes from a bare thermocouple (5 s) to a thick sheath in still air (60 s) are met (common
# practice, no source). 27 s keeps the swing of ten-minute cycles within 15 % for all of them, and
# that of five-minute cycles up to 45 s (computed). The spread is that of the logarithm.
PRIOR_S = 27.0
PRIOR_SPREAD = 0.55
SHORTEST_S, LONGEST_S = 3.0, 60.0
# The air itself needs about this long to take up the walls' heat again once the door is shut, and
# the door's return says no more than within a factor (both first values, no source).
AIR_RETURN_S = 12.0
# The return is looked at over two steps of this length from the lowest reading on.
STEP_S = 25.0
NEAR_S = 8.0
RETURN_S = 2 * STEP_S + NEAR_S
RETURN_SPREAD = 0.45


@dataclass(slots=True)
class ProbeLag:
    """The present estimate, in seconds."""

    seconds: float = PRIOR_S
    _seen: list[float] = field(default_factory=list)

    def door(self, trace: Trace, lowest_s: float) -> None:
        """Learn from the return after a door; `lowest_s` is when the reading was lowest.

        Two steps of an exponential return, equally long, differ by a constant ratio.
        """
        sigma_c = trace.noise.sigma_c
        marks = []
        for i in range(3):
            centre_s = lowest_s + i * STEP_S
            near = trace.between(centre_s - NEAR_S, centre_s + NEAR_S)
            if len(near) < 2:
                return
            t, c, slope = line(near)
            marks.append(c + slope * (centre_s - t))
        first, second = marks[1] - marks[0], marks[2] - marks[1]
        if first < max(2.0, 4 * sigma_c) or second <= 0 or first <= 1.1 * second:
            return
        together_s = STEP_S / math.log(first / second)
        alone_s = math.sqrt(max(together_s**2 - AIR_RETURN_S**2, SHORTEST_S**2))
        self._seen.append(min(LONGEST_S, max(SHORTEST_S, alone_s)))
        logs = sorted(math.log(s) for s in self._seen)
        middle = logs[(len(logs) - 1) // 2]  # the lower middle: a slow oven only looks slower
        weight = 1 / RETURN_SPREAD**2
        prior = 1 / PRIOR_SPREAD**2
        learnt_s = math.exp((prior * math.log(PRIOR_S) + weight * middle) / (prior + weight))
        # Walls that return slowly look like a slow probe: a door can only say that it is fast.
        self.seconds = min(PRIOR_S, learnt_s)

    def swing_factor(self, period_s: float) -> float:
        """By how much the air swings more than the probe shows.

        >>> round(ProbeLag(30.0).swing_factor(300.0), 3)
        1.181
        """
        return math.sqrt(1 + (2 * math.pi * self.seconds / period_s) ** 2)

    def delay_s(self, period_s: float) -> float:
        """By how much the probe shows a cycle of this period too late."""
        omega = 2 * math.pi / period_s
        return math.atan(omega * self.seconds) / omega
