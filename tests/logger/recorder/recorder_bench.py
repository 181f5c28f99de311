"""A small kitchen for tests: a toy room, an outbox that sends again, a listener on the wire."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from drivers import senml
from drivers.mqtt import BrokerAddress, Wire, encode
from drivers.reading import Reading
from drivers.topics import Topics
from logger import events as ev
from logger.engine import BatchState
from logger.entries import Gap, Mark, PlanEntry
from logger.events import Body, Event
from logger.plan import Formula, Plan

KITCHEN = "harbour-steps"
T0 = 1_800_000_000_000_000
TOPICS = Topics(KITCHEN)
PLAN = {"channels": {"bench-scale/mass": "scale", "oven-probe/air": "oven"}}


class ToyRoom:
    """Concludes something from everything: readings above 1, marks, gaps, minutes."""

    def on_reading(self, reading: Reading, role: str) -> list[Body]:
        if reading.value == 666.0:
            raise ZeroDivisionError("the toy room cannot divide by this reading")
        if reading.value is None or reading.value <= 1.0:
            return []
        return [ev.WeighingContainer(reading.value, reading.name)]

    def on_mark(self, mark: Mark) -> list[Body]:
        return [ev.Alert("mark", mark.kind)]

    def on_gap(self, gap: Gap) -> list[Body]:
        return [ev.Alert("gap", gap.reason)]

    def on_second(self, t_us: int) -> list[Body]:
        return [ev.Alert("minute", str(t_us))] if t_us % 60_000_000 == 0 else []

    def on_event(self, event: Event) -> list[Body]:
        return []


def start_batch(entry: PlanEntry) -> BatchState:
    """A toy batch; a plan with the key `bad` cannot be used."""
    plan = entry.document["plan"]
    if "bad" in plan:
        raise ValueError("plan, key bad: is not understood; leave it out")
    formula = Formula("Pear and ginger layer cake", ())
    return BatchState(
        entry.batch, Plan(channels=plan["channels"], formulas=(formula,)), [ToyRoom()]
    )


class ToyView:
    """Counts the events of a batch."""

    def __init__(self, batch: str, plan: Plan) -> None:
        self.batch = batch
        self.events = 0

    def apply(self, event: Event) -> None:
        self.events += 1

    def to_json(self) -> dict[str, Any]:
        return {"batch": self.batch, "events": self.events}


def reading(i: int, value: float | None = None, **more: Any) -> Reading:
    """The i-th reading of the bench scale, ten a second."""
    return Reading(
        "bench-scale", "mass", T0 + i * 100_000, i / 1000 if value is None else value, "kg", **more
    )


def until(condition: Callable[[], Any], timeout_s: float = 10.0, what: str = "") -> Any:
    """Wait for a condition to become true; its value."""
    deadline = time.monotonic() + timeout_s
    while time.monotonic() < deadline:
        try:
            found = condition()
        except FileNotFoundError:
            found = None
        if found:
            return found
        threading.Event().wait(0.01)
    raise AssertionError(f"not within {timeout_s} s: {what or condition}")


class Listener:
    """Hears everything on the kitchen's topics, and can speak."""

    def __init__(self, address: BrokerAddress, name: str = "listener") -> None:
        self.heard: list[tuple[str, bytes, bool]] = []
        self.wire = Wire(address, f"{name}-{time.monotonic_ns()}")
        self.wire.subscribe(f"coolcrumb/{KITCHEN}/#", lambda *m: self.heard.append(m))
        self.wire.start()
        assert self.wire.connected.wait(10)

    def say(self, topic: str, document: Any, retain: bool = False) -> None:
        payload = document if isinstance(document, bytes) else encode(document)
        assert self.wire.publish_and_wait(topic, payload, retain=retain, timeout_s=10)

    def last(self, topic: str) -> dict[str, Any] | None:
        """The last document heard on a topic."""
        for heard, payload, _ in reversed(list(self.heard)):
            if heard == topic and payload:
                return dict(json.loads(payload))
        return None

    def documents(self, topic: str) -> list[dict[str, Any]]:
        return [json.loads(p) for t, p, _ in list(self.heard) if t == topic and p]

    def close(self) -> None:
        self.wire.stop()


class FakeOutbox:
    """Keeps numbered readings and sends again from the first unstored one until all are stored."""

    def __init__(
        self, address: BrokerAddress, readings: list[Reading], boot: str = "b1", pack: int = 10
    ) -> None:
        self.boot = boot
        self.instrument = readings[0].instrument
        self._readings = readings
        self._pack = pack
        self._stored = 0
        self._moved = threading.Event()
        self.sent = 0
        self._wire = Wire(address, f"outbox-{boot}-{time.monotonic_ns()}")
        self._wire.subscribe(TOPICS.stored(self.instrument), self._hear)
        self._wire.start()
        assert self._wire.connected.wait(10)

    def _hear(self, _topic: str, payload: bytes, _retained: bool) -> None:
        document = json.loads(payload)
        if document["boot"] == self.boot and document["seq"] > self._stored:
            self._stored = document["seq"]
            self._moved.set()

    @property
    def stored(self) -> int:
        return self._stored

    def send_all(self, deadline_s: float = 30.0, resend_s: float = 0.5, window: int = 300) -> None:
        """Send until everything is reported as stored."""
        deadline = time.monotonic() + deadline_s
        at, progress = 0, time.monotonic()
        while self._stored < len(self._readings):
            assert time.monotonic() < deadline, f"only {self._stored} are stored"
            is_held = at >= min(len(self._readings), self._stored + window)
            if self._moved.wait(0.05 if is_held else 0):
                self._moved.clear()
                progress = time.monotonic()
            if time.monotonic() - progress > resend_s:
                at, progress = self._stored, time.monotonic()
            at = max(at, self._stored)
            if at < min(len(self._readings), self._stored + window):
                self.publish(at, at + self._pack)
                at += self._pack

    def publish(self, first: int, last: int) -> None:
        """Publish readings [first, last) of the list as one pack."""
        chunk = self._readings[first:last]
        numbered = [
            Reading(r.instrument, r.channel, r.t_us, r.value, r.unit, r.state, boot=self.boot,
                    seq=first + i + 1)
            for i, r in enumerate(chunk)
        ]  # fmt: skip
        self._wire.publish(TOPICS.readings(self.instrument), senml.pack(numbered))
        self.sent += len(chunk)

    def close(self) -> None:
        self._wire.stop()


def open_mark(t_us: int = T0, mark_id: str = "m-open", **more: Any) -> dict[str, Any]:
    """An open-batch mark document."""
    return {"mark": "open batch", "t": t_us / 1e6, "id": mark_id, "plan": PLAN, **more}


class ToyClock:
    """Kitchen time that stands until it is set."""

    def __init__(self, now_us: int = T0, speed: float = 1.0) -> None:
        self.us = now_us
        self.fast = speed

    def now_us(self) -> int:
        return self.us

    def speed(self) -> float:
        return self.fast


def folder_of(path: Path) -> Path:
    """The store's folder below a test's temporary path."""
    return path / "store"
