"""Real ends for the drivers' tests: a pseudo-terminal, a broker, a recorder that answers."""

from __future__ import annotations

import contextlib
import os
import select
import shutil
import socket
import subprocess
import threading
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from drivers import senml
from drivers.mqtt import BrokerAddress, Wire, decode
from drivers.reading import Reading
from drivers.topics import Topics

KITCHEN = "harbour-steps"
TOPICS = Topics(KITCHEN)


def wait_until(condition: Callable[[], Any], deadline_s: float = 8.0, what: str = "") -> Any:
    """Wait for the condition and return what it gave; fail at the deadline."""
    until_s = time.monotonic() + deadline_s
    while not (found := condition()):
        if time.monotonic() > until_s:
            pytest.fail(f"not within {deadline_s:g} s: {what or condition}")
        threading.Event().wait(0.005)
    return found


class PtyPort:
    """A pseudo-terminal behind a lasting link, as an instrument's end of a serial line."""

    def __init__(self, folder: Path, name: str = "scale") -> None:
        self.path = folder / name
        self.device = ""
        self._master = -1
        self._spare: list[int] = []
        self.plug()

    def plug(self) -> None:
        """A new terminal; while `_spare` is held the old name cannot come back."""
        self._master, slave = os.openpty()
        tty.setraw(self._master)
        tty.setraw(slave)
        self.device = os.ttyname(slave)
        os.close(slave)
        beside = self.path.with_suffix(".new")
        beside.symlink_to(self.device)
        beside.replace(self.path)

    def unplug(self) -> None:
        """Close our end: the holder sees an input/output error, the link is gone."""
        if self._master >= 0:
            os.close(self._master)
            self._master = -1
            self.path.unlink(missing_ok=True)

    def send(self, payload: bytes) -> None:
        os.write(self._master, payload)

    def receive(self, within_s: float = 2.0) -> bytes:
        """What the other end sends, at the first moment it does; b"" when it does not."""
        until_s = time.monotonic() + within_s
        while (left_s := until_s - time.monotonic()) > 0:
            if not self.is_held:
                threading.Event().wait(0.005)
            elif select.select([self._master], [], [], left_s)[0]:
                with contextlib.suppress(OSError):
                    return os.read(self._master, 4096)
        return b""

    @property
    def is_held(self) -> bool:
        poller = select.poll()
        poller.register(self._master, 0)
        return not any(event & select.POLLHUP for _, event in poller.poll(0))


class Broker:
    """A private mosquitto on a free loopback port."""

    def __init__(self, folder: Path, program: str) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        self.address = BrokerAddress("127.0.0.1", self.port)
        self._program = program
        self._settings = folder / "mosquitto.conf"
        self._settings.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\npersistence false\n"
            "set_tcp_nodelay true\nmax_queued_messages 100000\nlog_type none\n"
        )
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        self._process = subprocess.Popen(
            [self._program, "-c", str(self._settings)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        wait_until(self._answers, what="the broker answers")

    def _answers(self) -> bool:
        with contextlib.suppress(OSError):
            socket.create_connection(("127.0.0.1", self.port), timeout=1).close()
            return True
        return False

    def kill(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None


class Listener:
    """Everything published below a topic, in order of arrival."""

    def __init__(self, address: BrokerAddress, topic: str = "coolcrumb/#") -> None:
        self.heard: list[tuple[str, bytes, bool]] = []
        self.wire = Wire(address, f"listener-{id(self)}")
        self.wire.subscribe(topic, lambda t, p, r: self.heard.append((t, p, r)))
        self.wire.start()
        wait_until(self.wire.connected.is_set, what="the listener is connected")

    def documents(self, topic: str) -> list[dict[str, Any]]:
        return [decode(payload) for t, payload, _ in list(self.heard) if t == topic and payload]

    def readings(self, instrument: str) -> list[Reading]:
        topic = TOPICS.readings(instrument)
        return [r for t, payload, _ in list(self.heard) if t == topic for r in senml.parse(payload)]


class FakeRecorder:
    """A recorder by the wire's rules, with a list for a store.

    Accepts the next sequence only (or the one after a declared gap) and says what it has.
    """

    def __init__(self, address: BrokerAddress, log_id: str = "log-1", start_id: str = "r1") -> None:
        self.log_id, self.start_id = log_id, start_id
        self.readings: list[Reading] = []
        self.gaps: list[dict[str, Any]] = []
        self.order: list[str] = []
        self.deaf = False
        self._next: dict[tuple[str, str], int] = {}
        self._gap: dict[tuple[str, str], int] = {}
        self.wire = Wire(address, f"recorder-{id(self)}", on_connect=self.say_hello)
        self.wire.subscribe(TOPICS.readings("+"), self._on_readings)
        self.wire.subscribe(TOPICS.gaps("+"), self._on_gap)

    def start(self) -> FakeRecorder:
        self.wire.start()
        wait_until(self.wire.connected.is_set, what="the recorder is connected")
        return self

    def say_hello(self, online: bool = True) -> None:
        document = {"id": self.start_id, "log": self.log_id, "version": "0", "online": online}
        self.wire.publish_json(TOPICS.recorder, document | {"t": 0}, retain=True)

    def stop(self) -> None:
        self.say_hello(online=False)
        self.wire.stop()

    def _on_readings(self, _topic: str, payload: bytes, _retained: bool) -> None:
        if self.deaf:
            return
        found = senml.parse(payload)
        for reading in found:
            assert reading.boot is not None
            assert reading.seq is not None
            key = (reading.instrument, reading.boot)
            if reading.seq == self._next.get(key, 1):
                self._next[key] = reading.seq + 1
                self.readings.append(reading)
                self.order.append(f"reading {reading.seq}")
        self.say_stored(found[0].instrument, found[0].boot or "")

    def _on_gap(self, _topic: str, payload: bytes, _retained: bool) -> None:
        document = decode(payload)
        name = document.get("gap") or document["jump"]
        key = (name, document["boot"])
        if self.deaf:
            return
        if document["number"] > self._gap.get(key, 0):
            self._gap[key] = document["number"]
            self.gaps.append(document)
            self.order.append("gap" if "gap" in document else "jump")
            first, last = document.get("first"), document.get("last")
            if first is not None and first <= self._next.get(key, 1) <= last:
                self._next[key] = last + 1
        self.say_stored(*key)

    def say_stored(self, instrument: str, boot: str) -> None:
        key = (instrument, boot)
        document = {
            "log": self.log_id,
            "boot": boot,
            "seq": self._next.get(key, 1) - 1,
            "gap": self._gap.get(key, 0),
            "t": 0,
        }
        self.wire.publish_json(TOPICS.stored(instrument), document, retain=True)

    def seqs(self, instrument: str = "bench-scale") -> list[int]:
        return [r.seq for r in list(self.readings) if r.instrument == instrument and r.seq]


@pytest.fixture(name="wait_until")
def _wait_until() -> Callable[..., Any]:
    return wait_until


@pytest.fixture
def pty_port(tmp_path: Path) -> Iterator[PtyPort]:
    port = PtyPort(tmp_path)
    yield port
    port.unplug()


@pytest.fixture(scope="session")
def mosquitto() -> str:
    program = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
    assert program is not None, "these tests need a mosquitto on the PATH or in /usr/sbin"
    return program


@pytest.fixture
def broker(tmp_path: Path, mosquitto: str) -> Iterator[Broker]:
    one = Broker(tmp_path, mosquitto)
    one.start()
    yield one
    one.kill()


@pytest.fixture
def listen(broker: Broker) -> Iterator[Callable[..., Listener]]:
    made: list[Listener] = []

    def make(topic: str = "coolcrumb/#") -> Listener:
        made.append(Listener(broker.address, topic))
        return made[-1]

    yield make
    for one in made:
        one.wire.stop()


@pytest.fixture
def record(broker: Broker) -> Iterator[Callable[..., FakeRecorder]]:
    made: list[FakeRecorder] = []

    def make(**settings: str) -> FakeRecorder:
        made.append(FakeRecorder(broker.address, **settings).start())
        return made[-1]

    yield make
    for one in made:
        one.wire.stop()
