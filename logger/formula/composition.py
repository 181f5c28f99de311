"""What a whole batter is made of: water, fat, sugar, protein, starch, salt, alcohol, fibre, energy.

Masses in kilograms, energy in kilocalories (and kilojoules, 4.184 to one). What is not determined
stays unknown and is named with its lines; it is never counted as nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import fsum

from logger.formula.amounts import SALT_PER_SODIUM
from logger.formula.kinds import Kinded, listed
from logger.ingredient import Composition

# Thermochemical kilocalorie, exact (NIST SP 811 appendix B.8, from memory).
KJ_PER_KCAL = 4.184
# Parts of a food that leave at most this much of 100 g leave no room for alcohol: food tables
# give carbohydrate as what the other parts, alcohol among them, leave of 100 g.
NO_ROOM_G = 0.5
# Starch by difference holds other carbohydrate too (dextrins, acids of fruit); below this much in
# 100 g that is not worth naming (ours).
LITTLE_STARCH_G = 1.0

WATER, FAT, SUGAR, PROTEIN = "water", "fat", "sugar", "protein"
STARCH, SALT, ALCOHOL, FIBRE = "starch", "salt", "alcohol", "fibre"
PARTS = (WATER, FAT, SUGAR, PROTEIN, STARCH, SALT, ALCOHOL, FIBRE)
_DIRECT = {WATER: "water_g", FAT: "fat_g", SUGAR: "sugars_g", PROTEIN: "protein_g",
           STARCH: "starch_g", ALCOHOL: "alcohol_g", FIBRE: "fiber_g"}  # fmt: skip
_CARBOHYDRATES = (SUGAR, STARCH, FIBRE)


@dataclass(frozen=True, slots=True)
class LineParts:
    """One line's parts.

    Attributes:
        key: the line.
        mass_kg: its mass.
        parts_kg: by name of part (`PARTS`); None where not determined.
        energy_kcal: None where not determined.
        starch_by_difference: the starch is what carbohydrate leaves beside sugar and fibre.
    """

    key: str
    mass_kg: float
    parts_kg: dict[str, float | None]
    energy_kcal: float | None
    starch_by_difference: bool = False


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the whole.

    Attributes:
        name: one of `PARTS`.
        known_kg: summed over the lines where it is known.
        percent: `known_kg` of the whole mass; at least that, where something is unknown.
        unknown: keys of the lines where it is not known.
        unknown_kg: their mass.
        by_difference: keys of the lines where it was taken by difference (starch only).
    """

    name: str
    known_kg: float
    percent: float
    unknown: tuple[str, ...]
    unknown_kg: float
    by_difference: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Energy:
    """Energy of what is weighed in; at least that, where some lines' is unknown.

    Attributes:
        kcal, kj: of the whole.
        kcal_per_100_g, kj_per_100_g: of what is weighed in, before baking; baking drives water
            off and raises it.
        portions: None where the formula does not say.
        kcal_per_portion, kj_per_portion: likewise.
        unknown: keys of lines whose energy is not known.
        sentence: for the baker.
    """

    kcal: float
    kj: float
    kcal_per_100_g: float
    kj_per_100_g: float
    portions: int | None
    kcal_per_portion: float | None
    kj_per_portion: float | None
    unknown: tuple[str, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class Whole:
    """The composition of the whole.

    Attributes:
        total_kg: mass of all lines.
        lines: line by line, in the formula's order.
        parts: in the order of `PARTS`.
        energy: of the whole.
        unknown: keys of lines without any composition.
        unknown_percent: their share of the mass.
        sentence: says so; empty where all is known.
    """

    total_kg: float
    lines: tuple[LineParts, ...]
    parts: tuple[Part, ...]
    energy: Energy
    unknown: tuple[str, ...]
    unknown_percent: float
    sentence: str

    def part(self, name: str) -> Part:
        """The part of this name."""
        return next(part for part in self.parts if part.name == name)


def per_100_g(composition: Composition) -> tuple[dict[str, float | None], bool]:
    """Parts in grams per 100 g, and whether the starch is by difference.

    Where a part is not determined it is told only where arithmetic tells it: a kind of
    carbohydrate in a food without carbohydrate, alcohol where the other parts leave no room,
    starch as what carbohydrate leaves beside sugar and fibre. Salt is sodium as sodium chloride.
    """
    parts: dict[str, float | None] = {
        part: getattr(composition, field) for part, field in _DIRECT.items()
    }
    sodium = composition.sodium_mg
    parts[SALT] = None if sodium is None else sodium / 1000 * SALT_PER_SODIUM
    carbohydrate = composition.carbohydrate_g
    if carbohydrate == 0:
        parts |= {part: 0.0 for part in _CARBOHYDRATES if parts[part] is None}
    by_difference = False
    beside = (parts[SUGAR], parts[FIBRE])
    known = [part for part in beside if part is not None]
    if parts[STARCH] is None and carbohydrate is not None and len(known) == len(beside):
        starch = max(0.0, carbohydrate - fsum(known))
        parts[STARCH] = starch
        by_difference = starch > LITTLE_STARCH_G
    if parts[ALCOHOL] is None:
        others = (parts[WATER], parts[PROTEIN], parts[FAT], carbohydrate, composition.ash_g)
        known = [part for part in others if part is not None]
        if len(known) == len(others) and abs(100 - fsum(known)) <= NO_ROOM_G:
            parts[ALCOHOL] = 0.0
    return parts, by_difference


def line_parts(item: Kinded, mass_kg: float) -> LineParts:
    """The parts of one line at this mass."""
    composition = None if item.ingredient is None else item.ingredient.composition
    if composition is None:
        return LineParts(item.line.key, mass_kg, dict.fromkeys(PARTS), None)
    parts, by_difference = per_100_g(composition)
    kcal = composition.energy_kcal
    return LineParts(
        item.line.key,
        mass_kg,
        {name: _times(parts[name], mass_kg / 100) for name in PARTS},
        _times(kcal, mass_kg * 10),
        by_difference,
    )


def composition(items: Iterable[tuple[Kinded, float]], portions: int | None = None) -> Whole:
    """The composition of lines with their masses in kilograms."""
    lines = tuple(line_parts(item, mass) for item, mass in items if mass > 0)
    total = fsum(line.mass_kg for line in lines)
    blank = tuple(line for line in lines if all(v is None for v in line.parts_kg.values()))
    unknown_percent = _percent(fsum(line.mass_kg for line in blank), total)
    unknown = tuple(line.key for line in blank)
    sentence = ""
    if blank:
        sentence = (
            f"Nothing is known of what {listed(unknown)} {'is' if len(blank) == 1 else 'are'} made "
            f"of, {unknown_percent:.0f} % of the mass; the figures for the whole leave it out."
        )
    parts = tuple(_part(name, lines, total) for name in PARTS)
    return Whole(
        total, lines, parts, _energy(lines, total, portions), unknown, unknown_percent, sentence
    )


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


def _percent(part_kg: float, total_kg: float) -> float:
    return 100 * part_kg / total_kg if total_kg > 0 else 0.0


def _part(name: str, lines: tuple[LineParts, ...], total_kg: float) -> Part:
    known_kg = fsum(kg for line in lines if (kg := line.parts_kg[name]) is not None)
    unknown = tuple(line for line in lines if line.parts_kg[name] is None)
    return Part(
        name,
        known_kg,
        _percent(known_kg, total_kg),
        tuple(line.key for line in unknown),
        fsum(line.mass_kg for line in unknown),
        tuple(line.key for line in lines if line.starch_by_difference) if name == STARCH else (),
    )


def _energy(lines: tuple[LineParts, ...], total_kg: float, portions: int | None) -> Energy:
    kcal = fsum(line.energy_kcal for line in lines if line.energy_kcal is not None)
    unknown = tuple(line.key for line in lines if line.energy_kcal is None)
    per_100 = kcal / total_kg / 10 if total_kg > 0 else 0.0
    portion = kcal / portions if portions else None
    at_least = "at least " if unknown else ""
    sentence = (
        f"Energy is {at_least}{per_100:.0f} kcal ({per_100 * KJ_PER_KCAL:.0f} kJ) in 100 g as "
        "weighed in; baking drives water off and raises it."
    )
    if portion is not None:
        sentence += (
            f" A portion, one of {portions}, has {at_least}{portion:.0f} kcal "
            f"({portion * KJ_PER_KCAL:.0f} kJ)."
        )
    if unknown:
        sentence += f" Not counted, because not known: {listed(unknown)}."
    return Energy(
        kcal, kcal * KJ_PER_KCAL, per_100, per_100 * KJ_PER_KCAL, portions, portion,
        _times(portion, KJ_PER_KCAL), unknown, sentence,
    )  # fmt: skip
