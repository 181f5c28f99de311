"""A plan's document (TOML, or JSON out of the log) → `Plan`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from logger.document import Document, FileError
from logger.formula import Pantry, read_formula
from logger.ingredient import Ingredient
from logger.keys import Keys
from logger.plan import (
    CakePlan,
    CentreTest,
    EarlierBake,
    Formula,
    Line,
    OvenPlan,
    Plan,
    RoomTemperature,
    ScaleFacts,
)
from logger.quantity import (
    duration_s,
    length_m,
    mass_kg,
    pressure_pa,
    temperature_c,
    temperature_with_spread,
)
from logger.tables import read_milestones, read_pan

ROLES = ("oven", "core", "surface", "room", "refrigerator", "scale")
KINDS = (
    "layer",
    "sponge",
    "pound",
    "chocolate",
    "carrot",
    "fruit",
    "cheesecake",
    "cupcake",
    "foam",
)
CLASSES = ("I", "II", "III", "IIII")


def read_plan(
    document: Document,
    formulas: Sequence[Formula] = (),
    frozen: Mapping[str, Any] | None = None,
) -> Plan:
    """The plan in a parsed plan file.

    Args:
        document: the plan's TOML.
        formulas: those it names, already read, in the order in which they are weighed.
        frozen: what was frozen in: ``earlier_bakes``, ``centre_tests``, ``ingredients``.

    Raises:
        FileError: naming file, line and remedy.
    """
    r = Keys(document)
    kitchen, oven = r.table("kitchen"), r.table("oven")
    room = r.optional(("kitchen", "room"), kitchen, temperature_with_spread, "23 ± 2 °C")
    zone = kitchen.get("time_zone")
    # A formula may bring its milestones; the plan's own go before them.
    bake = read_milestones(r, "bake") or next((f.bake for f in formulas if f.bake), ())
    cooling = read_milestones(r, "cooling") or next((f.cooling for f in formulas if f.cooling), ())
    return Plan(
        channels=_channels(r),
        altitude_m=r.optional(("kitchen", "altitude"), kitchen, length_m, "20 m"),
        pressure_pa=r.positive(("kitchen", "pressure"), kitchen, pressure_pa, "1009 hPa"),
        # Without a spread of its own an assumed room is believed to ±2 °C.
        room=None
        if room is None
        else RoomTemperature(room[0], 2.0 if room[1] is None else room[1]),
        time_zone=zone if isinstance(zone, str) else None,
        scales=_scales(r),
        formulas=one_of_a_kind(formulas),
        oven=OvenPlan(
            r.optional(("oven", "set_point"), oven, temperature_c, "175 °C"),
            oven.get("fan") is True,
            r.positive(("oven", "probe_lag"), oven, duration_s, "20 s"),
        ),
        cake=_cake(r),
        bake_milestones=bake,
        cooling_milestones=cooling,
        earlier_bakes=_earlier(frozen or {}),
        centre_tests=_tests(frozen or {}),
        ingredients=_ingredients(frozen or {}),
        warnings=tuple(r.warnings),
    )


def _channels(r: Keys) -> Mapping[str, str]:
    table = r.table("channels")
    out: dict[str, str] = {}
    for name, role in table.items():
        where = ("channels", name)
        if not isinstance(role, str) or "/" not in name:
            raise r.document.error(
                where,
                f"channel {name!r} = {role!r} is not understood",
                'write  "bench-scale/mass" = "scale"',
            )
        base, _, number = role.partition(" ")
        if base not in ROLES or (number and not number.isdigit()):
            raise r.document.error(
                where,
                f"{role!r} is not a role of a channel",
                f"write one of {', '.join(ROLES)}, or with a number: core 2",
            )
        if role in out.values():
            raise r.document.error(
                where, f"two channels play {role!r}", f'number the second one: "{base} 2"'
            )
        out[name] = role
    if not out:
        raise r.document.error(
            ("channels",),
            "the plan names no channels",
            'write [channels] and below it  "bench-scale/mass" = "scale"',
        )
    return MappingProxyType(out)


def _scales(r: Keys) -> Mapping[str, ScaleFacts]:
    """``[scale]`` speaks for the role ``scale``, ``["scale 2"]`` for the second one."""
    out: dict[str, ScaleFacts] = {}
    for role in r.document.content:
        base, _, number = role.partition(" ")
        if base != "scale" or (number and not number.isdigit()):
            continue
        table = r.table(role)
        accuracy_class = table.get("class")
        if accuracy_class is not None and accuracy_class not in CLASSES:
            raise r.document.error(
                (role, "class"),
                f"class {accuracy_class!r} is none of OIML R 76",
                "write I, II, III or IIII",
            )
        out[role] = ScaleFacts(
            resolution_kg=r.positive((role, "resolution"), table, mass_kg, "1 g"),
            accuracy_class=accuracy_class,
            interval_kg=r.positive((role, "interval"), table, mass_kg, "1 g"),
            capacity_kg=r.positive((role, "capacity"), table, mass_kg, "6 kg"),
        )
    return MappingProxyType(out)


def _cake(r: Keys) -> CakePlan:
    cake = r.table("cake")
    pan_table = r.table("cake", "pan") if "pan" in cake else None
    pan = read_pan(r, ("cake", "pan"), pan_table) if pan_table is not None else None
    pans = r.count(("cake", "pans"), cake, 2)
    return CakePlan(
        kind=r.word(("cake", "kind"), cake, KINDS),
        batter_kg=r.positive(("cake", "batter"), cake, mass_kg, "620 g"),
        batter_depth_m=r.positive(("cake", "batter_depth"), cake, length_m, "20 mm"),
        pans=pans,
        pan=pan,
    )


def _ingredients(frozen: Mapping[str, Any]) -> tuple[Ingredient, ...]:
    return tuple(Ingredient.from_json(row) for row in frozen.get("ingredients", ()))


def _earlier(frozen: Mapping[str, Any]) -> tuple[EarlierBake, ...]:
    return tuple(
        EarlierBake(
            batch=str(bake["batch"]),
            at_us=int(bake["at_us"]),
            set_point_c=float(bake["set_point_c"]),
            offset_c=float(bake["offset_c"]),
            cycles=int(bake["cycles"]),
            swing_c=_number(bake.get("swing_c")),
            period_s=_number(bake.get("period_s")),
            recovery_s=_number(bake.get("recovery_s")),
            new_baseline=bake.get("new_baseline") is True,
        )
        for bake in frozen.get("earlier_bakes", ())
    )


def _tests(frozen: Mapping[str, Any]) -> tuple[CentreTest, ...]:
    return tuple(
        CentreTest(
            str(test["batch"]), int(test["at_us"]), str(test["result"]), float(test["core_c"])
        )
        for test in frozen.get("centre_tests", ())
    )


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def plan_from_document(document: Mapping[str, Any]) -> Plan:
    """The plan of a plan record of the log: {"plan": …, "formulas": […], "frozen": {…}}.

    Raises:
        FileError: as `read_plan` and `read_formula`.
    """
    body, formulas, frozen = (document.get(key) for key in ("plan", "formulas", "frozen"))
    if not isinstance(body, dict):
        raise FileError("plan", None, "the record holds no plan", "open the batch with a plan")
    rows = frozen.get("ingredients") if isinstance(frozen, dict) else None
    # Without rows it is a record from before household measures were understood.
    pantry = Pantry.of_rows(rows) if isinstance(rows, list) else None
    return read_plan(
        Document(body, "plan"),
        [
            read_formula(Document(formula, "formula"), pantry)
            for formula in (formulas if isinstance(formulas, list) else ())
            if isinstance(formula, dict)
        ],
        frozen if isinstance(frozen, dict) else None,
    )


def load_plan_document(path: Path, pantry: Pantry | None = None) -> dict[str, Any]:
    """Plan file and the formulas beside it, as the document of a plan record; all are checked.

    Args:
        path: the plan's file.
        pantry: what its formulas may name; by default the shipped ingredients and those in the
            ``*.ingredients.toml`` beside the plan. The rows used are frozen in.

    Raises:
        FileError: naming file, line and remedy.
    """
    plan = Document.load(path)
    files = formula_files(plan)
    if pantry is None and files:
        from logger.pantry import with_own

        pantry = with_own(path.parent)
    beside = [Document.load(path.parent / name) for name in files]
    read = [read_formula(document, pantry) for document in beside]
    read_plan(plan, read)
    names = [line.ingredient for formula in read for line in formula.lines]
    return {
        "plan": plan.content,
        "formulas": [document.content for document in beside],
        "frozen": {"ingredients": pantry.rows_for(names) if pantry is not None else []},
    }


def formula_files(plan: Document) -> tuple[str, ...]:
    """The files that a plan's ``[formula]`` names: ``file = "…"`` or ``files = ["…", "…"]``.

    Raises:
        FileError: the table is there and names none.
    """
    named = plan.content.get("formula")
    if named is None:
        return ()
    given = named.get("files", named.get("file")) if isinstance(named, dict) else None
    files = [given] if isinstance(given, str) else given
    if not isinstance(files, list) or not files or not all(isinstance(f, str) for f in files):
        raise plan.error(
            ("formula", "file"),
            "the formula's file is not named",
            'write [formula] and below it  file = "name.formula.toml",  or  files = ["…", "…"]',
        )
    return tuple(files)


def one_of_a_kind(formulas: Sequence[Formula]) -> tuple[Formula, ...]:
    """The formulas with keys that are unique in the batch: the second ``butter`` is ``butter#2``.

    A name that two formulas bear is numbered likewise, so that a line says which one it is of.
    """
    keys: dict[str, int] = {}
    names: dict[str, int] = {}
    out: list[Formula] = []
    for formula in formulas:
        names[formula.name] = nth = names.get(formula.name, 0) + 1
        name = formula.name if nth == 1 else f"{formula.name}#{nth}"
        lines: list[Line] = []
        for line in formula.lines:
            base = line.key.partition("#")[0] if len(formulas) > 1 else line.key
            keys[base] = count = keys.get(base, 0) + 1
            key = base if count == 1 else f"{base}#{count}"
            lines.append(replace(line, key=key, formula=name))
        out.append(replace(formula, name=name, lines=tuple(lines)))
    return tuple(out)


def load_plan(path: Path) -> Plan:
    """The plan at `path` with its formula; raises `FileError`."""
    return plan_from_document(load_plan_document(path))


__all__ = ["formula_files", "load_plan", "load_plan_document", "plan_from_document", "read_plan"]
