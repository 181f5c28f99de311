"""Which line of the formula does each rise belong to?

A mark settles it. Without one the order of the formula is the hint: a rise belongs to the open
line while that is under; it opens the next one when the open one is otherwise decided, when the
container was tared at rest or changed, or when only the next line's target fits. A single rise
often fits several of these, and the next one tells which: so the last pieces are attributed
together, by the least implausible way to go through the formula. The next container is fetched
and opened in the longest pause: a tap that follows a pour at once is of that pour's line, though
the next line might take it as well.

The prices below put the rules into an order: breaking a tolerance a little is likelier than
skipping a line, and so on. Their sizes were chosen on the weighing days that this room's own
tests generate, not on recordings of a kitchen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from logger.plan import Line
from logger.weighing.pieces import Blurs, Piece

WINDOW = 10  # pieces that may still be attributed anew
BEAM = 24
MOST_SKIPPED = 3

MISS = 1.5  # a line left outside its tolerance …
MISS_PER_TARGET = 8.0  # … and the more so the further,
MISS_FAR = 40.0  # a gross miss being less likely than a few small ones
WORST = 16.0
FORGIVEN_D = 30.0  # divisions by which a miss is measured beside the target: spoons are coarse too
SWITCH = 0.4  # to the next line without a tare
UNDER_OPEN = 0.3
STAY_OVER = 3.0  # more into a line that is decided, and over by it
STAY_WITHIN = 0.3  # a little more into one that stays within
STAY_AFTER_TARE = 7.0
# Leaving a marked line without a mark, by someone who has marked every line so far: the more of
# them, the less likely.
MARK_HABIT = 2.0
MARK_HABIT_PER_LINE = 4.0
MOST_HABIT = 40.0
LATE_MARK = 20.0  # a mark for a line that was begun already, unmarked: it says what comes next
OPEN_BY_TRIFLE = 1.0
STAY_ON_ANOTHER_SCALE = 2.0
STAY_CONFIRMED = 4.0  # what was confirmed unweighed goes into the bowl only now
SKIP = 5.0
SKIP_MEASURED = 3.0  # cups of flour are weighed, mostly, but need not be
SKIP_COUNTED = 1.5  # eggs are counted, and spoons levelled, as often as weighed
SKIP_UNWEIGHED = 0.5  # 'to taste'
SPOON_KG = 0.02  # no more than this is spooned (common practice)
ANOTHER_FORMULA = 2.5
SKIP_LACKING = 1.5  # what a rescale asks for comes before the next line
UNWEIGHED = 2.0
PAUSED_WITHIN = 1.0  # a longer pause within a line than before it, without a tare or a mark


def closed_price(total_kg: float, line: Line, blur_kg: float) -> float:
    """How implausible it is to leave a line with this total."""
    target = line.target_kg
    if target is None:
        return UNWEIGHED
    tolerance = max(line.tolerance_kg or 0.0, blur_kg)
    miss = abs(total_kg - target)
    if miss <= tolerance:
        return 0.2 * (miss / tolerance) ** 2
    part = (miss - tolerance) / (target + FORGIVEN_D * blur_kg)
    return min(WORST, MISS + MISS_PER_TARGET * part + MISS_FAR * part * part)


def open_price(total_kg: float, line: Line, blur_kg: float) -> float:
    """How implausible a total is for a line that may still be filled."""
    if line.target_kg is not None and total_kg < line.target_kg:
        return min(UNDER_OPEN, closed_price(total_kg, line, blur_kg))
    return closed_price(total_kg, line, blur_kg)


@dataclass(frozen=True, slots=True)
class _Way:
    price: float  # without the open line's
    line: int | None
    total_kg: float
    taken: frozenset[int]
    path: tuple[int, ...]
    blur_kg: float  # of the scales that the open line lies on
    pause_us: int | None = None  # before its line was opened by order alone
    unmarked: bool = False  # its line was opened by order alone


def skip_price(line: Line) -> float:
    """How implausible it is that a line is passed over."""
    if line.target_kg is None:
        return SKIP_UNWEIGHED
    if line.by == "mass":
        return SKIP
    counted = line.by == "count" or line.target_kg <= SPOON_KG
    return SKIP_COUNTED if counted else SKIP_MEASURED


def _turns(lines: Sequence[Line], line: int | None) -> list[int]:
    """The lines in the order of their turn after `line`, its own formula's first."""
    n = len(lines)
    first = 0 if line is None else line + 1
    turns = [(first + step) % n for step in range(n)]
    if line is None:
        return turns
    own = lines[line].formula
    return [i for i in turns if lines[i].formula == own] + [
        i for i in turns if lines[i].formula != own
    ]


def successors(
    lines: Sequence[Line],
    line: int | None,
    taken: frozenset[int],
    lacking: frozenset[int] = frozenset(),
) -> list[tuple[int, float]]:
    """Lines that may follow, in order, with the price of what is skipped; first those lacking."""
    first = [i for i in sorted(lacking - taken) if i != line]
    out: list[tuple[int, float]] = [(i, 0.0) for i in first]
    price, skipped, formula = SKIP_LACKING if first else 0.0, 0, None
    for index in _turns(lines, line):
        if index in taken or index == line or index in first:
            continue
        if formula not in (None, lines[index].formula):
            # Leaving a formula unfinished is one decision, however much of it is left.
            price, skipped = min(price, ANOTHER_FORMULA), 0
        formula = lines[index].formula
        if skipped > MOST_SKIPPED:
            continue
        out.append((index, price))
        price += skip_price(lines[index])
        skipped += lines[index].by == "mass" and lines[index].target_kg is not None
    return out


def attribute(
    lines: Sequence[Line],
    pieces: Sequence[Piece],
    *,
    before: Piece | None,
    current: int | None,
    totals_kg: Sequence[float],
    taken: frozenset[int],
    lacking: frozenset[int],
    blurs: Blurs,
    lines_marked: int,
) -> list[int]:
    """The most plausible line of each of the pieces.

    Args:
        lines: the formula's.
        pieces: the last pieces in order.
        before: the piece before them, None where there is none.
        current: line that was open before them.
        totals_kg: what each line had before them.
        taken: lines that already have something, or were confirmed.
        lacking: lines that have something and need more, before the order goes on.
        blurs: about a division of each scale.
        lines_marked: how many lines were marked so far, where every one was; else 0.

    Returns:
        An index into `lines` per piece.
    """
    start_total = totals_kg[current] if current is not None else 0.0
    start_blur = blurs.widest_kg if before is None else blurs.of([before])
    ways = [_Way(0.0, current, start_total, taken, (), start_blur)]
    for number, piece in enumerate(pieces):
        grown: list[_Way] = []
        last = pieces[number - 1] if number else before
        step = _Step(piece, last, blurs.of([piece]), lines_marked, lacking)
        for way in ways:
            grown += _extend(lines, step, way, totals_kg)
        grown.sort(key=lambda w: w.price + _open(lines, w))
        ways = grown[:BEAM]
        if not ways:
            raise RuntimeError(f"no line for piece {number} of {len(pieces)}")
    return list(ways[0].path)


@dataclass(frozen=True, slots=True)
class _Step:
    """A piece to be attributed: what came before it, and how it is blurred."""

    piece: Piece
    last: Piece | None
    blur_kg: float
    lines_marked: int
    lacking: frozenset[int]

    @property
    def moved(self) -> bool:
        """Whether it lies on another scale than the piece before."""
        return self.last is not None and self.last.scale != self.piece.scale

    @property
    def pause_us(self) -> int | None:
        """How long the load rested before it; None where a tare or a mark tells more."""
        last = self.last
        if last is None or last.after is None or self.moved or self.piece.tared:
            return None
        return max(0, self.piece.start_us - last.after.settled_us)


def _open(lines: Sequence[Line], way: _Way) -> float:
    return 0.0 if way.line is None else open_price(way.total_kg, lines[way.line], way.blur_kg)


def _extend(
    lines: Sequence[Line], step: _Step, way: _Way, totals_kg: Sequence[float]
) -> list[_Way]:
    piece = step.piece
    mass = piece.mass_kg
    out: list[_Way] = []
    if piece.selected is not None:
        line = piece.selected
        if line == way.line:
            return [_stay(way, step, LATE_MARK if way.unmarked and mass > 0 else 0.0)]
        return [_go(lines, way, step, line, totals_kg[line] + mass, 0.0)]
    if way.line is not None:
        out.append(_stay(way, step, _stay_price(lines[way.line], way, step)))
        if mass <= 0:
            return out  # a take-back is of the line last added to
    for line, price in successors(lines, way.line, way.taken, step.lacking):
        extra = price
        if way.line is not None:
            extra += 0.0 if piece.tared or step.moved else SWITCH
            extra += OPEN_BY_TRIFLE if piece.is_trifle else 0.0
            if step.lines_marked and not piece.tared:
                extra += min(MOST_HABIT, MARK_HABIT + MARK_HABIT_PER_LINE * step.lines_marked)
        out.append(_go(lines, way, step, line, totals_kg[line] + mass, extra, step.pause_us))
    if not out:
        last = len(lines) - 1
        out.append(_Way(way.price, last, mass, way.taken, (*way.path, last), step.blur_kg))
    return out


def _stay_price(line: Line, way: _Way, step: _Step) -> float:
    piece, blur_kg = step.piece, max(way.blur_kg, step.blur_kg)
    if piece.mass_kg <= 0:
        return 0.0
    if piece.is_trifle:
        return 0.0
    price = STAY_AFTER_TARE if piece.tared else 0.0
    if step.moved:
        price = STAY_ON_ANOTHER_SCALE  # its tare says nothing about the line
    if piece.tared and not way.path and abs(way.total_kg) <= blur_kg:
        price = STAY_CONFIRMED
    if line.target_kg is not None and piece.mass_kg > blur_kg:
        tolerance = max(line.tolerance_kg or 0.0, blur_kg)
        if way.total_kg > line.target_kg + tolerance:
            price += STAY_OVER
        elif way.total_kg >= line.target_kg - tolerance:
            ends_over = way.total_kg + piece.mass_kg > line.target_kg + tolerance
            price += STAY_OVER if ends_over else STAY_WITHIN
    return price


def _stay(way: _Way, step: _Step, extra: float) -> _Way:
    assert way.line is not None
    opened_us, total = way.pause_us, way.total_kg + step.piece.mass_kg
    pause_us = step.pause_us
    if opened_us is not None and pause_us is not None and pause_us > opened_us:
        extra += PAUSED_WITHIN
        opened_us = None  # once is enough
    blur_kg = max(way.blur_kg, step.blur_kg)
    path = (*way.path, way.line)
    unmarked = way.unmarked and step.piece.selected is None
    return _Way(way.price + extra, way.line, total, way.taken, path, blur_kg, opened_us, unmarked)


def _go(
    lines: Sequence[Line],
    way: _Way,
    step: _Step,
    line: int,
    total: float,
    extra: float,
    pause_us: int | None = None,
) -> _Way:
    left, taken = 0.0, way.taken
    if way.line is not None:
        if abs(way.total_kg) > 1.5 * way.blur_kg:
            left = closed_price(way.total_kg, lines[way.line], way.blur_kg)
        elif way.path:
            taken = taken - {way.line}  # all of it was taken back: a spoon, not an ingredient
    price, path = way.price + left + extra, (*way.path, line)
    unmarked = step.piece.selected is None
    return _Way(price, line, total, taken | {line}, path, step.blur_kg, pause_us, unmarked)
