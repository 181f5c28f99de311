"""What each line has, and what was last said of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from logger.events import WeighingAddition
from logger.plan import Line, ScaleFacts
from logger.weighing.attribution import following
from logger.weighing.budget import Budget
from logger.weighing.pieces import Blurs, Piece
from logger.weighing.statement import Slot, account, differs, statement, withdrawn


class Accounts:
    """Pieces and the lines they belong to.

    Args:
        lines: the formula's; None without a formula.

    Attributes:
        pieces: in order. One whose line is None, with a formula, was of none: a spoon, taken out.
        slots: what was said of each line.
        current: the open line, last added to or confirmed; None before the first.
        facts: of each scale, by SenML name.
        awaited: the line whose mark waits for its rise, and since when.
        reopened: lines that need more, before the order goes on.
    """

    def __init__(self, lines: tuple[Line, ...] | None) -> None:
        self.lines = lines
        self.pieces: list[Piece] = []
        self.slots: dict[int, Slot] = {}
        self.current: int | None = None
        self.facts: dict[str, ScaleFacts] = {}
        self.awaited: tuple[int, int] | None = None
        self.reopened: set[int] = set()

    def slot(self, index: int) -> Slot:
        """The slot of a line, made when first asked for."""
        return self.slots.setdefault(index, Slot())

    def line(self, index: int) -> Line | None:
        """The formula line of a slot, None without a formula."""
        return None if self.lines is None else self.lines[index]

    def index(self, key: str | None) -> int | None:
        """The slot of the line with this key, None where there is none."""
        if key is None or self.lines is None:
            return None
        return next((i for i, line in enumerate(self.lines) if line.key == key), None)

    def of(self, index: int) -> list[Piece]:
        """The pieces of a slot."""
        return [p for p in self.pieces if p.line == index]

    def total_kg(self, index: int) -> float:
        """Net total of a slot so far."""
        counted = self.slots[index].counted_kg if index in self.slots else 0.0
        return counted + sum(p.mass_kg for p in self.pieces if p.line == index)

    def taken(self, blurs: Blurs) -> frozenset[int]:
        """Lines that have something already, or were confirmed."""
        have = {p.line for p in self.pieces if p.line is not None}
        kept = {i for i in have if abs(self.total_kg(i)) > blurs.of(self.of(i))}
        closed = kept | {i for i, s in self.slots.items() if s.confirmed}
        return frozenset(closed - self.lacking())

    def lacking(self) -> frozenset[int]:
        """Lines that were weighed, and need more of it all the same."""
        if self.lines is None:
            return frozenset()
        return frozenset(i for i in self.reopened if self.lacks(i))

    def lacks(self, index: int) -> bool:
        """Whether a line has less than its tolerance allows."""
        assert self.lines is not None
        lower = self.lines[index].lower_kg
        return lower is not None and self.total_kg(index) < lower

    def upcoming(self, blurs: Blurs) -> int | None:
        """The line to weigh next: the open one while it lacks something, else the next in order."""
        if self.lines is None:
            return None
        current = self.current
        if current is not None and not self.slot(current).left and self.lacks(current):
            return current
        rest = following(self.lines, current, self.taken(blurs), self.lacking())
        return rest[0] if rest else None

    def change(self, lines: Mapping[int, Line]) -> None:
        """Other targets for some lines, from now on; what was attributed so far stays so."""
        assert self.lines is not None
        self.lines = tuple(lines.get(i, line) for i, line in enumerate(self.lines))

    def move(self, pieces: Sequence[Piece], index: int) -> None:
        """These pieces are of another line, a person says."""
        for piece in pieces:
            piece.line = piece.selected = index
        self.current = index

    # What can be said ------------------------------------------------------------------------

    def budget(self, index: int) -> Budget:
        """The uncertainty budget of a slot's total: that of each scale it lies on, combined."""
        return account(self.pieces, index, self.facts)

    def budget_of(self, index: int) -> dict[str, float | None] | None:
        """The components of a slot's budget by name (kg, k = 1); None where it was not weighed."""
        return self.budget(index).to_json() if self.of(index) else None

    def body(self, index: int, moving: bool = False) -> WeighingAddition | None:
        """What is to be said of a slot now; None where there is nothing to say."""
        slot, line = self.slot(index), self.line(index)
        pieces = self.of(index)
        if pieces or slot.confirmed:
            return statement(slot, line, pieces, self.budget(index), moving)
        return None if line is None or slot.said is None else withdrawn(slot, line)

    def say(self, index: int, blurs: Blurs, moving: bool = False) -> list[WeighingAddition]:
        """The slot's body, where it differs from what stands."""
        slot, body = self.slot(index), self.body(index, moving)
        blur_kg = blurs.of(self.of(index))
        if body is None:
            return []
        said = slot.said
        if said is None:
            if not slot.confirmed and abs(self.total_kg(index)) <= blur_kg:
                return []  # all of it was taken back before anything was said
        elif not differs(said, body, blur_kg / 2):
            return []
        if said is not None and slot.event_id is None:
            return []  # its id is not known yet; the next second says it again
        slot.said = body
        return [body]
