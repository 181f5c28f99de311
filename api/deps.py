"""What the routes work with: one `Kitchen` for the whole application."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from fastapi import Depends, Request

from api.desk import Desk
from api.live import Live
from api.refusal import Refusal
from api.views import Views
from drivers.clock import Clock
from drivers.config import Config
from drivers.mqtt import BrokerAddress, Wire
from drivers.topics import Topics
from logger.store import BatchRow, Reader


@dataclass(slots=True)
class Kitchen:
    """The log, the wire and what is made of them.

    Attributes:
        config: settings.
        clock: kitchen time.
        reader: the log, opened read-only.
        wire: the connection to the broker.
        views, live, desk: batches folded; the live stream; marks and commands.
    """

    config: Config
    clock: Clock
    reader: Reader
    wire: Wire
    views: Views
    live: Live
    desk: Desk

    @classmethod
    def open(
        cls, config: Config, folder: Path, broker: BrokerAddress, clock: Clock, client_id: str
    ) -> Kitchen:
        """Everything but the connection itself, which begins with `start`."""
        reader = Reader(folder)
        topics = Topics(config.kitchen)
        wire = Wire(broker, client_id)
        views = Views(reader, clock, config.time_zone)
        live = Live(reader, views, clock)
        wire.subscribe(topics.readings("+"), live.on_readings)
        wire.subscribe(topics.events("+"), live.on_events)
        return cls(config, clock, reader, wire, views, live, Desk(wire, topics, reader, clock))

    def start(self) -> None:
        """Begin (on the event loop)."""
        self.live.start()
        self.wire.start()

    def stop(self) -> None:
        """Let go of everything."""
        self.desk.close()
        self.live.stop()
        self.wire.stop()
        self.reader.close()

    def batch(self, batch: str) -> BatchRow:
        """The batch with this id.

        Raises:
            Refusal: 404.
        """
        row = self.reader.batch(batch)
        if row is None:
            raise Refusal(404, f"There is no batch {batch!r}.", "GET /api/batches lists them.")
        return row


def _kitchen(request: Request) -> Kitchen:
    kitchen = request.app.state.kitchen
    assert isinstance(kitchen, Kitchen)
    return kitchen


def _batch(batch: str, request: Request) -> BatchRow:
    return _kitchen(request).batch(batch)


KitchenDep = Annotated[Kitchen, Depends(_kitchen)]
BatchDep = Annotated[BatchRow, Depends(_batch)]
