"""An electric oven: element, air, walls, and a thermostat that feels all of it late.

Four nodes (element, air, walls, thermostat sensor) with radiation from the element to the walls.
The figures are those of no particular oven; they give a preheat of a quarter of an hour and the
slow saw-tooth of a bimetal control.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

STEFAN_BOLTZMANN = 5.670374419e-8
DRIFTING_BAKES = 8
DRIFT_C_PER_BAKE = 0.35


@dataclass(frozen=True)
class OvenMake:
    """The oven's build. W, J/K and W/K; lags in seconds."""

    power_w: float = 2250.0
    element_j_k: float = 700.0
    air_j_k: float = 330.0
    wall_j_k: float = 11_500.0
    element_to_air_w_k: float = 2.2
    element_area_m2: float = 0.075
    air_to_wall_w_k: float = 11.0
    leak_w_k: float = 0.9
    wall_loss_w_k: float = 3.2
    door_w_k: float = 16.0
    sensor_lag_s: float = 32.0
    hysteresis_c: float = 3.5
    element_seen: float = 0.08


class Oven:
    """The oven of the kitchen; :meth:`step` lets time pass.

    Args:
        room_c: temperature it starts from, C.
        dial_offset_c: how far the mean of its air lies above what the dial says, K.
    """

    def __init__(
        self, room_c: float, dial_offset_c: float = 0.0, make: OvenMake | None = None
    ) -> None:
        self.make = OvenMake() if make is None else make
        self.dial_offset_c = dial_offset_c
        self.dial_c: float | None = None
        self.element_c = self.air_c = self.wall_c = self.sensor_c = room_c
        self.heating = False
        self.cut_offs = 0
        self.door_open = False
        self.energy_j = 0.0

    def switch_on(self, dial_c: float) -> None:
        """Turn the dial."""
        self.dial_c = dial_c
        self.heating = True

    def switch_off(self) -> None:
        """Turn the dial back."""
        self.dial_c = None
        self.heating = False

    @property
    def radiant_c(self) -> float:
        """Temperature of what radiates on a pan: mostly walls, a little element, C."""
        share = self.make.element_seen
        fourth = (1.0 - share) * (self.wall_c + 273.15) ** 4
        fourth += share * (self.element_c + 273.15) ** 4
        return float(fourth**0.25) - 273.15

    def step(self, seconds: float, room_c: float, load_w: float = 0.0) -> None:
        """Let time pass; at most 2 s a step.

        Args:
            seconds: how long.
            room_c: the room's air, C.
            load_w: heat that pans take up, W.
        """
        if not 0 < seconds <= 2.0:
            raise ValueError(f"a step is at most 2 s, not {seconds!r}")
        make = self.make
        self._control()
        power = make.power_w if self.heating else 0.0
        self.energy_j += power * seconds
        element_k, wall_k = self.element_c + 273.15, self.wall_c + 273.15
        radiated = STEFAN_BOLTZMANN * make.element_area_m2 * 0.9 * (element_k**4 - wall_k**4)
        to_air = make.element_to_air_w_k * (self.element_c - self.air_c)
        air_to_wall = make.air_to_wall_w_k * (self.air_c - self.wall_c)
        escape = make.leak_w_k + (make.door_w_k if self.door_open else 0.0)
        lost = escape * (self.air_c - room_c)
        wall_lost = make.wall_loss_w_k * (self.wall_c - room_c)
        felt = 0.6 * self.air_c + 0.4 * self.wall_c
        self.element_c += (power - radiated - to_air) * seconds / make.element_j_k
        self.air_c += (to_air - air_to_wall - lost - 0.3 * load_w) * seconds / make.air_j_k
        self.wall_c += (radiated + air_to_wall - wall_lost - 0.7 * load_w) * seconds / make.wall_j_k
        self.sensor_c += (felt - self.sensor_c) * seconds / make.sensor_lag_s

    def _control(self) -> None:
        if self.dial_c is None:
            return
        wanted = self.dial_c + self.dial_offset_c + SENSOR_BELOW_AIR_C
        if self.heating and self.sensor_c >= wanted + self.make.hysteresis_c:
            self.heating = False
            self.cut_offs += 1
        elif not self.heating and self.sensor_c <= wanted - self.make.hysteresis_c:
            self.heating = True


# the maker's own adjustment: the sensor's mean lies this far from the air's mean in a cycling,
# empty oven
SENSOR_BELOW_AIR_C = -8.2


def dial_offsets_c(bakes: int, random: Random) -> list[float]:
    """How far the oven was from its dial in each of the last ``bakes`` bakes, oldest first, K.

    Steady with noise from bake to bake, then a drift over the last eight.
    """
    offsets = []
    for index in range(bakes):
        drifted = max(0, index - (bakes - DRIFTING_BAKES) + 1)
        offsets.append(0.8 + random.gauss(0.0, 0.45) + DRIFT_C_PER_BAKE * drifted)
    return offsets
