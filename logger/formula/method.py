"""What a formula makes, and the steps of its method."""

from __future__ import annotations

import re
from typing import Any

from logger.document import Where
from logger.keys import Keys
from logger.plan import Makes, MixingStep
from logger.quantity import AmountError, duration_s, mass_kg, temperature_c
from logger.tables import PAN_KEYS, read_pan

MAKES_KEYS = ("pan", "pans", "batter_per_pan", "portions")
STEP_KEYS = ("kind", "text", "speed", "time", "window", "scrape_down", "set_point")
_WINDOW = re.compile(r"^\s*([\d.,]+)\s*(?:-|–|—|to)\s*([\d.,]+\s*[^\W\d_]+\.?)\s*$")


def read_makes(r: Keys) -> Makes:
    """``[makes]``: pans, batter per pan, portions.

    Raises:
        FileError: a pan that cannot be computed with, a key that is not known.
    """
    table = r.table("makes")
    r.only(("makes",), table, MAKES_KEYS)
    pan = None
    if "pan" in table:
        where: Where = ("makes", "pan")
        pan_table = r.table("makes", "pan")
        r.only(where, pan_table, PAN_KEYS)
        before = len(r.warnings)
        pan = read_pan(r, where, pan_table)
        if len(r.warnings) > before:
            raise r.document.error(
                where,
                r.warnings[before],
                'write for example  pan = { shape = "round", diameter = "200 mm" }',
            )
    return Makes(
        pan=pan,
        pans=r.count(("makes", "pans"), table, 2) or 1,
        batter_per_pan_kg=r.positive(("makes", "batter_per_pan"), table, mass_kg, "620 g"),
        portions=r.count(("makes", "portions"), table, 12),
    )


def read_steps(r: Keys) -> tuple[MixingStep, ...]:
    """The ``[[step]]`` tables in order.

    Raises:
        FileError: a step without a kind, a time without a unit, a key that is not known.
    """
    entries = r.document.content.get("step", [])
    if not isinstance(entries, list):
        raise r.document.error(("step",), "step is not a list of tables", "write [[step]]")
    return tuple(_step(r, i, entry) for i, entry in enumerate(entries))


def _step(r: Keys, i: int, entry: Any) -> MixingStep:
    where: Where = ("step", i)
    if not isinstance(entry, dict):
        raise r.document.error(where, "a step is a table", "write [[step]] and its keys below it")
    r.only(where, entry, STEP_KEYS)
    kind = r.text((*where, "kind"), entry)
    if kind is None:
        raise r.document.error(
            (*where, "kind"), "the step has no kind", 'write  kind = "mix"  (bake, cool, frost …)'
        )
    scrape_down = entry.get("scrape_down", False)
    if not isinstance(scrape_down, bool):
        raise r.document.error(
            (*where, "scrape_down"),
            f"scrape_down is {scrape_down!r}",
            "write  scrape_down = true",
        )
    if "time" in entry and "window" in entry:
        raise r.document.error(
            (*where, "window"), "the step has a time and a window", "write one of them"
        )
    key = "window" if "window" in entry else "time"
    span = r.optional((*where, key), entry, _span, "3 min")
    return MixingStep(
        kind=kind,
        text=r.text((*where, "text"), entry) or "",
        speed=r.text((*where, "speed"), entry),
        duration_s=None if span is None else span[0],
        longest_s=None if span is None else span[1],
        scrape_down=scrape_down,
        set_point_c=r.optional((*where, "set_point"), entry, temperature_c, "175 °C"),
    )


def _span(text: str) -> tuple[float, float | None]:
    """``3 min`` → (180, None); ``28-32 min`` → (1680, 1920)."""
    found = _WINDOW.match(text)
    if found is None:
        shortest, longest = duration_s(text), None
    else:
        longest = duration_s(found.group(2))
        unit = found.group(2).lstrip("0123456789., ")
        shortest = duration_s(f"{found.group(1)} {unit}")
    if shortest <= 0 or (longest is not None and longest < shortest):
        raise AmountError(f"{text!r} is no span of time", 'write for example "28-32 min"')
    return shortest, longest


__all__ = ["read_makes", "read_steps"]
