"""``python -m api.serve``: the page and the HTTP API as a process of their own."""

from __future__ import annotations

import asyncio
import logging
import os
import socket
import sys
from pathlib import Path

import click
import uvicorn

from api.app import build
from api.deps import Kitchen
from drivers import config as settings
from drivers.clock import Clock, ClockFileError, KitchenClock, SystemClock
from drivers.mqtt import BrokerAddress

log = logging.getLogger(__name__)

# Streams end by themselves when woken; what has not ended by then does not read, and is cut.
CUT_AFTER_S = 0.6
GRACE_S = 2
MISSING_OR_BUSY = 4


class Server(uvicorn.Server):
    """A server that wakes its streams before it waits for them."""

    def __init__(self, config: uvicorn.Config, kitchen: Kitchen) -> None:
        super().__init__(config)
        self.kitchen = kitchen
        kitchen.live.drop = self.drop

    def drop(self, address: tuple[str, int]) -> None:
        """Cut the connection with this peer at once, whatever still waits in its buffer."""
        for connection in list(self.server_state.connections):
            if getattr(connection, "client", None) == address:
                transport = getattr(connection, "transport", None)
                if transport is not None:
                    transport.abort()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Wake the streams first: the server waits for open responses before anything else."""
        self.kitchen.desk.close()
        self.kitchen.live.end_streams()
        asyncio.get_running_loop().call_later(CUT_AFTER_S, self._cut)
        await super().shutdown(sockets)

    def _cut(self) -> None:
        for connection in list(self.server_state.connections):
            transport = getattr(connection, "transport", None)
            if transport is not None:
                transport.abort()


def listen(host: str, port: int) -> socket.socket:
    """A listening socket; raises OSError when the port is taken."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    out = socket.socket(family, socket.SOCK_STREAM)
    out.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        out.bind((host, port))
        out.listen(128)  # whoever reads the printed address may connect at once
    except OSError:
        out.close()
        raise
    return out


def serve(kitchen: Kitchen, host: str, port: int) -> None:
    """Serve until told to stop; prints the page's address on a line of its own.

    Raises:
        OSError: the port cannot be had.
    """
    sock = listen(host, port)
    shown = f"[{host}]" if ":" in host else host
    address = f"http://{shown}:{sock.getsockname()[1]}/"
    config = uvicorn.Config(
        build(kitchen),
        log_config=None,
        access_log=False,
        timeout_graceful_shutdown=GRACE_S,
        timeout_keep_alive=30,
        server_header=False,
    )
    sys.stdout.write(f"page {address}\n")
    sys.stdout.flush()
    Server(config, kitchen).run([sock])


@click.command()
@click.option("--config", "config_file", type=click.Path(path_type=Path), help="Settings (TOML).")
@click.option("--broker", default=None, help="mqtt://host:port of the broker.")
@click.option("--folder", type=click.Path(path_type=Path), default=None, help="Where the log lies.")
@click.option(
    "--clock", "clock_file", type=click.Path(path_type=Path), help="Clock file of a demo."
)
@click.option("--port", type=int, default=None, help="Port of the page; 0 takes a free one.")
@click.option("--host", default=None, help="Address to listen on; this machine only by default.")
def main(
    config_file: Path | None,
    broker: str | None,
    folder: Path | None,
    clock_file: Path | None,
    port: int | None,
    host: str | None,
) -> None:
    """Serve the page and the HTTP API beside a running recorder."""
    logging.basicConfig(level=logging.INFO, format="serve: %(levelname)s %(name)s: %(message)s")
    try:
        config = settings.load(config_file) if config_file else settings.Config()
        address = BrokerAddress.parse(broker or config.broker.url)
        clock: Clock = SystemClock()
        if clock_path := clock_file or (Path(config.clock_file) if config.clock_file else None):
            clock = KitchenClock(clock_path)
        place = folder or (Path(config.folder) if config.folder else None)
        if place is None:
            raise ValueError("no folder is named; say where the log lies with --folder")
        chosen = config.serve.port if port is None else port
        # Two pages of one kitchen must not throw each other off the broker.
        client_id = f"coolcrumb-serve-{config.kitchen}-{os.getpid()}"
        kitchen = Kitchen.open(config, place, address, clock, client_id)
        serve(kitchen, host or config.serve.host, chosen)
    except (settings.ConfigError, ClockFileError, ValueError, OSError) as error:
        click.echo(f"serve: {error}", err=True)
        sys.exit(MISSING_OR_BUSY)


if __name__ == "__main__":
    main()
