"""Leavening: what the baking powder and soda amount to, and whether acids and soda match.

Masses in kilograms. How much soda an acid ingredient takes up is the practice of the trade, not a
constant of nature: each figure says where it comes from. The chemistry (cream of tartar, vinegar,
soda without acid) is computed from IUPAC atomic weights.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from math import fsum

from logger.formula.kinds import Kinded, listed, weighed

# IUPAC standard atomic weights, abridged values (CIAAW 2021), g/mol.
ATOMIC = {"H": 1.008, "C": 12.011, "O": 15.999, "Na": 22.990, "K": 39.098, "Cl": 35.45}
SODA = ATOMIC["Na"] + ATOMIC["H"] + ATOMIC["C"] + 3 * ATOMIC["O"]  # NaHCO3
TARTAR = ATOMIC["K"] + 5 * ATOMIC["H"] + 4 * ATOMIC["C"] + 6 * ATOMIC["O"]  # KHC4H4O6, one proton
ACETIC = 2 * ATOMIC["C"] + 4 * ATOMIC["H"] + 2 * ATOMIC["O"]  # one proton
CITRIC = 6 * ATOMIC["C"] + 8 * ATOMIC["H"] + 7 * ATOMIC["O"]  # three protons

# Baking powder is a quarter to a third soda (common practice, from memory; an old kitchen rule
# divides by four); the middle of the two is used.
SODA_IN_POWDER = 7 / 24
# Soda without acid gives half its gas in the oven: 2 NaHCO3 → Na2CO3 + H2O + CO2.
GAS_WITHOUT_ACID = 0.5
# Published ratios of soda to buttermilk differ by two to one (so says a cook's column that was
# read), so a match is a match within this factor either way.
MATCH = 1.5
# What is left over below this share of the flour is not worth a word (ours).
TRIFLE = 0.001

HALF_TEASPOON_SODA_G = 2.3  # USDA SR 28, record 18372
CUP_BUTTERMILK_G = 245.0  # USDA SR 28, record 01088
CUP_MOLASSES_G = 337.0  # USDA SR 28, record 19304
CUP_HONEY_G = 339.0  # USDA SR 28, record 19296
ACID_IN_VINEGAR = 0.05  # the usual strength on the label; common practice
ACID_IN_LEMON_JUICE = 0.05  # as citric acid, about; from memory
COCOA_SHARE = 0.07  # soda for natural cocoa, share of its weight; textbook rule from memory
MOLASSES_IN_BROWN_SUGAR = 0.10  # common practice, from memory

MOLASSES_SHARE = 2 * HALF_TEASPOON_SODA_G / CUP_MOLASSES_G


@dataclass(frozen=True, slots=True)
class AcidRule:
    """How much soda one kilogram of an acid ingredient takes up, and why we say so."""

    counted_as: str
    pattern: re.Pattern[str]
    soda_share: float
    source: str


def _rule(counted_as: str, words: str, share: float, source: str) -> AcidRule:
    return AcidRule(counted_as, re.compile(rf"\b(?:{words})\b"), share, source)


# First match decides.
ACIDS: tuple[AcidRule, ...] = (
    _rule("cream of tartar", r"cream of tartar", SODA / TARTAR,
          "stoichiometry, one to one by mole"),
    _rule("lemon or lime juice", r"(?:lemon|lime) juice", ACID_IN_LEMON_JUICE * 3 * SODA / CITRIC,
          "stoichiometry for juice of 5 % citric acid (strength from memory)"),
    _rule("vinegar", r"vinegar", ACID_IN_VINEGAR * SODA / ACETIC,
          "stoichiometry for vinegar of 5 % acetic acid"),
    _rule("fermented milk",
          r"buttermilk|sour(?:ed)? (?:cream|milk)|cream, sour|yogh?urt|kefir|cr[eè]me fra[iî]che",
          HALF_TEASPOON_SODA_G / CUP_BUTTERMILK_G,
          "rule of thumb, 1/2 teaspoon of soda to a cup of fermented milk (On Food and Cooking, "
          "2004, Baking Soda); weights USDA SR 28"),
    _rule("molasses", r"molasses|treacle", MOLASSES_SHARE,
          "old kitchen rule, 1 teaspoon of soda to a cup; weights USDA SR 28"),
    _rule("honey", r"honey", HALF_TEASPOON_SODA_G / 2 / CUP_HONEY_G,
          "common practice from memory, 1/4 teaspoon of soda to a cup; weights USDA SR 28"),
    _rule("brown sugar", r"brown sugar|sugars?, brown|muscovado",
          MOLASSES_IN_BROWN_SUGAR * MOLASSES_SHARE,
          "as a tenth of molasses; common practice from memory"),
    _rule("natural cocoa", r"cocoa(?! butter)", COCOA_SHARE,
          "textbook rule quoted from memory, soda 7 % of natural cocoa"),
)  # fmt: skip

_ALKALIZED = re.compile(r"\b(?:dutch(?:ed)?|dutch[- ]process(?:ed)?|alkali[sz]ed|alkali)\b")
_POWDER = re.compile(r"\bbaking powder\b")
_SODA = re.compile(r"\b(?:baking soda|bicarbonate of soda|sodium bicarbonate|bicarb)\b")
_RAISES_ITSELF = re.compile(r"\bself[- ]rais?ing\b|\bself[- ]rising\b")


@dataclass(frozen=True, slots=True)
class Acid:
    """An acid ingredient.

    Attributes:
        key: its line.
        counted_as: what it was taken for, e.g. ``fermented milk``.
        soda_kg: how much soda it takes up.
        source: where the figure comes from.
    """

    key: str
    counted_as: str
    soda_kg: float
    source: str


@dataclass(frozen=True, slots=True)
class Leavening:
    """Baking powder, soda and acids of a batter.

    Attributes:
        powder_kg, soda_kg: as they are in the lines.
        acids: what takes up soda.
        needed_kg: the soda that the acids take up.
        left_soda_kg: soda beyond that; 0 where there is none.
        left_acid_kg: soda that would still be taken up; 0 where there is none.
        equivalent_kg: all leavening as baking powder.
        stands: ``none`` (neither soda nor acid worth a word), ``match``, ``soda left``,
            ``acid left``.
        sentence: what that does to the cake.
        uncounted: keys of lines that leaven in a way that is not counted (yeast, ammonium
            carbonate, self-raising flour).
    """

    powder_kg: float
    soda_kg: float
    acids: tuple[Acid, ...]
    needed_kg: float
    left_soda_kg: float
    left_acid_kg: float
    equivalent_kg: float
    stands: str
    sentence: str
    uncounted: tuple[str, ...]


def is_chemical(item: Kinded) -> bool:
    """Whether a line is baking powder or soda."""
    return item.says(_POWDER) or item.says(_SODA)


def acid_rule(item: Kinded) -> AcidRule | None:
    """The rule by which a line takes up soda; None where none is counted."""
    for rule in ACIDS:
        if item.says(rule.pattern):
            alkalized = rule.counted_as == "natural cocoa" and item.says(_ALKALIZED)
            return None if alkalized or item.kind in ("chocolate", "fat", "flavour") else rule
    return None


def leavening(items: Iterable[tuple[Kinded, float]], flour_kg: float) -> Leavening:
    """The leavening of lines with their masses.

    Args:
        items: lines and masses in kilograms.
        flour_kg: against which a trifle is a trifle; 0 without flour, when nothing is judged.
    """
    powder: list[float] = []
    soda: list[float] = []
    acids: list[Acid] = []
    uncounted: list[str] = []
    for item, mass_kg in items:
        if mass_kg <= 0:
            continue
        if item.says(_POWDER):
            powder.append(mass_kg)
        elif item.says(_SODA):
            soda.append(mass_kg)
        elif (rule := acid_rule(item)) is not None:
            acids.append(
                Acid(item.line.key, rule.counted_as, rule.soda_share * mass_kg, rule.source)
            )
        elif item.kind == "leavening" or item.says(_RAISES_ITSELF):
            uncounted.append(item.line.key)
    powder_kg, soda_kg = fsum(powder), fsum(soda)
    needed_kg = fsum(acid.soda_kg for acid in acids)
    left_soda_kg = max(0.0, soda_kg - needed_kg)
    left_acid_kg = max(0.0, needed_kg - soda_kg)
    taken_up_kg = min(soda_kg, needed_kg)
    equivalent_kg = powder_kg + (taken_up_kg + GAS_WITHOUT_ACID * left_soda_kg) / SODA_IN_POWDER
    stands = _stands(soda_kg, needed_kg, flour_kg)
    return Leavening(
        powder_kg, soda_kg, tuple(acids), needed_kg, left_soda_kg, left_acid_kg, equivalent_kg,
        stands, _sentence(stands, soda_kg, needed_kg, powder_kg, acids), tuple(uncounted),
    )  # fmt: skip


def _stands(soda_kg: float, needed_kg: float, flour_kg: float) -> str:
    if flour_kg <= 0 or max(soda_kg, needed_kg) < TRIFLE * flour_kg:
        return "none"
    worth_a_word = abs(soda_kg - needed_kg) >= TRIFLE * flour_kg
    if worth_a_word and soda_kg > MATCH * needed_kg:
        return "soda left"
    if worth_a_word and needed_kg > MATCH * soda_kg:
        return "acid left"
    return "match"


def _sentence(
    stands: str, soda_kg: float, needed_kg: float, powder_kg: float, acids: list[Acid]
) -> str:
    if stands == "none":
        return "Neither soda nor acid is left over to speak of."
    sour = listed(dict.fromkeys(acid.counted_as for acid in acids))
    takes = f"{sour} take{'s' if len(acids) == 1 else ''} up about {weighed(needed_kg)} of soda"
    takes = takes[0].upper() + takes[1:]
    if stands == "match":
        return f"{takes} and there is {weighed(soda_kg)}: they match."
    if stands == "soda left":
        first = (
            f"{takes} and there is {weighed(soda_kg)}"
            if acids
            else f"There is {weighed(soda_kg)} of soda and no acid counted for it"
        )
        return f"{first}: soda left over can taste soapy, yellow the crumb and coarsen it."
    there = f"there is {weighed(soda_kg)}" if soda_kg > 0 else "there is none"
    sentence = f"{takes} and {there}: acid left over can keep the cake sour, pale and tight."
    swapped_kg = (needed_kg - soda_kg) / SODA_IN_POWDER
    if powder_kg > swapped_kg:
        sentence += (
            f" {weighed(needed_kg - soda_kg)} of soda in place of {weighed(swapped_kg)} of the "
            f"baking powder would take it up."
        )
    return sentence
