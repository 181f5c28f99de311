"""Many instruments that just stream a running count.

``python -m simulators.stream --dir DIR --instruments N --rate HZ`` is its command line.

The value is a count of the instrument's own frames, so that a test can tell which frames arrived:
frame n (from 0) shows ``n % modulus`` steps. Output is as the kitchen's; time runs at once, ``go``
is not waited for. Without ``--clock`` kitchen time is the machine's.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from simulators import frames
from simulators.kitchen import emit, stop_on_signals
from simulators.kitchen_time import ClockReader, ClockWriter, wall_us
from simulators.schedule import Clock, Schedule
from simulators.wire import FifoWire, PtyWire, Wire


@dataclass(frozen=True)
class Counter:
    """How a family shows a count: value = (n % modulus) × step, in ``unit``."""

    step: float
    unit: str
    modulus: int
    frame: Callable[[float], bytes]

    def encode(self, count: int) -> bytes:
        """The frame with number ``count``."""
        return self.frame((count % self.modulus) * self.step)


COUNTERS = {
    "sma": Counter(1.0, "g", 100_000, frames.sma),
    "value-unit": Counter(0.1, "g", 1_000_000, frames.value_unit),
    "described": Counter(0.1, "g", 1_000_000, frames.described),
    "hid-scale": Counter(1.0, "g", 65_535, frames.hid_scale),
    "text-probe": Counter(
        0.001, "C", 300_000, lambda value: frames.text_probe({"air": value}, decimals=3)
    ),
}


class Streamer:
    """One instrument that counts its frames over a wire."""

    def __init__(self, wire: Wire, counter: Counter) -> None:
        self.wire = wire
        self.counter = counter
        self.written = 0

    def send_next(self, at_us: int) -> None:
        """Write the next frame; what the other end sends is read and thrown away."""
        self.wire.receive()
        self.wire.send(self.counter.encode(self.written), at_us)
        self.written += 1


def make_streamers(folder: Path, family: str, instruments: int) -> dict[str, Streamer]:
    """Streamers named ``stream-1``, ``stream-2``, … with their wires in ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    wire = FifoWire if family == "hid-scale" else PtyWire
    names = [f"stream-{number}" for number in range(1, instruments + 1)]
    return {name: Streamer(wire(folder, name), COUNTERS[family]) for name in names}


def arguments(words: list[str] | None = None) -> argparse.Namespace:
    """The command line, read."""
    parser = argparse.ArgumentParser(
        prog="python -m simulators.stream", description="Instruments that stream a running count."
    )
    parser.add_argument("--dir", type=Path, required=True, help="where the instruments' ports go")
    parser.add_argument("--clock", type=Path, help="the clock file to read; default: real time")
    parser.add_argument("--instruments", type=int, default=1)
    parser.add_argument("--rate", type=float, default=10.0, help="frames a second of kitchen time")
    parser.add_argument("--family", choices=sorted(COUNTERS), default="sma")
    return parser.parse_args(words)


def main(words: list[str] | None = None) -> int:
    """Stream until told to stop; returns the exit code."""
    chosen = arguments(words)
    if chosen.instruments < 1 or chosen.rate <= 0:
        sys.stderr.write("stream needs at least one instrument and a rate above zero\n")
        return 2
    stop = stop_on_signals()
    path: Path | None = chosen.clock
    clock: Clock = ClockReader(path) if path else ClockWriter(None, wall_us(), 1.0)
    start_us = clock.now_us()
    schedule = Schedule(start_us)
    streamers = make_streamers(chosen.dir, chosen.family, chosen.instruments)
    period_us = round(1e6 / chosen.rate)
    for index, streamer in enumerate(streamers.values()):
        # spread over a period, as clocks of their own would be
        phase_us = index * period_us // len(streamers)
        schedule.every(period_us, streamer.send_next, start_us + phase_us)
    counter = COUNTERS[chosen.family]
    try:
        emit(
            {
                "ready": {name: str(one.wire.path) for name, one in streamers.items()},
                "counter": {
                    "step": counter.step,
                    "unit": counter.unit,
                    "modulus": counter.modulus,
                },
                "t": start_us / 1e6,
            }
        )
        schedule.run(clock, stop)
    finally:
        counts = {
            name: {**one.wire.count.document(), "written": one.written}
            for name, one in streamers.items()
        }
        emit({"frames": counts, "end": True})
        for one in streamers.values():
            one.wire.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
