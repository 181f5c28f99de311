"""What is said of the lines, and when: not before a line is left, or its verdict stands."""

from __future__ import annotations

from logger.events import Body, Event, WeighingAddition
from logger.weighing.ledger import Ledger
from logger.weighing.scales import Scales
from logger.weighing.settling import S

LEFT_ALONE_US = 30 * S  # an under line is decided after so long a rest


class Speaker:
    """Says lines, and learns the ids of what it said.

    Args:
        ledger: what the lines have.
        scales: of whose divisions a change must be to be said again.
    """

    def __init__(self, ledger: Ledger, scales: Scales) -> None:
        self.ledger = ledger
        self._scales = scales
        self._waiting: list[tuple[WeighingAddition, int]] = []

    def heard(self, event: Event) -> None:
        """An event came of what a room said: learn its id."""
        if isinstance(event.body, WeighingAddition):
            for entry in self._waiting:
                if entry[0] == event.body:
                    self.ledger.slot(entry[1]).event_id = event.id
                    self._waiting.remove(entry)
                    break

    def say(self, index: int, moving: bool = False) -> list[Body]:
        """Say a line, where that differs from what stands."""
        out: list[Body] = []
        for body in self.ledger.say(index, self._scales.blurs, moving):
            self._waiting.append((body, index))
            out.append(body)
        return out

    def speak(self, index: int, resting_us: int) -> list[Body]:
        """Say the line being filled, if what it has can be said already."""
        slot, body = self.ledger.slot(index), self.ledger.body(index)
        if body is None:
            return []
        unsaid = not slot.left and slot.said is None
        if unsaid and body.verdict == "under" and resting_us < LEFT_ALONE_US:
            return []
        return self.say(index)

    def leave(self, index: int) -> list[Body]:
        """A line is no longer being filled: whatever it has can be said."""
        self.ledger.slot(index).left = True
        return self.say(index)

    def leave_current(self) -> list[Body]:
        """The open line, if one is, is no longer being filled."""
        current = self.ledger.current
        return [] if current is None else self.leave(current)

    def leave_all(self) -> list[Body]:
        """Nothing is weighed any more."""
        out: list[Body] = []
        for index in sorted({p.line for p in self.ledger.pieces if p.line is not None}):
            out += self.leave(index)
        return out

    def say_left(self) -> list[Body]:
        """Say the lines that another one has followed."""
        out: list[Body] = []
        for index in sorted(self.ledger.slots):
            if self.ledger.slot(index).left or not self.ledger.of(index):
                out += self.say(index)
        return out
