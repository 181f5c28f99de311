"""A kitchen's own ingredients: the document of an ``*.ingredients.toml`` → rows of the pantry."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from logger.document import Document, Where
from logger.formula.allergens import GROUPS, SPELT, STATED_NONE
from logger.formula.portions import measures_of
from logger.ingredient import Composition, Ingredient, Portion
from logger.keys import Keys
from logger.quantity import AmountError, amount, mass_kg, volume_ml, volume_unit

KINDS = (
    "flour", "starch", "sugar", "syrup", "fat", "egg", "milk", "liquid", "leavening", "acid",
    "salt", "cocoa", "chocolate", "cheese", "flavour", "fruit", "nut", "other",
)  # fmt: skip
KEYS = (
    "name", "aliases", "kind", "flour_kind", "density", "measures", "plain", "composition",
    "allergens", "cost", "source",
)  # fmt: skip
# Per 100 g: grams, but for energy (kilocalories) and sodium (milligrams).
COMPOSITION = {
    "water": "water_g", "protein": "protein_g", "fat": "fat_g", "carbohydrate": "carbohydrate_g",
    "fibre": "fiber_g", "fiber": "fiber_g", "ash": "ash_g", "sugars": "sugars_g",
    "starch": "starch_g", "alcohol": "alcohol_g", "saturated_fat": "saturated_fat_g",
    "sodium": "sodium_mg", "energy": "energy_kcal",
}  # fmt: skip
# Pure sodium and pure fat bound what 100 g of anything can hold.
MOST = {"sodium": 100_000.0, "energy": 950.0}
# Osmium is no ingredient: more than this is a slip (grams per litre, or per cup).
DENSEST = 3.0


def read_own(document: Document) -> tuple[Ingredient, ...]:
    """The ``[[ingredient]]`` tables of a document.

    Raises:
        FileError: naming file, line and remedy.
    """
    r = Keys(document)
    r.only((), document.content, ("ingredient",))
    entries = document.content.get("ingredient")
    if not isinstance(entries, list) or not entries:
        raise document.error(
            ("ingredient",), "the file has no ingredients", "write an [[ingredient]] with a name"
        )
    out: list[Ingredient] = []
    taken: dict[str, str] = {}
    for i, entry in enumerate(entries):
        row = _ingredient(r, ("ingredient", i), entry)
        for name in (row.name, *row.aliases):
            if (other := taken.setdefault(name.casefold(), row.name)) != row.name or (
                name == row.name and any(o.name == name for o in out)
            ):
                raise document.error(
                    ("ingredient", i, "name"),
                    f"the name {name!r} is given twice ({other!r})",
                    "give each ingredient names of its own",
                )
        out.append(row)
    return tuple(out)


def _ingredient(r: Keys, where: Where, entry: Any) -> Ingredient:
    if not isinstance(entry, dict):
        raise r.document.error(where, "an ingredient is a table", "write [[ingredient]]")
    r.only(where, entry, KEYS)
    name = r.text((*where, "name"), entry)
    if name is None:
        raise r.document.error((*where, "name"), "the ingredient has no name", 'write  name = "…"')
    kind = r.text((*where, "kind"), entry) or "other"
    if kind not in KINDS:
        raise r.document.error(
            (*where, "kind"), f"the kind {kind!r} is not known", f"one of {', '.join(KINDS)}"
        )
    allergens = _texts(r, (*where, "allergens"), entry)
    for word in allergens:
        _not_misspelt(r, (*where, "allergens"), word)
    source = r.text((*where, "source"), entry)
    return Ingredient(
        name=name,
        source=f"{r.document.file}, {name}" + (f": {source}" if source else ""),
        aliases=_texts(r, (*where, "aliases"), entry),
        kind=kind,
        portions=_measures(r, (*where, "measures"), entry),
        composition=_composition(r, (*where, "composition"), entry),
        density_g_ml=r.optional((*where, "density"), entry, _density, "0.92 g/ml"),
        allergens=allergens,
        flour_kind=r.text((*where, "flour_kind"), entry),
        cost_per_kg=_cost(r, (*where, "cost"), entry),
        plain=r.text((*where, "plain"), entry),
    )


def _not_misspelt(r: Keys, where: Where, word: str) -> None:
    """A word outside the legal lists is the kitchen's to state, but not one that nearly is in."""
    known = (*GROUPS, *SPELT, STATED_NONE)
    if word.lower() in known:
        return
    from difflib import get_close_matches

    if near := get_close_matches(word.lower(), known, n=1, cutoff=0.8):
        raise r.document.error(
            where, f"the allergen {word!r} is not known", f"did you mean {near[0]!r}?"
        )


def _texts(r: Keys, where: Where, entry: Mapping[str, Any]) -> tuple[str, ...]:
    given = entry.get(str(where[-1]), [])
    if not isinstance(given, list) or not all(isinstance(x, str) and x.strip() for x in given):
        raise r.document.error(
            where, f"{where[-1]} is no list of texts", f'write  {where[-1]} = ["…", "…"]'
        )
    return tuple(text.strip() for text in given)


def _measures(r: Keys, where: Where, entry: Mapping[str, Any]) -> tuple[Portion, ...]:
    table = entry.get("measures", {})
    if not isinstance(table, dict):
        raise r.document.error(
            where, "measures is no table", 'write  measures = { cup = "130 g", tsp = "2.7 g" }'
        )
    out: list[Portion] = []
    for words, given in table.items():
        mass_g, sd_g = r.read((*where, words), given, _with_spread, "130 g")
        unit = volume_unit(words.split(",")[0].split()[0]) if words.split() else None
        portion = Portion(1, words, mass_g, sd_g=sd_g, volume_ml=None)
        if unit is not None:
            portion = Portion(1, words, mass_g, sd_g=sd_g, volume_ml=volume_ml(f"1 {unit}"))
        if not measures_of(Ingredient("", "", portions=(portion,))):
            raise r.document.error(
                (*where, words), f"{words!r} is no measure", 'write for example  cup = "130 g"'
            )
        out.append(portion)
    return tuple(out)


def _with_spread(text: str) -> tuple[float, float | None]:
    """``130 g`` or ``130 ± 5 g`` (one standard deviation) in grams."""
    head, found, tail = text.replace("+/-", "±").replace("+-", "±").partition("±")
    spread = mass_kg(tail) * 1000 if found else None
    if found and not amount(head).unit:
        head = f"{head} {amount(tail).unit}"
    mass = mass_kg(head) * 1000
    if mass <= 0 or (spread is not None and spread <= 0):
        raise AmountError(f"{text!r} is not more than nothing", 'write for example "130 g"')
    return round(mass, 6), None if spread is None else round(spread, 6)


def _density(text: str) -> float:
    number, _, unit = text.partition("/")
    of = unit.strip()
    value = mass_kg(number) * 1000 / volume_ml(of if of[:1].isdigit() else f"1 {of}")
    if not 0 < value <= DENSEST:
        raise AmountError(f"{text!r} is the density of no ingredient", 'write "0.92 g/ml"')
    return round(value, 6)


def _composition(r: Keys, where: Where, entry: Mapping[str, Any]) -> Composition | None:
    table = entry.get("composition")
    if table is None:
        return None
    if not isinstance(table, dict):
        raise r.document.error(
            where, "composition is no table", "write  composition = { water = 12.5, protein = 8.2 }"
        )
    r.only(where, table, COMPOSITION)
    out: dict[str, float] = {}
    for key, value in table.items():
        most = MOST.get(key, 100.0)
        good = isinstance(value, int | float) and not isinstance(value, bool)
        if not good or not math.isfinite(value) or not 0 <= value <= most:
            raise r.document.error(
                (*where, key),
                f"{key} is {value!r}, not a number from 0 to {most:g} per 100 g",
                "write grams per 100 g (energy in kcal, sodium in mg), without a unit",
            )
        out[COMPOSITION[key]] = float(value)
    return Composition(**out)


def _cost(r: Keys, where: Where, entry: Mapping[str, Any]) -> float | None:
    given = entry.get("cost")
    if given is None:
        return None
    try:
        value = float(amount(str(given)).number) if not isinstance(given, bool) else math.nan
        rest = amount(str(given)).unit if not isinstance(given, bool) else ""
    except AmountError:
        value, rest = math.nan, ""
    if not value >= 0 or rest not in ("", "per kg", "/kg", "/ kg"):
        raise r.document.error(
            where, f"cost is {given!r}", 'write what a kilogram costs:  cost = "3.20"'
        )
    return value


__all__ = ["read_own"]
