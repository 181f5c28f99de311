"""``coolcrumb formula``: check, show, scale and compare formulas without any daemon."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.failure import UnusableFile
from api.formula_files import AS_JSON, FILE, opened, opened_plan, positive, say
from api.formula_scale import scale
from api.saved_formulas import save, versions

if TYPE_CHECKING:
    from logger.plan import ScaleFacts


@click.group()
def formula() -> None:
    """Look at formulas: what they weigh, what they are, scaled, and compared; and keep them."""


formula.add_command(scale)
formula.add_command(save)
formula.add_command(versions)


@formula.command("check")
@click.argument("file", type=FILE)
@click.option("--plan", "plan_file", type=FILE, help="Plan that names the scales.")
@click.option("--resolution", help='Of the scale, such as "1 g", in place of a plan.')
@click.option(
    "--class",
    "accuracy_class",
    type=click.Choice(["I", "II", "III", "IIII"]),
    help="Accuracy class of that scale (OIML R 76).",
)
@AS_JSON
def check(
    file: Path,
    plan_file: Path | None,
    resolution: str | None,
    accuracy_class: str | None,
    as_json: bool,
) -> None:
    """Say whether FILE can be used, what each line weighs, and which scale can decide it."""
    from api.formula_words import say_check
    from logger.formula.kinds import kinded
    from logger.formula.percent import missing_flour
    from logger.formula.sheet import sheet
    from logger.weighing.fit import fit

    if plan_file is not None and (resolution or accuracy_class):
        raise click.UsageError("a plan names its scales: give --plan, or --resolution and --class")
    if accuracy_class and not resolution:
        raise click.UsageError('--class goes with --resolution, such as  --resolution "1 g"')
    scales = scales_told(plan_file, resolution, accuracy_class)
    one = opened(file)
    items = kinded(one.formula.lines, one.pantry)
    if (problem := missing_flour(one.formula, items)) is not None:
        error = one.document.error(("line", 0), problem.what, problem.remedy)
        raise UnusableFile(str(error)) from problem
    fits = fit(one.formula.lines, scales, one.pantry) if scales else []
    notes = sheet(one.formula, one.pantry).notes
    if as_json:
        say(
            {
                "name": one.formula.name,
                "version": one.formula.version,
                "lines": [
                    {
                        "key": x.key,
                        "ingredient": x.ingredient,
                        "amount": x.amount,
                        "target_kg": x.target_kg,
                        "lower_kg": x.lower_kg,
                        "upper_kg": x.upper_kg,
                        "tolerance_kg": x.tolerance_kg,
                        "spread_kg": x.spread_kg,
                        "source": x.source,
                        "by": x.by,
                        "bowl": x.bowl,
                    }
                    for x in one.formula.lines
                ],
                "fit": [x.to_json() for x in fits],
                "notes": list(notes),
            }
        )
        return
    say_check(one.formula, fits, notes)


def scales_told(
    plan_file: Path | None, resolution: str | None, accuracy_class: str | None
) -> Mapping[str, ScaleFacts]:
    """Role → facts of the scales that a plan or the options name; empty where neither does."""
    from logger.plan import ScaleFacts, is_scale
    from logger.quantity import mass_kg

    if plan_file is not None:
        plan = opened_plan(plan_file)
        roles = sorted({r for r in plan.channels.values() if is_scale(r)})
        return {role: plan.scales.get(role, ScaleFacts()) for role in roles}
    if resolution is None:
        return {}
    return {"scale": ScaleFacts(positive("--resolution", resolution, mass_kg), accuracy_class)}


@formula.command("show")
@click.argument("file", type=FILE)
@AS_JSON
def show(file: Path, as_json: bool) -> None:
    """Show the whole sheet of FILE: grams, percentages, balance, allergens, energy, cost."""
    from api.formula_words import say_sheet
    from api.sheets import fill_words, sheet_of
    from logger.formula.sheet import sheet

    one = opened(file)
    if as_json:
        say(sheet_of(one.formula, one.pantry, {}))
        return
    found = sheet(one.formula, one.pantry)
    say_sheet(one.formula, found, fill_words(one.formula.makes, found))


@formula.command("diff")
@click.argument("a", type=FILE)
@click.argument("b", type=FILE)
@AS_JSON
def diff(a: Path, b: Path, as_json: bool) -> None:
    """Show what changed from A to B, in grams and in baker's per cent."""
    from api.formula_words import say_diff
    from logger.formula.diff import diff as compared

    was, now = opened(a), opened(b)
    found = compared(was.formula, now.formula, now.pantry)
    if as_json:
        say(found.to_json())
        return
    say_diff(was.formula, now.formula, found)
