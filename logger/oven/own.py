"""The drops an oven makes by itself: how fast its air falls, by level and heading.

A thermostat's fall begins at the top of its cycle and slows towards the bottom. At the same level
on the way up there is none. So a drop is compared with those of earlier cycles at this level and
with this heading only; the median over the cycles keeps one with a hidden door from doing harm.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median_low
from typing import NamedTuple

# Peaks of one oven differ by this share of its swing, and by so much in a shallow cycle.
NEAR_SHARE, NEAR_C = 0.2, 2.0
CYCLES = 7
BINS = 20


class Drop(NamedTuple):
    """A drop, with the level and the heading from which the air fell."""

    t_s: float
    drop_c: float
    level_c: float
    is_rising: bool


@dataclass(frozen=True, slots=True)
class _Cycle:
    """The largest drops of one cycle, in `BINS` equal steps of its levels.

    Attributes:
        from_s, to_s: its time.
        low_c, high_c: from which level to which.
        rising, any_way: largest drop of each step, on the way up, and either way.
    """

    from_s: float
    to_s: float
    low_c: float
    high_c: float
    rising: tuple[float, ...]
    any_way: tuple[float, ...]

    @property
    def top_c(self) -> float:
        """Below it a level is not near the peak."""
        return self.high_c - max(NEAR_C, NEAR_SHARE * (self.high_c - self.low_c))

    @classmethod
    def of(cls, from_s: float, to_s: float, drops: Sequence[Drop]) -> _Cycle:
        low_c, high_c = min(d.level_c for d in drops), max(d.level_c for d in drops)
        rising, any_way = [0.0] * BINS, [0.0] * BINS
        for drop in drops:
            i = _bin(drop.level_c, low_c, high_c)
            any_way[i] = max(any_way[i], drop.drop_c)
            if drop.is_rising:
                rising[i] = max(rising[i], drop.drop_c)
        return cls(from_s, to_s, low_c, high_c, tuple(rising), tuple(any_way))

    def largest(self, level_c: float, is_rising: bool) -> float:
        """Largest drop near a level (above the cycle: at its top; below it: at its bottom)."""
        near_c = max(NEAR_C, NEAR_SHARE * (self.high_c - self.low_c))
        level_c = min(self.high_c, max(self.low_c, level_c))
        first = _bin(level_c - near_c, self.low_c, self.high_c)
        last = _bin(level_c + near_c, self.low_c, self.high_c)
        return max((self.rising if is_rising else self.any_way)[first : last + 1])


def _bin(level_c: float, low_c: float, high_c: float) -> int:
    share = (level_c - low_c) / max(high_c - low_c, 1e-9)
    return min(BINS - 1, max(0, int(share * BINS)))


@dataclass(slots=True)
class OwnDrops:
    """The last hour's drops on one scale, and those of ordinary cycles."""

    seen: deque[Drop] = field(default_factory=lambda: deque(maxlen=2000))
    cycles: deque[_Cycle] = field(default_factory=lambda: deque(maxlen=CYCLES))

    def ordinary(self, from_s: float, to_s: float) -> None:
        """The oven ran here by itself: learn from it."""
        drops = [d for d in self.seen if from_s <= d.t_s <= to_s]
        if drops:
            self.cycles.append(_Cycle.of(from_s, to_s, drops))

    def largest(self, level_c: float, is_rising: bool) -> float:
        """The usual largest drop from this level with this heading; 0 where nothing is known."""
        own: Sequence[float] = sorted(c.largest(level_c, is_rising) for c in self.cycles)
        return own[len(own) // 2] if own else 0.0

    def without(self, from_s: float, to_s: float) -> OwnDrops:
        """The same without the cycles that this time has a part in."""
        kept = [c for c in self.cycles if c.to_s < from_s or c.from_s > to_s]
        return OwnDrops(self.seen, deque(kept, maxlen=CYCLES))

    def top_c(self) -> float:
        """Where the oven's own falls begin: from here up a level is near its usual peaks."""
        return median_low(c.top_c for c in self.cycles)

    def middle_c(self) -> float:
        """Half way between the usual lowest and highest level."""
        return median_low((c.low_c + c.high_c) / 2 for c in self.cycles)

    def within(self, from_s: float, to_s: float) -> float:
        """The largest drop in this time."""
        return max((d.drop_c for d in self.seen if from_s <= d.t_s <= to_s), default=0.0)
