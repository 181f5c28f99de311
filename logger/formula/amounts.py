"""What a batter's ratios are made of: how much flour, sugar, fat, egg, liquid, cocoa, salt, water.

What counts: flour and meal of any grain as flour (no starch, cocoa or ground nuts); sugar and
syrups in full as sugar; butter, shortening and oil in full as fat; whole eggs, yolks and whites as
egg; eggs, milk, cream, water, juices and the like in full as liquid where at least half of them is
water; of chocolate its sugar and its fat, where its composition is known. Cheese, fruit, nuts and
flavours are in no ratio but that of water.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import fsum

from logger.formula.kinds import Kinded
from logger.formula.leavening import ATOMIC, Leavening

# An egg, milk or liquid counts as liquid where at least half of it is water: milk powder, dried
# egg and condensed milk do not (ours).
LIQUID_WATER = 0.5
_DRY = re.compile(r"\b(?:dry|dried|powder(?:ed)?|condensed)\b")
# Counted elsewhere, or too little of it to weigh on a ratio.
_ELSEWHERE = ("flour", "leavening", "acid", "flavour")
_LIQUIDS = ("egg", "milk", "liquid", "acid")

# Sodium as salt: the ratio of molar masses NaCl : Na = 58.44 : 22.990 = 2.542.
SALT_PER_SODIUM = (ATOMIC["Na"] + ATOMIC["Cl"]) / ATOMIC["Na"]


@dataclass(frozen=True, slots=True)
class Amounts:
    """What the ratios are made of, kilograms.

    Attributes:
        flour_kg, sugar_kg, fat_kg, egg_kg, cocoa_kg: as the module says.
        liquids_kg: eggs included.
        leavening_kg: as baking powder.
        salt_kg: with that of salted butter.
        water_kg: of all lines whose water is known.
        fruit_water_kg: of those of them that are fruit.
    """

    flour_kg: float
    sugar_kg: float
    fat_kg: float
    egg_kg: float
    liquids_kg: float
    cocoa_kg: float
    leavening_kg: float
    salt_kg: float
    water_kg: float
    fruit_water_kg: float


def share_of(item: Kinded, field: str) -> float | None:
    """Grams per gram of a part of the composition; None where unknown."""
    composition = None if item.ingredient is None else item.ingredient.composition
    value = None if composition is None else getattr(composition, field)
    return None if value is None else float(value) / 100.0


def is_liquid(item: Kinded) -> bool:
    """Whether a line counts as liquid."""
    if item.kind not in _LIQUIDS:
        return False
    water = share_of(item, "water_g")
    if water is not None:
        return water >= LIQUID_WATER
    return not item.says(_DRY) and "cream of tartar" not in item.names


def count(
    items: tuple[tuple[Kinded, float], ...], flour_kg: float, raised: Leavening
) -> tuple[Amounts, tuple[str, ...], tuple[str, ...]]:
    """The amounts, the keys of lines whose water is unknown, and those of lines not counted."""
    sums: dict[str, list[float]] = {
        part: [] for part in ("sugar", "fat", "egg", "liquids", "cocoa", "salt", "water", "fruit")
    }
    water_unknown: list[str] = []
    uncounted: list[str] = []
    for item, mass in items:
        if mass <= 0:
            continue
        water = share_of(item, "water_g")
        if water is None:
            water_unknown.append(item.line.key)
        else:
            sums["water"].append(water * mass)
            if item.kind == "fruit":
                sums["fruit"].append(water * mass)
        counted = _counted(item, mass)
        for part, kg in counted.items():
            sums[part].append(kg)
        if not counted and item.kind not in _ELSEWHERE:
            uncounted.append(item.line.key)
    total = {part: fsum(values) for part, values in sums.items()}
    return (
        Amounts(
            flour_kg, total["sugar"], total["fat"], total["egg"], total["liquids"],
            total["cocoa"], raised.equivalent_kg, total["salt"], total["water"],
            total["fruit"],
        ),
        tuple(water_unknown),
        tuple(uncounted),
    )  # fmt: skip


def _counted(item: Kinded, mass: float) -> dict[str, float]:
    """What a line adds to which amounts (flour and leavening are counted elsewhere)."""
    counted: dict[str, float] = {}
    if item.kind in ("sugar", "syrup"):
        counted["sugar"] = mass
    elif item.kind == "fat":
        counted["fat"] = mass
        if sodium := share_of(item, "sodium_mg"):
            counted["salt"] = sodium / 1000 * SALT_PER_SODIUM * mass
    elif item.kind == "chocolate":
        for part, field in (("sugar", "sugars_g"), ("fat", "fat_g")):
            if (share := share_of(item, field)) is not None:
                counted[part] = share * mass
    elif item.kind in ("cocoa", "salt"):
        counted[item.kind] = mass
    if is_liquid(item):
        counted["liquids"] = mass
        if item.kind == "egg":
            counted["egg"] = mass
    return counted
