"""A formula as the text of a ``*.formula.toml``, so that the reader gives it back."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable

from logger.formula.kinds import Table
from logger.formula.scaling import class_tolerance_kg, in_grams
from logger.plan import Formula, Line, Makes, Milestone, MixingStep, Pan

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_PAN = ("diameter", "inner", "length", "width", "depth", "top_diameter", "top_length", "top_width")


def formula_toml(formula: Formula, table: Table, comment: str = "") -> str:
    """The text of a formula file.

    Masses stand in grams to the milligram; what is counted stays counted. A tolerance is written
    where it is not the one of its class of ingredient.

    Args:
        formula: what to write.
        table: the ingredients by which it will be read.
        comment: for the top of the file.
    """
    out = [f"# {line}" for line in comment.splitlines()]
    out.append(f"name = {_text(formula.name)}")
    if formula.version is not None:
        out.append(f"version = {_text(formula.version)}")
    if formula.flour_kind is not None:
        out.append(f"flour = {_text(formula.flour_kind)}")
    out += _makes(formula.makes)
    for line in formula.lines:
        out += ["", "[[line]]", *_line(line, table)]
    for step in formula.steps:
        out += ["", "[[step]]", *_step(step)]
    out += _milestones("bake", formula.bake)
    out += _milestones("cooling", formula.cooling)
    return "\n".join(out) + "\n"


def _text(text: str) -> str:
    r"""A basic string of TOML, whose escapes are those of JSON and one more.

    >>> print(_text('a "thin" layer\t\x7f'))
    "a \"thin\" layer\t\u007f"
    """
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else _text(name)


def _number(value: float) -> str:
    """A decimal without an exponent, to a millionth.

    >>> _number(175.0), _number(176 + 2 / 3), _number(0.5)
    ('175', '176.666667', '0.5')
    """
    return f"{value:.6f}".rstrip("0").rstrip(".")


def _line(line: Line, table: Table) -> list[str]:
    is_counted = line.by == "count" or line.target_kg is None
    amount = line.amount if is_counted or line.target_kg is None else in_grams(line.target_kg)
    out = [f"ingredient = {_text(line.ingredient)}", f"amount = {_text(amount)}"]
    if line.key != line.ingredient:
        out.append(f"key = {_text(line.key)}")
    if line.target_kg is not None and line.tolerance_kg is not None:
        usual = class_tolerance_kg(line, line.target_kg, table)
        if abs(line.tolerance_kg - usual) > 1e-9:
            out.append(f"tolerance = {_text(in_grams(line.tolerance_kg))}")
    if line.stock_kg is not None:
        out.append(f"stock = {_text(in_grams(line.stock_kg))}")
    out += [
        f"{name} = {_text(value)}"
        for name, value in (("bowl", line.bowl), ("lot", line.lot), ("note", line.note))
        if value is not None
    ]
    return out


def _makes(makes: Makes) -> list[str]:
    out: list[str] = []
    if makes.pan is not None:
        out.append(f"pan = {_pan(makes.pan)}")
    if makes.pans != 1 or makes.pan is not None:
        out.append(f"pans = {makes.pans}")
    if makes.batter_per_pan_kg is not None:
        out.append(f"batter_per_pan = {_text(in_grams(makes.batter_per_pan_kg))}")
    if makes.portions is not None:
        out.append(f"portions = {makes.portions}")
    return ["", "[makes]", *out] if out else []


def _pan(pan: Pan) -> str:
    parts = [f"shape = {_text(pan.shape)}"]
    for name in _PAN:
        if (value := getattr(pan, f"{name}_m")) is not None:
            parts.append(f"{name} = {_text(f'{_number(value * 1e3)} mm')}")
    if pan.count is not None:
        parts.append(f"count = {pan.count}")
    parts.append(f"material = {_text(pan.material)}")
    return f"{{ {', '.join(parts)} }}"


def _step(step: MixingStep) -> list[str]:
    out = [f"kind = {_text(step.kind)}"]
    if step.text:
        out.append(f"text = {_text(step.text)}")
    if step.speed is not None:
        out.append(f"speed = {_text(step.speed)}")
    if step.duration_s is not None:
        short, unit = _span(step.duration_s, step.longest_s)
        if step.longest_s is None:
            out.append(f"time = {_text(f'{short} {unit}')}")
        else:
            long = _number(step.longest_s / (60 if unit == "min" else 1))
            out.append(f"window = {_text(f'{short}-{long} {unit}')}")
    if step.scrape_down:
        out.append("scrape_down = true")
    if step.set_point_c is not None:
        out.append(f"set_point = {_text(f'{_number(step.set_point_c)} °C')}")
    return out


def _span(shortest_s: float, longest_s: float | None) -> tuple[str, str]:
    """A time as a number and the unit, minutes where they are whole."""
    whole = all(s % 60 == 0 for s in (shortest_s, longest_s) if s is not None)
    return (_number(shortest_s / 60), "min") if whole else (_number(shortest_s), "s")


def _milestones(stage: str, milestones: Iterable[Milestone]) -> list[str]:
    out: list[str] = []
    for one in milestones:
        temperatures = {
            "core": one.core_c,
            "surface": one.surface_c,
            "core_above_room": one.core_above_room_k,
        }
        parts = [
            f"{name} = {_text(f'{_number(value)} °C')}"
            for name, value in temperatures.items()
            if value is not None
        ]
        if one.hold_s:
            parts.append(f"hold = {_text(f'{_number(one.hold_s)} s')}")
        out.append(f"{_key(one.name)} = {{ {', '.join(parts)} }}")
    return ["", f"[{stage}.milestones]", *out] if out else []
