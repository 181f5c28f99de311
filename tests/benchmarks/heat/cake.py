"""A cake as a finite volume field of temperature and water, with its pan.

Lagrangian cells keep their dry matter; they rise while they set and shrink a little afterwards.
Heat moves by conduction (Maxwell–Eucken crumb) and by vapour that evaporates here and condenses
there; water boils off where its pressure would exceed the air's, so a front and a crust appear by
themselves. Pan wall and base are nodes of their own behind a contact resistance.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import matter
import numpy as np
from matter import Array, Batter
from shape import Shape, levels

_REFRESH_S = 4.0
_LIQUID_DIFFUSIVITY = 2.5e-10


@dataclass
class Side:
    """One face of the cake to the outside, with or without pan.

    `place` picks the cells that touch it, `cell_half` gives their half thickness.
    """

    name: str  # top, base, wall x, wall y, wall in
    place: tuple[int | slice, ...]
    axis: int
    wall_c: Array | None
    surface_c: Array
    area: Array = field(default_factory=lambda: np.zeros(1))
    half_m: Array = field(default_factory=lambda: np.zeros(1))


@dataclass
class Around:
    """What a face sees: heat transfer coefficients by face name, and temperatures.

    `below` is the counter's top node when the base rests on one (with its contact conductance).
    """

    air_c: float
    radiant_c: float
    convection: dict[str, float]
    view: dict[str, float]
    vapour: float
    counter_c: float | None = None
    counter_h: float = 0.0


class Cake:
    """One body (a quarter of a box, or a whole round) and its part of the pan."""

    def __init__(
        self,
        shape: Shape,
        batter: Batter,
        depth_m: float,
        start_c: float,
        pressure_pa: float,
        wall_capacity: float,
        wall_emissivity: float,
        layers: int,
    ) -> None:
        self.shape, self.batter, self.pressure = shape, batter, pressure_pa
        self.wall_capacity, self.wall_emissivity = wall_capacity, wall_emissivity
        area = shape.area
        self.dz0 = np.ones(area.shape)[:, :, None] * (levels(layers) * depth_m)[None, None, :]
        mass = area[:, :, None] * self.dz0 * batter.density
        self.dry = mass * (1 - batter.water)
        self.water = mass * batter.water
        self.t = np.full(mass.shape, start_c)
        self.hottest = self.t.copy()
        self.out_of_oven = False
        self.contact_h = 300.0
        self.to_surroundings_w = 0.0
        nx, ny, _ = mass.shape
        s = slice(None)
        sides: list[tuple[str, tuple[int | slice, ...], int]] = [
            ("top", (s, s, -1), 2),
            ("base", (s, s, 0), 2),
            ("wall x", (nx - 1, s, s), 0),
        ]
        if not shape.axial:
            sides.append(("wall y", (s, ny - 1, s), 1))
        if shape.ring:
            sides.append(("wall in", (0, s, s), 0))
        self.sides = [
            Side(n, p, a, None if n == "top" else self.t[p].copy(), self.t[p].copy())
            for n, p, a in sides
        ]
        self._age = _REFRESH_S
        self._dx = np.diff(shape.x_edges)[:, None, None]
        self._dy = np.diff(shape.y_edges)[None, :, None]
        self._lx = shape.x_face_length()[:, :, None]
        self._ly = shape.y_face_length()[:, :, None]
        self.refresh()

    def unmould(self) -> None:
        """Take the pan away; its heat goes with it."""
        for side in self.sides:
            side.wall_c = None

    def height_m(self, column: tuple[int, int]) -> float:
        return float(self.dz[column].sum())

    def refresh(self) -> None:
        """Geometry, conductances and activities from the present state."""
        b = self.batter
        np.maximum(self.hottest, self.t, out=self.hottest)
        s = np.clip((self.hottest - 38.0) / 48.0, 0.0, 1.0)
        rise = b.density / b.crumb_density * 0.93 - 1.0
        grown = 1.0 + max(rise, 0.05) * s * s * (3 - 2 * s)
        if self.out_of_oven:
            cool = np.clip((self.hottest - self.t) / 70.0, 0.0, 1.0)
            grown = grown * (1 - b.shrink * cool)
        self.dz = self.dz0 * grown
        area = self.shape.area[:, :, None]
        volume = area * self.dz
        wet = np.maximum(self.water / self.dry, 1e-3)
        bound = 1.0 / (1.0 + (b.oswin_a / wet) ** (1.0 / b.oswin_b))
        self.activity = bound / (1.0 + b.solute * b.water / (1 - b.water) / wet)
        self.boil_c = matter.boiling_c(self.pressure / self.activity)
        solid_volume = self.dry / 1430.0 + self.water / 985.0
        share_water = self.water / 985.0 / solid_volume
        pores = np.clip(1.0 - solid_volume / volume, 0.02, 0.93)
        ks = share_water * (0.571 + 0.0012 * self.t) + (1 - share_water) * b.solid_conductivity
        ka = 0.026 + 6e-5 * self.t
        k = ks * (2 * ks + ka - 2 * (ks - ka) * pores) / (2 * ks + ka + (ks - ka) * pores)
        k = k * (1 + (b.conductivity_scale - 1) * np.clip((pores - 0.2) / 0.4, 0, 1))
        kelvin = self.t + 273.15
        free = 2.2e-5 * (kelvin / 273.15) ** 1.8 * 101325.0 / self.pressure
        partial = self.activity * matter.saturation_pressure(self.t) / self.pressure
        # Bubbles of batter pass vapour on as well as open crumb does; a dense batter less.
        d = (
            free
            * b.vapour_factor
            * np.clip(pores / 0.6, 0.15, 1.1)
            / (1 - np.clip(partial, 0, 0.78))
        )
        # A dried skin closes: without it the front would sit at a wet bulb, far below boiling,
        # while real cores end within a kelvin or two of it (common practice).
        open_share = np.clip((wet * (1 - b.water) / b.water - 0.35) / 0.5, 0.0, 1.0)
        # Out of the oven it softens and cracks, and lets vapour through again.
        skin = b.skin if not self.out_of_oven else b.soft_skin
        d = d * (skin + (1 - skin) * open_share**2)
        cp = 1450.0 + 550.0 * b.fat + 4.0 * self.t
        self.heat_capacity = self.dry * cp + self.water * matter.WATER_CP
        rx, rz = self._dx / (2 * k), self.dz / (2 * k)
        vx, vz = self._dx / (2 * d), self.dz / (2 * d)
        face = self._lx[1:-1] * 0.5 * (self.dz[:-1] + self.dz[1:])
        self.gx, self.mx = face / (rx[:-1] + rx[1:]), face / (vx[:-1] + vx[1:])
        self.lx = face * _LIQUID_DIFFUSIVITY / (0.5 * (self._dx[:-1] + self._dx[1:]))
        if not self.shape.axial:
            ry, vy = self._dy / (2 * k), self._dy / (2 * d)
            face = self._ly[:, 1:-1] * 0.5 * (self.dz[:, :-1] + self.dz[:, 1:])
            self.gy, self.my = face / (ry[:, :-1] + ry[:, 1:]), face / (vy[:, :-1] + vy[:, 1:])
        self.gz = area / (rz[:, :, :-1] + rz[:, :, 1:])
        self.mz = area / (vz[:, :, :-1] + vz[:, :, 1:])
        lz = area * _LIQUID_DIFFUSIVITY / (0.5 * (self.dz[:, :, :-1] + self.dz[:, :, 1:]))
        conc = self.water / volume
        flow = self._age * lz * (conc[:, :, :-1] - conc[:, :, 1:])
        self.water[:, :, :-1] -= flow
        self.water[:, :, 1:] += flow
        for side in self.sides:
            half = self.dz if side.axis == 2 else (self._dx if side.axis == 0 else self._dy)
            half = np.broadcast_to(half, self.t.shape)[side.place] / 2
            side.half_m = half / k[side.place]  # resistance of the half cell, m² K/W
            if side.axis == 2:
                side.area = self.shape.area
            elif side.axis == 1:
                side.area = self._ly[:, -1] * self.dz[:, -1]
            else:
                at = 0 if side.name == "wall in" else -1
                side.area = self._lx[at] * self.dz[at]
            self._vapour_half = d
        self._age = 0.0
        # Stable step: heat conducted plus carried by vapour against each cell's capacity.
        slope = matter.LATENT * np.gradient(matter.vapour_density(np.arange(20.0, 102.0), 1.0))
        carried = np.interp(self.t, np.arange(20.0, 102.0), slope)
        total = np.zeros(self.t.shape)
        for g, m, axis in [(self.gx, self.mx, 0), (self.gz, self.mz, 2)] + (
            [] if self.shape.axial else [(self.gy, self.my, 1)]
        ):
            lower = tuple(slice(None, -1) if a == axis else slice(None) for a in range(3))
            upper = tuple(slice(1, None) if a == axis else slice(None) for a in range(3))
            total[lower] += g + m * carried[lower]
            total[upper] += g + m * carried[upper]
        self.stable_s = float(0.8 * np.min(self.heat_capacity / total))

    def step(self, dt: float, around: Around) -> None:
        """March `dt` seconds (in stable parts) in these surroundings."""
        if self._age >= _REFRESH_S:
            self.refresh()
        parts = max(1, int(np.ceil(dt / self.stable_s)))
        for _ in range(parts):
            self._march(dt / parts, around)
        self._age += dt

    def _march(self, dt: float, around: Around) -> None:
        t = self.t
        q = np.zeros(t.shape)
        m = np.zeros(t.shape)
        rv = matter.vapour_density(t, self.activity)
        jx = self.mx * (rv[:-1] - rv[1:])
        fx = self.gx * (t[:-1] - t[1:]) + matter.LATENT * jx
        q[:-1] -= fx
        q[1:] += fx
        m[:-1] -= jx
        m[1:] += jx
        if not self.shape.axial:
            jy = self.my * (rv[:, :-1] - rv[:, 1:])
            fy = self.gy * (t[:, :-1] - t[:, 1:]) + matter.LATENT * jy
            q[:, :-1] -= fy
            q[:, 1:] += fy
            m[:, :-1] -= jy
            m[:, 1:] += jy
        jz = self.mz * (rv[:, :, :-1] - rv[:, :, 1:])
        fz = self.gz * (t[:, :, :-1] - t[:, :, 1:]) + matter.LATENT * jz
        q[:, :, :-1] -= fz
        q[:, :, 1:] += fz
        m[:, :, :-1] -= jz
        m[:, :, 1:] += jz
        taken = 0.0
        for side in self.sides:
            taken += self._exchange(side, dt, around, q, m, rv)
        self.to_surroundings_w = -taken * self.shape.copies
        self.t = t + dt * q / self.heat_capacity
        self.water += dt * m
        over = np.maximum(self.t - self.boil_c, 0.0)
        if over.any():
            boiled = np.minimum(over * self.heat_capacity / matter.LATENT, 0.5 * self.water)
            self.water -= boiled
            self.t -= boiled * matter.LATENT / self.heat_capacity
        np.maximum(self.water, 1e-3 * self.dry, out=self.water)

    def _exchange(
        self, side: Side, dt: float, around: Around, q: Array, m: Array, rv: Array
    ) -> float:
        """Heat (W) taken in through one side; changes q and m in place."""
        cell = self.t[side.place]
        h_c = around.convection[side.name]
        bare = side.wall_c is None
        emissivity = 0.9 if bare else self.wall_emissivity
        hot = side.surface_c + 273.15
        sky = around.radiant_c + 273.15
        h_r = (
            emissivity * around.view[side.name] * matter.STEFAN_BOLTZMANN
            * (hot * hot + sky * sky) * (hot + sky)
        )  # fmt: skip
        h = h_c + h_r
        outside = (h_c * around.air_c + h_r * around.radiant_c) / np.maximum(h, 1e-9)
        if side.name == "base" and around.counter_c is not None:
            h = np.full_like(h, around.counter_h)
            outside = np.full_like(h, around.counter_c)
        if side.wall_c is not None:
            inward = (side.wall_c - cell) / (1.0 / self.contact_h + side.half_m)
            taken = h * (outside - side.wall_c)
            side.wall_c = side.wall_c + dt * (taken - inward) / self.wall_capacity
            side.surface_c = side.wall_c
            q[side.place] += side.area * inward
            return float((side.area * taken).sum())
        flux = (outside - cell) / (1.0 / np.maximum(h, 1e-9) + side.half_m)
        side.surface_c = cell + flux * side.half_m
        q[side.place] += side.area * flux
        gone = 0.0
        if not (side.name == "base" and around.counter_c is not None):
            h_m = max(h_c, 0.5) / (1.15 * 1007.0 * 0.9)
            k_half = side.half_m * 0.12  # back to metres, near enough for a crust
            through = 1.0 / (1.0 / h_m + k_half / self._vapour_half[side.place])
            lost = through * (rv[side.place] - around.vapour)
            m[side.place] -= side.area * lost
            q[side.place] -= side.area * lost * matter.LATENT
            gone = float((side.area * lost).sum()) * matter.LATENT
        return float((side.area * flux).sum()) - gone
