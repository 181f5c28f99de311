"""A temperature probe, as good as a kitchen's are.

Late by its own heat, a little noisy, off by its calibration, and in steps.
"""

from __future__ import annotations

import math
from random import Random


class Probe:
    """First-order lag, offset, noise, and the step of its display.

    Args:
        start_c: what it reads at first, C.
        lag_s: time constant, seconds.
        noise_c: standard deviation of one reading, K.
        offset_c: what it reads too much, K.
        step_c: step of its display, K.
        random: where its noise comes from.
    """

    def __init__(
        self,
        start_c: float,
        *,
        lag_s: float,
        random: Random,
        noise_c: float = 0.05,
        offset_c: float = 0.0,
        step_c: float = 0.1,
    ) -> None:
        self.tip_c = start_c
        self.lag_s = lag_s
        self._random = random
        self._noise_c = noise_c
        self._offset_c = offset_c
        self._step_c = step_c

    def advance(self, seconds: float, around_c: float) -> None:
        """Let the tip follow what is around it; exact for a constant surrounding."""
        share = -math.expm1(-seconds / self.lag_s)
        self.tip_c += (around_c - self.tip_c) * share

    def reading_c(self) -> float:
        """One reading, C, rounded to the step."""
        value = self.tip_c + self._offset_c + self._random.gauss(0.0, self._noise_c)
        return round(value / self._step_c) * self._step_c
