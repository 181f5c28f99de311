"""What each line has, and what was last said of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import takewhile

from logger.events import WeighingAddition
from logger.plan import Line, ScaleFacts
from logger.weighing.attribution import (
    CONTINUES_US,
    Book,
    Place,
    following,
    is_begun,
    is_nearer,
    is_under,
    marks_in_use,
    opened_by_mark,
    opened_by_tare,
    place,
)
from logger.weighing.budget import Budget
from logger.weighing.hindsight import is_over, is_right, slips_over, surplus
from logger.weighing.pieces import Blurs, Piece
from logger.weighing.settling import S
from logger.weighing.statement import Slot, account, differs, statement, withdrawn

PINCHES_US = 5 * S  # a spoon is filled again within; drift takes longer over two divisions


class Ledger:
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
        self._changed = False  # tared or exchanged since the last rise that is of some line
        self._before: tuple[int | None, bool] = (None, False)  # the two, before the last piece
        self._opened_after: int | None = None  # what was open before the open line
        self._was_trifle = False  # the last piece, when its line was found

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

    def add(self, piece: Piece, blurs: Blurs) -> None:
        """A piece came to rest: find its line."""
        self._before = self.current, self._changed
        if self.lines is None:
            self._add_without_formula(piece)
            self.pieces.append(piece)
            return
        self._add(piece, blurs)

    def renew(self, piece: Piece, blurs: Blurs) -> bool:
        """The last piece grew: it may be more than a trifle now. Whether its line is another."""
        if self.lines is None or piece is not self.pieces[-1] or piece.is_trifle:
            return False
        line = piece.line
        if not self._was_trifle or line is None or line != self.current or self.slot(line).left:
            return False  # what was left stays so
        self.pieces.pop()
        piece.line = None
        self.current, self._changed = self._before
        self._add(piece, blurs)
        return piece.line != line

    def provisional(self, piece: Piece, blurs: Blurs) -> int | None:
        """The line a piece that still goes on seems to belong to."""
        return None if self.lines is None else self._place(piece, blurs).line

    def remove(self, piece: Piece) -> None:
        """The last piece was no addition after all."""
        self.pieces.remove(piece)
        self.current, self._changed = self._before

    def confirm(self, index: int) -> None:
        """A person decides a line; the order goes on after it."""
        self.slot(index).confirmed = self.slot(index).left = True
        self.current, self._changed = index, True

    def change(self, lines: Mapping[int, Line]) -> None:
        """Other targets for some lines, from now on; what was attributed so far stays so."""
        assert self.lines is not None
        self.lines = tuple(lines.get(i, line) for i, line in enumerate(self.lines))

    def move(self, pieces: Sequence[Piece], index: int) -> None:
        """These pieces are of another line, a person says."""
        for piece in pieces:
            piece.line = piece.selected = index
        self.current = index

    def _add_without_formula(self, piece: Piece) -> None:
        numbers = [p.line for p in self.pieces if p.line is not None]
        if piece.mass_kg < 0 and numbers:
            piece.line = numbers[-1]
        else:
            piece.line = max(numbers, default=-1) + 1
        self.current = piece.line

    def _add(self, piece: Piece, blurs: Blurs) -> None:
        of = self.current if piece.selected is None else piece.selected
        has_kg = 0.0 if of is None else self.total_kg(of)
        if piece.mass_kg < 0 and self._was_a_hand(piece, blurs):
            return
        if piece.mass_kg < 0 and has_kg + piece.mass_kg < -blurs.of([piece]):
            self.pieces.append(piece)  # more than the line has: no take-back of anything
            self._changed = self._changed or piece.tared
            return
        placed, trifle = self._place(piece, blurs), self._is_drift(piece)
        if placed.earlier is not None:
            for earlier in self._movable():
                earlier.line = placed.earlier
        elif piece.selected is not None:
            self._hear_late_mark(placed.line)
        elif placed.line != self.current:
            self._bring_trifle(piece, placed.line)
        if placed.line != self.current:
            self._give_surplus(piece, placed.line, blurs)
            self._opened_after = self.current
        piece.line = self.current = placed.line
        self._changed = False
        self._was_trifle = trifle
        self.pieces.append(piece)
        if piece.selected is not None:
            self._make_room(placed.line, blurs)
        for index in {p.line for p in self.pieces if p.line is not None}:
            self.slot(index).left = index != placed.line
        if piece.mass_kg < 0:
            self._void(blurs)

    def _place(self, piece: Piece, blurs: Blurs) -> Place:
        assert self.lines is not None
        current, last = self.current, self.pieces[-1] if self.pieces else None
        continues = (
            last is not None
            and last.line == current
            and not self._was_trifle
            and last.mass_kg > 0
            and piece.start_us - last.ended_us < CONTINUES_US
        )
        book = Book(
            self.lines,
            totals_kg=[self.total_kg(i) for i in range(len(self.lines))],
            taken=self.taken(blurs),
            lacking=self.lacking(),
            open=current,
            confirmed=current is not None and self.slot(current).confirmed,
            marks_in_use=marks_in_use(self.pieces),
            movable_kg=sum(p.mass_kg for p in self._movable()),
            before=self._tared_before(),
            tares=opened_by_tare(self.pieces),
        )
        return place(
            book,
            piece,
            trifle=self._is_drift(piece),
            changed=piece.tared or self._changed,
            continues=continues,
            moved=last is not None and last.scale != piece.scale,
            blur_kg=blurs.of([piece, *([] if current is None else self.of(current))]),
        )

    def _is_drift(self, piece: Piece) -> bool:
        """Whether it is a trifle, and not one of several in a row, as pinches are."""
        if not piece.is_trifle or not self._was_trifle:
            return piece.is_trifle
        last = self.pieces[-1]
        return last.mass_kg <= 0 or piece.start_us - last.ended_us > PINCHES_US

    def _hear_late_mark(self, line: int) -> None:
        """The order opened this line, and only now comes its mark, as of all lines before it.

        A mark says what comes next: what came before it was still of the line before. So it was
        where the line was hardly begun.
        """
        *earlier, _ = opened_by_mark(self.pieces) or [False]
        if line != self.current or self._opened_after is None:
            return
        assert self.lines is not None
        own = self._movable()
        if (earlier and all(earlier)) or not is_begun(self.lines[line], self.total_kg(line), 0.0):
            for piece in own:
                piece.line = self._opened_after

    def _movable(self, said: bool = False) -> list[Piece]:
        """Pieces of the open line, where the order opened it and (or `said`) nothing was said."""
        current = self.current
        if current is None or (self.slot(current).said is not None and not said):
            return []
        own = self.of(current)
        unsure = not self.slot(current).confirmed and all(p.selected is None for p in own)
        return own if unsure and own == self.pieces[-len(own) :] else []

    def _bring_trifle(self, piece: Piece, line: int) -> None:
        """What was no more than drift is of the rise after it, if that follows the closer."""
        if len(self.pieces) > 1 and self._was_trifle and self.pieces[-1].line == self.current:
            last, before = self.pieces[-1], self.pieces[-2]
            if before.line == last.line and is_nearer(last, before, piece):
                last.line = line

    def _give_surplus(self, piece: Piece, line: int, blurs: Blurs) -> None:
        """What came after the open line was right is of another, where another is opened."""
        current = self.current
        if current is None or self.slot(current).confirmed:
            return
        assert self.lines is not None
        own = self.of(current)
        blur_kg = blurs.of([piece, *own])
        given = surplus(self.lines[current], own, blur_kg)
        if not given or self.pieces[-1] is not given[-1]:
            return
        kg = sum(p.mass_kg for p in given)
        passed = [i for i in range(current + 1, line) if i not in self.taken(blurs)]
        home = next((i for i in passed if is_right(self.lines[i], kg, blur_kg)), None)
        if home is None and piece.selected is None and self._holds(line, kg + piece.mass_kg, blur_kg):
            if slips_over(self.lines[current], self.total_kg(current), blur_kg):
                home = line
        for earlier in given if home is not None else ():
            earlier.line = home

    def _make_room(self, index: int, blurs: Blurs) -> None:
        """A mark says that a line comes only now: what the order gave it before was another's.

        So it is where that meets another line, or where the two together are too much.
        """
        assert self.lines is not None
        own = self.of(index)
        given = list(takewhile(lambda p: p.selected is None, own))
        kg, total_kg = sum(p.mass_kg for p in given), self.total_kg(index)
        blur_kg = blurs.of(own)
        line = self.lines[index]
        if abs(kg) <= blur_kg or self.slot(index).confirmed or len(given) == len(own):
            return
        too_much = is_over(line, total_kg, blur_kg) and not is_over(line, total_kg - kg, blur_kg)
        if not too_much and is_right(line, kg, blur_kg):
            return
        home = self._home(index, kg, blurs)
        if home is not None:
            for piece in given:
                piece.line = home
            self.slot(home).left = True

    def _home(self, index: int, mass_kg: float, blurs: Blurs) -> int | None:
        """Another line that would have what it asks for with so much more."""
        assert self.lines is not None
        blur_kg = blurs.widest_kg
        closed = self.taken(blurs)
        for other, line in enumerate(self.lines):
            total_kg = self.total_kg(other)
            free = other not in closed or is_under(line, total_kg, blur_kg)
            if other != index and free and is_right(line, total_kg + mass_kg, blur_kg):
                return other
        return None

    def _holds(self, index: int, mass_kg: float, blur_kg: float) -> bool:
        assert self.lines is not None
        return not slips_over(self.lines[index], self.total_kg(index) + mass_kg, blur_kg)

    def _tared_before(self) -> int | None:
        """The line before the open one, where a tare opened that and none opened this."""
        before, own = self._opened_after, self._movable()
        if before is None or not own or own[0].tared:
            return None
        earlier = self.of(before)
        return before if earlier and earlier[0].tared else None

    def _void(self, blurs: Blurs) -> None:
        """All of what the order gave to a line was taken back: a spoon, not an ingredient."""
        own = self._movable(said=True)  # what was said of it is withdrawn
        if not own or abs(sum(p.mass_kg for p in own)) > 1.5 * blurs.of(own):
            return
        for piece in own:
            piece.line = None
        self.current = self._opened_after
        self._changed = any(p.tared for p in own)

    def _was_a_hand(self, piece: Piece, blurs: Blurs) -> bool:
        """Nobody takes back what a line still lacks: it was a hand, or a spoon, that lay there.

        What stays of it, or was taken with it, is of the line before.
        """
        before, own = self._opened_after, self._movable(said=True)
        if before is None or not own or self.slot(before).confirmed:
            return False
        assert self.lines is not None and self.current is not None
        blur_kg = blurs.of([*own, piece])
        given_kg = sum(p.mass_kg for p in own)
        net_kg = given_kg + piece.mass_kg
        after_kg = self.total_kg(before) + net_kg
        lacks = is_under(self.lines[self.current], given_kg, blur_kg)
        if not lacks or abs(net_kg) <= 1.5 * blur_kg or 2 * net_kg > given_kg:
            return False
        if after_kg < -blur_kg or slips_over(self.lines[before], after_kg, blur_kg):
            return False
        for one in (*own, piece):
            one.line = before
        self.pieces.append(piece)
        self.current, self._changed, self._was_trifle = before, False, False
        self.slot(before).left = False
        return True

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
