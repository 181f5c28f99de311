"""What the formula commands share: files opened, options with a unit read, JSON printed."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from api.failure import UnusableFile
from logger.document import Document, FileError

if TYPE_CHECKING:
    from logger.formula.pantry import Pantry
    from logger.plan import Formula, Plan

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
