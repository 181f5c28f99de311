"""What each line has, and what was last said of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from logger.events import WeighingAddition
from logger.plan import Line, ScaleFacts
from logger.weighing.attribution import WINDOW, attribute, successors
from logger.weighing.budget import Budget
from logger.weighing.pieces import Blurs, Piece
from logger.weighing.statement import Slot, account, statement, withdrawn


class Ledger:
    """Pieces and the lines they belong to.

    Args:
        lines: the formula's; None without a formula.
    """

    def __init__(self, lines: tuple[Line, ...] | None) -> None:
        self.lines = lines
        self.pieces: list[Piece] = []
        self.slots: dict[int, Slot] = {}
        self.current: int | None = None
        self.facts: dict[str, ScaleFacts] = {}  # of each scale, by SenML name
        self.awaited: tuple[int, int] | None = None  # line whose mark waits for its rise, since
        self._frozen = 0
        self._resume: int | None = None  # the line after which the order goes on
        self.reopened: set[int] = set()  # lines that need more, before the order goes on

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
        return frozenset(i for i in self.reopened if self._lacks(i, self.total_kg(i)))

    def _lacks(self, index: int, total_kg: float) -> bool:
        assert self.lines is not None
        lower = self.lines[index].lower_kg
        return lower is not None and total_kg < lower

    def upcoming(self, blurs: Blurs) -> int | None:
        """The line to weigh next: the open one while it lacks something, else the next in order."""
        if self.lines is None:
            return None
        current = self.current
        if current is not None and not self.slot(current).left:
            lower = self.lines[current].lower_kg
            if lower is not None and self.total_kg(current) < lower:
                return current
        following = successors(self.lines, current, self.taken(blurs), self.lacking())
        return following[0][0] if following else None

    def add(self, piece: Piece, blurs: Blurs) -> None:
        """A piece came to rest: find the lines of the last pieces anew."""
        self.pieces.append(piece)
        if self.lines is None:
            self._add_without_formula(piece)
            return
        self.renew(blurs)

    def renew(self, blurs: Blurs) -> None:
        """Find the lines of the last pieces anew: the last of them is new, or grew."""
        tail = self.pieces[self._start() :]
        if self.lines is None or not tail:
            return
        chosen = self._attribute(tail, blurs)
        for one, line in zip(tail, chosen, strict=True):
            one.line = line
        self.current = tail[-1].line
        for index in {p.line for p in self.pieces if p.line is not None}:
            self.slot(index).left = index != self.current

    def provisional(self, piece: Piece, blurs: Blurs) -> int | None:
        """The line a piece that still goes on seems to belong to."""
        if self.lines is None:
            return None
        return self._attribute([*self.pieces[self._start() :], piece], blurs)[-1]

    def remove(self, piece: Piece) -> None:
        """It was no addition after all."""
        self.pieces.remove(piece)
        self._frozen = min(self._frozen, len(self.pieces))
        self.current = self.pieces[-1].line if self.pieces else None

    def freeze(self, resume: int | None = None) -> None:
        """What was attributed so far stays so; the order goes on after `resume`."""
        self._frozen = len(self.pieces)
        self._resume = resume

    def change(self, lines: Mapping[int, Line]) -> None:
        """Other targets for some lines, from now on; what was attributed so far stays so."""
        assert self.lines is not None
        self.lines = tuple(lines.get(i, line) for i, line in enumerate(self.lines))
        self.freeze(self.current)

    def move(self, pieces: Sequence[Piece], index: int) -> None:
        """These pieces are of another line, a person says."""
        for piece in pieces:
            piece.line = piece.selected = index
        self.freeze(index)
        self.current = index

    def _add_without_formula(self, piece: Piece) -> None:
        numbers = [p.line for p in self.pieces if p.line is not None]
        if piece.mass_kg < 0 and numbers:
            piece.line = numbers[-1]
        else:
            piece.line = max(numbers, default=-1) + 1
        self.current = piece.line

    def _start(self) -> int:
        return max(self._frozen, len(self.pieces) - WINDOW)

    def _attribute(self, tail: Sequence[Piece], blurs: Blurs) -> list[int]:
        assert self.lines is not None
        head = self.pieces[: self._start()]
        totals = [
            self.slots[i].counted_kg if i in self.slots else 0.0 for i in range(len(self.lines))
        ]
        blur = [0.0] * len(self.lines)
        for piece in head:
            if piece.line is not None:
                totals[piece.line] += piece.mass_kg
                blur[piece.line] = max(blur[piece.line], blurs.of([piece]))
        current = head[-1].line if head else None
        if self._resume is not None and self._start() == self._frozen:
            current = self._resume
        taken = {i for i, t in enumerate(totals) if abs(t) > blur[i]}
        taken |= {i for i, s in self.slots.items() if s.confirmed}
        lacking = frozenset(i for i in self.reopened if self._lacks(i, totals[i]))
        return attribute(
            self.lines,
            tail,
            before=head[-1] if head else None,
            current=current,
            totals_kg=totals,
            taken=frozenset(taken - lacking),
            lacking=lacking,
            blurs=blurs,
            lines_marked=self._lines_marked(),
        )

    def _lines_marked(self) -> int:
        """How many lines were marked so far, where every one was; else 0."""
        marked = unmarked = 0
        before: int | None = None
        last = max((i for i, p in enumerate(self.pieces) if p.selected is not None), default=-1)
        for piece in self.pieces[: last + 1]:  # what came after it is what is being asked
            if piece.line != before:
                if piece.selected is None:
                    unmarked += 1
                else:
                    marked += 1
            before = piece.line
        return 0 if unmarked else marked

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
        elif (
            said.verdict == body.verdict
            and said.target_kg == body.target_kg
            and said.scale == body.scale
            and not _moved(said.mass_kg, body.mass_kg, blur_kg / 2)
        ):
            return []
        if said is not None and slot.event_id is None:
            return []  # its id is not known yet; the next second says it again
        slot.said = body
        return [body]


def _moved(before: float | None, now: float | None, by: float) -> bool:
    if before is None or now is None:
        return before is not now
    return abs(now - before) > by
