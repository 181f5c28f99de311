"""What a later rise tells of earlier ones: which of them were of another line."""

from __future__ import annotations

from collections.abc import Sequence

from logger.plan import Line
from logger.weighing.attribution import SLIP_DIVISIONS, SLIP_KG, is_under
from logger.weighing.pieces import Piece


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
            loose = all(p.selected is None and p.mass_kg > 0 for p in rest)
            return list(rest) if loose else []
        total_kg += piece.mass_kg
    return []
