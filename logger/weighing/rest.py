"""One rest of the load, as it was found and is refined while it lasts."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(slots=True)
class Rest:
    """One rest of the load; its level is refined while it lasts.

    Attributes:
        level_kg: mean reading.
        start_us: since when the readings agree.
        settled_us: when that was certain.
        noise_kg: standard deviation of the readings.
        count: readings the level is the mean of.
        division_kg: the scale's division meanwhile.
        last_us: time of the last reading at this rest.
        shifted: reached without visible motion.
    """

    level_kg: float
    start_us: int
    settled_us: int
    noise_kg: float
    count: int
    division_kg: float
    last_us: int
    shifted: bool = False

    @property
    def mean_error_kg(self) -> float:
        """Standard deviation of the level, from the noise beyond that of rounding (Sheppard)."""
        # Vibration and hands are not white: count a third of the readings as independent.
        noise2 = max(0.0, self.noise_kg**2 - self.division_kg**2 / 12.0)
        return math.sqrt(noise2 / max(1.0, self.count / 3.0))
