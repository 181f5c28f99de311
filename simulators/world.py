"""The physical kitchen: everything in it with a temperature or a mass.

What stands in it and how a second passes there. No bytes, no clock, no person.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from random import Random

from simulators.cake import Cake, PanAndBatter, Surroundings
from simulators.oven import DRIFT_C_PER_BAKE, DRIFTING_BAKES, Oven, dial_offsets_c
from simulators.probe import Probe
from simulators.room import Refrigerator, Room
from simulators.scale import BenchScale

ROOM_C = 21.5
OVEN_VAPOUR_KG_M3 = 0.03  # a vented oven with something moist in it
ROOM_VAPOUR_KG_M3 = 0.009  # 21.5 C at about half saturation
COLD_VAPOUR_KG_M3 = 0.005
REFRIGERATOR_FAN_W_M2K = 3.0
SECOND_S = 1.0


@dataclass
class ProbePlace:
    """Where the cake's probe is: in the cake at a height, or out of it."""

    in_cake: bool = False
    height_m: float = 0.012


class World:
    """Everything with a temperature or a mass.

    Args:
        random: start value of all its randomness.
        pressure_pa: the air's pressure.
    """

    def __init__(self, random: int, pressure_pa: float = 101_325.0) -> None:
        def stream(name: str) -> Random:
            # a stream of its own for each thing: one more reading here changes nothing there
            return Random(f"{random}/{name}")

        self.pressure_pa = pressure_pa
        self.room = Room(ROOM_C, stream("room"))
        self.refrigerator = Refrigerator()
        earlier = dial_offsets_c(20, Random(random))[:-DRIFTING_BAKES]
        steady = sum(earlier) / len(earlier)
        self.oven = Oven(ROOM_C, steady + DRIFT_C_PER_BAKE * (DRIFTING_BAKES + 1))
        self.scale = BenchScale(stream("scale"))
        self.cake: Cake | None = None
        self.pans = 0
        self.place = "bench"
        self.probe_place = ProbePlace()
        self.oven_probe = Probe(ROOM_C, lag_s=25.0, noise_c=0.12, random=stream("oven probe"))
        self.cake_probe = Probe(
            ROOM_C, lag_s=7.0, noise_c=0.04, offset_c=0.15, random=stream("cake probe")
        )
        self.wall_probe = Probe(ROOM_C, lag_s=90.0, noise_c=0.03, random=stream("wall probe"))
        self.cold_probe = Probe(
            self.refrigerator.air_c, lag_s=60.0, noise_c=0.04, random=stream("cold probe")
        )

    def fill_pans(self, made: PanAndBatter, pans: int, probe_m: float) -> None:
        """Deposit the batter and put the probe into it."""
        self.cake = Cake(replace(made, pressure_pa=self.pressure_pa))
        self.pans = pans
        self.probe_place = ProbePlace(True, probe_m)

    @property
    def core_c(self) -> float | None:
        """The true temperature where the probe's place in the cake is; None without a cake."""
        return None if self.cake is None else self.cake.at_height_c(self.probe_place.height_m)

    def second(self) -> None:
        """Let one second pass."""
        load_w = 0.0
        if self.cake is not None:
            # the other pan does the same
            load_w = self.cake.step(SECOND_S, self._around_cake()) / SECOND_S * self.pans
        self.room.step(SECOND_S, self.oven.air_c > 100.0)
        self.oven.step(SECOND_S, self.room.air_c, load_w if self.place == "oven" else 0.0)
        cold_w = -load_w if self.place == "refrigerator" else 0.0
        self.refrigerator.step(SECOND_S, self.room.air_c, cold_w)
        self.oven_probe.advance(SECOND_S, self.oven.air_c)
        core = self.core_c
        around = core if core is not None and self.probe_place.in_cake else self.room.air_c
        self.cake_probe.advance(SECOND_S, around)
        self.wall_probe.advance(SECOND_S, self.room.air_c)
        self.cold_probe.advance(SECOND_S, self.refrigerator.air_c)

    def _around_cake(self) -> Surroundings:
        room = self.room.air_c
        match self.place:
            case "oven":
                return Surroundings(self.oven.air_c, self.oven.radiant_c, OVEN_VAPOUR_KG_M3,
                                    under=0.92)  # fmt: skip
            case "refrigerator":
                cold = self.refrigerator.air_c
                return Surroundings(cold, self.refrigerator.contents_c, COLD_VAPOUR_KG_M3,
                                    REFRIGERATOR_FAN_W_M2K, 0.85)  # fmt: skip
            case "in pan, on rack" | "out of pan, on rack":
                return Surroundings(room, room, ROOM_VAPOUR_KG_M3, under=0.85)
            case _:
                return Surroundings(room, room, ROOM_VAPOUR_KG_M3, under=0.1)


def finite(value_c: float) -> float:
    """The value itself.

    Raises:
        FloatingPointError: the physics has gone wrong; better loudly than as a reading.
    """
    if not math.isfinite(value_c):
        raise FloatingPointError("the simulated cake has no temperature any more")
    return value_c
