"""A formula's document → `Formula`: lines in order, masses in kilograms."""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from logger.document import Document, FileError
from logger.formula.tolerance import FLOOR_KG, default_tolerance_kg
from logger.plan import Formula, Line
from logger.quantity import AmountError, amount, mass_kg

# A kitchen's largest bowl; more is a slip of the unit (the amount of a factory silo).
LARGEST_KG = 1000.0
# Words for things that are counted or spooned: such a line has no mass of its own to check here.
_COUNTED = re.compile(
    r"^(?:(?:extra )?large|medium|small|jumbo|whole|pieces?|eggs?|yolks?|whites?|sticks?|sheets?|"
    r"pinch(?:es)?|dash(?:es)?|drops?|each|to taste)?$",
    re.IGNORECASE,
)


def read_formula(document: Document) -> Formula:
    """The formula in a parsed ``*.formula.toml``.

    Raises:
        FileError: naming file, line and remedy.
    """
    content = document.content
    name = content.get("name")
    if not isinstance(name, str) or not name.strip():
        raise document.error(("name",), "the formula has no name", 'write  name = "…"  at the top')
    entries = content.get("line")
    if not isinstance(entries, list) or not entries:
        raise document.error(
            ("line",), "the formula has no lines", "write a [[line]] with ingredient and amount"
        )
    lines: list[Line] = []
    used: dict[str, int] = {}
    for i, entry in enumerate(entries):
        line = _line(document, i, entry)
        used[line.key] = used.get(line.key, 0) + 1
        if used[line.key] > 1:
            if isinstance(entry, dict) and "key" in entry:
                raise document.error(
                    ("line", i, "key"), f"the key {line.key!r} is used twice", "give each its own"
                )
            line = Line(
                key=f"{line.key}#{used[line.key]}",
                ingredient=line.ingredient,
                amount=line.amount,
                target_kg=line.target_kg,
                tolerance_kg=line.tolerance_kg,
                bowl=line.bowl,
            )
        lines.append(line)
    return Formula(name=name.strip(), lines=tuple(lines))


def _text(
    document: Document, where: tuple[str | int, ...], entry: Mapping[str, Any], key: str
) -> str:
    value = entry.get(key)
    if not isinstance(value, str) or not value.strip():
        found = "is missing" if value is None else f"is {value!r}, not a text"
        raise document.error((*where, key), f"{key} {found}", f'write  {key} = "…"')
    return value.strip()


def _line(document: Document, i: int, entry: Any) -> Line:
    where = ("line", i)
    if not isinstance(entry, dict):
        raise document.error(where, "a line is a table", "write [[line]] and its keys below it")
    ingredient = _text(document, where, entry, "ingredient")
    written = _text(document, where, entry, "amount")
    key = _text(document, where, entry, "key") if "key" in entry else ingredient
    bowl = _text(document, where, entry, "bowl") if "bowl" in entry else None
    try:
        target_kg = _target_kg(written)
    except AmountError as error:
        raise document.error(
            (*where, "amount"), f"{ingredient}: {error.what}", error.remedy
        ) from error
    tolerance_kg: float | None = None
    if target_kg is not None:
        tolerance_kg = _tolerance_kg(document, i, entry, ingredient, target_kg)
    return Line(key, ingredient, written, target_kg, tolerance_kg, bowl)


def _target_kg(written: str) -> float | None:
    read = amount(written)
    if read.number <= 0:
        raise AmountError(f"{written!r} is not more than nothing", "write a positive amount")
    if _COUNTED.fullmatch(read.unit):
        return None
    target = mass_kg(written)
    if target > LARGEST_KG:
        raise AmountError(f"{written!r} is more than a kitchen weighs", "check the unit")
    return target


def _tolerance_kg(
    document: Document, i: int, entry: Mapping[str, Any], ingredient: str, target_kg: float
) -> float:
    if "tolerance" not in entry:
        return default_tolerance_kg(ingredient, target_kg)
    where = ("line", i, "tolerance")
    written = _text(document, ("line", i), entry, "tolerance").lstrip("±").strip()
    try:
        read = amount(written)
        share = read.unit in ("%", "percent", "per cent")
        kg = float(read.number * Fraction(1, 100)) * target_kg if share else mass_kg(written)
    except AmountError as error:
        raise document.error(
            where, f"{ingredient}: {error.what}", 'write for example "2 g" or "1 %"'
        ) from error
    if kg <= 0:
        raise document.error(
            where, f"{ingredient}: a tolerance is more than nothing", 'write "2 g"'
        )
    return max(FLOOR_KG, kg)


__all__ = ["FileError", "read_formula"]
