"""The sheet of a formula: everything that can be said of it before it is weighed.

`sheet` puts together what percentages, composition, balance, leavening, allergens, energy and cost
say, each with its sentences for the baker. Masses in kilograms, percentages in per cent, ratios as
plain numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from logger.formula.allergens import Allergens, allergens, stated
from logger.formula.balance import Balance, balance, family_words
from logger.formula.composition import Energy, Whole, composition
from logger.formula.cost import Cost, cost
from logger.formula.kinds import Kinded, Table, kinded, listed, weighed
from logger.formula.percent import missing_flour, percentages
from logger.plan import Formula
from logger.quantity import exact

# A deposit that leaves more than this share of the batter over, or is this short, is said (ours).
DEPOSIT_SLACK = 0.01


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One line of the sheet.

    Attributes:
        key, ingredient, amount, bowl, by, lot, note: as in the formula.
        mass_kg: the target; None for ``to taste``.
        spread_kg: ± (one standard deviation) of the conversion; None for an amount in mass.
        tolerance_kg: ± around the target.
        percent: baker's percentage; None where there is no flour or no mass.
        of_total: per cent of the whole; None where there is no mass.
        kind: what it is in the batter; `kind_assumed` where the name told it.
        record: where the table's row comes from; None where the table has none.
        conversion: where the conversion of a household measure comes from.
        allergens: plain words; () where it states none, None where nothing is known.
        cost: in the kitchen's currency; None where none was given.
    """

    key: str
    ingredient: str
    amount: str
    bowl: str | None
    by: str
    mass_kg: float | None
    spread_kg: float | None
    tolerance_kg: float | None
    percent: float | None
    of_total: float | None
    kind: str
    kind_assumed: bool
    record: str | None
    conversion: str | None
    allergens: tuple[str, ...] | None
    cost: float | None
    lot: str | None
    note: str | None


@dataclass(frozen=True, slots=True)
class Deposit:
    """How the batter goes into the pans.

    Attributes:
        pans: how many.
        per_pan_kg: batter in each.
        given: True where the formula says how much; else the total shared out.
        left_kg: what the pans leave of the total; negative where it falls short.
        sentence: for the baker.
    """

    pans: int
    per_pan_kg: float
    given: bool
    left_kg: float
    sentence: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """The sheet of a formula.

    Attributes:
        formula, version: its name and the kitchen's word for this version.
        flour_kg: all flours; 0 where there is none.
        total_kg: all lines that have a mass.
        total_percent: sum of the baker's percentages; None where there is no flour.
        lines: in the formula's order.
        deposit: None where the formula makes no pans.
        portions: None where the formula does not say.
        whole: composition of the whole, energy in it.
        balance: ratios, leavening, flour asked for.
        allergens: by the two legal lists.
        cost: of the ingredients.
        without_mass: keys of lines without a mass (``to taste``), which are in no sum.
        problems: what is wrong with the formula, each with a remedy; empty where nothing is.
        notes: further sentences for the baker.
    """

    formula: str
    version: str | None
    flour_kg: float
    total_kg: float
    total_percent: float | None
    lines: tuple[SheetLine, ...]
    deposit: Deposit | None
    portions: int | None
    whole: Whole
    balance: Balance
    allergens: Allergens
    cost: Cost
    without_mass: tuple[str, ...]
    problems: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def energy(self) -> Energy:
        return self.whole.energy

    def to_json(self) -> dict[str, Any]:
        """As a JSON object: nested objects and lists, numbers, text, null."""
        document: dict[str, Any] = _plain(asdict(self))
        return document


def sheet(formula: Formula, table: Table) -> Sheet:
    """The sheet of a formula, its ingredients found in a pantry.

    A formula without flour has no percentages: a frosting is told so in a note, a cake in
    `problems`.
    """
    items = kinded(formula.lines, table)
    masses = {i.line.key: i.line.target_kg for i in items if i.line.target_kg is not None}
    with_mass = tuple((i, mass) for i in items if (mass := i.line.target_kg) is not None)
    flours = {item.line.key for item in items if item.kind == "flour"}
    percents = percentages({key: exact(kg) for key, kg in masses.items()}, flours)
    portions = formula.makes.portions
    whole = composition(with_mass, portions)
    balanced = balance(masses, formula.lines, table, flour_kind=formula.flour_kind)
    priced = cost(with_mass, portions)
    without_mass = tuple(item.line.key for item in items if item.line.target_kg is None)
    problem = missing_flour(formula, items)
    return Sheet(
        formula=formula.name,
        version=formula.version,
        flour_kg=float(percents.flour_kg),
        total_kg=float(percents.total_kg),
        total_percent=None if percents.total is None else float(percents.total),
        lines=tuple(
            _line(item, percents.of_flour or {}, percents.of_total, priced) for item in items
        ),
        deposit=_deposit(formula, float(percents.total_kg)),
        portions=portions,
        whole=whole,
        balance=balanced,
        allergens=allergens(items),
        cost=priced,
        without_mass=without_mass,
        problems=() if problem is None else (str(problem),),
        notes=_notes(items, balanced, without_mass, flour=bool(percents.flour_kg)),
    )


def _line(
    item: Kinded, of_flour: Mapping[str, Any], of_total: Mapping[str, Any], priced: Cost
) -> SheetLine:
    line = item.line
    return SheetLine(
        key=line.key,
        ingredient=line.ingredient,
        amount=line.amount,
        bowl=line.bowl,
        by=line.by,
        mass_kg=line.target_kg,
        spread_kg=line.spread_kg,
        tolerance_kg=line.tolerance_kg,
        percent=float(of_flour[line.key]) if line.key in of_flour else None,
        of_total=float(of_total[line.key]) if line.key in of_total else None,
        kind=item.kind,
        kind_assumed=item.assumed,
        record=None if item.ingredient is None else item.ingredient.source,
        conversion=line.source,
        allergens=stated(item.ingredient),
        cost=priced.by_line.get(line.key),
        lot=line.lot,
        note=line.note,
    )


def _deposit(formula: Formula, total_kg: float) -> Deposit | None:
    makes = formula.makes
    given = makes.batter_per_pan_kg
    if given is None and makes.pan is None and makes.pans <= 1:
        return None
    pans = max(1, makes.pans)
    each = f"{pans} pan{'s' if pans > 1 else ''}"
    if given is None:
        share = total_kg / pans
        return Deposit(pans, share, False, 0.0, f"{each}: {weighed(share)} of batter in each.")
    left = total_kg - pans * given
    said = f"{each} of {weighed(given)} take {weighed(pans * given)} of {weighed(total_kg)}"
    if abs(left) <= DEPOSIT_SLACK * total_kg:
        return Deposit(pans, given, True, left, f"{said}.")
    rest = f"{weighed(left)} is left" if left > 0 else f"{weighed(-left)} is missing"
    return Deposit(pans, given, True, left, f"{said}: {rest}; what stays in the bowl is not in it.")


def _notes(
    items: tuple[Kinded, ...], balanced: Balance, without_mass: tuple[str, ...], *, flour: bool
) -> tuple[str, ...]:
    notes: list[str] = []
    if flour:
        notes.append(f"This is {family_words(balanced.family)}.")
    else:
        notes.append(
            "There is no flour, so there are no baker's percentages and no cake balance; the "
            "per cent of the total stand in their place."
        )
    if without_mass:
        notes.append(f"Without a mass, and in no sum: {listed(without_mass)}.")
    strange = tuple(item.line.ingredient for item in items if item.ingredient is None)
    if strange:
        notes.append(
            f"Not in the ingredient table, so without composition and allergens: "
            f"{listed(dict.fromkeys(strange))}."
        )
    return tuple(notes)


def _plain(value: Any) -> Any:
    """Tuples as lists, so that a document read back equals the one written."""
    if isinstance(value, dict):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    return value
