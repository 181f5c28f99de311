"""``coolcrumb instruments``: what is there, and what it says now."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

import click

from api.failure import MissingOrBusy
from api.pieces import CONFIG, settings
from drivers import senml
from drivers.catalogue import found
from drivers.clock import SystemClock
from drivers.mqtt import BrokerAddress, NotAnObject, Wire, decode
from drivers.reading import Reading, ReadingRefused
from drivers.topics import Topics


class _Listener:
    """Keeps the newest word of each instrument while it listens."""

    def __init__(self, topics: Topics) -> None:
        self._topics = topics
        self.states: dict[str, dict[str, Any]] = {}
        self.readings: dict[str, Reading] = {}

    def state(self, topic: str, payload: bytes, _retained: bool) -> None:
        parsed = self._topics.parse(topic)
        try:
            if parsed is not None and payload:
                self.states[parsed[1]] = decode(payload)
        except NotAnObject:
            pass  # the recorder refuses and keeps it; here there is nothing to show

    def reading(self, _topic: str, payload: bytes, retained: bool) -> None:
        if retained:
            return  # a retained reading is old news, whatever it says
        try:
            for reading in senml.parse(payload):
                self.readings[reading.name] = reading
        except ReadingRefused:
            pass


def _value(reading: Reading) -> str:
    if reading.value is None:
        return reading.state or ""
    match reading.unit:
        case "kg":
            return f"{reading.value * 1000:g} g"
        case "Cel":
            return f"{reading.value:g} °C"
    return f"{reading.value:g} {reading.unit}"


@click.command()
@CONFIG
@click.option(
    "--broker", "broker_url", help="Ask a running daemon's broker, such as mqtt://127.0.0.1:1883."
)
@click.option("--wait", "wait_s", default=3.0, help="Seconds to listen.", show_default=True)
@click.option("--json", "as_json", is_flag=True, help="As one JSON document.")
def instruments(
    config_file: Path | None, broker_url: str | None, wait_s: float, as_json: bool
) -> None:
    """List the ports found on this machine, and what the instruments say now.

    Without --broker only the ports are listed, with a name to write into the configuration.
    """
    config = settings(config_file)
    ports = found()
    listener = _Listener(Topics(config.kitchen))
    if broker_url is not None:
        _listen(listener, Topics(config.kitchen), broker_url, wait_s)
    if as_json:
        click.echo(
            json.dumps(
                {
                    "ports": [{"path": p.port, "what": p.what} for p in ports],
                    "instruments": listener.states,
                    "readings": [senml.record(r) for r in listener.readings.values()],
                },
                ensure_ascii=False,
            )
        )
        return
    for port in ports:
        click.echo(f"{port.port}  {port.what}")
    if not ports:
        click.echo("No serial adapter and no USB scale is plugged into this machine.")
    for name, state in sorted(listener.states.items()):
        click.echo(f"{name}: {state.get('state', 'unknown')}")
        for reading in listener.readings.values():
            if reading.instrument == name:
                click.echo(f"    {reading.channel} {_value(reading)}")
    if broker_url is None:
        click.echo("For what they say now, name the broker of the running daemon with --broker.")


def _listen(listener: _Listener, topics: Topics, broker_url: str, wait_s: float) -> None:
    try:
        address = BrokerAddress.parse(broker_url)
    except ValueError as error:
        raise click.UsageError(str(error)) from error
    wire = Wire(address, f"coolcrumb-instruments-{SystemClock().now_us()}")
    wire.subscribe(topics.instruments("+"), listener.state)
    wire.subscribe(topics.readings("+"), listener.reading)
    wire.start()
    try:
        if not wire.connected.wait(min(wait_s, 5.0)):
            raise MissingOrBusy(f"no broker answers at {address.url}; is the daemon running there?")
        time.sleep(wait_s)
    finally:
        wire.stop()
