"""What a formula costs, in the kitchen's own currency, where the kitchen gave costs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import fsum

from logger.formula.kinds import Kinded, listed


@dataclass(frozen=True, slots=True)
class Cost:
    """Cost of the ingredients; labour, energy and packing are not in it.

    Attributes:
        by_line: by line key, in the kitchen's currency; None where no cost was given.
        known: sum of what is known; None where no line has a cost.
        per_portion: of `known`; None where the formula does not say how many portions.
        missing: keys of the lines without a cost.
        sentence: for the baker.
    """

    by_line: dict[str, float | None]
    known: float | None
    per_portion: float | None
    missing: tuple[str, ...]
    sentence: str


def cost(items: Iterable[tuple[Kinded, float]], portions: int | None = None) -> Cost:
    """The cost of lines with their masses in kilograms."""
    by_line: dict[str, float | None] = {}
    for item, mass_kg in items:
        if mass_kg <= 0:
            continue
        each = None if item.ingredient is None else item.ingredient.cost_per_kg
        by_line[item.line.key] = None if each is None else each * mass_kg
    missing = tuple(key for key, value in by_line.items() if value is None)
    given = [value for value in by_line.values() if value is not None]
    if not given:
        return Cost(by_line, None, None, missing, "No ingredient here has a cost of its own yet.")
    known = fsum(given)
    portion = known / portions if portions else None
    at_least = "at least " if missing else ""
    sentence = f"The ingredients cost {at_least}{known:.2f}"
    if portion is not None:
        sentence += f", {at_least}{portion:.2f} a portion"
    sentence += "."
    if missing:
        sentence += f" No cost was given for {listed(missing)}."
    return Cost(by_line, known, portion, missing, sentence)
