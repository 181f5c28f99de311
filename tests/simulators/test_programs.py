"""The two programs as others start them: real processes, real terminals, JSON lines."""

import json
import os
import queue
import signal
import subprocess
import sys
import threading
import tty
from collections.abc import Callable, Iterator
from pathlib import Path
from time import monotonic
from typing import Any

import pytest

from simulators.kitchen_time import ClockReader

ROOT = Path(__file__).parents[2]
DEADLINE_S = 20.0


class Program:
    """A simulator in a process of its own."""

    def __init__(self, module: str, *words: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", module, *words],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        )
        self._lines: queue.Queue[dict[str, Any]] = queue.Queue()
        self._thread = threading.Thread(target=self._read, name="output", daemon=True)
        self._thread.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._lines.put(json.loads(line))

    def next(self, wanted: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
        """The next line that is wanted; others are passed over."""
        end = monotonic() + DEADLINE_S
        while True:
            line = self._lines.get(timeout=max(end - monotonic(), 0.01))
            if wanted(line):
                return line

    def say(self, text: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(text + "\n")
        self.process.stdin.flush()

    def end(self, number: int = signal.SIGTERM) -> dict[str, Any]:
        self.process.send_signal(number)
        last = self.next(lambda line: "end" in line)
        assert self.process.wait(DEADLINE_S) == 0
        return last

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(DEADLINE_S)
        self._thread.join(DEADLINE_S)
        for end in (self.process.stdin, self.process.stdout):
            if end is not None:
                end.close()


@pytest.fixture
def start() -> Iterator[Callable[..., Program]]:
    running: list[Program] = []

    def starting(module: str, *words: str) -> Program:
        running.append(Program(module, *words))
        return running[-1]

    yield starting
    for program in running:
        program.close()


def read_port(path: str, enough: int) -> bytes:
    port = os.open(path, os.O_RDWR | os.O_NOCTTY)
    tty.setraw(port)
    try:
        return read_open_port(port, enough)
    finally:
        os.close(port)


def read_open_port(port: int, enough: int) -> bytes:
    got = b""
    while len(got) < enough:
        got += os.read(port, 4096)
    return got


def test_the_kitchen_stands_still_until_go_and_then_streams(
    tmp_path: Path, start: Callable[..., Program]
) -> None:
    clock_file = tmp_path / "clock.json"
    kitchen = start(
        "simulators.kitchen", "--dir", str(tmp_path / "ports"), "--clock", str(clock_file),
        "--start-us", "1750000000000000",
    )  # fmt: skip
    ready = kitchen.next(lambda line: "ready" in line)["ready"]
    clock = ClockReader(clock_file)
    still = clock.now_us()

    kitchen.say("go")
    got = read_port(ready["bench-scale"], 400)
    mark = kitchen.next(lambda line: line.get("mark") == "line")
    last = kitchen.end()

    assert still == 1_750_000_000_000_000
    assert sorted(ready) == ["bench-scale", "cake-probe", "cold", "oven-probe", "wall"]
    assert got.count(b"\n") == got.count(b"\r") or abs(got.count(b"\n") - got.count(b"\r")) == 1
    assert mark["line"] == "cake flour"
    assert 1_750_000_000 < mark["t"] < 1_750_000_060
    counts = last["frames"]
    assert counts["bench-scale"]["held"] >= 20
    assert counts["oven-probe"]["held"] == 0
    assert counts["oven-probe"]["unheld"] > 0
    assert len(counts["oven-probe"]["unheld_spans"]) == 1


def test_the_pace_file_holds_the_kitchen_back(
    tmp_path: Path, start: Callable[..., Program]
) -> None:
    pace, clock_file = tmp_path / "pace", tmp_path / "clock.json"
    pace.write_text("0.5")
    kitchen = start(
        "simulators.kitchen", "--dir", str(tmp_path / "ports"), "--clock", str(clock_file),
        "--pace", str(pace),
    )  # fmt: skip
    kitchen.next(lambda line: "ready" in line)
    kitchen.say("go")
    kitchen.next(lambda line: line.get("stage") == "weighing")
    clock = ClockReader(clock_file)
    slow = clock.segments()[-1].speed

    pace.write_text("7")
    end = monotonic() + DEADLINE_S
    waiting = threading.Event()
    while clock.segments()[-1].speed != 7.0 and monotonic() < end:
        waiting.wait(0.02)

    assert slow == 0.5
    assert clock.segments()[-1].speed == 7.0


def test_the_kitchen_ends_cleanly_when_nobody_says_go(
    tmp_path: Path, start: Callable[..., Program]
) -> None:
    kitchen = start(
        "simulators.kitchen", "--dir", str(tmp_path), "--clock", str(tmp_path / "clock.json")
    )
    kitchen.next(lambda line: "ready" in line)
    assert kitchen.process.stdin is not None

    kitchen.process.stdin.close()
    last = kitchen.next(lambda line: "end" in line)

    assert kitchen.process.wait(DEADLINE_S) == 0
    assert last["frames"]["wall"]["held"] == 0
    assert not (tmp_path / "wall").is_symlink()


@pytest.mark.parametrize("family", ["sma", "value-unit", "described", "text-probe"])
def test_a_stream_shows_which_frames_were_written(
    tmp_path: Path, start: Callable[..., Program], family: str
) -> None:
    stream = start(
        "simulators.stream", "--dir", str(tmp_path), "--instruments", "2", "--rate", "200",
        "--family", family,
    )  # fmt: skip
    first = stream.next(lambda line: "ready" in line)
    got = read_port(first["ready"]["stream-2"], 600)
    last = stream.end(signal.SIGINT)

    step = first["counter"]["step"]
    counts = [round(value / step) for value in _values(got, family)]
    assert len(counts) > 10
    assert counts == list(range(counts[0], counts[0] + len(counts)))
    assert last["frames"]["stream-2"]["held"] >= len(counts)
    written = last["frames"]["stream-1"]
    assert written["written"] == written["unheld"]


def test_a_stream_of_reports_comes_through_a_pipe(
    tmp_path: Path, start: Callable[..., Program]
) -> None:
    stream = start(
        "simulators.stream", "--dir", str(tmp_path), "--rate", "100", "--family", "hid-scale"
    )
    ready = stream.next(lambda line: "ready" in line)["ready"]
    port = os.open(ready["stream-1"], os.O_RDONLY)

    reports = [os.read(port, 64) for _ in range(5)]
    os.close(port)
    last = stream.end()

    counts = [int.from_bytes(report[4:6], "little") for report in reports]
    assert counts == list(range(counts[0], counts[0] + 5))
    assert last["frames"]["stream-1"]["held"] >= 5


def _values(got: bytes, family: str) -> list[float]:
    whole = got[: got.rfind(b"\r")].replace(b"\n", b"").split(b"\r")[1:]
    match family:
        case "sma":
            return [float(frame[5:15]) for frame in whole]
        case "value-unit":
            return [float(frame.split()[0]) for frame in whole]
        case "described":
            return [float(frame.split(b";")[0].removeprefix(b"!w=")) for frame in whole]
        case _:
            return [float(frame.split()[1]) for frame in whole]
