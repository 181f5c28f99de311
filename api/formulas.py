"""``coolcrumb formula``: check, show, scale and compare formulas without any daemon."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from api.failure import UnusableFile
from api.saved_formulas import save, versions
from logger.document import Document, FileError

if TYPE_CHECKING:
    from logger.formula.eggs import WholeEggs
    from logger.formula.pantry import Pantry
    from logger.formula.scaling import Scaled
    from logger.plan import Formula, Pan, Plan, ScaleFacts

# What is missing or no file cannot be used (exit code 3), so click does not look for it.
FILE = click.Path(path_type=Path)
AS_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON document, nothing else.")

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Opened:
    """A formula out of a file, with the ingredients that it may name."""

    formula: Formula
    pantry: Pantry
    document: Document


def opened(path: Path) -> Opened:
    """Read a formula and the kitchen's own ingredients beside it.

    Raises:
        UnusableFile: naming file, line and remedy.
    """
    from logger.formula import read_formula
    from logger.pantry import with_own

    try:
        document = Document.load(path)
        pantry = with_own(path.parent)
        return Opened(read_formula(document, pantry), pantry, document)
    except FileError as error:
        raise UnusableFile(str(error)) from error
    except RecursionError as error:
        raise UnusableFile(f"{path.name}: its tables lie too deep; write a flatter file") from error


def opened_plan(path: Path) -> Plan:
    """What a plan says of scales, pan and cake; its formulas are not read."""
    from logger.planfile import read_plan

    try:
        return read_plan(Document.load(path))
    except FileError as error:
        raise UnusableFile(str(error)) from error


def say(document: Any) -> None:
    """Print one JSON document."""
    click.echo(json.dumps(document, ensure_ascii=False, allow_nan=False))


def worded(option: str, text: str, reader: Callable[[str], T]) -> T:
    """The value of an option that has a unit.

    Raises:
        BadParameter: what the reader says, with its remedy.
    """
    from logger.formula.pans import PanError
    from logger.quantity import AmountError

    try:
        return reader(text)
    except (AmountError, PanError) as error:
        raise click.BadParameter(str(error), param_hint=f"'{option}'") from error


def positive(option: str, text: str, reader: Callable[[str], T]) -> T:
    """As `worded`; a value that is not above 0 is refused."""
    value = worded(option, text, reader)
    if not value > 0:  # type: ignore[operator]
        raise click.BadParameter(f"{text!r} is not more than nothing", param_hint=f"'{option}'")
    return value


def number(text: str) -> Fraction:
    """A bare number, exact: ``1.5``, ``3/2``, ``1 1/2``."""
    from logger.quantity import AmountError, amount

    read = amount(text)
    if read.unit:
        raise AmountError(f"{text!r} has a unit", "write a bare number, such as 1.5 or 3/2")
    return read.number


@click.group()
def formula() -> None:
    """Look at formulas: what they weigh, what they are, scaled, and compared; and keep them."""


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
    from logger.plan import ScaleFacts
    from logger.quantity import mass_kg

    if plan_file is not None:
        plan = opened_plan(plan_file)
        roles = sorted({r for r in plan.channels.values() if r.partition(" ")[0] == "scale"})
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
    from api.sheets import sheet_of
    from logger.formula.sheet import sheet

    one = opened(file)
    parts = sheet_of(one.formula, one.pantry, {})
    if as_json:
        say(parts)
        return
    say_sheet(one.formula, sheet(one.formula, one.pantry), parts["fill"])


@formula.command("scale")
@click.argument("file", type=FILE)
@click.option("--pans", help='The new pan, such as "round 230 mm x 50 mm".')
@click.option("--count", type=click.IntRange(min=1), help="How many of them.", metavar="N")
@click.option("--portions", type=click.IntRange(min=1), help="Number of portions.", metavar="N")
@click.option("--total", help='Mass of the whole, such as "2 kg".')
@click.option("--factor", help="A number, such as 1.5 or 3/2.")
@click.option(
    "--least",
    multiple=True,
    metavar="LINE=AMOUNT",
    help='What there is of a line, such as "butter=400 g"; may be given several times.',
)
@click.option("--whole-eggs", is_flag=True, help="Eggs to whole pieces, by the smaller change.")
@click.option("--plan", "plan_file", type=FILE, help="Plan that names the present pan.")
@click.option("--output", type=click.Path(dir_okay=False, path_type=Path), help="File to write.")
@AS_JSON
def scale(
    file: Path,
    pans: str | None,
    count: int | None,
    portions: int | None,
    total: str | None,
    factor: str | None,
    least: tuple[str, ...],
    whole_eggs: bool,
    plan_file: Path | None,
    output: Path | None,
    as_json: bool,
) -> None:
    """Scale FILE to pans, to portions, to a total, by a factor, or to what there is least of."""
    from api.formula_words import say_scaled
    from logger.formula.eggs import whole_eggs as ways_of
    from logger.formula.pans import PanError
    from logger.formula.scaling import ScalingError

    ways = [pans is not None, portions is not None, total is not None, factor is not None,
            bool(least)]  # fmt: skip
    if sum(ways) != 1:
        raise click.UsageError("give one of --pans, --portions, --total, --factor, --least")
    if (count is not None or plan_file is not None) and pans is None:
        raise click.UsageError("--count and --plan go with --pans")
    if output is not None and output.exists():
        raise click.UsageError(f"{output} is there already; give --output another name")
    one = opened(file)
    try:
        scaled = _scaled(one, pans, count, portions, total, factor, least, plan_file)
    except (ScalingError, PanError) as error:
        raise UnusableFile(f"{file.name}: {error}") from error
    eggs = ways_of(scaled, one.pantry) if whole_eggs else None
    final = scaled if eggs is None else eggs.chosen.scaled
    if output is not None:
        _write(output, final, one.pantry, file.name)
    if as_json:
        say(scaled_json(final, eggs))
        return
    say_scaled(final, eggs)
    if whole_eggs and eggs is None:
        click.echo("No line is eggs by the piece.")
    if output is not None:
        click.echo(f"Written to {output}.")


def _scaled(
    one: Opened,
    pans: str | None,
    count: int | None,
    portions: int | None,
    total: str | None,
    factor: str | None,
    least: tuple[str, ...],
    plan_file: Path | None,
) -> Scaled:
    from logger.formula import scaling
    from logger.formula.pans import parse_pan
    from logger.formula.repanning import scale_to_pans
    from logger.quantity import mass_kg

    formula, pantry = one.formula, one.pantry
    if pans is not None:
        pan = worded("--pans", pans, parse_pan)
        was, kind = _pan_of_plan(plan_file)
        if formula.makes.pan is not None:
            was = None
        old_count = formula.makes.pans if was is None else was[1]
        return scale_to_pans(formula, pan, count or old_count, pantry, was=was, kind=kind)
    if portions is not None:
        return scaling.to_portions(formula, portions, pantry)
    if total is not None:
        return scaling.to_total(formula, positive("--total", total, mass_kg), pantry)
    if factor is not None:
        return scaling.by_factor(formula, positive("--factor", factor, number), pantry)
    available: dict[str, float] = {}
    for text in least:
        key, found, mass = text.rpartition("=")
        if not found or not key.strip():
            raise click.BadParameter(
                f'{text!r} is not LINE=AMOUNT; write for example "butter=400 g"',
                param_hint="'--least'",
            )
        available[key.strip()] = positive("--least", mass, mass_kg)
    return scaling.to_least(formula, available, pantry)


def _pan_of_plan(plan_file: Path | None) -> tuple[tuple[Pan, int] | None, str | None]:
    """Pan and number, and kind of cake, of a plan."""
    if plan_file is None:
        return None, None
    cake = opened_plan(plan_file).cake
    return (None if cake.pan is None else (cake.pan, cake.pans or 1)), cake.kind


def _write(output: Path, scaled: Scaled, pantry: Pantry, origin: str) -> None:
    from logger.formula.scaling import said_factor
    from logger.formula.toml import formula_toml

    comment = "\n".join((f"Scaled from {origin}.", *scaled.sentences, *scaled.warnings))
    new = scaled.formula
    if new.version is not None:
        new = replace(new, version=f"{new.version} × {said_factor(scaled.factor)}")
    text = formula_toml(new, pantry, comment)
    try:
        # "x": what is there is never written over, whoever was quicker.
        with output.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except OSError as error:
        reason = error.strerror or str(error)
        raise UnusableFile(f"{output}: cannot be written: {reason}; give another name") from error


def scaled_json(scaled: Scaled, eggs: WholeEggs | None) -> dict[str, Any]:
    """A scaled formula as one JSON object."""
    from api.sheets import makes_words

    return {
        "name": scaled.formula.name,
        "factor": float(scaled.factor),
        "makes": makes_words(scaled.formula.makes),
        "sentences": list(scaled.sentences),
        "warnings": list(scaled.warnings),
        "lines": [
            {
                "key": now.key,
                "ingredient": now.ingredient,
                "was_kg": was.target_kg,
                "amount": now.amount,
                "target_kg": now.target_kg,
                "lower_kg": now.lower_kg,
                "upper_kg": now.upper_kg,
                "by": now.by,
                "bowl": now.bowl,
            }
            for was, now in zip(scaled.was.lines, scaled.formula.lines, strict=True)
        ],
        "whole_eggs": None
        if eggs is None
        else {
            "chosen": eggs.chosen.name,
            "ways": [
                {
                    "name": way.name,
                    "factor": float(way.scaled.factor),
                    "pieces": dict(way.pieces),
                    "off": way.off,
                    "sentence": way.sentence,
                }
                for way in eggs.ways
            ],
        },
    }


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
