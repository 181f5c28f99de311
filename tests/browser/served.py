"""A served kitchen for tests: a real broker, a real store, and `api.serve` as its own process."""

from __future__ import annotations

import http.client
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from fabricated_log import Fabricated, fabricate

from drivers import senml
from drivers.mqtt import Wire
from drivers.reading import Reading
from drivers.topics import Topics
from logger.broker import RunningBroker

ROOT = Path(__file__).parents[2]
TOPICS = Topics("harbour-steps")
CONFIG = """
kitchen = "harbour-steps"
title = "Harbour Steps cake room"
time_zone = "Europe/Lisbon"
"""


def wait_for(condition: Callable[[], Any], what: str, within_s: float = 10.0) -> Any:
    """The first true answer of `condition`; fails with `what` when none comes in time."""
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        if found := condition():
            return found
        time.sleep(0.01)
    raise AssertionError(f"not within {within_s} s: {what}")


@dataclass
class Program:
    """A process of ours, with what it says on stdout and stderr."""

    process: subprocess.Popen[str]
    errors: Path

    @classmethod
    def start(cls, module: str, errors: Path, *arguments: str) -> Program:
        command = [sys.executable, "-m", module, *arguments]
        with errors.open("a") as sink:
            process = subprocess.Popen(
                command, cwd=ROOT, stdout=subprocess.PIPE, stderr=sink, text=True
            )
        return cls(process, errors)

    def stop(self, sig: int = signal.SIGTERM) -> float:
        """Stop it; gives how long it took."""
        began = time.monotonic()
        if self.process.poll() is None:
            os.kill(self.process.pid, sig)
        self.process.wait(15)
        if self.process.stdout is not None:
            self.process.stdout.close()
        return time.monotonic() - began


@dataclass
class Served:
    """The page of a kitchen whose log stands at some stage."""

    folder: Path
    broker: RunningBroker
    made: Fabricated | None
    page: Program = field(init=False)
    url: str = field(init=False, default="")
    port: int = 0
    others: list[Program] = field(default_factory=list)

    def start(self) -> None:
        """Start the server (again on the same port)."""
        config = self.folder / "coolcrumb.toml"
        config.write_text(CONFIG)
        self.page = self.program("api.serve", "--config", str(config), "--port", str(self.port))
        assert self.page.process.stdout is not None
        word, _, self.url = self.page.process.stdout.readline().strip().partition(" ")
        assert word == "page", self.page.errors.read_text()
        self.port = urlsplit(self.url).port or 0

    def program(self, module: str, *arguments: str) -> Program:
        common = ("--broker", self.broker.address.url, "--folder", str(self.folder))
        return Program.start(module, self.folder / f"{module}.log", *common, *arguments)

    def recorder(self) -> None:
        """Start the real recorder on this folder (which must have no other writer)."""
        config = str(self.folder / "coolcrumb.toml")
        self.others.append(self.program("logger.recorder", "--config", config))

    def stop(self) -> None:
        for program in (self.page, *self.others):
            program.stop()
        if self.made is not None:
            self.made.store.close()

    def ask(self, path: str, body: Any = None) -> tuple[int, Any]:
        """(status, JSON) of a request."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=15)
        try:
            if body is None:
                connection.request("GET", path)
            else:
                headers = {"content-type": "application/json"}
                connection.request("POST", path, json.dumps(body), headers)
            answer = connection.getresponse()
            return answer.status, json.loads(answer.read())
        finally:
            connection.close()


@dataclass(frozen=True)
class Said:
    """One message of the stream."""

    event: str
    id: str | None
    data: Any


class Listener:
    """A page without a browser: reads the live stream."""

    def __init__(self, port: int, path: str = "/api/stream", last_id: str | None = None) -> None:
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        self._connection.request("GET", path, headers={"Last-Event-ID": last_id} if last_id else {})
        self.answer = self._connection.getresponse()
        assert self.answer.status == 200, self.answer.read()

    def __iter__(self) -> Iterator[Said]:
        fields: dict[str, str] = {}
        while raw := self.answer.readline():
            line = raw.decode().rstrip("\n")
            if line == "":
                if "data" in fields:
                    yield Said(
                        fields.get("event", ""), fields.get("id"), json.loads(fields["data"])
                    )
                fields = {}
            elif not line.startswith(":"):
                key, _, value = line.partition(": ")
                fields[key] = value

    def until(self, condition: Callable[[Said], bool], within_s: float = 10.0) -> list[Said]:
        """Messages up to and with the first for which the condition holds."""
        end = time.monotonic() + within_s
        heard: list[Said] = []
        for said in self:
            heard.append(said)
            if condition(said):
                return heard
            if time.monotonic() > end:
                break
        raise AssertionError(f"not heard in {len(heard)} messages: {heard[-3:]}")

    def close(self) -> None:
        self.answer.close()
        self._connection.close()


@contextmanager
def publisher(broker: RunningBroker) -> Iterator[Wire]:
    """A connection that publishes as a driver would."""
    wire = Wire(broker.address, f"test-{time.monotonic_ns()}")
    wire.start()
    assert wire.connected.wait(5)
    try:
        yield wire
    finally:
        wire.stop()


def send(wire: Wire, channel: str, t_us: int, value: float, unit: str = "kg", **more: Any) -> None:
    """Publish one reading."""
    instrument, name = channel.split("/")
    reading = Reading(instrument, name, t_us, value, unit, **more)
    assert wire.publish_and_wait(TOPICS.readings(instrument), senml.pack([reading]))


def served_at(
    folder: Path,
    broker: RunningBroker,
    stage: str | None,
    formulas: list[dict[str, Any]] | None = None,
) -> Served:
    """A running page; `stage` None leaves the folder without a log; `formulas` as `fabricate`."""
    made = None if stage is None else fabricate(folder, stage, time.time(), formulas)
    served = Served(folder, broker, made)
    served.start()
    return served
