"""The wrong line poured: which of its last pieces belong to another line?"""

from __future__ import annotations

from logger.plan import Line
from logger.weighing.ledger import Ledger
from logger.weighing.pieces import Blurs, Piece

FAR = 3.0  # tolerances beyond the target: no slip of the hand, but another ingredient
MISS = 1.5  # a line left outside its tolerance …
MISS_PER_TARGET = 8.0  # … and the more so the further,
MISS_FAR = 40.0  # a gross miss being less likely than a few small ones
WORST = 16.0


def closed_price(total_kg: float, line: Line, blur_kg: float) -> float:
    """How implausible it is to leave a line with this total."""
    target = line.target_kg
    if target is None:
        return 2.0
    tolerance = max(line.tolerance_kg or 0.0, blur_kg)
    miss = abs(total_kg - target)
    if miss <= tolerance:
        return 0.2 * (miss / tolerance) ** 2
    part = (miss - tolerance) / max(target, blur_kg)
    return min(WORST, MISS + MISS_PER_TARGET * part + MISS_FAR * part * part)


def belonging(ledger: Ledger, from_: int, to: int, blurs: Blurs) -> list[Piece]:
    """The last pieces of a line that, moved to another, leave both the most plausible.

    At least one, where the line has any: a person says that something of it was of `to`.
    """
    pieces = ledger.of(from_)
    if not pieces or ledger.lines is None:
        return []
    best: tuple[float, int] | None = None
    for count in range(1, len(pieces) + 1):
        kept, moved = pieces[:-count], pieces[-count:]
        mass = sum(p.mass_kg for p in moved)
        if mass <= 0:
            continue
        price = closed_price(
            ledger.total_kg(to) + mass, ledger.lines[to], blurs.of([*ledger.of(to), *moved])
        )
        rest = sum(p.mass_kg for p in kept)
        if kept and abs(rest) > blurs.of(kept):
            price += closed_price(rest, ledger.lines[from_], blurs.of(kept))
        if best is None or price < best[0]:
            best = (price, count)
    return [] if best is None else pieces[-best[1] :]


def elsewhere(ledger: Ledger, over: int, blurs: Blurs) -> tuple[int, float] | None:
    """An open line that the last pieces of a line far over its target fit, and how much does.

    None where there is none, or where what is left would not be within its tolerance either.
    """
    lines = ledger.lines
    if lines is None:
        return None
    line, total = lines[over], ledger.total_kg(over)
    if line.target_kg is None or line.tolerance_kg is None:
        return None
    if total - line.target_kg < FAR * line.tolerance_kg:
        return None
    taken = ledger.taken(blurs)
    best: tuple[float, int, float] | None = None
    for to, other in enumerate(lines):
        if to in taken or to == over or other.target_kg is None:
            continue
        moved = belonging(ledger, over, to, blurs)
        mass, blur = sum(p.mass_kg for p in moved), blurs.of(moved)
        miss = abs(mass - other.target_kg)
        left = total - mass
        stays = abs(left) <= blur or abs(left - line.target_kg) <= max(line.tolerance_kg, blur)
        if not stays or miss > max(other.tolerance_kg or 0.0, blur):
            continue
        if best is None or miss / other.target_kg < best[0]:
            best = (miss / other.target_kg, to, mass)
    return None if best is None else best[1:]


def told_of(ledger: Ledger, index: int, told_kg: float, blurs: Blurs) -> list[Piece]:
    """The last rises that together are what a person tells of a line, whoever got them.

    None where the line has just that already, or where no last rises are it.
    """
    if abs(ledger.total_kg(index) - told_kg) <= 1.5 * blurs.of(ledger.of(index)):
        return []
    last: list[Piece] = []
    for piece in reversed(ledger.pieces):
        if piece.line is None or (piece.line != index and ledger.slot(piece.line).confirmed):
            return []
        last.append(piece)
        if abs(sum(p.mass_kg for p in last) - told_kg) <= 1.5 * blurs.of(last):
            return last[::-1]
    return []
