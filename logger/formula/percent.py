"""Baker's percentages, in exact arithmetic: the flour is 100 %, everything else is held against it.

All flours count together; starch, cocoa, gluten and ground nuts are no flour. Definition: all
textbooks of the trade (Pyler & Gorton, *Baking Science and Technology*; Gisslen, *Professional
Baking*; from memory).
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from fractions import Fraction

from logger.formula.kinds import Kinded
from logger.formula.leavening import is_chemical
from logger.plan import Formula
from logger.remedy import WithRemedy

# What `flour` says in a formula that is meant to have no flour.
MEANT_WITHOUT = ("none", "no flour", "flourless")
# Names of what is no cake and needs no flour.
_NO_CAKE = re.compile(
    r"\b(?:\w*frosting|icing|\w*cream|filling|glaze|ganache|curd|custard|meringue|syrup|jam|"
    r"compote|fondant|caramel|sauce|mousse|jelly|soak|drizzle|topping|decoration|praline|fudge|"
    r"marzipan|coulis|pur[eé]e|royal)s?\b"
)
_CAKE = re.compile(r"(?:cakes?|sponges?|loaf|loaves|muffins?|brownies?|cookies?|biscuits?|bread)$")


class NoFlourError(WithRemedy):
    """Baker's percentages were asked of a formula without flour."""


@dataclass(frozen=True, slots=True)
class Percentages:
    """Baker's percentages of a set of masses.

    Attributes:
        flour_kg: of all flours; 0 where there is none.
        total_kg: of all lines.
        of_flour: per cent of the flour by line key; None where there is no flour.
        of_total: per cent of the total ("true" percentage) by line key.
        total: the sum of `of_flour`; None where there is no flour.
    """

    flour_kg: Fraction
    total_kg: Fraction
    of_flour: Mapping[str, Fraction] | None
    of_total: Mapping[str, Fraction]
    total: Fraction | None


def percentages(masses_kg: Mapping[str, Fraction], flours: Collection[str]) -> Percentages:
    """Percentages of the masses, of which the lines in `flours` are flour.

    >>> found = percentages({"flour": Fraction(500), "sugar": Fraction(550)}, {"flour"})
    >>> found.of_flour["sugar"], found.total
    (Fraction(110, 1), Fraction(210, 1))

    Raises:
        ValueError: a negative mass.
    """
    if any(mass < 0 for mass in masses_kg.values()):
        raise ValueError("a mass is below nothing")
    flour = sum((masses_kg[key] for key in flours if key in masses_kg), Fraction(0))
    total = sum(masses_kg.values(), Fraction(0))
    of_total = {key: 100 * kg / total if total else Fraction(0) for key, kg in masses_kg.items()}
    if not flour:
        return Percentages(flour, total, None, of_total, None)
    of_flour = {key: 100 * kg / flour for key, kg in masses_kg.items()}
    return Percentages(flour, total, of_flour, of_total, 100 * total / flour)


def flour_for(total_kg: Fraction, total_percent: Fraction) -> Fraction:
    """Flour that a batter of this total takes, where the percentages sum to `total_percent`.

    >>> round(float(flour_for(Fraction(1200), Fraction(815, 2))), 3)
    294.479

    Raises:
        NoFlourError: the percentages sum to nothing.
    """
    if total_percent <= 0:
        raise NoFlourError("the percentages sum to nothing", "give the flour as 100 %")
    return 100 * total_kg / total_percent


def missing_flour(formula: Formula, items: Collection[Kinded]) -> NoFlourError | None:
    """The error of a cake without flour; None where there is flour or none is expected.

    None is expected where the formula says ``flour = "none"`` (a flourless cake), or where it
    is no cake: it is not baked (no step of kind ``bake``, no pans, no baking powder or soda), and
    either its name says what it is (frosting, filling, glaze …) or its method has no baking.
    """
    if any(item.kind == "flour" and item.line.target_kg for item in items):
        return None
    if (formula.flour_kind or "").strip().lower() in MEANT_WITHOUT:
        return None
    makes = formula.makes
    baked = (
        any(step.kind == "bake" for step in formula.steps)
        or makes.pan is not None
        or makes.batter_per_pan_kg is not None
        or any(is_chemical(item) for item in items)
    )
    name = formula.name.strip().lower()
    named_otherwise = _NO_CAKE.search(name) is not None and _CAKE.search(name) is None
    if not baked and (formula.steps or named_otherwise):
        return None
    return NoFlourError(
        f"{formula.name} has no flour that coolcrumb knows, so it has no baker's percentages",
        'check the name of its flour; what is meant to have none says  flour = "none"',
    )
