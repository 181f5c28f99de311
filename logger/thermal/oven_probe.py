"""Whether the core probe is in the cake at all while it bakes.

A tip may hang in the oven's air until the batter has risen over it, or until it is pushed into the
cake; or lie in the room until then. What it reads meanwhile is not the core's.
"""

from __future__ import annotations

from collections import deque
from statistics import median

from logger.thermal.ensemble import Ensemble

# No crumb gets so much hotter than boiling; air that hot for so long is no glitch.
AIR_ABOVE_BOILING_K, AIR_S = 12.0, 20.0
# Until the reading has left where it began, a set probe tells as little as one in the room.
LEAVES_K = 1.5
# A tip just covered is still hot, and is covered by the hottest of the batter.
COVERED_S, RECOVERS_K, LEARNS_AFTER_S = 20.0, 2.0, 60.0
SPIKES = 5  # among so many readings one that is off does not count as a recovery


class OvenProbe:
    """Follows one bake; attributes are read by the follower.

    Attributes:
        is_in_air: the tip hangs in the oven's air.
        is_settling: it has just been covered and has not begun to rise again.
        is_near_top: the batter rose over it (or it was pushed in; that cannot be told).
    """

    def __init__(self) -> None:
        self.is_in_air = False
        self.is_settling = False
        self.is_near_top = False
        self._first_c: float | None = None
        self._air_since_s: float | None = None
        self._covered_since_s: float | None = None
        self._lowest_c = 0.0
        self._lately: deque[float] = deque(maxlen=SPIKES)

    def begin(self, first_c: float | None) -> None:
        """A bake begins with this reading."""
        self.is_in_air = self.is_settling = self.is_near_top = False
        self._first_c = first_c
        self._air_since_s = self._covered_since_s = None

    @property
    def is_waiting(self) -> bool:
        """Whether the reading has not left where it began."""
        return self._first_c is not None

    def is_air(self, t_s: float, celsius: float, e: Ensemble) -> bool:
        """Whether a reading is the oven's air (or may be, for now), or a tip just covered."""
        if celsius > e.boiling_c + AIR_ABOVE_BOILING_K:
            if self._air_since_s is None:
                self._air_since_s = t_s
            if t_s - self._air_since_s >= AIR_S or self.is_in_air:
                self.is_in_air, self.is_settling = True, False
                e.uncovered()
            self._covered_since_s = None
            return True
        self._air_since_s = None
        if not self.is_in_air:
            return False
        if self._covered_since_s is None:
            self._covered_since_s = t_s
        if t_s - self._covered_since_s < COVERED_S:
            return True
        self.is_in_air, self.is_settling, self.is_near_top = False, True, True
        self._first_c, self._lowest_c = None, celsius
        self._lately.clear()
        e.covered()
        return False

    def may_teach(self, t_s: float, celsius: float) -> bool:
        """Whether a sound reading of the cake tells of the core."""
        if self._first_c is not None:
            if abs(celsius - self._first_c) < LEAVES_K:
                return False
            self._first_c = None
        if self.is_settling:
            self._lately.append(celsius)
            lately_c = median(self._lately)
            self._lowest_c = min(self._lowest_c, lately_c)
            self.is_settling = lately_c < self._lowest_c + RECOVERS_K
            return t_s - (self._covered_since_s or t_s) >= LEARNS_AFTER_S
        return True

    def pushed_in(self, e: Ensemble) -> None:
        """The reading jumped away from where it began: now the probe is in the cake."""
        self._first_c = None
        e.pushed_in()
