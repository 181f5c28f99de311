"""Turning points of the smoothed air: a peak counts once the air has fallen by a fixed amount."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from logger.oven.air import Sample

# A thermostat swings the air by 10 °C or more (common practice); a slow probe shows six of them,
# a regulated oven ripples by less than this.
REVERSAL_C = 4.0
# Once the swing is known, this share of it is enough, where it stands out of the noise.
REVERSAL_SHARE, SMALLEST_REVERSAL_C, REVERSAL_SIGMAS = 0.45, 1.5, 3.0
KEPT = 40


class Turn(NamedTuple):
    """A turning point, known since `known_s`; `first` where it is only the trace's beginning."""

    is_peak: bool
    t_s: float
    celsius: float
    known_s: float
    first: bool


@dataclass(slots=True)
class Turns:
    """Finds turning points as samples come."""

    found: list[Turn] = field(default_factory=list)
    reversal_c: float = REVERSAL_C
    _low: Sample | None = None
    _high: Sample | None = None
    _begin_s: float = 0.0

    def add(self, smooth: Sample) -> Turn | None:
        """The turn this sample makes known, if any."""
        if self._low is None or self._high is None:
            self._low = self._high = smooth
            self._begin_s = smooth.t_s
            return None
        if smooth.celsius < self._low.celsius:
            self._low = smooth
        if smooth.celsius > self._high.celsius:
            self._high = smooth
        rising = not self.found or not self.found[-1].is_peak
        falling = not self.found or self.found[-1].is_peak
        if rising and self._high.celsius - smooth.celsius >= self.reversal_c:
            return self._turn(True, self._high, smooth)
        if falling and smooth.celsius - self._low.celsius >= self.reversal_c:
            return self._turn(False, self._low, smooth)
        return None

    def cycled(self, swing_c: float, sigma_c: float) -> None:
        """The swing, as shown, is known: a shallow one needs a smaller reversal."""
        least_c = max(SMALLEST_REVERSAL_C, REVERSAL_SIGMAS * sigma_c)
        self.reversal_c = min(REVERSAL_C, max(least_c, REVERSAL_SHARE * swing_c))

    def _turn(self, is_peak: bool, at: Sample, now: Sample) -> Turn:
        first = not self.found and at.t_s - self._begin_s < 30.0
        turn = Turn(is_peak, at.t_s, at.celsius, now.t_s, first)
        self.found.append(turn)
        del self.found[:-KEPT]
        self._low = self._high = now
        return turn
