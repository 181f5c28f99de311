"""What to do where no scale present can decide a line: by spoon, or by a premix.

Spoons are fair for leaveners, salt, spices and extracts only, and only where their spread is
smaller than what the scale would leave open. A premix is more of the same, weighed with a carrier
that the formula has anyway, so that a coarse scale weighs large amounts only.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from logger.formula.kinds import Table, kind_by_name, weighed
from logger.formula.portions import measures_of
from logger.formula.spread import spread_of
from logger.ingredient import Ingredient
from logger.plan import Line, ScaleFacts
from logger.quantity import VOLUME
from logger.weighing.verdict import judge

# Kinds for which a level spoon is a fair measure, up to this mass (common practice).
SPOONED = ("leavening", "salt", "flavour", "acid")
SPOON_KG = 0.02

# What may be stretched with a dry carrier, and the carriers, the best first.
STRETCHED = ("leavening", "salt", "flavour", "acid")
CARRIERS = ("sugar", "flour", "starch")
_WET = re.compile(r"extract|essence|vinegar|juice|liquid|paste|syrup|fresh|zest|peel|vanilla")
# Moist sugars clump, and their acid would wake the soda in the jar.
_MOIST = re.compile(r"brown|muscovado|molasses|invert|honey|syrup")
TIMES = (5, 10, 20)
PARTS = (4, 9, 19)
JAR_KG = 2.0  # a premix larger than this is no kitchen's


@dataclass(frozen=True, slots=True)
class Remedy:
    """One thing to do.

    Attributes:
        kind: ``other scale``, ``count``, ``spoon``, ``premix``, ``finer scale``, ``parts``,
            ``another bowl``.
        text: a sentence.
        scale: for ``other scale``.
        division_kg: for ``finer scale``.
        expanded_kg: expanded uncertainty (k = 2) of the amount this way.
        teaspoons: for ``spoon``.
        carrier: key of the line that carries a premix.
        premix_kg, carrier_kg, portion_kg: weigh so much of the ingredient and of the carrier into
            the premix, and take this portion of it.
        carried_kg: carrier in the portion, to leave out of its own line.
    """

    kind: str
    text: str
    scale: str | None = None
    division_kg: float | None = None
    expanded_kg: float | None = None
    teaspoons: float | None = None
    carrier: str | None = None
    premix_kg: float | None = None
    carrier_kg: float | None = None
    portion_kg: float | None = None
    carried_kg: float | None = None


class _Nothing:
    """A table of ingredients in which nothing is found."""

    def find(self, name: str) -> Ingredient | None:
        return None


NO_TABLE: Table = _Nothing()


def kind_of(line: Line, table: Table) -> str:
    """What the line does in a batter: from the table, else from words in its name."""
    row = table.find(line.ingredient)
    if row is not None and row.kind != "other":
        return row.kind
    return kind_by_name(line.ingredient) or "other"


def teaspoon_kg(row: Ingredient | None) -> tuple[float, float] | None:
    """Mass of a level teaspoon and its standard deviation in kilograms; None where not known."""
    if row is None:
        return None
    size_ml = VOLUME["tsp"]
    for measure in measures_of(row):
        if measure.unit == "tsp":
            mass = float(measure.grams_per_ml * size_ml) / 1e3
            return mass, spread_of(row, measure, size_ml).share * mass
    if row.density_g_ml is not None:
        mass = row.density_g_ml * float(size_ml) / 1e3
        return mass, spread_of(row, None, size_ml).share * mass
    return None


def spoon(line: Line, table: Table, scale_expanded_kg: float) -> Remedy | None:
    """By level spoon, where that is fair and nearer than the scale.

    Args:
        line: with a target.
        table: for the weight of a teaspoon.
        scale_expanded_kg: what the scale leaves open (k = 2).
    """
    target = line.target_kg
    if target is None or target > SPOON_KG or kind_of(line, table) not in SPOONED:
        return None
    weight = teaspoon_kg(table.find(line.ingredient))
    if line.by == "measure" and line.spread_kg is not None:
        words, teaspoons, spread = line.amount, None, line.spread_kg
    elif weight is not None:
        teaspoons = max(1, round(target / weight[0] * 8)) / 8
        if abs(teaspoons * weight[0] - target) > 2 * weight[1] * teaspoons:
            return None
        words, spread = f"{_eighths(teaspoons)} tsp, level", weight[1] * teaspoons
    else:
        return None
    expanded = 2 * spread
    if expanded >= scale_expanded_kg:
        return None
    here, there = expanded / target * 100, scale_expanded_kg / target * 100
    return Remedy(
        "spoon",
        f"By spoon: {words} (±{here:.0f} %; the scale leaves ±{there:.0f} %).",
        expanded_kg=expanded,
        teaspoons=teaspoons,
    )


def _eighths(number: float) -> str:
    """
    >>> _eighths(2.125), _eighths(0.75), _eighths(1.0)
    ('2 1/8', '3/4', '1')
    """
    whole, rest = divmod(Fraction(number), 1)
    parts = [str(whole)] if whole else []
    if rest:
        parts.append(f"{rest.numerator}/{rest.denominator}")
    return " ".join(parts)


def premix(
    line: Line,
    lines: Sequence[Line],
    facts: ScaleFacts,
    standard_kg: Callable[[float], float],
    table: Table = NO_TABLE,
) -> Remedy | None:
    """The smallest dry premix from which the scale can portion the line within its tolerance.

    Args:
        line: with a target.
        lines: of its formula, among which a carrier is looked for, in the same bowl first.
        facts: of the scale, with its resolution.
        standard_kg: standard uncertainty of a mass on it.
        table: for the kinds.
    """
    target, lower, upper = line.target_kg, line.lower_kg, line.upper_kg
    d_kg = facts.resolution_kg
    if target is None or lower is None or upper is None or d_kg is None:
        return None
    if kind_of(line, table) not in STRETCHED or _WET.search(line.ingredient.lower()):
        return None
    most_kg = min(JAR_KG, facts.capacity_kg or JAR_KG)
    for carrier in _carriers(line, lines, table):
        found: list[tuple[float, Remedy]] = []
        for times in TIMES:
            for parts in PARTS:
                premix_kg = round(times * target / d_kg) * d_kg
                carrier_kg = round(premix_kg * parts / d_kg) * d_kg
                whole = premix_kg + carrier_kg
                if not premix_kg or whole > most_kg:
                    continue
                share = premix_kg / whole
                portion_kg = round(target / share / d_kg) * d_kg
                carried_kg = portion_kg * (1 - share)
                if carried_kg > (carrier.target_kg or 0.0):
                    continue
                # The portion is p a / (a + c): how far it follows a, c and p.
                u = math.hypot(
                    standard_kg(premix_kg) * portion_kg * carrier_kg / whole**2,
                    standard_kg(carrier_kg) * portion_kg * premix_kg / whole**2,
                    standard_kg(portion_kg) * share,
                )
                if judge(portion_kg * share, u, lower, upper).word != "within":
                    continue
                text = (
                    f"Make a premix: {weighed(premix_kg)} {line.ingredient} and "
                    f"{weighed(carrier_kg)} {carrier.ingredient}, mixed well; take "
                    f"{weighed(portion_kg)} of it (±{2 * u * 1e3:.2g} g of the {line.ingredient}) "
                    f"and {weighed(carried_kg)} less {carrier.ingredient}."
                )
                remedy = Remedy(
                    "premix",
                    text,
                    expanded_kg=2 * u,
                    carrier=carrier.key,
                    premix_kg=round(premix_kg, 9),
                    carrier_kg=round(carrier_kg, 9),
                    portion_kg=round(portion_kg, 9),
                    carried_kg=round(carried_kg, 9),
                )
                found.append((whole, remedy))
        if found:
            return min(found, key=lambda one: one[0])[1]
    return None


def _carriers(line: Line, lines: Sequence[Line], table: Table) -> list[Line]:
    """Dry lines of the same formula, those of the same bowl first."""
    fit = [
        x
        for x in lines
        if x.key != line.key
        and x.formula == line.formula
        and x.target_kg is not None
        and kind_of(x, table) in CARRIERS
        and not _WET.search(x.ingredient.lower())
        and not _MOIST.search(x.ingredient.lower())
    ]
    return sorted(fit, key=lambda x: (x.bowl != line.bowl, CARRIERS.index(kind_of(x, table))))
