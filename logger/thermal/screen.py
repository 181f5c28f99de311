"""Which core readings can be crumb: glitches and jumps are kept from everything that concludes.

Crumb cannot change by several kelvins within seconds; a probe that is pulled out, pushed in,
unplugged or disturbed does. A reading that jumps is held back. Back at the old level soon, it was
a glitch; staying at another level, the probe has moved; back after readings of its way through the
air, it was pulled out and pushed in again.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from enum import Enum

# Thin cakes in a hot oven heat their core by at most 8 K a minute; a mug of water loses 4.
JUMP_K = 3.0
FASTEST_K_PER_S = 0.12
LONGEST_ALLOWANCE_S = 200.0
WINDOW_S = 20.0
STAYS_S = 25.0
LEVEL_K = 3.0
GLITCH_S, CALM_K = 10.0, 0.3
# A glitch is a reading or two, or one error value over and over; a probe in the air is on its way.
AWAY_READINGS = 3
GLITCHES_C = (85.0, 0.0, 127.9375, -127.0)  # power-on and error values of common sensors


class Verdict(Enum):
    """What a reading is taken for."""

    SOUND = "sound"
    HELD = "held back"
    MOVED = "another level"
    BACK = "back from elsewhere"


@dataclass(slots=True)
class Screen:
    """Judges the readings of one core channel in order.

    Attributes:
        recent: the last sound readings.
        held: what is held back of the newest level.
        last: the last reading.
        doubt_since_s: since when readings are held back.
        away: those held back since then that are at another level; of many the lowest, the highest
            and one between, so that a channel that flickers for hours takes no more memory.
    """

    recent: deque[tuple[float, float]] = field(default_factory=deque)
    held: list[tuple[float, float]] = field(default_factory=list)
    last: tuple[float, float] | None = None
    doubt_since_s: float | None = None
    away: list[float] = field(default_factory=list)

    def judge(self, t_s: float, celsius: float) -> Verdict:
        """What a reading is.

        SOUND: use it. HELD: do not (yet). MOVED: this level stays, the old one is gone. BACK: use
        it; the probe was out in the air, and is hardly in the same place.
        """
        if not -60.0 <= celsius <= 320.0:
            return Verdict.HELD
        if not self.recent and not self.held and celsius in GLITCHES_C:
            return Verdict.HELD
        before, self.last = self.last, (t_s, celsius)
        is_near = not self.recent or self._near(t_s, celsius)
        if not self.recent or (is_near and not self._returning(before, t_s)):
            was_away = self._was_away(t_s)
            self.held.clear()
            self.away.clear()
            self.doubt_since_s = None
            self._keep(t_s, celsius)
            return Verdict.BACK if was_away else Verdict.SOUND
        if self.doubt_since_s is None:
            self.doubt_since_s = t_s
        self.held.append((t_s, celsius))
        if not is_near:
            self.away = sorted([*self.away, celsius])
            if len(self.away) > AWAY_READINGS:
                del self.away[1]
        # The newest stretch of what is held back, as long as it stays on one level.
        start = len(self.held) - 1
        while start > 0 and abs(self.held[start - 1][1] - celsius) <= (
            LEVEL_K + FASTEST_K_PER_S * (t_s - self.held[start - 1][0])
        ):
            start -= 1
        self.held = self.held[start:]
        if len(self.held) >= 2 and t_s - self.held[0][0] >= STAYS_S and self._calm():
            self.expect_anything()
            self._keep(t_s, celsius)
            return Verdict.MOVED
        return Verdict.HELD

    def expect_anything(self) -> None:
        """The probe was said to be moved: the next level is as good as any."""
        self.recent.clear()
        self.held.clear()
        self.away.clear()
        self.doubt_since_s = None

    def _was_away(self, t_s: float) -> bool:
        """Whether what was held back is a probe in another place, not a glitch or two."""
        if self.doubt_since_s is None or t_s - self.doubt_since_s <= GLITCH_S:
            return False
        return len(self.away) >= AWAY_READINGS and self.away[-1] - self.away[0] > CALM_K

    def _returning(self, before: tuple[float, float] | None, t_s: float) -> bool:
        """After a longer doubt: whether the reading still runs back, as a probe pushed in does."""
        if before is None or self.last is None or self.doubt_since_s is None:
            return False
        dt = t_s - before[0]
        if t_s - self.doubt_since_s <= GLITCH_S or dt > GLITCH_S:
            return False
        return abs(self.last[1] - before[1]) > CALM_K + FASTEST_K_PER_S * dt

    def _keep(self, t_s: float, celsius: float) -> None:
        self.recent.append((t_s, celsius))
        while len(self.recent) > 1 and t_s - self.recent[0][0] > WINDOW_S:
            self.recent.popleft()

    def _near(self, t_s: float, celsius: float) -> bool:
        for t, v in (self.recent[0], self.recent[-1]):
            allowance = min(t_s - t, LONGEST_ALLOWANCE_S)
            if abs(celsius - v) > JUMP_K + FASTEST_K_PER_S * allowance:
                return False
        return True

    def _calm(self) -> bool:
        """Whether the last `WINDOW_S` of what is held back are one level."""
        t_end = self.held[-1][0]
        values = [v for t, v in self.held if t_end - t <= WINDOW_S]
        return max(values) - min(values) <= LEVEL_K
