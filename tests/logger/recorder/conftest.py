"""Both brokers, a recorder on each, and somebody who listens."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from recorder_bench import (
    KITCHEN,
    TOPICS,
    Listener,
    ToyClock,
    ToyView,
    start_batch,
    until,
)

from drivers.config import BrokerConfig
from logger import broker
from logger.broker import RunningBroker
from logger.recorder import Pace, Recorder

KINDS = ["mosquitto", "embedded"] if broker.find_mosquitto() else ["embedded"]
QUICK = Pace(probe_s=0.2)


@pytest.fixture(scope="session", params=KINDS)
def running_broker(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[RunningBroker]:
    running = broker.start(BrokerConfig(url=request.param), tmp_path_factory.mktemp("broker"))
    yield running
    running.stop()


@pytest.fixture
def listener(running_broker: RunningBroker) -> Iterator[Listener]:
    listener = Listener(running_broker.address)
    yield listener
    # Leave nothing retained behind for the next test.
    for topic in {t for t, p, _ in listener.heard if p}:
        listener.say(topic, b"", retain=True)
    listener.close()


@pytest.fixture
def clock() -> ToyClock:
    return ToyClock()


@pytest.fixture
def start_recorder(
    running_broker: RunningBroker, listener: Listener, clock: ToyClock, tmp_path: Path
) -> Iterator[Callable[..., Recorder]]:
    """Starts a recorder on the test's folder; all are stopped at the end."""
    started: list[Recorder] = []

    def start(folder: str = "store", pace: Pace = QUICK) -> Recorder:
        recorder = Recorder(
            running_broker.address, KITCHEN, tmp_path / folder, clock, start_batch,
            view_of=ToyView, pace=pace,
        )  # fmt: skip
        started.append(recorder)
        recorder.start()
        # Said behind its subscriptions on the same connection: once heard, it hears.
        until(lambda: (listener.last(TOPICS.recorder) or {}).get("id") == recorder.presence.id)
        return recorder

    yield start
    for recorder in started:
        recorder.stop()
