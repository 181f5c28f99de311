"""Which line each piece is of, found when it comes to rest and put right by what comes later."""

from __future__ import annotations

from logger.plan import Line
from logger.weighing.accounts import Accounts
from logger.weighing.attribution import (
    CONTINUES_US,
    Book,
    Place,
    is_begun,
    is_nearer,
    is_under,
    marks_in_use,
    opened_by_mark,
    opened_by_tare,
    place,
)
from logger.weighing.hindsight import give_surplus, make_room, passed_over, slips_over
from logger.weighing.pieces import Blurs, Piece
from logger.weighing.settling import S

PINCHES_US = 5 * S  # a spoon is filled again within; drift takes longer over two divisions


class Ledger(Accounts):
    """Finds the line of each piece; arguments and attributes as `Accounts`."""

    def __init__(self, lines: tuple[Line, ...] | None) -> None:
        super().__init__(lines)
        self._changed = False  # tared or exchanged since the last rise that is of some line
        self._before: tuple[int | None, bool] = (None, False)  # the two, before the last piece
        self._opened_after: int | None = None  # what was open before the open line
        self._was_trifle = False  # the last piece, when its line was found

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
        if piece.mass_kg < 0 and has_kg + piece.mass_kg < -1.5 * blurs.of([piece]):
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
            give_surplus(self, piece, placed.line, blurs)
            self._opened_after = self.current
        piece.line = self.current = placed.line
        self._changed = False
        self._was_trifle = trifle
        self.pieces.append(piece)
        if piece.selected is not None:
            make_room(self, placed.line, blurs)
        for index in {p.line for p in self.pieces if p.line is not None}:
            self.slot(index).left = index != placed.line
        if piece.mass_kg < 0:
            self._void(blurs)
        if piece.selected is None and (home := passed_over(self, blurs)) is not None:
            self._opened_after, self.current = self.current, home
            self.slot(placed.line).left, self.slot(home).left = True, False

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
        if piece.selected is not None or any(p.scale != piece.scale for p in own):
            return False
        assert self.lines is not None
        assert self.current is not None
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
