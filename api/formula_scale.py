"""``coolcrumb formula scale``: a formula for other pans, portions, a total, or what there is."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from api.failure import UnusableFile
from api.formula_files import (
    AS_JSON,
    FILE,
    Opened,
    number,
    opened,
    opened_plan,
    positive,
    say,
    worded,
)

if TYPE_CHECKING:
    from logger.formula.eggs import WholeEggs
    from logger.formula.pantry import Pantry
    from logger.formula.scaling import Scaled
    from logger.plan import Pan


@click.command("scale")
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
