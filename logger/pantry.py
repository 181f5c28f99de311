"""Ingredients out of files: the shipped table, and a kitchen's own ``*.ingredients.toml``."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from logger.document import Document
from logger.formula.own import read_own
from logger.formula.pantry import Pantry
from logger.ingredient import Composition, EnergyFactors, Ingredient, Portion

FOLDER = Path(__file__).parent / "ingredients"
TABLE = "usda_sr_baking.csv"
RELEASE = "USDA SR 28"

_COMPOSITION = {
    "water_g": "water_g", "protein_g": "protein_g", "fat_g": "fat_g",
    "carbohydrate_g": "carbohydrate_by_difference_g", "fiber_g": "fiber_g", "ash_g": "ash_g",
    "sugars_g": "sugars_g", "starch_g": "starch_g", "alcohol_g": "alcohol_g",
    "saturated_fat_g": "saturated_fat_g", "sodium_mg": "sodium_mg", "energy_kcal": "energy_kcal",
}  # fmt: skip


@cache
def shipped() -> Pantry:
    """The ingredients that come with the program: those of USDA SR 28, and what is like them."""
    added = tomllib.loads((FOLDER / "usda.toml").read_text("utf-8"))
    with (FOLDER / TABLE).open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    records: dict[str, list[dict[str, str]]] = {}
    for row in rows:
        records.setdefault(row["ndb_no"], []).append(row)
    foods = {number: _food(number, record, added[number]) for number, record in records.items()}
    like = [_like(entry, foods[entry["record"]]) for entry in added["like"]]
    asks = {name: entry["which"] for entry in added["ask"] for name in entry["names"]}
    return Pantry((*foods.values(), *like), asks)


def _food(number: str, record: Iterable[Mapping[str, str]], added: Mapping[str, Any]) -> Ingredient:
    rows = list(record)
    head = rows[0]
    factors = EnergyFactors(
        protein=_number(head["pro_factor"]),
        fat=_number(head["fat_factor"]),
        carbohydrate=_number(head["cho_factor"]),
    )
    return Ingredient(
        name=head["description"],
        source=f"{RELEASE}, record {number}",
        aliases=tuple(added.get("aliases", ())),
        kind=added["kind"],
        portions=tuple(_portion(row) for row in rows if row["portion_unit"]),
        composition=Composition(**{ours: _number(head[key]) for ours, key in _COMPOSITION.items()}),
        energy_factors=None if factors == EnergyFactors() else factors,
        allergens=tuple(added.get("allergens", ())),
        flour_kind=added.get("flour_kind"),
        plain=added.get("plain"),
    )


def _portion(row: Mapping[str, str]) -> Portion:
    amount = float(row["portion_amount"])
    volume_ml = _number(row["portion_volume_ml"])
    n = _number(row["portion_n"])
    return Portion(
        amount=amount,
        words=row["portion_unit"],
        mass_g=float(row["portion_gram_weight"]),
        n=None if n is None else int(n),
        sd_g=_number(row["portion_sd"]),
        # The table has the volume of the whole portion.
        volume_ml=None if volume_ml is None else round(volume_ml / amount, 4),
    )


def _like(entry: Mapping[str, Any], food: Ingredient) -> Ingredient:
    """Composition of a record without its measures, which are another thing's."""
    return Ingredient(
        name=entry["name"],
        source=f"composition as {food.source} ({food.name}); no published measure",
        aliases=tuple(entry.get("aliases", ())),
        kind=entry["kind"],
        composition=food.composition,
        energy_factors=food.energy_factors,
        allergens=food.allergens,
    )


def _number(cell: str) -> float | None:
    return float(cell) if cell else None


def with_own(*folders: Path) -> Pantry:
    """The shipped ingredients and a kitchen's own, which win over them.

    Args:
        folders: each of their ``*.ingredients.toml`` is read, in the order of names; of two
            ingredients of one name the later has it. A folder that is not there has none.

    Raises:
        FileError: naming file, line and remedy.
    """
    pantry = shipped()
    for folder in folders:
        for path in sorted(folder.glob("*.ingredients.toml")):
            pantry = pantry.plus(read_own(Document.load(path)))
    return pantry


__all__ = ["shipped", "with_own"]
