"""A formula's document → `Formula`: lines in order, masses in kilograms."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

from logger.document import Document, FileError, Where
from logger.formula.household import Weight, weigh
from logger.formula.method import read_makes, read_steps
from logger.formula.pantry import Pantry
from logger.formula.tolerance import FLOOR_KG, default_tolerance_kg
from logger.keys import Keys
from logger.plan import Formula, Line
from logger.quantity import AmountError, amount, mass_kg
from logger.tables import read_milestones

# A kitchen's largest bowl; more is a slip of the unit (the amount of a factory silo).
LARGEST_KG = 1000.0
KEYS = ("name", "version", "makes", "flour", "note", "line", "step", "bake", "cooling")
LINE_KEYS = ("ingredient", "amount", "tolerance", "bowl", "key", "lot", "note", "stock")
# How records from before household measures were understood speak of what is counted.
_COUNTED = re.compile(
    r"^(?:(?:extra )?large|medium|small|jumbo|whole|pieces?|eggs?|yolks?|whites?|sticks?|sheets?|"
    r"pinch(?:es)?|dash(?:es)?|drops?|each|to taste)?$",
    re.IGNORECASE,
)


def read_formula(document: Document, pantry: Pantry | None) -> Formula:
    """The formula in a parsed ``*.formula.toml``.

    Args:
        document: as parsed.
        pantry: the ingredients whose household measures have a weight. None for a record of the
            log that froze none in: there a counted line has no target, and keys that are not
            known are passed over.

    Raises:
        FileError: naming file, line and remedy.
    """
    content = document.content
    r = Keys(document)
    if pantry is not None:
        r.only((), content, KEYS)
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
        line = _line(r, i, entry, pantry)
        used[line.key] = used.get(line.key, 0) + 1
        if used[line.key] > 1:
            if "key" in entry:
                raise document.error(
                    ("line", i, "key"), f"the key {line.key!r} is used twice", "give each its own"
                )
            line = replace(line, key=f"{line.key}#{used[line.key]}")
        lines.append(line)
    if pantry is None:
        return Formula(name=name.strip(), lines=tuple(lines))
    version = content.get("version")
    return Formula(
        name=name.strip(),
        lines=tuple(lines),
        version=str(version)
        if isinstance(version, int) and not isinstance(version, bool)
        else r.text(("version",), content),
        makes=read_makes(r),
        steps=read_steps(r),
        flour_kind=r.text(("flour",), content),
        bake=read_milestones(r, "bake"),
        cooling=read_milestones(r, "cooling"),
    )


def _required(r: Keys, where: Where, entry: Mapping[str, Any]) -> str:
    if str(where[-1]) not in entry:
        raise r.document.error(where, f"{where[-1]} is missing", f'write  {where[-1]} = "…"')
    text = r.text(where, entry)
    assert text is not None
    return text


def _line(r: Keys, i: int, entry: Any, pantry: Pantry | None) -> Line:
    where: Where = ("line", i)
    if not isinstance(entry, dict):
        raise r.document.error(where, "a line is a table", "write [[line]] and its keys below it")
    if pantry is not None:
        r.only(where, entry, LINE_KEYS)
    ingredient = _required(r, (*where, "ingredient"), entry)
    written = _required(r, (*where, "amount"), entry)
    try:
        weight = _weight(written, ingredient, pantry)
    except AmountError as error:
        raise r.document.error(
            (*where, "amount"), f"{ingredient}: {error.what}", error.remedy
        ) from error
    return Line(
        key=r.text((*where, "key"), entry) or ingredient,
        ingredient=ingredient,
        amount=written,
        target_kg=weight.mass_kg,
        tolerance_kg=_tolerance_kg(r, i, entry, ingredient, weight.mass_kg, pantry),
        bowl=r.text((*where, "bowl"), entry),
        by=weight.by,
        spread_kg=weight.spread_kg,
        source=weight.source,
        lot=r.text((*where, "lot"), entry) if pantry is not None else None,
        note=r.text((*where, "note"), entry) if pantry is not None else None,
        stock_kg=_stock_kg(r, (*where, "stock"), entry, ingredient, pantry),
    )


def _stock_kg(
    r: Keys, where: Where, entry: Mapping[str, Any], ingredient: str, pantry: Pantry | None
) -> float | None:
    given = r.text(where, entry) if pantry is not None else None
    if given is None:
        return None
    try:
        stock_kg = _weight(given, ingredient, pantry).mass_kg
    except AmountError as error:
        raise r.document.error(where, f"{ingredient}: {error.what}", error.remedy) from error
    if stock_kg is None:
        raise r.document.error(
            where, f"{ingredient}: a stock is an amount", 'write for example "500 g"'
        )
    return stock_kg


def _weight(written: str, ingredient: str, pantry: Pantry | None) -> Weight:
    if pantry is None:
        read = amount(written)
        if read.number > 0 and _COUNTED.fullmatch(read.unit):
            return Weight(None, by="count")
    weight = weigh(written, ingredient, pantry if pantry is not None else Pantry(()))
    if weight.mass_kg is not None and weight.mass_kg > LARGEST_KG:
        raise AmountError(f"{written!r} is more than a kitchen weighs", "check the unit")
    return weight


def _tolerance_kg(
    r: Keys,
    i: int,
    entry: Mapping[str, Any],
    ingredient: str,
    target_kg: float | None,
    pantry: Pantry | None,
) -> float | None:
    if target_kg is None:
        return None
    where: Where = ("line", i, "tolerance")
    given = r.text(where, entry)
    if given is None:
        known = None if pantry is None else pantry.find(ingredient)
        kind = None if known is None else known.kind
        return default_tolerance_kg(ingredient, target_kg, kind)
    written = given.lstrip("±").strip()
    try:
        read = amount(written)
        share = read.unit in ("%", "percent", "per cent")
        kg = float(read.number * Fraction(1, 100)) * target_kg if share else mass_kg(written)
    except AmountError as error:
        raise r.document.error(
            where, f"{ingredient}: {error.what}", 'write for example "2 g" or "1 %"'
        ) from error
    if kg <= 0:
        raise r.document.error(
            where, f"{ingredient}: a tolerance is more than nothing", 'write "2 g"'
        )
    return max(FLOOR_KG, kg)


__all__ = ["FileError", "read_formula"]
