"""``coolcrumb oven-drift``: the charts of an oven's drift, over a file of bakes."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from api.failure import UnusableFile
from logger.document import FileError

if TYPE_CHECKING:
    from logger.events import Event
    from logger.plan import EarlierBake


@click.command(name="oven-drift")
@click.argument("bakes", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="One JSON document a line, nothing else.")
def oven_drift(bakes: Path, as_json: bool) -> None:
    """Say where an oven has moved from bake to bake, and which dial setting makes up for it.

    BAKES holds one JSON object a line, the oldest bake first, gzipped or not: batch, at (seconds
    since the epoch), set_point_c, mean_c, swing_c, period_s (null where the oven does not cycle);
    optional recovery_s, and new_baseline: true where the charts shall begin anew. The first twelve
    bakes are the baseline. Bad lines are named on stderr and skipped.
    """
    from logger.oven.bakes import drift_events
    from logger.session import lines_of

    try:
        found = _bakes(lines_of(bakes), bakes.name)
        for event, bake in drift_events(found):
            if as_json:
                click.echo(json.dumps(event.to_json(), ensure_ascii=False, allow_nan=False))
            else:
                click.echo(_sentence(event, bake))
    except FileError as error:
        raise UnusableFile(str(error)) from error


def _bakes(lines: Iterator[Any], name: str) -> Iterator[EarlierBake]:
    from logger.oven.bakes import BadBake, bake_of

    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            yield bake_of(line)
        except BadBake as error:
            click.echo(f"{name}, line {number}: {error}; skipped", err=True)


def _sentence(event: Event, bake: EarlierBake) -> str:
    """A drift for people."""
    drift = event.to_json()
    day = datetime.fromtimestamp(drift["at"], UTC).strftime("%Y-%m-%d")
    shift = drift["shift_c"]
    text = (
        f"{day}  {event.batch}: the oven runs {abs(shift):.1f} °C "
        f"{'hotter' if shift > 0 else 'cooler'} since {drift['since_batch']}"
    )
    if drift["measure"] != "offset":
        text += f" (its {drift['measure']} has changed)"
    text += (
        f"; set the dial to {drift['dial_advice_c']:.0f} to get {bake.set_point_c:.0f}, "
        f"±{max(1.0, drift['dial_plus_minus_c']):.0f} °C."
    )
    if drift["likely"]:
        text += f" Likely: {drift['likely']}."
    return text
