"""The drivers as a process: stopped, killed, started twice, broken."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from drivers import config as configuration
from drivers import daemon
from drivers.clock import SystemClock
from drivers.daemon import ThreadDied
from drivers.publisher import Publisher
from drivers.topics import Topics

TOPICS = Topics("harbour-steps")
NAME = "bench-scale"
ROOT = Path(__file__).parents[3]


def settings(port: Path, family: str = "value-unit", name: str = NAME) -> str:
    return f'[[instrument]]\nname = "{name}"\nfamily = "{family}"\nport = "{port}"\n'


class Process:
    """``python -m drivers.daemon`` with its log in a file."""

    def __init__(self, folder: Path, config: Path, broker: str) -> None:
        self.log = folder / f"drivers-{len(list(folder.glob('drivers-*')))}.log"
        with self.log.open("wb") as out:
            self.process = subprocess.Popen(
                [
                    *(sys.executable, "-m", "drivers.daemon", "--config", str(config)),
                    *("--broker", broker, "--folder", str(folder)),
                ],
                stdout=out,
                stderr=subprocess.STDOUT,
                cwd=ROOT,
            )

    def says(self, words: str) -> bool:
        return words in self.log.read_text("utf-8")

    def stop(self, number: int = signal.SIGTERM) -> float:
        """Seconds from the signal to the end."""
        began_s = time.monotonic()
        self.process.send_signal(number)
        self.process.wait(10)
        return time.monotonic() - began_s


Launch = Callable[..., Process]


@pytest.fixture
def launch(tmp_path: Path, broker: Any) -> Iterator[Launch]:
    made: list[Process] = []

    def make(text: str) -> Process:
        config = tmp_path / "coolcrumb.toml"
        config.write_text('kitchen = "harbour-steps"\n' + text)
        made.append(Process(tmp_path, config, broker.address.url))
        return made[-1]

    yield make
    for one in made:
        if one.process.poll() is None:
            one.process.kill()
            one.process.wait()


def feed(port: Any, ended: threading.Event, pause_s: float = 0.01) -> threading.Thread:
    """Weights in rising order, each a gram more than the last, until `ended`."""

    def work() -> None:
        grams = 0
        while not ended.wait(pause_s):
            if port.is_held:
                grams += 1
                port.send(b"%9d g\r\n" % (grams % 1000))

    thread = threading.Thread(target=work)
    thread.start()
    return thread


def test_a_killed_process_goes_on_with_its_numbers_and_declares_the_time_between(
    launch: Launch, pty_port: Any, record: Any, listen: Any, wait_until: Any
) -> None:
    recorder, listener, ended = record(), listen(), threading.Event()
    feeder = feed(pty_port, ended)
    try:
        for life in (1, 2, 3):
            known = len(recorder.readings)
            one = launch(settings(pty_port.path))
            wait_until(lambda n=known: len(recorder.readings) > n + 20)
            if life < 3:
                one.process.kill()
                one.process.wait()
        (driver,) = {t for t, _, _ in listener.heard if "/drivers/" in t}
        words = [document["online"] for document in listener.documents(driver)]
    finally:
        ended.set()
        feeder.join()

    assert one.stop() < 5
    wait_until(lambda: one.says("offline (the drivers were stopped)"))
    seqs = recorder.seqs()
    assert seqs == list(range(1, len(seqs) + 1))
    assert len({reading.boot for reading in recorder.readings}) == 1
    assert words == [True, False, True, False, True]  # the will speaks for the killed
    assert [gap["reason"] for gap in recorder.gaps] == ["the drivers were not running"] * 2
    stamps = [round(reading.t_us) for reading in recorder.readings]
    assert stamps == sorted(set(stamps))
    for gap in recorder.gaps:
        at = stamps.index(round(gap["to_at"] * 1e6))
        assert stamps[at - 1] == round(gap["from_at"] * 1e6)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_process_in_trouble_everywhere_ends_in_time(
    launch: Launch, pty_port: Any, tmp_path: Path, broker: Any, wait_until: Any, number: int
) -> None:
    """One instrument flooded with noise, one missing, one silent pipe; then the broker goes."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    one = launch(
        settings(pty_port.path)
        + settings(tmp_path / "nowhere", name="oven-probe")
        + settings(pipe, "hid-scale", name="flour-scale")
    )
    wait_until(lambda: one.says("oven-probe: offline") and one.says("connected to the broker"))
    wait_until(lambda: one.says("flour-scale: opened") and one.says("bench-scale: opened"))
    broker.kill()
    ended = threading.Event()
    noise = threading.Thread(target=flood, args=(pty_port, ended))
    noise.start()
    wait_until(lambda: one.says("bytes that are no frame"))

    took_s = one.stop(number)
    ended.set()
    noise.join()

    assert took_s < 5
    assert one.process.returncode == 0
    assert not one.says("Traceback")
    assert not pty_port.is_held


def flood(port: Any, ended: threading.Event) -> None:
    """About a megabyte a second."""
    os.set_blocking(port._master, False)
    while not ended.wait(0.004):
        try:
            port.send(b"\xf0\x81noise that is no frame\r\n" * 150)
        except BlockingIOError:
            continue


def test_stopping_while_readings_flow_loses_none_that_was_taken(
    launch: Launch, pty_port: Any, record: Any, listen: Any, wait_until: Any
) -> None:
    recorder, listener, ended = record(), listen(), threading.Event()
    feeder = feed(pty_port, ended)
    one = launch(settings(pty_port.path))
    wait_until(lambda: len(recorder.readings) > 20)

    took_s = one.stop()
    ended.set()
    feeder.join()

    assert took_s < 5
    assert one.process.returncode == 0
    wait_until(lambda: listener.documents(TOPICS.instruments(NAME))[-1]["state"] == "offline")
    state = listener.documents(TOPICS.instruments(NAME))[0]
    assert (state["state"], state["family"]) == ("online", "value-unit")
    assert state["driver"].startswith("drivers-")
    values = [round((reading.value or 0) * 1000) for reading in recorder.readings]
    assert values == list(range(values[0], values[0] + len(values)))


def test_a_second_process_on_the_same_outbox_is_refused_and_told_who(
    launch: Launch, pty_port: Any, wait_until: Any
) -> None:
    first = launch(settings(pty_port.path))
    wait_until(lambda: first.says("bench-scale: opened"))

    second = launch(settings(pty_port.path))

    assert second.process.wait(10) == 2
    assert second.says(f"is in use by the drivers process {first.process.pid}")
    assert not second.says("Traceback")
    assert first.process.poll() is None


def test_settings_that_cannot_be_used_are_named(launch: Launch, tmp_path: Path) -> None:
    one = launch(settings(tmp_path / "scale") + 'division = "one gram"\n')

    assert one.process.wait(10) == 2
    assert one.says("instrument 'bench-scale', key division: 'one gram' is no mass; write '1 g'")


def test_a_thread_that_dies_ends_the_drivers_with_its_own_error(
    tmp_path: Path, pty_port: Any, broker: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(self: Publisher, items: Any) -> bool:
        raise ZeroDivisionError("a mistake in our own code")

    monkeypatch.setattr(Publisher, "put", broken)
    config = configuration.parse(settings(pty_port.path))
    ended = threading.Event()
    feeder = feed(pty_port, ended)

    with pytest.raises(ThreadDied, match="bench-scale") as caught:
        daemon.run(config, broker.address, threading.Event(), SystemClock(), folder=tmp_path)
    ended.set()
    feeder.join()

    assert isinstance(caught.value.__cause__, ZeroDivisionError)
    assert [t.name for t in threading.enumerate() if t.name in ("outbox", NAME)] == []


def test_a_command_from_the_wire_reaches_the_port_and_is_answered(
    tmp_path: Path, pty_port: Any, broker: Any, listen: Any, wait_until: Any
) -> None:
    listener, stop = listen(), threading.Event()
    config = configuration.parse('kitchen = "harbour-steps"\n' + settings(pty_port.path, "sma"))
    drivers = threading.Thread(
        target=daemon.run,
        args=(config, broker.address, stop, SystemClock()),
        kwargs={"folder": tmp_path},
    )
    drivers.start()
    assert pty_port.receive() == b"\nR\r"
    wait_until(lambda: any("/drivers/" in topic for topic, _, _ in listener.heard))

    command = {"command": "tare", "t": 1, "instrument": NAME, "id": "c-1"}
    listener.wire.publish_json(TOPICS.commands(NAME), command)

    assert pty_port.receive() == b"\nT\r"
    wait_until(lambda: listener.documents(TOPICS.answers(NAME)))
    stop.set()
    drivers.join()
    (answer,) = listener.documents(TOPICS.answers(NAME))
    assert (answer["answer"], answer["done"]) == ("c-1", True)
