"""One bake as a schedule: world, person and the five instruments, tied together by kitchen time.

Runs at any speed, with or without wires at the end: what is written depends only on the random
start value and on what the other end of the scale's wire says.
"""

from __future__ import annotations

from collections.abc import Callable
from random import Random

from simulators import frames
from simulators.person import Person, Step, read_script
from simulators.probe import Probe
from simulators.schedule import Schedule
from simulators.sma_port import SmaPort
from simulators.wire import Wire
from simulators.world import World, finite

INSTRUMENTS = ("bench-scale", "oven-probe", "cake-probe", "wall", "cold")
SCALE_PERIOD_US = 100_000
ASLEEP_EVERY = 10  # a sleeping scale looks for a command once a second
TRUTH_PERIOD_US = 300_000_000

Emit = Callable[[dict[str, object]], None]


class Bake:
    """The demo kitchen's bake.

    Args:
        wires: where the instruments write, by instrument name (all of ``INSTRUMENTS``).
        emit: takes each line of the kitchen's output.
        start_us: kitchen time of the beginning, microseconds since the epoch.
        random: start value of everything random.
        steps: the script; the pear and ginger cake by default.
    """

    def __init__(
        self,
        wires: dict[str, Wire],
        emit: Emit,
        start_us: int,
        random: int = 1,
        steps: list[Step] | None = None,
    ) -> None:
        self.world = World(random)
        self.schedule = Schedule(start_us)
        self.stage = "weighing"
        self.ended = False
        self._wires = wires
        self._emit = emit
        self._port = SmaPort(self.world.scale, repeating=True)
        self._asleep_for = 0
        person = Person(self.world, self._say, Random(f"{random}/person"))
        # order matters where instants coincide: the world first, then the hand, then the readings
        self.schedule.every(1_000_000, lambda at_us: self.world.second(), start_us + 1_000_000)
        self.schedule.follow(
            person.follow(read_script() if steps is None else steps), self._script_ended
        )
        self.schedule.every(SCALE_PERIOD_US, self._scale_reading, start_us + SCALE_PERIOD_US)
        for name, channel, probe, period_s in (
            ("oven-probe", "air", self.world.oven_probe, 2),
            ("cake-probe", "core", self.world.cake_probe, 2),
            ("wall", "air", self.world.wall_probe, 5),
            ("cold", "air", self.world.cold_probe, 5),
        ):
            self._read_every(name, channel, probe, period_s)
        self.schedule.every(TRUTH_PERIOD_US, self._tell_truth, start_us + TRUTH_PERIOD_US)

    def counts(self) -> dict[str, object]:
        """What became of each instrument's frames."""
        return {name: self._wires[name].count.document() for name in INSTRUMENTS}

    def _read_every(self, name: str, channel: str, probe: Probe, period_s: int) -> None:
        wire = self._wires[name]

        def reading(at_us: int) -> None:
            wire.send(frames.text_probe({channel: finite(probe.reading_c())}), at_us)

        # not all in the same instant
        phase_us = 150_000 + 110_000 * INSTRUMENTS.index(name)
        self.schedule.every(period_s * 1_000_000, reading, self.schedule.start_us + phase_us)

    def _scale_reading(self, at_us: int) -> None:
        scale, wire = self.world.scale, self._wires["bench-scale"]
        if scale.asleep:
            self._asleep_for += 1
            if self._asleep_for % ASLEEP_EVERY == 0:
                for reply in self._port.feed(wire.receive()):
                    wire.send(reply, at_us)
            return
        self._asleep_for = 0
        scale.advance(SCALE_PERIOD_US / 1e6)
        for reply in self._port.feed(wire.receive()):
            wire.send(reply, at_us)
        if self._port.repeating and not scale.asleep:
            wire.send(self._port.weight(), at_us)

    def _tell_truth(self, at_us: int) -> None:
        cake = self.world.cake
        core = self.world.core_c
        if cake is None or core is None:
            return
        self._emit(
            {
                "truth": {
                    "core_c": round(core, 3),
                    "coldest_c": round(cake.coldest_c, 3),
                    "loss": round(cake.loss, 4),
                    "t": at_us / 1e6,
                }
            }
        )

    def _say(self, line: dict[str, object]) -> None:
        if "stage" in line:
            self.stage = str(line["stage"])
        if "truth" not in line:
            line = {**line, "t": self.schedule.now_us / 1e6}
        self._emit(line)

    def _script_ended(self) -> None:
        self.ended = True
