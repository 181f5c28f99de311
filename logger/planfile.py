"""A plan's document (TOML, or JSON out of the log) → `Plan`."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from logger.document import Document, FileError, Where
from logger.formula import read_formula
from logger.ingredient import Ingredient
from logger.plan import (
    CakePlan,
    EarlierBake,
    Formula,
    Line,
    Milestone,
    OvenPlan,
    Pan,
    Plan,
    RoomTemperature,
    ScaleFacts,
)
from logger.quantity import (
    AmountError,
    duration_s,
    length_m,
    mass_kg,
    pressure_pa,
    temperature_c,
    temperature_difference_k,
    temperature_with_spread,
)

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
SHAPES: dict[str, tuple[str, ...]] = {
    "round": ("diameter",),
    "rectangle": ("length", "width"),
    "ring": ("diameter", "inner"),
    "loaf": ("length", "width"),
    "cups": ("count", "diameter"),
}
MATERIALS = ("aluminium", "dark", "tinplate", "glass", "silicone", "steel", "ceramic", "paper")
CLASSES = ("I", "II", "III", "IIII")


T = TypeVar("T")


class _Reader:
    """Reads keys of one document and complains with file, line and remedy."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.warnings: list[str] = []

    def table(self, *where: str) -> Mapping[str, Any]:
        value: Any = self.document.content
        for key in where:
            value = value.get(key, {})
            if not isinstance(value, dict):
                raise self.document.error(
                    where, f"{key} is not a table", f"write [{'.'.join(where)}]"
                )
        assert isinstance(value, dict)
        return value

    def read(self, where: Where, value: Any, reader: Callable[[str], T], example: str) -> T:
        if isinstance(value, int | float) and not isinstance(value, bool):
            raise self.document.error(
                where, f"{where[-1]} = {value} has no unit", f'write  {where[-1]} = "{example}"'
            )
        if not isinstance(value, str):
            raise self.document.error(
                where, f"{where[-1]} is not a text", f'write  {where[-1]} = "{example}"'
            )
        try:
            return reader(value)
        except AmountError as error:
            raise self.document.error(
                where, f"{where[-1]}: {error.what}", f'write  {where[-1]} = "{example}"'
            ) from error

    def optional(
        self, where: Where, table: Mapping[str, Any], reader: Callable[[str], T], example: str
    ) -> T | None:
        value = table.get(str(where[-1]))
        return None if value is None else self.read(where, value, reader, example)

    def positive(
        self, where: Where, table: Mapping[str, Any], reader: Callable[[str], float], example: str
    ) -> float | None:
        value = self.optional(where, table, reader, example)
        if value is not None and value <= 0:
            raise self.document.error(
                where, f"{where[-1]} is not more than nothing", f'write  {where[-1]} = "{example}"'
            )
        return value

    def word(self, where: Where, table: Mapping[str, Any], known: tuple[str, ...]) -> str | None:
        """A word; an unknown one is a warning and the widest prior, not an error."""
        value = table.get(str(where[-1]))
        if value is None:
            return None
        if not isinstance(value, str):
            raise self.document.error(
                where, f"{where[-1]} is not a text", f"one of {', '.join(known)}"
            )
        if value not in known:
            self.warnings.append(
                f"{where[-1]} {value!r} is not known here; nothing is assumed of it "
                f"(known: {', '.join(known)})"
            )
        return value


def read_plan(
    document: Document,
    formulas: Sequence[Formula] = (),
    frozen: Mapping[str, Any] | None = None,
) -> Plan:
    """The plan in a parsed plan file.

    Args:
        document: the plan's TOML.
        formulas: those it names, already read, in the order in which they are weighed.
        frozen: what was frozen in: ``earlier_bakes``, ``ingredients``.

    Raises:
        FileError: naming file, line and remedy.
    """
    r = _Reader(document)
    kitchen, oven = r.table("kitchen"), r.table("oven")
    room = r.optional(("kitchen", "room"), kitchen, temperature_with_spread, "23 ± 2 °C")
    zone = kitchen.get("time_zone")
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
        ),
        cake=_cake(r),
        bake_milestones=_milestones(r, "bake"),
        cooling_milestones=_milestones(r, "cooling"),
        earlier_bakes=_earlier(frozen or {}),
        ingredients=_ingredients(frozen or {}),
        warnings=tuple(r.warnings),
    )


def _channels(r: _Reader) -> Mapping[str, str]:
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


def _scales(r: _Reader) -> Mapping[str, ScaleFacts]:
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


def _cake(r: _Reader) -> CakePlan:
    cake = r.table("cake")
    pan_table = r.table("cake", "pan") if "pan" in cake else None
    pan = None
    if pan_table is not None:
        at = ("cake", "pan")
        shape = r.word((*at, "shape"), pan_table, tuple(SHAPES)) or "round"
        count = pan_table.get("count")
        if count is not None and (
            isinstance(count, bool) or not isinstance(count, int) or count < 1
        ):
            raise r.document.error((*at, "count"), f"count is {count!r}", "write  count = 12")
        lengths = {
            key: r.positive((*at, key), pan_table, length_m, "200 mm")
            for key in ("diameter", "inner", "length", "width", "depth")
        }
        for needed in SHAPES.get(shape, ()):
            if needed != "count" and lengths[needed] is None:
                r.warnings.append(f"a {shape} pan without {needed}; its size is not used")
        pan = Pan(
            shape=shape,
            diameter_m=lengths["diameter"],
            inner_m=lengths["inner"],
            length_m=lengths["length"],
            width_m=lengths["width"],
            count=count,
            depth_m=lengths["depth"],
            material=r.word((*at, "material"), pan_table, MATERIALS) or "aluminium",
        )
    pans = cake.get("pans")
    if pans is not None and (isinstance(pans, bool) or not isinstance(pans, int) or pans < 1):
        raise r.document.error(("cake", "pans"), f"pans is {pans!r}", "write  pans = 2")
    return CakePlan(
        kind=r.word(("cake", "kind"), cake, KINDS),
        batter_kg=r.positive(("cake", "batter"), cake, mass_kg, "620 g"),
        batter_depth_m=r.positive(("cake", "batter_depth"), cake, length_m, "20 mm"),
        pans=pans,
        pan=pan,
    )


def _milestones(r: _Reader, stage: str) -> tuple[Milestone, ...]:
    out: list[Milestone] = []
    for name, entry in r.table(stage, "milestones").items():
        where: Where = (stage, "milestones", name)
        if not isinstance(entry, dict):
            raise r.document.error(
                where, f"milestone {name!r} is not a table", f'write  {name} = {{ core = "97 °C" }}'
            )
        unknown = set(entry) - {"core", "surface", "core_above_room", "hold"}
        given = set(entry) & {"core", "surface", "core_above_room"}
        if unknown or len(given) != 1:
            what = (
                f"has {', '.join(sorted(unknown))}" if unknown else "needs exactly one temperature"
            )
            raise r.document.error(
                where,
                f"milestone {name!r} {what}",
                f'write  {name} = {{ core = "97 °C" }}  (or surface, or core_above_room; and hold)',
            )
        out.append(
            Milestone(
                name=name,
                core_c=r.optional((*where, "core"), entry, temperature_c, "97 °C"),
                surface_c=r.optional((*where, "surface"), entry, temperature_c, "30 °C"),
                core_above_room_k=r.optional(
                    (*where, "core_above_room"), entry, temperature_difference_k, "2 °C"
                ),
                hold_s=r.optional((*where, "hold"), entry, duration_s, "60 s") or 0.0,
            )
        )
    return tuple(out)


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
    return read_plan(
        Document(body, "plan"),
        [
            read_formula(Document(formula, "formula"))
            for formula in (formulas if isinstance(formulas, list) else ())
            if isinstance(formula, dict)
        ],
        frozen if isinstance(frozen, dict) else None,
    )


def load_plan_document(path: Path) -> dict[str, Any]:
    """Plan file and the formulas beside it, as the document of a plan record; all are checked.

    Raises:
        FileError: naming file, line and remedy.
    """
    plan = Document.load(path)
    beside = [Document.load(path.parent / name) for name in formula_files(plan)]
    read_plan(plan, [read_formula(document) for document in beside])
    return {
        "plan": plan.content,
        "formulas": [document.content for document in beside],
        "frozen": {},
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
