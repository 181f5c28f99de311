"""``coolcrumb demo``: a whole cake, weighed, baked, cooled and ready to frost, in four minutes."""

from __future__ import annotations

import logging
import shutil
import signal
import sys
import tempfile
import webbrowser
from pathlib import Path
from typing import Any

import click

from api.demo.settings import TIME_ZONE, plan_document
from api.failure import MissingOrBusy
from logger.batch import BatchView
from logger.entries import EntryRefused
from logger.events import from_json
from logger.planfile import plan_from_document
from logger.sentence import clock, grams, verdict_words, zone
from logger.store import EventRow

TOLD = {
    "weighing.addition", "oven.preheated", "oven.drift", "oven.door", "bake.in", "bake.reached",
    "bake.test", "bake.threshold", "bake.window",
    "bake.out", "cooling.started", "cooling.changed", "cooling.reached", "alert", "batch.closed",
}  # fmt: skip


def told(event: dict[str, Any]) -> str | None:
    """A line for the terminal, None for events that only the page shows."""
    if event["kind"] not in TOLD:
        return None
    at = clock(event["at"], zone(TIME_ZONE))
    match event["kind"]:
        case "weighing.addition":
            mass = event["mass_kg"]
            weighed = "not weighed" if mass is None else f"{grams(mass, 0.001)} g"
            text = f"{event['line'] or 'on the scale'}: {weighed}, {event['verdict']}"
        case "oven.preheated":
            text = f"oven preheated: it holds {event['mean_c']:.0f} °C"
        case "oven.drift":
            text = (
                f"oven drifting by {event['shift_c']:+.1f} °C; "
                f"a dial of {event['dial_advice_c']:.0f} °C would hold the set point"
            )
        case "oven.door" if event["depth_c"] == 0:
            text = "door opened (as marked)"
        case "oven.door":
            text = f"door open, {event['end_at'] - event['start_at']:.0f} s"
        case "bake.in":
            text = f"into the oven ({event['how']})"
        case "bake.out":
            text = f"out of the oven ({event['how']})"
        case "bake.reached" | "cooling.reached":
            text = f"{event['milestone']}: {event['temperature_c']:.1f} °C"
        case "cooling.changed":
            text = f"{event['place'] or event['what']} ({event['how']})"
        case "bake.test":
            text = f"centre test: {event['result']}"
        case "alert" | "bake.window" | "bake.threshold":
            text = event["text"]
        case _:
            text = event["kind"].replace(".", " ")
    return f"  {at}  {text}"


def summary(events: list[dict[str, Any]]) -> list[str]:
    """What the batch shows at its end."""
    view = BatchView.of("", plan_from_document(plan_document()))
    for document in events:
        view.apply(from_json(document))
    tz = zone(TIME_ZONE)
    out = ["", f"{view.title}"]
    for line in view.lines:
        mass = "—" if line.mass_kg is None else f"{grams(line.mass_kg, 0.001)} g"
        out.append(f"  {line.key:<18} {line.amount:>7}  {mass:>8}  {verdict_words(line, 0.001)}")
    oven = view.oven
    if oven["preheated_at"] is not None:
        out.append(f"  oven preheated at {clock(oven['preheated_at'], tz)}")
    if oven["mean_c"] is not None:
        out.append(
            f"  oven holds {oven['mean_c']:.1f} °C on a dial of {oven['set_point_c']:.0f} °C"
        )
    for milestone in [*view.bake, *view.cooling]:
        if milestone.reached_at is None:
            out.append(f"  {milestone.name}: not reached")
            continue
        text = f"  {milestone.name} at {clock(milestone.reached_at, tz)}"
        early = milestone.first_quarter
        if early is not None and early["expected_at"] is not None:
            high = "never" if early["high_at"] is None else clock(early["high_at"], tz)
            text += (
                f"; at a quarter of the way expected at {clock(early['expected_at'], tz)}"
                f" ({clock(early['low_at'], tz)} to {high})"
            )
        out.append(text)
    return out


@click.command()
@click.option("--headless", is_flag=True, help="No page, as fast as the pieces keep up, then exit.")
@click.option(
    "--data",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder to keep; without it a temporary one, removed at the end.",
)
@click.option(
    "--port", type=click.IntRange(0, 65535), default=8017, help="Port of the page; 0: any."
)
@click.option(
    "--broker", default="auto", help="auto, mosquitto, embedded, or an address mqtt://host:1883."
)
@click.option("--open", "open_page", is_flag=True, help="Open the page in the browser.")
@click.option("--random", "start_value", default=1, help="Another kitchen day for another number.")
def demo(
    headless: bool, folder: Path | None, port: int, broker: str, open_page: bool, start_value: int
) -> None:
    """Show a whole cake in about four minutes, on simulated instruments.

    The simulated kitchen writes real bytes to terminal devices; drivers, broker, recorder and page
    are the real ones. Three and a half hours of kitchen time run by faster: weighing ten times,
    baking and cooling sixty times. Ctrl-C stops everything.
    """
    from api.demo.director import Director
    from logger.broker import BrokerError
    from logger.store import StoreError

    logging.basicConfig(level=logging.WARNING, stream=sys.stderr, format="%(name)s: %(message)s")
    where = folder or Path(tempfile.mkdtemp(prefix="coolcrumb-demo-"))

    def on_event(row: EventRow) -> None:
        if (line := told(row.document)) is not None:
            click.echo(line)

    def on_page(address: str) -> None:
        click.echo("The page is at")
        click.echo(address)
        if open_page:
            webbrowser.open(address)

    director = Director(
        where,
        headless=headless,
        tell=click.echo,
        port=port,
        broker_url=broker,
        random=start_value,
        tell_event=on_event,
        stay=not headless,
        at_end=lambda reader, batch: click.echo(
            "\n".join(summary([row.document for row in reader.events(batch)]))
        ),
    )
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: director.stop.set())
    try:
        ended = director.run(on_page)
    except (BrokerError, StoreError, EntryRefused, RuntimeError) as error:
        raise MissingOrBusy(str(error)) from error
    finally:
        if folder is None:
            shutil.rmtree(where, ignore_errors=True)
    if not ended:
        sys.exit(130)
