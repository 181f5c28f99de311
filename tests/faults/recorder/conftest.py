"""Brokers and recorder processes for tests that kill them."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from drivers.config import BrokerConfig
from logger import broker
from logger.broker import RunningBroker

ROOT = Path(__file__).parents[3]
BENCH = ROOT / "tests" / "logger" / "recorder"
sys.path.insert(0, str(BENCH))

from recorder_bench import KITCHEN, TOPICS, Listener, until  # noqa: E402

PROGRAM = Path(__file__).with_name("recorder_process.py")
ENVIRONMENT = {**os.environ, "PYTHONPATH": f"{ROOT}{os.pathsep}{BENCH}"}
KINDS = ["mosquitto", "embedded"] if broker.find_mosquitto() else ["embedded"]


@pytest.fixture(params=KINDS)
def running_broker(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[RunningBroker]:
    running = broker.start(BrokerConfig(url=request.param), tmp_path / "broker")
    yield running
    running.stop()


@pytest.fixture
def listener(running_broker: RunningBroker) -> Iterator[Listener]:
    listener = Listener(running_broker.address)
    yield listener
    listener.close()


@pytest.fixture
def start_process(
    running_broker: RunningBroker, listener: Listener, tmp_path: Path
) -> Iterator[Callable[[], subprocess.Popen[bytes]]]:
    """Starts the recorder's process on the test's store and waits until it records."""
    config = tmp_path / "coolcrumb.toml"
    config.write_text(f'kitchen = "{KITCHEN}"\n')
    started: list[subprocess.Popen[bytes]] = []
    output = (tmp_path / "recorder.log").open("ab")

    def start() -> subprocess.Popen[bytes]:
        before = len(listener.documents(TOPICS.recorder))
        process = subprocess.Popen(
            [sys.executable, str(PROGRAM), "--config", str(config),
             "--broker", running_broker.address.url, "--folder", str(tmp_path / "store")],
            env=ENVIRONMENT, stderr=output,
        )  # fmt: skip
        started.append(process)
        until(
            lambda: any(d["online"] for d in listener.documents(TOPICS.recorder)[before:]),
            20,
            "the recorder online",
        )
        return process

    yield start
    for process in started:
        process.kill()
        process.wait()
    output.close()


@pytest.fixture
def command() -> list[str]:
    """Command line of the recorder's process, without options; run it with `environment`."""
    return [sys.executable, str(PROGRAM)]


@pytest.fixture
def environment() -> dict[str, str]:
    return ENVIRONMENT
