"""``coolcrumb formula save`` and ``versions``: the kitchen's saved formulas, without a daemon."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.failure import MissingOrBusy, UnusableFile
from api.formula_files import AS_JSON

if TYPE_CHECKING:
    from api.formulary import SavedFormula

DATA = click.option(
    "--data",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    required=True,
    help="Folder of the kitchen's saved formulas and own ingredients.",
)


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@DATA
@AS_JSON
def save(file: Path, folder: Path, as_json: bool) -> None:
    """Keep FILE as the next version of its formula; what is known is not saved twice.

    Nothing is ever overwritten: a batch can be opened with any version, and the page shows them.
    """
    from api.formulary import Formulary, FormularyError
    from drivers.clock import SystemClock
    from logger.document import Document, FileError
    from logger.pantry import with_own

    try:
        document = Document.load(file)
        pantry = with_own(folder)
        saved, new = Formulary(folder).save(document, pantry, SystemClock().now_us())
    except FileError as error:
        raise UnusableFile(f"{error}{_left_beside(file, folder)}") from error
    except FormularyError as error:
        raise MissingOrBusy(str(error)) from error
    if as_json:
        click.echo(json.dumps({**_facts(saved), "new": new}, ensure_ascii=False))
        return
    known = "" if new else ": it was there already"
    click.echo(f"{saved.name}, version {saved.version}, saved {_when(saved)}{known}")


def _left_beside(file: Path, folder: Path) -> str:
    """What to copy, where only the ingredients that lie beside the formula are missing."""
    from api.formula_files import opened

    beside = sorted(path.name for path in file.parent.glob("*.ingredients.toml"))
    try:
        opened(file)
    except UnusableFile:
        return ""
    return (
        f". What lies beside the formula is not saved with it: copy {' and '.join(beside)} "
        f"into {folder}, where the kitchen's own ingredients are"
    )


@click.command()
@click.argument("name", required=False)
@DATA
@AS_JSON
def versions(name: str | None, folder: Path, as_json: bool) -> None:
    """List the saved formulas with all their versions, or those of the one called NAME."""
    from api.formulary import Formulary, FormularyError

    formulary = Formulary(folder)
    try:
        names = [row.address for row in formulary.names()] if name is None else [name]
        found = [formulary.versions(one) for one in names]
    except FormularyError as error:
        raise MissingOrBusy(str(error)) from error
    if name is not None and not found[0]:
        raise MissingOrBusy(
            f"no saved formula {name!r} in {folder}; `coolcrumb formula versions` lists them"
        )
    if as_json:
        rows = [_facts(saved) for saved_versions in found for saved in saved_versions]
        click.echo(json.dumps(rows, ensure_ascii=False))
        return
    if not found:
        click.echo("no formula is saved here; save one with  coolcrumb formula save FILE")
    for saved_versions in found:
        click.echo(saved_versions[-1].name)
        for saved in saved_versions:
            own = saved.content.get("version")
            click.echo(f"  {saved.version:>3}  {_when(saved)}{'' if own is None else f'  {own}'}")


def _when(saved: SavedFormula) -> str:
    at = datetime.fromtimestamp(saved.saved_us / 1e6, UTC)
    return f"{at:%Y-%m-%d %H:%M} UTC"


def _facts(saved: SavedFormula) -> dict[str, object]:
    from api.sheets import saved_facts

    return saved_facts(saved)
