"""Brokers as children."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from recorder_bench import until

from drivers.config import BrokerConfig
from drivers.mqtt import Wire
from logger import broker
from logger.broker import BrokerError, RunningBroker

KINDS = ["mosquitto", "embedded"] if broker.find_mosquitto() else ["embedded"]


@pytest.fixture(params=KINDS)
def running(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[RunningBroker]:
    running = broker.start(BrokerConfig(url=request.param), tmp_path)
    yield running
    running.stop()


def test_a_child_carries_messages_and_keeps_retained_ones(running: RunningBroker) -> None:
    heard: list[tuple[str, bytes, bool]] = []
    one, other = Wire(running.address, "one"), Wire(running.address, "other")
    one.start()
    assert one.connected.wait(5)
    assert one.publish_and_wait("a/b", b"crumb", retain=True)

    other.subscribe("a/#", lambda *message: heard.append(message))
    other.start()

    until(lambda: heard == [("a/b", b"crumb", True)])
    one.stop()
    other.stop()


def test_a_child_listens_on_loopback_only_and_stops_when_told(running: RunningBroker) -> None:
    assert running.address.host == "127.0.0.1"
    assert running.process is not None

    running.stop()
    running.stop()

    assert running.process.poll() is not None
    assert not broker.accepts(running.address, 0.2)


@pytest.mark.parametrize("kind", KINDS)
def test_a_child_ends_with_its_parent_however_that_ends(kind: str, tmp_path: Path) -> None:
    program = (
        "import sys, time; from pathlib import Path; from logger import broker;"
        "from drivers.config import BrokerConfig;"
        f"r = broker.start(BrokerConfig(url={kind!r}), Path({str(tmp_path)!r}));"
        "print(r.process.pid, flush=True); sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as parent:
        assert parent.stdout is not None
        child = int(parent.stdout.readline())

        parent.send_signal(signal.SIGKILL)
        parent.wait()

        until(lambda: _is_gone(child), what="the child's end")


def _is_gone(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    # Without an init that reaps, an orphan stays as a zombie; it runs no more.
    status = Path(f"/proc/{pid}/stat")
    return not status.exists() or status.read_text().rpartition(")")[2].split()[0] == "Z"


def test_auto_takes_a_mosquitto_where_there_is_one(tmp_path: Path) -> None:
    running = broker.start(BrokerConfig(), tmp_path)

    assert running.kind == KINDS[0]
    running.stop()


def test_auto_falls_back_to_the_embedded_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(broker, "find_mosquitto", lambda: None)

    running = broker.start(BrokerConfig(), tmp_path)

    assert running.kind == "embedded"
    running.stop()


def test_a_configured_broker_is_used_and_not_started(tmp_path: Path) -> None:
    running = broker.start(BrokerConfig(url="mqtt://broker.example:1884"), tmp_path)

    assert (running.kind, running.process) == ("configured", None)
    assert (running.address.host, running.address.port) == ("broker.example", 1884)
    running.stop()


def test_what_cannot_be_started_says_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    running = broker.start(BrokerConfig(url="embedded"), tmp_path)
    with pytest.raises(BrokerError, match=r"taken by another program.*port = 0"):
        broker.start(BrokerConfig(url="embedded", port=running.address.port), tmp_path)
    running.stop()
    with pytest.raises(BrokerError, match="write auto"):
        broker.start(BrokerConfig(url="http://x"), tmp_path)
    monkeypatch.setattr(broker, "find_mosquitto", lambda: None)
    with pytest.raises(BrokerError, match="install it"):
        broker.start(BrokerConfig(url="mosquitto"), tmp_path)
    monkeypatch.setattr(broker, "find_mosquitto", lambda: "/bin/false")
    with pytest.raises(BrokerError, match="does not answer"):
        broker.start(BrokerConfig(), tmp_path)


def test_the_generated_configuration_states_what_the_defaults_would_lose(tmp_path: Path) -> None:
    lines = broker.mosquitto_config(18831, tmp_path).splitlines()

    assert "listener 18831 127.0.0.1" in lines
    assert {"persistence true", "autosave_interval 1", "autosave_on_changes false"} <= set(lines)
    assert "set_tcp_nodelay true" in lines
    assert f"max_queued_messages {broker.MAX_QUEUED_MESSAGES}" in lines


if broker.find_mosquitto():

    def test_a_mosquitto_killed_and_started_again_still_has_its_retained_messages(
        tmp_path: Path,
    ) -> None:
        running = broker.start(BrokerConfig(url="mosquitto"), tmp_path)
        one = Wire(running.address, "one")
        one.start()
        assert one.connected.wait(5)
        assert one.publish_and_wait("a/b", b"crumb", retain=True)
        one.stop()
        assert running.process is not None
        until(lambda: b"crumb" in (tmp_path / "mosquitto.db").read_bytes())
        running.process.kill()

        again = broker.start(BrokerConfig(url="mosquitto", port=0), tmp_path)
        heard = threading.Event()
        other = Wire(again.address, "other")
        other.subscribe("a/b", lambda *_: heard.set())
        other.start()

        assert heard.wait(5)
        other.stop()
        again.stop()
        running.stop()
