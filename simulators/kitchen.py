"""The demo kitchen as a program: ``python -m simulators.kitchen --dir DIR --clock FILE``.

Standard output is JSON lines: ``{"ready": {instrument: path}}`` first; after a line ``go`` on
standard input the kitchen's time runs, with marks, stages and truths; at the end (of the script, on
SIGTERM or SIGINT, or when standard input closes before ``go``) ``{"frames": …, "end": true}``.
"""

from __future__ import annotations

import argparse
import json
import select
import signal
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from time import monotonic

from simulators.bake import INSTRUMENTS, Bake
from simulators.kitchen_time import ClockWriter, wall_us
from simulators.wire import PtyWire, Wire

PACE_EVERY_S = 0.2


def emit(line: dict[str, object]) -> None:
    """One line of output, at once; a reader that has gone does not stop the kitchen."""
    try:
        sys.stdout.write(json.dumps(line) + "\n")
        sys.stdout.flush()
    except BrokenPipeError:
        pass


def stop_on_signals() -> threading.Event:
    """An event that SIGTERM and SIGINT set."""
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    return stop


def wait_for_go(stop: threading.Event) -> bool:
    """Wait for the line ``go`` on standard input; False when it closes or ``stop`` is set first."""
    while not stop.is_set():
        readable, _, _ = select.select([sys.stdin], [], [], 0.05)
        if readable:
            line = sys.stdin.readline()
            if not line:
                return False
            if line.strip() == "go":
                return True
    return False


class Pace:
    """How fast kitchen time may run: by the stage, and by what a file allows just now.

    Args:
        clock: the kitchen's clock.
        wanted: the speed the stage asks for.
        path: a file that holds the highest speed allowed; no file, no limit.
    """

    def __init__(self, clock: ClockWriter, wanted: Callable[[], float], path: Path | None) -> None:
        self._clock = clock
        self._wanted = wanted
        self._path = path
        self._limit = float("inf")
        self._looked_s = 0.0

    def __call__(self) -> None:
        """Look at the file now and then, and ask the clock for the speed that is right."""
        now_s = monotonic()
        if self._path is not None and now_s - self._looked_s >= PACE_EVERY_S:
            self._looked_s = now_s
            self._limit = self._allowed(self._path)
        self._clock.request(min(self._wanted(), self._limit))

    def _allowed(self, path: Path) -> float:
        try:
            limit = float(path.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return float("inf")
        except (OSError, ValueError):
            return self._limit  # half written: keep what was said before
        return limit if limit >= 0 else self._limit


def arguments(words: list[str] | None = None) -> argparse.Namespace:
    """The command line, read."""
    parser = argparse.ArgumentParser(
        prog="python -m simulators.kitchen", description="A simulated bake that writes real bytes."
    )
    parser.add_argument("--dir", type=Path, required=True, help="where the instruments' ports go")
    parser.add_argument("--clock", type=Path, required=True, help="the clock file to write")
    parser.add_argument("--start-us", type=int, help="kitchen time of the start; default: now")
    parser.add_argument("--weighing-speed", type=float, default=10.0, help="default: 10")
    parser.add_argument("--baking-speed", type=float, default=90.0, help="default: 90")
    parser.add_argument("--pace", type=Path, help="file with the highest speed allowed now")
    parser.add_argument("--random", type=int, default=1, help="start value; default: 1")
    return parser.parse_args(words)


def main(words: list[str] | None = None) -> int:
    """Run the kitchen; returns the exit code."""
    chosen = arguments(words)
    stop = stop_on_signals()
    chosen.dir.mkdir(parents=True, exist_ok=True)
    start_us = wall_us() if chosen.start_us is None else chosen.start_us
    clock = ClockWriter(chosen.clock, start_us)
    wires: dict[str, Wire] = {name: PtyWire(chosen.dir, name) for name in INSTRUMENTS}
    bake = Bake(wires, emit, start_us, chosen.random)

    def wanted() -> float:
        fast = max(chosen.weighing_speed, chosen.baking_speed)
        return float(chosen.weighing_speed if bake.stage == "weighing" else fast)

    def end_of_script() -> None:
        pace()
        if bake.ended:
            stop.set()

    pace = Pace(clock, wanted, chosen.pace)
    try:
        emit({"ready": {name: str(wire.path) for name, wire in wires.items()}})
        if wait_for_go(stop):
            bake.schedule.run(clock, stop, end_of_script)
    finally:
        emit({"frames": bake.counts(), "end": True})
        for wire in wires.values():
            wire.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
