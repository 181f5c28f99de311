"""What a later rise tells of earlier ones: which of them were of another line."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import takewhile

from logger.plan import Line
from logger.weighing.accounts import Accounts
from logger.weighing.attribution import SLIP_DIVISIONS, SLIP_KG, following, is_under, most_kg
from logger.weighing.pieces import Blurs, Piece


def is_right(line: Line, total_kg: float, blur_kg: float) -> bool:
    """Whether a line would have what it asks for, as well as the scale can say."""
    if line.target_kg is None or is_under(line, total_kg, blur_kg):
        return False
    return not is_over(line, total_kg, blur_kg)


def is_over(line: Line, total_kg: float, blur_kg: float) -> bool:
    """Whether a line has too much, by more than a division."""
    return line.upper_kg is not None and total_kg > line.upper_kg + blur_kg


def slips_over(line: Line, total_kg: float, blur_kg: float) -> bool:
    """Whether a line that was right is over by more than a slip of the hand."""
    upper = line.upper_kg
    return upper is not None and total_kg - upper > max(SLIP_KG, SLIP_DIVISIONS * blur_kg)


def surplus(line: Line, own: Sequence[Piece], blur_kg: float) -> list[Piece]:
    """The last rises of a line that no mark gave it, and that came after it was right.

    Also those after a tare: it is pressed for another ingredient.

    Args:
        line: of the formula.
        own: its rises, in order.
        blur_kg: about a division of the scales they lie on.
    """
    total_kg = 0.0
    for number, piece in enumerate(own):
        rest = own[number:]
        if number and (piece.tared or not is_under(line, total_kg, blur_kg)):
            loose = all(p.selected is None for p in rest)
            return list(rest) if loose and piece.mass_kg > 0 else []
        total_kg += piece.mass_kg
    return []


def give_surplus(accounts: Accounts, piece: Piece, line: int, blurs: Blurs) -> None:
    """What came after the open line was right is of another, where another is opened."""
    current = accounts.current
    if current is None or accounts.slot(current).confirmed:
        return
    assert accounts.lines is not None
    lines = accounts.lines
    own = accounts.of(current)
    blur_kg = blurs.of([piece, *own])
    given = surplus(lines[current], own, blur_kg)
    if not given or accounts.pieces[-1] is not given[-1]:
        return
    kg = sum(p.mass_kg for p in given)
    passed = [i for i in range(current + 1, line) if i not in accounts.taken(blurs)]
    home = next((i for i in passed if is_right(lines[i], kg, blur_kg)), None)
    opens = piece.selected is None and _holds(accounts, line, kg + piece.mass_kg, blur_kg)
    if home is None and opens and slips_over(lines[current], accounts.total_kg(current), blur_kg):
        home = line
    for earlier in given if home is not None else ():
        earlier.line = home


def passed_over(accounts: Accounts, blurs: Blurs) -> int | None:
    """The next line, where what came after the open one was right is just what it asks for.

    It is given that.
    """
    current, lines = accounts.current, accounts.lines
    assert lines is not None
    if current is None or accounts.slot(current).confirmed:
        return None
    own = accounts.of(current)
    blur_kg = blurs.of(own)
    given = surplus(lines[current], own, blur_kg)
    rest = following(lines, current, accounts.taken(blurs), accounts.lacking())
    if not given or not rest or accounts.pieces[-1] is not given[-1]:
        return None
    if not slips_over(lines[current], accounts.total_kg(current), blur_kg):
        return None
    if not is_right(lines[rest[0]], sum(p.mass_kg for p in given), blur_kg):
        return None
    for piece in given:
        piece.line = rest[0]
    return rest[0]


def make_room(accounts: Accounts, index: int, blurs: Blurs) -> None:
    """A mark says that a line comes only now: what the order gave it before was another's.

    So it is where that meets another line, or where the two together are too much.
    """
    assert accounts.lines is not None
    own = accounts.of(index)
    given = list(takewhile(lambda p: p.selected is None, own))
    kg, total_kg = sum(p.mass_kg for p in given), accounts.total_kg(index)
    blur_kg = blurs.of(own)
    line = accounts.lines[index]
    if abs(kg) <= blur_kg or accounts.slot(index).confirmed or len(given) == len(own):
        return
    too_much = is_over(line, total_kg, blur_kg) and not is_over(line, total_kg - kg, blur_kg)
    if not too_much and is_right(line, kg, blur_kg):
        return
    home = _home(accounts, index, kg, blurs)
    if home is not None:
        for piece in given:
            piece.line = home
        accounts.slot(home).left = True


def _home(accounts: Accounts, index: int, mass_kg: float, blurs: Blurs) -> int | None:
    """Another line that would have what it asks for with so much more."""
    assert accounts.lines is not None
    blur_kg = blurs.widest_kg
    closed = accounts.taken(blurs)
    for other, line in enumerate(accounts.lines):
        total_kg = accounts.total_kg(other)
        free = other not in closed or is_under(line, total_kg, blur_kg)
        if other != index and free and is_right(line, total_kg + mass_kg, blur_kg):
            return other
    return None


def _holds(accounts: Accounts, index: int, mass_kg: float, blur_kg: float) -> bool:
    assert accounts.lines is not None
    line, has_kg = accounts.lines[index], accounts.total_kg(index)
    return line.upper_kg is None or mass_kg <= most_kg(line, has_kg, blur_kg)
