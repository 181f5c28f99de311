"""Dips that wait until the falls which the oven makes by itself are known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

from logger.oven.dip import Dip

# Dips this much alike in depth, level (in depths), length and distance are the thermostat's.
ALIKE_DEPTH, ALIKE_LEVEL, ALIKE_LENGTH, ALIKE_APART = 0.25, 0.3, 0.4, 0.35
# What waited longer than this is forgotten.
LONGEST_WAIT_S = 2400.0
REMEMBERED = 12


@dataclass(frozen=True, slots=True)
class Candidate:
    """A dip that is over, with what is needed to judge it later.

    Attributes:
        level_c, is_rising: where the air was heading before.
        high_c: highest reading from which it fell.
    """

    dip: Dip
    level_c: float
    high_c: float
    is_rising: bool

    def is_like(self, other: Candidate) -> bool:
        """Whether both may be the same thermostat's falls."""
        depth = max(self.dip.depth_c, other.dip.depth_c)
        lengths = [c.dip.lowest_s - c.dip.start_s for c in (self, other)]
        return (
            abs(self.dip.depth_c - other.dip.depth_c) <= ALIKE_DEPTH * depth
            and abs(self.level_c - other.level_c) <= ALIKE_LEVEL * depth
            and abs(lengths[0] - lengths[1]) <= ALIKE_LENGTH * max(lengths)
        )


@dataclass(slots=True)
class Waiting:
    """What waits, and what was seen lately."""

    dips: list[Candidate] = field(default_factory=list)
    _seen: list[Candidate] = field(default_factory=list)

    def repeats(self, found: Candidate) -> bool:
        """Whether this dip and two before it are alike, at equal distances: those wait no more."""
        alike = [c for c in self._seen if c.is_like(found)] + [found]
        self._seen = [*self._seen[1 - REMEMBERED :], found]
        if len(alike) < 3:
            return False
        first, second = (b.dip.start_s - a.dip.start_s for a, b in pairwise(alike[-3:]))
        if abs(first - second) > ALIKE_APART * max(first, second):
            return False
        self.dips = [c for c in self.dips if not c.is_like(found)]
        return True

    def add(self, found: Candidate) -> None:
        """Keep it until it can be judged."""
        oldest_s = found.dip.start_s - LONGEST_WAIT_S
        self.dips = [c for c in self.dips if c.dip.start_s > oldest_s] + [found]

    def judged(self, is_door: Callable[[Candidate], bool | None]) -> list[Dip]:
        """The doors among them; those of which nothing can be said yet (None) wait on."""
        answers = [(c, is_door(c)) for c in self.dips]
        self.dips = [c for c, answer in answers if answer is None]
        return [c.dip for c, answer in answers if answer]
