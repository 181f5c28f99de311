"""How far a household measure scatters around its published weight: one standard deviation."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from logger.formula.portions import PACKAGES, Measure, measures_of
from logger.formula.preparation import words_of
from logger.ingredient import Ingredient
from logger.quantity import VOLUME

# A published standard deviation is believed from so many samples on, and if it is none of nothing:
# four cups of sliced almonds scatter by 35 %, seven labels of peanut butter by 0.
FEWEST = 5

# Shares (one standard deviation) of a level measure filled by different hands. Common practice of
# the trade, no source: a cup of flour dipped and swept or spooned, sugar that settles little, a
# liquid read at the line.
CUPS = {
    "flour": 0.10, "starch": 0.10, "cocoa": 0.10, "sugar": 0.03, "syrup": 0.03, "fat": 0.03,
    "milk": 0.02, "liquid": 0.02, "egg": 0.03, "cheese": 0.04, "salt": 0.05, "leavening": 0.10,
    "acid": 0.10, "chocolate": 0.05, "nut": 0.08, "fruit": 0.08, "flavour": 0.10,
}  # fmt: skip
ANY_CUP = 0.08
# A spoon is harder to level than a cup.
SPOON_ML = 21
SPOONS = {"milk": 0.05, "liquid": 0.05, "syrup": 0.05, "fat": 0.05, "egg": 0.05, "sugar": 0.05}
ANY_SPOON = 0.10
# Sugars that can be packed or blown up by a sieve scatter like flour does.
LOOSE = {"sifted": 0.10, "unsifted": 0.10, "unpacked": 0.08, "packed": 0.05, "whipped": 0.10}
# An egg within its size class; a fruit within its size word; a package as filled.
EGG = 0.05
PIECE = 0.15
PACKAGE = 0.02
DASH = 0.25


@dataclass(frozen=True, slots=True)
class Spread:
    """One standard deviation as a share of the mass, and where it comes from."""

    share: float
    words: str


def spread_of(
    ingredient: Ingredient, measure: Measure | None, filled_ml: Fraction | None
) -> Spread:
    """The spread of a measure.

    Args:
        measure: the published one; None where a density stands for it.
        filled_ml: volume of what is filled (the cup, the spoon); None for pieces and packages.
    """
    if measure is not None:
        portion = measure.portion
        if portion.sd_g and (portion.n is None or portion.n >= FEWEST):
            samples = "" if portion.n is None else f" of {portion.n} samples"
            return Spread(
                portion.sd_g / portion.mass_g,
                f"one standard deviation {portion.sd_g:.2g} g as published{samples}",
            )
    share = _by_practice(ingredient, measure, filled_ml)
    if measure is not None and (apart := _disagreement(ingredient, measure)) > share:
        return Spread(
            apart,
            f"one standard deviation {apart * 100:.0f} %: half of what the record's own "
            "measures differ by",
        )
    return Spread(
        share, f"one standard deviation {share * 100:.0f} % by common practice, no source"
    )


def _by_practice(
    ingredient: Ingredient, measure: Measure | None, filled_ml: Fraction | None
) -> float:
    if filled_ml is None:
        if measure is not None and measure.piece & PACKAGES:
            return PACKAGE
        if measure is not None and "dash" in measure.piece:
            return DASH
        return EGG if ingredient.kind == "egg" else PIECE
    cup = CUPS.get(ingredient.kind, ANY_CUP)
    if measure is not None:
        words = frozenset().union(*measure.preparations) or words_of(ingredient.plain or "")
        cup = max([cup, *(LOOSE[word] for word in words if word in LOOSE)])
    if filled_ml > SPOON_ML:
        return cup
    return max(cup, SPOONS.get(ingredient.kind, ANY_SPOON))


def _disagreement(ingredient: Ingredient, measure: Measure) -> float:
    """Half the range of the bulk densities that a record gives one preparation, as a share."""
    if measure.unit is None:
        return 0.0
    same = [
        float(m.grams_per_ml)
        for m in measures_of(ingredient)
        if m.unit in VOLUME and set(m.preparations) & set(measure.preparations)
    ]
    return (max(same) - min(same)) / 2 / float(measure.grams_per_ml)


__all__ = ["Spread", "spread_of"]
