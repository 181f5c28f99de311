"""An oven of five masses: element, air, inner wall, insulation, thermostat bulb.

The thermostat switches on its bulb with hysteresis; the swing and the period come out of the
masses. Ovens are drawn until they swing 4–20 K in 2–12 minutes, the range met in kitchens
(common practice).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np

_SIGMA = 5.670e-8


@dataclass(frozen=True)
class OvenMake:
    """What an oven is built of. Capacities J/K, conductances W/K, times s, temperatures K."""

    power_w: float
    element_capacity: float
    element_to_air: float
    element_area: float
    air_capacity: float
    air_to_wall: float
    wall_capacity: float
    wall_to_insulation: float
    insulation_capacity: float
    insulation_to_room: float
    bulb_s: float
    hysteresis: float
    offset: float
    door_exchange: float
    door_radiation: float
    fan: bool
    modulated: bool


def draw_make(rng: np.random.Generator, fan: bool) -> OvenMake:
    """An oven whose empty cycle is a plausible one (see the module)."""
    offset = float(np.clip(rng.normal(0, 6), -15, 15))
    modulated = bool(rng.random() < 0.06)
    wanted_s = float(np.exp(rng.uniform(np.log(120), np.log(720))))
    wanted_k = rng.uniform(4.0, 20.0)
    best: tuple[float, OvenMake] | None = None
    for _ in range(40):
        make = OvenMake(
            power_w=rng.uniform(1300, 3000),
            element_capacity=rng.uniform(150, 1000),
            element_to_air=rng.uniform(5, 9) * (1.8 if fan else 1.0),
            element_area=rng.uniform(0.03, 0.07),
            air_capacity=rng.uniform(500, 1800),
            air_to_wall=rng.uniform(14, 24) * (1.6 if fan else 1.0),
            wall_capacity=rng.uniform(7000, 16000),
            wall_to_insulation=rng.uniform(5, 9),
            insulation_capacity=rng.uniform(6000, 14000),
            insulation_to_room=rng.uniform(3, 5),
            bulb_s=rng.uniform(15, 70),
            hysteresis=float(np.exp(rng.uniform(np.log(0.7), np.log(8.0)))),
            offset=offset,
            door_exchange=rng.uniform(8, 45),
            door_radiation=rng.uniform(0.04, 0.12),
            fan=fan,
            modulated=modulated,
        )
        if modulated:
            return make
        trial = OvenState(make, 22.0)
        air, on = [], []
        for _step in range(2100):
            trial.step(2.0, 175.0, 22.0)
            air.append(trial.air)
            on.append(trial.on)
        tail = np.array(air[900:])
        starts = np.flatnonzero(np.diff(np.array(on[900:], dtype=int)) == 1)
        if len(starts) >= 3:
            period = float(np.mean(np.diff(starts))) * 2.0
            swing = float(np.median([np.ptp(tail[a:b]) for a, b in itertools.pairwise(starts)]))
            far = abs(float(np.log(period / wanted_s))) + 0.7 * abs(float(np.log(swing / wanted_k)))
            if 4 <= swing <= 20 and (best is None or far < best[0]):
                # The dial's error is the mean's, whatever the bulb's lag does to it.
                error = float(tail[starts[0] : starts[-1]].mean()) - 175.0 - offset
                best = far, replace(make, offset=offset - error)
                if far < 0.35:
                    break
    return best[1] if best is not None else make


class OvenState:
    """The temperatures of an oven as it runs."""

    def __init__(self, make: OvenMake, room_c: float) -> None:
        self.make = make
        self.element = self.air = self.wall = self.insulation = self.bulb = room_c
        self.on = False
        self.sum = 0.0

    def step(
        self,
        dt: float,
        set_point: float,
        room_c: float,
        *,
        running: bool = True,
        door: float = 0.0,
        load_w: float = 0.0,
    ) -> None:
        """March `dt` s. `door` is how far it stands open (0–1); `load_w` what the cakes take."""
        m = self.make
        target = set_point + m.offset
        share = 0.0
        if running:
            if m.modulated:
                error = target - self.bulb
                self.sum = float(np.clip(self.sum + error * dt / 500.0, 0.0, 12.0))
                share = float(np.clip((error + self.sum) / 12.0, 0.0, 1.0))
            elif self.bulb < target - m.hysteresis:
                self.on = True
            elif self.bulb > target + m.hysteresis:
                self.on = False
            if not m.modulated:
                share = float(self.on)
        else:
            self.on = False
        parts = 4 if dt > 1.5 else 2
        h = dt / parts
        for _ in range(parts):
            to_air = m.element_to_air * (self.element - self.air)
            glow = (
                m.element_area
                * 0.8
                * _SIGMA
                * ((self.element + 273.15) ** 4 - (self.wall + 273.15) ** 4)
            )
            exchange = m.air_to_wall * (self.wall - self.air)
            through = m.wall_to_insulation * (self.wall - self.insulation)
            open_air = door * m.door_exchange * (self.air - room_c)
            open_wall = (
                door
                * m.door_radiation
                * 0.8
                * _SIGMA
                * ((self.wall + 273.15) ** 4 - (room_c + 273.15) ** 4)
            )
            self.element += h * (share * m.power_w - to_air - glow) / m.element_capacity
            self.air += h * (to_air + exchange - open_air - 0.35 * load_w) / m.air_capacity
            self.wall += (
                h * (glow - exchange - through - open_wall - 0.65 * load_w) / m.wall_capacity
            )
            self.insulation += (
                h * (through - m.insulation_to_room * (self.insulation - room_c))
                / m.insulation_capacity
            )  # fmt: skip
            self.bulb += h * (self.air - self.bulb) / m.bulb_s
