"""Commands that keep running: run (all of it), drivers, recorder, serve."""

from __future__ import annotations

import logging
import os
import runpy
import signal
import sys
import threading
from pathlib import Path

import click

from api.failure import MissingOrBusy, UnusableFile
from api.supervisor import Supervisor
from drivers.config import Config, ConfigError, load

CONFIG = click.option(
    "--config",
    "config_file",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Configuration file; without one every setting has its default.",
)
DATA = click.option(
    "--data",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for store and outbox.",
)
BROKER = click.option(
    "--broker", "broker_url", required=True, help="The broker, such as mqtt://127.0.0.1:1883."
)


def settings(config_file: Path | None) -> Config:
    """The configuration; a file that cannot be used ends the command with the reason."""
    try:
        return load(config_file) if config_file is not None else Config()
    except ConfigError as error:
        raise UnusableFile(str(error)) from error


def data_folder(config: Config, folder: Path | None) -> Path:
    """Where store and outbox live: option, settings, the service's state folder, the user's."""
    if folder is not None:
        chosen = folder
    elif config.folder:
        chosen = Path(config.folder).expanduser()
    elif os.environ.get("STATE_DIRECTORY"):
        chosen = Path(os.environ["STATE_DIRECTORY"].split(":")[0])
    else:
        chosen = Path(os.environ.get("XDG_DATA_HOME", "~/.local/share")).expanduser() / "coolcrumb"
    try:
        chosen.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise MissingOrBusy(
            f"{chosen}: cannot be made: {error.strerror}; name another with --data"
        ) from error
    return chosen


def piece_arguments(
    module: str, config_file: Path | None, broker_url: str, folder: Path, *more: str
) -> list[str]:
    """Command line of a piece, after the interpreter."""
    out = ["-m", module, "--broker", broker_url, "--folder", str(folder)]
    if config_file is not None:
        out += ["--config", str(config_file)]
    return [*out, *more]


def _become(
    module: str, config_file: Path | None, broker_url: str, folder: Path, *more: str
) -> None:
    """Run the piece in this process, as its own program would."""
    sys.argv = [module, *piece_arguments(module, config_file, broker_url, folder, *more)[2:]]
    runpy.run_module(module, run_name="__main__", alter_sys=True)


@click.command()
@CONFIG
@DATA
@BROKER
def drivers(config_file: Path | None, folder: Path | None, broker_url: str) -> None:
    """Read the instruments and publish every reading, against a broker that runs already."""
    config = settings(config_file)
    _become("drivers.daemon", config_file, broker_url, data_folder(config, folder))


@click.command()
@CONFIG
@DATA
@BROKER
def recorder(config_file: Path | None, folder: Path | None, broker_url: str) -> None:
    """Store what is published and conclude from it, against a broker that runs already."""
    config = settings(config_file)
    _become("logger.recorder", config_file, broker_url, data_folder(config, folder))


@click.command()
@CONFIG
@DATA
@BROKER
@click.option("--port", type=click.IntRange(0, 65535), help="Port of the page; 0 picks a free one.")
def serve(config_file: Path | None, folder: Path | None, broker_url: str, port: int | None) -> None:
    """Serve the page and the HTTP API, against a broker that runs already."""
    config = settings(config_file)
    more = () if port is None else ("--port", str(port))
    _become("api.serve", config_file, broker_url, data_folder(config, folder), *more)


@click.command()
@CONFIG
@DATA
def run(config_file: Path | None, folder: Path | None) -> None:
    """Run the whole daemon: broker, drivers, recorder and page, supervised as children.

    A piece that dies is started again; a changed configuration file restarts the pieces. Ctrl-C
    stops all of them in order.
    """
    import logger.broker as broker

    config = settings(config_file)
    where = data_folder(config, folder)
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(name)s: %(message)s")
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    try:
        running = broker.start(config.broker, where)
    except (broker.BrokerError, OSError) as error:
        raise MissingOrBusy(str(error)) from error
    supervisor = Supervisor()
    try:
        url = running.address.url
        for name, module in (
            ("recorder", "logger.recorder"),
            ("drivers", "drivers.daemon"),
            ("page", "api.serve"),
        ):
            supervisor.add(name, *piece_arguments(module, config_file, url, where))
        click.echo(f"broker {running.kind} at {url}", err=True)
        _until(stop, supervisor, config_file)
    finally:
        supervisor.stop()
        running.stop()


def _until(stop: threading.Event, supervisor: Supervisor, config_file: Path | None) -> None:
    """Wait for the end; restart the pieces when the configuration file has changed for good."""
    seen = config_file.stat().st_mtime_ns if config_file is not None else 0
    while not stop.wait(1.0):
        if config_file is None:
            continue
        try:
            changed = config_file.stat().st_mtime_ns
        except OSError:
            continue
        if changed == seen:
            continue
        seen = changed
        try:
            load(config_file)
        except ConfigError as error:
            click.echo(f"{error}; the pieces go on with the former settings", err=True)
            continue
        click.echo(f"{config_file} has changed: restarting the pieces", err=True)
        for piece in supervisor.pieces:
            supervisor.restart(piece.name)
