"""Doors that a person told of: what goes into or comes out of an oven goes through its door.

A mark makes a smaller dip a door. Where the air shows none (a slow probe, ten seconds, readings
missing), the door was open all the same: it is said at the mark, without length or depth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from logger.oven.air import Trace
from logger.oven.dip import Dip

# People make the mark a little before or after (common practice).
NEAR_S = 90.0
# A dip is over, and known, this long after its mark; a door so near is the mark's.
KNOWN_S = 180.0
REMEMBERED = 4


@dataclass(slots=True)
class Told:
    """The marks, and which of them have found no door yet."""

    _marks: list[float] = field(default_factory=list)
    _open: list[float] = field(default_factory=list)

    def add(self, t_s: float) -> None:
        """A person said that something went in or out."""
        self._marks = [*self._marks[1 - REMEMBERED :], t_s]
        self._open.append(t_s)

    def is_near(self, t_s: float) -> bool:
        """Whether a mark lies near this time."""
        return any(abs(t_s - mark_s) <= NEAR_S for mark_s in self._marks)

    def unseen(self, trace: Trace, doors: Sequence[Dip]) -> list[Dip]:
        """Doors of marks that are `KNOWN_S` old, near which the air showed none.

        Args:
            trace: the air; what was told before its first reading is none of its doors.
            doors: the last doors said.
        """
        now_s = trace.samples[-1].t_s
        out: list[Dip] = []
        for mark_s in [m for m in self._open if m <= now_s - KNOWN_S]:
            self._open.remove(mark_s)
            near = any(d.start_s - NEAR_S <= mark_s <= d.end_s + KNOWN_S for d in [*doors, *out])
            if mark_s > 0 and not near:
                out.append(Dip(mark_s, mark_s, 0.0, mark_s, now_s))
        return out
