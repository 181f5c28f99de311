"""What the routes work with: one `Kitchen` for the whole application."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from fastapi import Depends, Request

from api.desk import Desk
from api.formulary import Formulary, SavedFormula
from api.live import Live
from api.refusal import Refusal
from api.views import Views
from drivers.clock import Clock
from drivers.config import Config
from drivers.mqtt import BrokerAddress, Wire
from drivers.topics import Topics
from logger.entries import InstrumentState
from logger.formula.pantry import Pantry
from logger.pantry import with_own
from logger.store import BatchRow, Reader, StoreError


@dataclass(slots=True)
class Kitchen:
    """The log, the wire and what is made of them.

    Attributes:
        config: settings.
        clock: kitchen time.
        reader: the log, opened read-only.
        wire: the connection to the broker.
        views, live, desk: batches folded; the live stream; marks and commands.
        formulary: the kitchen's saved formulas.
        folder: where log, saved formulas and the kitchen's own ingredients lie.
    """

    config: Config
    clock: Clock
    reader: Reader
    wire: Wire
    views: Views
    live: Live
    desk: Desk
    formulary: Formulary
    folder: Path

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
        desk = Desk(wire, topics, reader, clock)
        return cls(config, clock, reader, wire, views, live, desk, Formulary(folder), folder)

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

    def instrument_states(self) -> list[InstrumentState]:
        """What the instruments announced last; none before there is a log."""
        try:
            return self.reader.instruments()
        except StoreError:
            return []

    def pantry(self) -> Pantry:
        """The shipped ingredients and the kitchen's own, as their files are now.

        Raises:
            FileError: a file of the kitchen's own cannot be used.
        """
        return with_own(self.folder)

    def saved(self, name: str) -> list[SavedFormula]:
        """All versions of the saved formula with this name or address, at least one.

        Raises:
            Refusal: 404.
        """
        versions = self.formulary.versions(name)
        if not versions:
            raise Refusal(
                404, f"There is no saved formula {name!r}.", "GET /api/formulas lists them."
            )
        return versions

    def saved_version(self, name: str, version: int | None) -> SavedFormula:
        """One version of a saved formula, by default the latest.

        Raises:
            Refusal: 404.
        """
        return picked(self.saved(name), version)


def picked(versions: list[SavedFormula], version: int | None) -> SavedFormula:
    """Of the versions of a formula the one with this number, by default the latest.

    Raises:
        Refusal: 404.
    """
    found = [saved for saved in versions if version in (None, saved.version)]
    if not found:
        latest = versions[-1]
        raise Refusal(
            404,
            f"{latest.name!r} has no version {version}; its latest is {latest.version}.",
            f"GET /api/formulas/{latest.address} lists them.",
        )
    return found[-1]


def _kitchen(request: Request) -> Kitchen:
    kitchen = request.app.state.kitchen
    assert isinstance(kitchen, Kitchen)
    return kitchen


def _batch(batch: str, request: Request) -> BatchRow:
    return _kitchen(request).batch(batch)


KitchenDep = Annotated[Kitchen, Depends(_kitchen)]
BatchDep = Annotated[BatchRow, Depends(_batch)]
