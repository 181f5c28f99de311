"""Tables that plans and formulas have in common: a pan, milestones."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from logger.document import Where
from logger.keys import Keys
from logger.plan import SHAPES, Milestone, Pan
from logger.quantity import (
    duration_s,
    length_m,
    temperature_c,
    temperature_difference_k,
)

MATERIALS = ("aluminium", "dark", "tinplate", "glass", "silicone", "steel", "ceramic", "paper")
# The base and, where the sides slope, the rim.
LENGTHS = (
    "diameter", "inner", "length", "width", "depth", "top_diameter", "top_length", "top_width",
)  # fmt: skip
PAN_KEYS = ("shape", *LENGTHS, "count", "material")


def read_pan(r: Keys, at: Where, table: Mapping[str, Any]) -> Pan:
    """The pan of a table; a shape or material that is not known is a warning.

    Raises:
        FileError: a length without a unit, a count that is none.
    """
    shape = r.word((*at, "shape"), table, tuple(SHAPES)) or "round"
    lengths = {key: r.positive((*at, key), table, length_m, "200 mm") for key in LENGTHS}
    for needed in (name.removesuffix("_m") for name in SHAPES.get(shape, ())):
        if needed != "count" and lengths[needed] is None:
            r.warnings.append(f"a {shape} pan without {needed}; its size is not used")
    return Pan(
        shape=shape,
        diameter_m=lengths["diameter"],
        inner_m=lengths["inner"],
        length_m=lengths["length"],
        width_m=lengths["width"],
        count=r.count((*at, "count"), table, 12),
        depth_m=lengths["depth"],
        material=r.word((*at, "material"), table, MATERIALS) or "aluminium",
        top_diameter_m=lengths["top_diameter"],
        top_length_m=lengths["top_length"],
        top_width_m=lengths["top_width"],
    )


def read_milestones(r: Keys, stage: str) -> tuple[Milestone, ...]:
    """The milestones of a stage: ``[bake.milestones]`` or ``[cooling.milestones]``."""
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
