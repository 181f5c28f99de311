"""Which line of the formula does each rise belong to?

Every rise is decided once, when it has come to rest, by this table; its first row that applies
counts. `Changed`: the scale was tared at rest, or its container exchanged, since the rise before.
`Under`: short by more than the tolerance and by more than a division; else a line is `decided`.

    the rise                                       its line
    ---------------------------------------------  ---------------------------------------------
    1  begins after a `line` mark not used yet     the marked one
    2  is a take-back                              the open one; no line's, if it has not so much
    3  is no more than drift, nothing changed      the open one; with the next rise if that opens
                                                   a line and follows it the closer
    4  goes on within a second, nothing changed    the open one: no other bag is at hand so soon
    5  marks in use, and nothing changed           the open one: a mark holds until the next mark
    6  marks in use, changed, open one under       the open one, likewise
    7  open one under, and nothing changed         the open one
    8  open one hardly begun (under a tenth)       the open one: it was drift, or a first pinch
    9  otherwise                                   the next in the formula's order

Rows 5 to 9 give way where the amount would leave their line over by more than a slip and is what
a later one asks for, alone or with earlier rises that nobody heard of yet; or where it is grossly
too much (in row 6: over by more than a slip, for a mark may be forgotten, but nobody tares to pour
too much of the same), to the nearest line that could hold it. Else an over-pour is the line's own.

What the order alone gave a line that nobody heard of yet may prove to be another's: after a tare,
where that meets another line or is far too little; see also `logger.weighing.hindsight`.

Where all that the order gave to a line is taken back, it was of none (a spoon, a hand): what was
said of it is withdrawn, and the line before is open again.

Marks are in use while every line that was opened since the first mark was opened by one. In a mixed
session, where some lines are marked and some are not, a mark says what the next rise is, and
the order of the formula goes on from there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from logger.plan import Line
from logger.weighing.pieces import Piece

MOST_SKIPPED = 3
CONTINUES_US = 600_000  # after a rest was found: about a second after the rise, in which nobody
# puts one bag down and pours from another (common practice)
SLIP_KG = 0.005  # one teaspoon of powder too many (common practice)
SLIP_DIVISIONS = 4  # the display steps so often before a hand has stopped
SLIP_SHARE = 0.1
BEGUN_SHARE = 0.1


@dataclass(frozen=True, slots=True)
class Book:
    """What the lines have when a rise comes.

    Attributes:
        lines: the formula's.
        totals_kg: what each has.
        taken: lines that have something, or were confirmed.
        lacking: lines that have something and need more, before the order goes on.
        open: the line last added to, or confirmed; None before the first.
        confirmed: the open one was confirmed.
        marks_in_use: see above.
        movable_kg: what the open line has of rises that may yet prove to be another's: all that it
            has, given by the order alone.
        before: the line that was open before it, where a tare opened that and none opened this.
        tares: each of its lines, of which there are several, was opened by a tare.
    """

    lines: Sequence[Line]
    totals_kg: Sequence[float]
    taken: frozenset[int]
    lacking: frozenset[int]
    open: int | None
    confirmed: bool = False
    marks_in_use: bool = False
    movable_kg: float = 0.0
    before: int | None = None
    tares: bool = False


@dataclass(frozen=True, slots=True)
class Place:
    """The line of a rise.

    Attributes:
        line: index of the line.
        earlier: the line that the movable rises of the line that was open prove to be of; None
            where they stay.
    """

    line: int
    earlier: int | None = None


def following(
    lines: Sequence[Line], line: int | None, taken: frozenset[int], lacking: frozenset[int]
) -> list[int]:
    """The lines that may come after `line`, in the order of their turn.

    Those that lack something come first, then the others of its own formula; no more than a few
    weighed ones are passed over in each. What has no target ('to taste') comes in only where
    nothing else is left.
    """
    n = len(lines)
    first = 0 if line is None else line + 1
    turns = [(first + step) % n for step in range(n)]
    if line is not None:
        own = lines[line].formula
        turns.sort(key=lambda i: lines[i].formula != own)
    out = [i for i in sorted(lacking) if i != line]
    unweighed: list[int] = []
    skipped, formula = 0, None
    for index in turns:
        if index in taken or index in lacking or index == line:
            continue
        if lines[index].formula != formula:
            skipped, formula = 0, lines[index].formula
        if lines[index].target_kg is None:
            unweighed.append(index)
        elif skipped <= MOST_SKIPPED:
            out.append(index)
            skipped += lines[index].by == "mass"
    return out + unweighed


def is_under(line: Line, total_kg: float, blur_kg: float) -> bool:
    """Whether more is to come to a line: short of it by more than its tolerance and a division."""
    if line.target_kg is None:
        return False
    return total_kg < line.target_kg - max(line.tolerance_kg or 0.0, blur_kg)


def is_begun(line: Line, total_kg: float, blur_kg: float) -> bool:
    """Whether a line has more than drift, or a first pinch, would give it."""
    return total_kg > max(1.5 * blur_kg, BEGUN_SHARE * (line.target_kg or 0.0))


def opened_by_mark(pieces: Sequence[Piece]) -> list[bool]:
    """For each line that was opened, in order: whether a mark opened it."""
    own = [piece for piece in pieces if piece.line is not None]
    return [
        piece.selected is not None
        for number, piece in enumerate(own)
        if number == 0 or piece.line != own[number - 1].line
    ]


def opened_by_tare(pieces: Sequence[Piece]) -> bool:
    """Whether several lines were opened, each by a tare."""
    own = [piece for piece in pieces if piece.line is not None]
    opened = [p.tared for n, p in enumerate(own) if n == 0 or p.line != own[n - 1].line]
    return len(opened) > 1 and all(opened)


def marks_in_use(pieces: Sequence[Piece]) -> bool:
    """Whether every line that was opened since the first mark was opened by one."""
    opened = opened_by_mark(pieces)
    return any(opened) and all(opened[opened.index(True) :])


def is_nearer(last: Piece, before: Piece, piece: Piece) -> bool:
    """Whether a rise that was no more than drift is nearer to the one after than before it."""
    if last.after is None or before.after is None or last.mass_kg <= 0:
        return False
    if last.selected is not None or piece.tared or piece.scale != last.scale:
        return False
    return piece.start_us - last.after.start_us < last.start_us - before.after.start_us


def place(
    book: Book,
    piece: Piece,
    *,
    trifle: bool,
    changed: bool,
    continues: bool,
    moved: bool,
    blur_kg: float,
) -> Place:
    """The line of a rise, by the table above.

    Args:
        book: what the lines have without it.
        piece: the rise, or take-back.
        trifle: it may as well be drift.
        changed: the scale was tared at rest, or its container exchanged, since the rise before.
        continues: it began within `CONTINUES_US` of the rest after another of the open line.
        moved: it lies on another scale than the rise before; a tare there says nothing.
        blur_kg: about a division of the scales concerned.
    """
    open_, mass = book.open, piece.mass_kg
    selected = piece.selected
    back = mass <= 0 and open_ is not None
    if selected is not None and not (back and abs(book.totals_kg[selected]) <= blur_kg):
        return Place(selected)
    rest = following(book.lines, open_, book.taken, book.lacking)
    if open_ is None:
        return _fitting(book, rest, mass, blur_kg)
    same = not changed or moved
    if back or not rest or (same and not moved and trifle):
        return Place(open_)
    if same and not moved and continues:
        return _fitting(book, [open_, *rest], mass, blur_kg)
    line, total = book.lines[open_], book.totals_kg[open_]
    under = not book.confirmed and is_under(line, total, blur_kg)
    hardly = under and not is_begun(line, total, blur_kg)
    if not same and under and (found := _given_wrongly(book, rest, mass, blur_kg, hardly)):
        return found
    if same and under and book.tares and not moved:
        # Who tares for every line goes on with the open one until the next tare.
        gross = _gross(line, blur_kg)
        return _fitting(book, [open_, *rest], mass, blur_kg, slip_kg=gross)
    if (same and (under or book.marks_in_use)) or hardly:
        return _fitting(book, [open_, *rest], mass, blur_kg)
    if book.marks_in_use and under:
        # After a tare nobody adds much too much to the line before: a mark was forgotten.
        return _fitting(book, [open_, *rest], mass, blur_kg, over_by_slip=True)
    if book.confirmed and abs(book.totals_kg[open_]) <= blur_kg:
        # What was confirmed unweighed may go into the bowl only now.
        slip = _slip(line, blur_kg)
        mine = not is_under(line, mass, blur_kg) and _excess(book, open_, mass, blur_kg) <= slip
        if mine and not _is_met(book, rest[0], mass, blur_kg):
            return Place(open_)
    return _fitting(book, rest, mass, blur_kg)


def _fitting(
    book: Book,
    candidates: list[int],
    mass_kg: float,
    blur_kg: float,
    over_by_slip: bool = False,
    slip_kg: float | None = None,
) -> Place:
    """The first of the candidates, unless it would be too much for that and a later one fits.

    Args:
        over_by_slip: more than a slip over is already too much for a line that could hold it
            to be passed over, not only what is grossly too much.
        slip_kg: what the first may be over by as a slip, where not the usual.
    """
    first, *later = candidates
    excess = _excess(book, first, mass_kg, blur_kg)
    slip, gross = _slip(book.lines[first], blur_kg), _gross(book.lines[first], blur_kg)
    if excess <= (slip if slip_kg is None else slip_kg):
        return Place(first)
    if (met := _met(book, later, mass_kg, blur_kg)) is not None:
        return Place(met)
    if first == book.open and book.movable_kg > 0:
        met = _met(book, later, book.movable_kg + mass_kg, blur_kg)
        if met is not None:
            return Place(met, earlier=met)
        met = _met(book, later, book.movable_kg, blur_kg)
        if met is not None and _is_met(book, first, mass_kg - book.movable_kg, blur_kg):
            return Place(first, earlier=met)  # the two were swapped
    if excess <= gross and not over_by_slip:
        return Place(first)
    for index in later:
        if _excess(book, index, mass_kg, blur_kg) <= _slip(book.lines[index], blur_kg):
            return Place(index)
    return Place(first)


def _given_wrongly(
    book: Book, rest: list[int], mass_kg: float, blur_kg: float, hardly: bool
) -> Place | None:
    """After a tare, the open line far too light, and by the order alone: whose is what it has?

    Nobody leaves a line so. Of the line that it would meet; or else of the line before, where
    each line is tared for and this one was not.
    """
    open_ = book.open
    assert open_ is not None
    if not 1.5 * blur_kg < book.movable_kg < (book.lines[open_].target_kg or 0.0) / 2:
        return None
    home = _met(book, rest, book.movable_kg, blur_kg)
    if home is None and book.before is not None and not hardly:
        line = book.lines[book.before]
        if _excess(book, book.before, book.movable_kg, blur_kg) <= _gross(line, blur_kg):
            home = book.before
    if home is None:
        return None
    totals = list(book.totals_kg)
    totals[open_] -= book.movable_kg
    cleared = replace(book, totals_kg=totals, movable_kg=0.0)
    others = [index for index in rest if index != home]
    return replace(_fitting(cleared, [open_, *others], mass_kg, blur_kg), earlier=home)


def _met(book: Book, candidates: list[int], mass_kg: float, blur_kg: float) -> int | None:
    """The first of the candidates that would have what it asks for."""
    return next((i for i in candidates if _is_met(book, i, mass_kg, blur_kg)), None)


def _is_met(book: Book, index: int, mass_kg: float, blur_kg: float) -> bool:
    """Whether a line would have what it asks for."""
    line, total_kg = book.lines[index], book.totals_kg[index] + mass_kg
    if line.target_kg is None or is_under(line, total_kg, blur_kg):
        return False
    return _excess(book, index, mass_kg, blur_kg) <= 0


def _excess(book: Book, index: int, mass_kg: float, blur_kg: float) -> float:
    upper = book.lines[index].upper_kg
    return 0.0 if upper is None else book.totals_kg[index] + mass_kg - upper - blur_kg


def is_far(line: Line, total_kg: float, blur_kg: float) -> bool:
    """Whether a line is under or over by more than a slip of the hand."""
    if line.lower_kg is None or line.upper_kg is None:
        return False
    slip_kg = _slip(line, blur_kg)
    return not line.lower_kg - slip_kg <= total_kg <= line.upper_kg + slip_kg


def most_kg(line: Line, has_kg: float, blur_kg: float) -> float:
    """The most that a hand that means to fill a line adds to what it has."""
    return (line.target_kg or 0.0) + _slip(line, blur_kg) - has_kg


def _slip(line: Line, blur_kg: float) -> float:
    """By how much a hand that means to hit the target may go over it."""
    return max(SLIP_KG, SLIP_DIVISIONS * blur_kg) + SLIP_SHARE * (line.target_kg or 0.0)


def _gross(line: Line, blur_kg: float) -> float:
    """More than so much over is no slip of any kind: half as much again."""
    return max((line.target_kg or 0.0) / 2, 2 * _slip(line, blur_kg))
