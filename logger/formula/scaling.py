"""Scaling: to portions, to a total, to what there is least of, by a factor.

Factors are exact fractions, so that there and back is where one was. Amounts stay exact in
`Line.target_kg`; the text of `Line.amount` is in grams to the milligram.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from logger.formula.kinds import Table, kinded, listed, weighed
from logger.formula.leavening import is_chemical
from logger.formula.pans import PanError, fill
from logger.formula.reader import LARGEST_KG
from logger.formula.tolerance import FLOOR_KG, default_tolerance_kg
from logger.formula.written import parts_of
from logger.plan import Formula, Line, Makes
from logger.quantity import AmountError, exact
from logger.remedy import WithRemedy

# Beyond these factors leaveners do not act in proportion any more (common practice).
LEAVENING_SPAN = (Fraction(1, 4), Fraction(4))
DIVISION_KG = 0.001  # a bench scale's, for warnings only
PIECES = 8  # pieces are written in fractions down to 1/8, else in grams


class ScalingError(WithRemedy):
    """A formula that cannot be scaled as asked."""


@dataclass(frozen=True, slots=True)
class Scaled:
    """A formula scaled.

    Attributes:
        formula: the new one.
        was: the one it was made of.
        factor: new over old.
        sentences: what was done.
        of_pans: what is to be watched of the pans.
        of_lines: what does not simply follow the factor.
        for_portions: it was asked for by their number, which then stays.
    """

    formula: Formula
    was: Formula
    factor: Fraction
    sentences: tuple[str, ...] = ()
    of_pans: tuple[str, ...] = ()
    of_lines: tuple[str, ...] = ()
    for_portions: bool = False

    @property
    def warnings(self) -> tuple[str, ...]:
        """All of them, the pans first."""
        return self.of_pans + self.of_lines


def total_kg(formula: Formula) -> Fraction:
    """Sum of the lines that have a target."""
    return sum((exact(x.target_kg) for x in formula.lines if x.target_kg), Fraction(0))


def by_factor(
    formula: Formula,
    factor: Fraction,
    table: Table,
    *,
    makes: Makes | None = None,
    sentences: tuple[str, ...] = (),
    of_pans: tuple[str, ...] | None = None,
) -> Scaled:
    """Every line times a factor.

    Args:
        formula: what to scale.
        factor: above 0.
        table: of ingredients, for what the lines are.
        makes: what the new formula makes; None scales the pans where their number stays whole,
            else what goes into each.
        sentences: what was done, as in `Scaled`.
        of_pans: what is to be watched of the pans; None looks at how full they get.

    Raises:
        ScalingError: a factor that is not above 0, or a line past what a kitchen weighs.
    """
    if factor <= 0:
        raise ScalingError(f"a factor of {float(factor):g} leaves nothing", "give one above 0")
    lines = tuple(scaled_line(line, factor, table) for line in formula.lines)
    for line in lines:
        if line.target_kg is not None and line.target_kg > LARGEST_KG:
            raise ScalingError(
                f"{line.key} would be {line.target_kg:.4g} kg, more than a kitchen weighs",
                "check the number and its unit",
            )
        if line.target_kg is not None and line.target_kg <= 0:
            raise ScalingError(f"{line.key} would be nothing at all", "check the number")
    new = replace(
        formula, lines=lines, makes=scaled_makes(formula.makes, factor) if makes is None else makes
    )
    pans = _unusual_fill(new.makes) if of_pans is None else of_pans
    said = sentences or (f"Every line × {said_factor(factor)}.",)
    return Scaled(new, formula, factor, said, pans, cautions(formula, new, factor, table))


def _unusual_fill(makes: Makes) -> tuple[str, ...]:
    if makes.pan is None or makes.batter_per_pan_kg is None:
        return ()
    try:
        filled = fill(makes.pan, makes.batter_per_pan_kg)
    except PanError:
        return ()  # a pan whose depth nobody says; that it holds the batter is not known either
    return () if filled.word == "right" else (filled.sentence,)


def said_factor(factor: Fraction) -> str:
    """
    >>> said_factor(Fraction(81, 64)), said_factor(Fraction(3, 2)), said_factor(Fraction(1, 3))
    ('1.2656', '1.5', '0.33333')
    """
    return f"{float(factor):.5g}"


def scaled_line(line: Line, factor: Fraction, table: Table) -> Line:
    """One line times a factor.

    A tolerance that came from the class of the ingredient is made anew for the new target; the
    line's own is scaled with it. Neither goes below the floor.
    """
    if line.target_kg is None:
        return line
    target = float(exact(line.target_kg) * factor)
    tolerance = line.tolerance_kg
    if tolerance is not None:
        if tolerance == class_tolerance_kg(line, line.target_kg, table):
            tolerance = class_tolerance_kg(line, target, table)
        else:
            tolerance = max(FLOOR_KG, float(exact(tolerance) * factor))
    new = replace(line, target_kg=target, tolerance_kg=tolerance)
    if (text := _pieces(line, factor)) is not None:
        # Each piece scatters for itself, so many together scatter as the root of their number.
        spread = None if line.spread_kg is None else line.spread_kg * math.sqrt(factor)
        return replace(new, amount=text, spread_kg=spread)
    return replace(new, amount=in_grams(target), by="mass", spread_kg=None, source=None)


def class_tolerance_kg(line: Line, target_kg: float, table: Table) -> float:
    """The tolerance that a line of this ingredient has where it gives none of its own."""
    row = table.find(line.ingredient)
    return default_tolerance_kg(line.ingredient, target_kg, None if row is None else row.kind)


def _pieces(line: Line, factor: Fraction) -> str | None:
    """The amount of a counted line in pieces; None where it is none, or no simple fraction."""
    found = counted(line)
    if found is None:
        return None
    number = found[0] * factor
    return pieces_text(number, found[1]) if PIECES % number.denominator == 0 else None


def counted(line: Line) -> tuple[Fraction, str] | None:
    """Number and words of a line written in pieces of one kind; None for any other."""
    if line.by != "count":
        return None
    try:
        parts = parts_of(line.amount)
    except AmountError:
        return None
    if len(parts) != 1 or parts[0].mass_kg is not None or parts[0].volume is not None:
        return None
    return parts[0].number, " ".join(parts[0].words)


def pieces_text(number: Fraction, unit: str) -> str:
    """
    >>> pieces_text(Fraction(9, 2), "large"), pieces_text(Fraction(1), "yolks")
    ('4 1/2 large', '1 yolk')
    >>> pieces_text(Fraction(2), "yolk")
    '2 yolks'
    """
    whole, rest = divmod(number, 1)
    parts = [str(whole)] if whole or not rest else []
    if rest:
        parts.append(f"{rest.numerator}/{rest.denominator}")
    words = unit.split()
    if words and words[-1].lower().rstrip("s") in ("egg", "yolk", "white", "piece", "stick"):
        words[-1] = words[-1].rstrip("s") + ("s" if number > 1 else "")
    return " ".join([*parts, *words])


def in_grams(mass_kg: float) -> str:
    """The amount in grams, to the milligram, as it stands in a formula.

    >>> in_grams(0.27), in_grams(0.0045), in_grams(1 / 3)
    ('270 g', '4.5 g', '333.333 g')
    """
    grams = float(exact(mass_kg) * 1000)
    text = f"{grams:.3f}" if grams >= 0.01 else f"{grams:.9f}"
    return f"{text.rstrip('0').rstrip('.')} g"


def scaled_makes(makes: Makes, factor: Fraction) -> Makes:
    """Pans, batter in each, and portions, times a factor.

    >>> scaled_makes(Makes(pans=2, batter_per_pan_kg=0.66, portions=12), Fraction(3, 2))
    Makes(pan=None, pans=3, batter_per_pan_kg=0.66, portions=18)
    >>> scaled_makes(Makes(pans=2, batter_per_pan_kg=0.6), Fraction(5, 4)).batter_per_pan_kg
    0.75
    """
    pans, batter = makes.pans, makes.batter_per_pan_kg
    if makes.pan is not None or batter is not None:
        if (pans * factor).denominator == 1:
            pans = int(pans * factor)
        elif batter is not None:
            batter = float(exact(batter) * factor)
    portions = makes.portions
    if portions is not None:
        portions = max(1, round(portions * factor))
    return replace(makes, pans=pans, batter_per_pan_kg=batter, portions=portions)


def to_portions(formula: Formula, portions: int, table: Table) -> Scaled:
    """To a number of portions.

    Raises:
        ScalingError: the formula does not say how many it makes, or `portions` is not above 0.
    """
    made = formula.makes.portions
    if not made:
        raise ScalingError(
            f"{formula.name} does not say how many portions it makes",
            "write  portions = 12  below [makes] in its file",
        )
    if portions < 1:
        raise ScalingError(f"{portions} portions are none", "give 1 or more")
    factor = Fraction(portions, made)
    makes = replace(scaled_makes(formula.makes, factor), portions=portions)
    said = f"From {made} to {portions} portions: × {said_factor(factor)}."
    scaled = by_factor(formula, factor, table, makes=makes, sentences=(said,))
    return replace(scaled, for_portions=True)


def to_total(formula: Formula, wanted_kg: float, table: Table) -> Scaled:
    """To a total mass of all lines that have a target.

    Raises:
        ScalingError: no line has a target, or the total is not above 0.
    """
    now = total_kg(formula)
    if not now:
        raise ScalingError(f"no line of {formula.name} has a mass", "give at least one")
    if not wanted_kg > 0:
        raise ScalingError("a total of nothing", 'write for example  --total "2 kg"')
    factor = exact(wanted_kg) / now
    untold = [x.key for x in formula.lines if x.target_kg is None]
    without = f" Without {listed(untold)}." if untold else ""
    return by_factor(
        formula, factor, table,
        sentences=(
            f"From {weighed(float(now))} to {weighed(wanted_kg)} in all: "
            f"× {said_factor(factor)}.{without}",
        ),
    )  # fmt: skip


def to_least(formula: Formula, available_kg: Mapping[str, float], table: Table) -> Scaled:
    """To what there is: the line that runs out first decides.

    Args:
        formula: what to scale.
        available_kg: line key → what there is of it.
        table: of ingredients.

    Raises:
        ScalingError: a key that no line has, a line without a target, nothing available.
    """
    by_key = {line.key: line for line in formula.lines}
    factors: list[tuple[Fraction, str]] = []
    for key, mass_kg in available_kg.items():
        line = by_key.get(key)
        if line is None or line.target_kg is None:
            known = listed(x.key for x in formula.lines if x.target_kg is not None)
            what = (
                f"{formula.name} has no line {key!r}"
                if line is None
                else f"{key} has no mass in {formula.name}"
            )
            raise ScalingError(what, f"its lines are {known}")
        if not mass_kg > 0:
            raise ScalingError(f"there is no {key} at all", "give more than nothing")
        factors.append((exact(mass_kg) / exact(line.target_kg), key))
    if not factors:
        raise ScalingError("nothing is said of what there is", 'write  --least "butter=400 g"')
    factor, key = min(factors)
    line = by_key[key]
    assert line.target_kg is not None
    return by_factor(
        formula, factor, table,
        sentences=(
            f"{key.capitalize()} runs out first: there are {weighed(available_kg[key])} and the "
            f"formula takes {weighed(line.target_kg)}, so every line × {said_factor(factor)}.",
        ),
    )  # fmt: skip


def cautions(was: Formula, new: Formula, factor: Fraction, table: Table) -> tuple[str, ...]:
    """What does not simply follow the factor: leaveners, tiny lines, tolerances, broken eggs."""
    out: list[str] = []
    items = kinded(new.lines, table)
    eggs = {x.line.key for x in items if x.kind == "egg"}
    leavened = [x.line.key for x in items if is_chemical(x)]
    if leavened and not LEAVENING_SPAN[0] < factor < LEAVENING_SPAN[1]:
        out.append(
            f"Over a factor like {said_factor(factor)} {listed(leavened)} may not act in "
            "proportion (common practice): bake a trial before the whole."
        )
    for before, after in zip(was.lines, new.lines, strict=True):
        target, tolerance = after.target_kg, after.tolerance_kg
        if target is None or tolerance is None:
            continue
        if target < DIVISION_KG:
            out.append(f"{after.key}: {in_grams(target)} is less than a bench scale weighs.")
        if tolerance == FLOOR_KG and before.tolerance_kg != FLOOR_KG:
            share = tolerance / target * 100
            out.append(
                f"{after.key}: its tolerance stays at ±0.1 g, which is {share:.0f} % of it now."
            )
        pieces = counted(after)
        if after.key in eggs and pieces is not None and pieces[0].denominator != 1:
            out.append(
                f"{after.key}: {after.amount}; beat {math.ceil(pieces[0])} and weigh "
                f"{weighed(target)}, or ask for whole eggs."
            )
    return tuple(out)
