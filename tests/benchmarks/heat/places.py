"""Where a cake cools: still air on a rack or counter, fan, draught, refrigerator.

Natural convection after Holman (simplified, air): 1.32 (ΔT/L)^¼ hot plate up, 0.59 down,
1.42 (ΔT/H)^¼ upright; combined with the air's own movement by cubes.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import matter
import numpy as np
from cake import Around, Cake


@dataclass(frozen=True)
class Draught:
    """A window or hood: from when to when (s after the way out), how much more, how much colder."""

    start_s: float
    end_s: float
    times: float
    colder_k: float


@dataclass(frozen=True)
class Room:
    """A room's air over time, t in seconds after the way out of the oven.

    `warming_k` is taken up with `warming_s` as time constant from `warming_from_s` on.
    """

    mean_c: float
    ripple_k: float
    ripple_s: float
    phase: float
    drift_k_per_h: float
    warming_k: float
    warming_from_s: float
    warming_s: float
    humidity: float

    def air_c(self, t: float) -> float:
        out = self.mean_c + self.ripple_k * float(
            np.sin(2 * np.pi * t / self.ripple_s + self.phase)
        )
        out += self.drift_k_per_h * float(np.clip(t, -3600.0, 10800.0)) / 3600.0
        if t > self.warming_from_s:
            out += self.warming_k * (1 - float(np.exp(-(t - self.warming_from_s) / self.warming_s)))
        return out


class Counter:
    """A worktop under the pan: six layers that warm and leak to the room."""

    def __init__(self, start_c: float, conductivity: float, heat_capacity: float) -> None:
        self.t = np.full(6, start_c)
        self.k, self.rho_c, self.dz = conductivity, heat_capacity, 0.006

    def step(self, dt: float, flux: float, room_c: float) -> None:
        """Take `flux` W/m² on top; the underside sees the room."""
        inner = self.k / self.dz * (self.t[:-1] - self.t[1:])
        net = np.zeros(6)
        net[0] += flux
        net[:-1] -= inner
        net[1:] += inner
        # Heat that spreads sideways in the top, and the underside's loss.
        net -= 4.0 * (self.t - room_c)
        self.t = self.t + dt * net / (self.rho_c * self.dz)


@dataclass
class Cold:
    """A refrigerator: thermostat with a band, compressor, and a load that warms it."""

    mean_c: float
    band_k: float
    period_s: float
    movement: float  # W/(m² K) of its own air
    leak_k_per_w: float
    tau_s: float
    excess_k: float = 0.0
    clock_s: float = 0.0

    def air_c(self) -> float:
        saw = 2 * abs((self.clock_s / self.period_s) % 1.0 - 0.5) * 2 - 1
        return self.mean_c + self.band_k * saw + self.excess_k

    def step(self, dt: float, load_w: float) -> None:
        self.clock_s += dt
        self.excess_k += dt * (self.leak_k_per_w * load_w - self.excess_k) / self.tau_s


@dataclass
class Place:
    """The way a cake stands now."""

    in_pan: bool
    base: str  # rack, counter
    movement: float  # W/(m² K) forced part
    cold: Cold | None = None
    counter: Counter | None = None
    counter_h: float = 0.0
    shading: float = 1.0
    spans: list[Draught] = field(default_factory=list)

    def around(self, cake: Cake, room: Room, t: float) -> Around:
        """What each face sees at `t` s after the way out."""
        air = self.cold.air_c() if self.cold is not None else room.air_c(t)
        radiant = air + (0.5 if self.cold is not None else 0.0)
        forced = self.cold.movement if self.cold is not None else self.movement
        for d in self.spans:
            if d.start_s <= t < d.end_s and self.cold is None:
                forced = max(forced, 1.5) * d.times
                air -= d.colder_k
        convection = {}
        for side in cake.sides:
            excess = abs(float(np.mean(side.surface_c)) - air) + 0.05
            if side.name == "top":
                natural = 1.32 * (excess / cake.shape.length_m) ** 0.25
            elif side.name == "base":
                natural = 0.59 * (excess / cake.shape.length_m) ** 0.25 + 1.5
            else:
                natural = 1.42 * (excess / max(cake.height_m((-1, -1)), 0.02)) ** 0.25
            convection[side.name] = (natural**3 + forced**3) ** (1 / 3)
        view = {"top": 1.0, "base": 0.75, "wall x": self.shading, "wall y": self.shading}
        view["wall in"] = 0.25
        convection["wall in"] = 0.6 * convection.get("wall in", 0.0)
        humidity = 0.75 if self.cold is not None else room.humidity
        on_counter = self.base == "counter" and self.counter is not None and self.cold is None
        return Around(
            air_c=air,
            radiant_c=radiant,
            convection=convection,
            view=view,
            vapour=float(matter.vapour_density(np.array(air), humidity)),
            counter_c=float(self.counter.t[0]) if on_counter and self.counter else None,
            counter_h=self.counter_h,
        )

    def step(self, dt: float, cake: Cake, room: Room, t: float, load_w: float) -> None:
        """March what the cake warms: the counter under it, the refrigerator around it."""
        if self.cold is not None:
            self.cold.step(dt, load_w)
        elif self.base == "counter" and self.counter is not None:
            base = next(s for s in cake.sides if s.name == "base")
            mean = float(np.average(base.surface_c, weights=base.area))
            self.counter.step(dt, self.counter_h * (mean - float(self.counter.t[0])), room.air_c(t))
