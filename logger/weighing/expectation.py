"""What may be expected to be added next, by what the lines have."""

from __future__ import annotations

from logger.weighing.attribution import most_kg
from logger.weighing.ledger import Ledger
from logger.weighing.pieces import Blurs, Piece

UTENSIL_KG = 0.08  # a spoon, whisk or scraper left in the bowl (common practice)


def unfinished(ledger: Ledger, piece: Piece) -> bool:
    """Whether more was to come to the line of a piece."""
    return ledger.lines is None or piece.line is None or ledger.lacks(piece.line)


def takeable_kg(ledger: Ledger) -> float:
    """The most that can be taken back: what the line last added to has."""
    if ledger.current is None:
        return float("inf")
    return max(0.0, ledger.total_kg(ledger.current))


def addable_kg(ledger: Ledger, blurs: Blurs) -> float:
    """The most that can have been added unseen: what the line that comes next lacks, and a slip."""
    index = ledger.awaited[0] if ledger.awaited else ledger.upcoming(blurs)
    line = None if index is None else ledger.line(index)
    if index is None or line is None or line.target_kg is None:
        return float("inf")
    return most_kg(line, ledger.total_kg(index), blurs.widest_kg)


def plausible(ledger: Ledger, change_kg: float, blur_kg: float, blurs: Blurs) -> bool:
    """Whether a sudden change could be an addition, or a take-back, of some line.

    Args:
        ledger: what the lines have.
        change_kg: the change; negative for a take-back.
        blur_kg: about a division of the scale that shows it.
        blurs: the same of every scale.
    """
    if ledger.lines is None:
        return change_kg > 0
    current = ledger.current
    blur = 2 * blur_kg
    if current is not None:
        line = ledger.lines[current]
        if line.target_kg is not None:
            missing = line.target_kg - ledger.total_kg(current)
            if change_kg < 0:
                return missing < 0 and change_kg >= 1.5 * missing - blur
            if missing > blur and 0 < change_kg <= 1.2 * missing + UTENSIL_KG:
                return True  # nobody puts a container into a line half filled; a spoon, yes
            if 0 < change_kg <= 1.2 * missing + blur:
                return True
    if change_kg <= 0:
        return False
    taken = ledger.taken(blurs)
    return any(
        line.target_kg is not None and change_kg <= 1.35 * line.target_kg + blur
        for index, line in enumerate(ledger.lines)
        if index not in taken
    )


def awaited(ledger: Ledger, change_kg: float, start_us: int, blur_kg: float) -> bool:
    """Whether a rise is what a line's mark waits for: begun after it, and no more than fits.

    Args:
        ledger: what the lines have, and whose mark waits.
        change_kg: the rise.
        start_us: when it began.
        blur_kg: about a division of the scale that shows it.
    """
    if ledger.lines is None or ledger.awaited is None or start_us < ledger.awaited[1]:
        return False
    target = ledger.lines[ledger.awaited[0]].target_kg
    return target is not None and 0 < change_kg <= 1.35 * target + 2 * blur_kg
