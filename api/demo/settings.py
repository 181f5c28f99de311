"""The demo's configuration, plan and earlier bakes."""

from __future__ import annotations

from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from logger.planfile import load_plan_document

KITCHEN = "harbour-steps"
TITLE = "Harbour Steps cake room"
TIME_ZONE = "Europe/Lisbon"


def plan_document(name: str = "pear-ginger") -> dict[str, Any]:
    """A plan that comes with the demo, with its formula."""
    with as_file(files("api.demo")) as folder:
        return load_plan_document(folder / f"{name}.plan.toml")


def write_own_ingredients(folder: Path) -> None:
    """The kitchen's own ingredients into its data folder, where recorder and page look for them."""
    name = f"{KITCHEN}.ingredients.toml"
    (folder / name).write_text(files("api.demo").joinpath(name).read_text("utf-8"), "utf-8")


def write_config(
    path: Path, ports: dict[str, str], clock_file: Path, *, port: int, broker: str
) -> None:
    """The configuration of the demo's pieces, as a person would write one."""
    lines = [
        f'kitchen = "{KITCHEN}"',
        f'title = "{TITLE}"',
        f'time_zone = "{TIME_ZONE}"',
        f'clock_file = "{clock_file}"',
        "[broker]",
        f'url = "{broker}"',
        "[serve]",
        f"port = {port}",
    ]
    for name, family, channel in (
        ("bench-scale", "sma", 'channel = "mass"'),
        ("oven-probe", "text-probe", 'channels = { air = "air" }'),
        ("cake-probe", "text-probe", 'channels = { core = "core" }'),
        ("wall", "text-probe", 'channels = { air = "air" }'),
        ("cold", "text-probe", 'channels = { air = "air" }'),
    ):
        lines += ["[[instrument]]", f'name = "{name}"', f'family = "{family}"', channel]
        lines.append(f'port = "{ports[name]}"')
        if family == "sma":
            lines.append('division = "1 g"')
        # Kitchen time runs fast here, and silence is counted in it; the scale goes to sleep when
        # nobody weighs, which is no fault.
        lines.append("silent_s = 3600.0" if family == "sma" else "silent_s = 60.0")
    path.write_text("\n".join(lines) + "\n", "utf-8")
