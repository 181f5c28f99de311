"""Commands that need no daemon: decode, replay, export."""

from __future__ import annotations

import contextlib
import json
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import click

from api.failure import MissingOrBusy, UnusableFile
from logger.document import FileError

FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


def _say(document: Any) -> None:
    click.echo(json.dumps(document, ensure_ascii=False, allow_nan=False))


def _complain(file: str, line: int, reason: str) -> None:
    click.echo(f"{file}, line {line}: {reason}; skipped", err=True)


@click.command()
@click.argument("session", type=FILE)
@click.option(
    "--plan", "plan_file", type=FILE, help="Plan of the batch, where the session has none."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document a line, nothing else.")
def replay(session: Path, plan_file: Path | None, as_json: bool) -> None:
    """Conclude again from a recording, exactly as the recorder did.

    SESSION is a file of JSON Lines, gzipped or not. What was exported begins with its plan; for
    other recordings name one with --plan. Bad lines are named on stderr and skipped.
    """
    from logger.conclusions import start, start_from
    from logger.planfile import load_plan
    from logger.replay import NoPlan
    from logger.replay import replay as conclude
    from logger.session import entries, lines_of

    try:
        plan = load_plan(plan_file) if plan_file is not None else None
        lines = lines_of(session)
        found = entries(lines, lambda line, reason: _complain(session.name, line, reason))
        for event in conclude(found, plan, start, start_from):
            if as_json:
                _say(event.to_json())
            else:
                click.echo(_event_line(event.to_json()))
    except FileError as error:
        raise UnusableFile(str(error)) from error
    except NoPlan as error:
        raise UnusableFile(f"{session.name}: {error}") from error


def _event_line(event: dict[str, Any]) -> str:
    """An event for people: time (UTC), kind, and what it says."""
    from datetime import UTC, datetime

    at = datetime.fromtimestamp(event["at"], UTC).strftime("%H:%M:%S")
    common = ("id", "kind", "at", "batch", "engine")
    rest = ", ".join(
        f"{key} {value:g}" if isinstance(value, float) and not key.endswith("_at")
        else f"{key} {datetime.fromtimestamp(value, UTC):%H:%M:%S}" if key.endswith("_at")
        else f"{key} {value}"
        for key, value in event.items()
        if key not in common and value is not None
    )  # fmt: skip
    return f"{at}  {event['kind']:<18} {rest}"


@click.command()
@click.argument("capture", type=FILE)
@click.option(
    "--frames",
    "family",
    required=True,
    type=click.Choice(["sma", "value-unit", "described", "hid-scale", "text-probe"]),
    help="Family of the frames.",
)
@click.option("--channel", default=None, help="SenML name, such as scale/mass or probe/core.")
@click.option("--description", type=FILE, help="Frame description, for --frames described.")
def decode(capture: Path, family: str, channel: str | None, description: Path | None) -> None:
    """Turn captured bytes into the lines of a session.

    CAPTURE holds a read of a port a line, as JSON: {"t": seconds, "text": "…"} or
    {"t": seconds, "hex": "…"}; gzipped or not.
    """
    from drivers.capture import decode as decoded
    from drivers.config import ConfigError
    from drivers.senml import record
    from logger.session import lines_of

    if (family == "described") != (description is not None):
        raise click.UsageError("--frames described goes with --description FILE, and only that one")
    name = channel or ("probe" if family == "text-probe" else "scale/mass")
    try:
        for reading in decoded(
            lines_of(capture),
            family,
            name,
            description=description,
            complain=lambda line, reason: _complain(capture.name, line, reason),
        ):
            _say(record(reading))
    except (FileError, ConfigError) as error:
        raise UnusableFile(str(error)) from error


@click.command()
@click.argument("batch", required=False)
@click.option(
    "--data",
    "folder",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    required=True,
    help="Folder of the store.",
)
@click.option("--events", is_flag=True, help="The stored events in place of the log.")
@click.option(
    "--output", type=click.Path(dir_okay=False, path_type=Path), help="File to write; else stdout."
)
def export(batch: str | None, folder: Path, events: bool, output: Path | None) -> None:
    """Write a batch as a session file: its plan first, then its log in order.

    Without BATCH the latest one is written. `coolcrumb replay` concludes the same from it again.
    """
    from logger.entries import to_json
    from logger.planfile import plan_from_document
    from logger.store import Reader, StoreError

    with contextlib.closing(Reader(folder)) as reader:
        try:
            batches = [row.id for row in reader.batches()]
        except StoreError as error:
            raise MissingOrBusy(str(error)) from error
        name = batch or (batches[-1] if batches else None)
        plan = reader.plan_entry(name) if name is not None else None
        if name is None or plan is None:
            known = ", ".join(batches[-8:]) or "none"
            raise MissingOrBusy(f"no batch {batch!r} in {folder}; the latest are: {known}")
        documents: Iterable[dict[str, Any]]
        if events:
            documents = (row.document for row in reader.events(name))
        else:
            found = reader.entries(name, plan_from_document(plan.document))
            documents = (to_json(entry) for _pos, entry in found)
        stream = sys.stdout if output is None else output.open("w", encoding="utf-8")
        try:
            for document in documents:
                stream.write(json.dumps(document, ensure_ascii=False, allow_nan=False) + "\n")
        finally:
            if output is not None:
                stream.close()
