"""A cake in a round pan: conduction, vapour that carries heat, a rising crumb, a drying crust.

Finite volumes in r and z that move with the crumb. Heat goes by conduction and by vapour, which
evaporates in a warm cell and condenses in a cooler one; the surface gains heat by natural
convection and radiation and loses water through its own crust. No cell gets hotter than its water
boils at; so the core ends on a plateau, and a dry crust does not. Bottom and side lie against a pan
until the cake is taken out of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from simulators.crumb import (
    Composition,
    Crumb,
    boiling_c,
    latent_j_per_kg,
    porous_conductivity,
    saturation_pa,
    vapour_density,
    vapour_diffusivity,
    water_activity,
)
from simulators.grid import Field, RoundGrid, inflow

STEFAN_BOLTZMANN = 5.670374419e-8
AIR_HEAT_CAPACITY = 1006.0  # J/(kg K)
LEWIS_TO_TWO_THIRDS = 0.87 ** (2.0 / 3.0)  # water vapour in air
INNER_LATENT = 2.30e6  # J/kg: one value between cells, so that what one gives the other gets
CRUST = 0.12  # a dry, sugary crust lets through this share of what a moist crumb does (invented)
SKIN_S_PER_M = 150.0  # resistance of the skin to vapour at 90 C (invented)
SKIN_SETS_K = 20.0  # it grows by e as the sugar cools by this much and sets (invented)
LIQUID_M2_S = 2.0e-9  # liquid water creeping through a warm crumb, at 60 C (invented)
LONGEST_STEP_S = 1.5
ALUMINIUM_CP = 897.0


@dataclass(frozen=True)
class Surroundings:
    """What the cake sees.

    ``air_c`` and ``wall_c`` (what radiates) in C; ``vapour_kg_m3`` in the air; ``forced_w_m2k`` of
    a fan, added to natural convection; ``under`` is the share of the base that air and radiation
    reach (a rack, a counter).
    """

    air_c: float
    wall_c: float
    vapour_kg_m3: float = 0.009
    forced_w_m2k: float = 0.0
    under: float = 0.8


@dataclass(frozen=True)
class PanAndBatter:
    """One pan and what is in it. SI units."""

    diameter_m: float = 0.200
    batter_kg: float = 0.620
    depth_m: float = 0.020
    batter_c: float = 22.0
    rise: float = 0.85
    pan_kg: float = 0.32
    pan_emissivity: float = 0.68
    contact_w_m2k: float = 150.0
    crust_emissivity: float = 0.90
    pressure_pa: float = 101_325.0
    tortuosity: float = 0.40
    composition: Composition = field(default_factory=Composition)


class Cake:
    """One pan of cake.

    Args:
        made: pan and batter.
        layers: cells in height.
        rings: cells in radius.
    """

    def __init__(self, made: PanAndBatter | None = None, layers: int = 12, rings: int = 5) -> None:
        self.made = made = PanAndBatter() if made is None else made
        self.crumb = Crumb(made.composition)
        self.grid = RoundGrid(made.diameter_m / 2.0, layers, rings)
        share = np.broadcast_to(self.grid.ring_area_m2, self.grid.shape)
        share = share / share.sum()
        self._volume_m3 = share * made.depth_m * float(self.grid.ring_area_m2.sum())
        self.solids_kg: Field = share * made.batter_kg * (1.0 - made.composition.water)
        self.water_kg: Field = share * made.batter_kg * made.composition.water
        self.temperature_c: Field = np.full(self.grid.shape, made.batter_c)
        self.hottest_c: Field = self.temperature_c.copy()
        self.pan_c = made.batter_c
        self.in_pan = True
        self.heat_in_j = 0.0
        self.vapour_out_kg = 0.0
        self.latent_out_j = 0.0
        self._top_c: Field = self.temperature_c[-1].copy()

    # what can be seen of it

    @property
    def mass_kg(self) -> float:
        """Mass of the cake now, without its pan."""
        return float(self.solids_kg.sum() + self.water_kg.sum())

    @property
    def loss(self) -> float:
        """Share of the batter's mass that has gone as vapour."""
        return 1.0 - self.mass_kg / self.made.batter_kg

    @property
    def height_m(self) -> float:
        """Height at the axis, metres."""
        return float(self._heights()[:, 0].sum())

    @property
    def coldest_c(self) -> float:
        """The coldest cell, C."""
        return float(self.temperature_c.min())

    def at_height_c(self, height_m: float) -> float:
        """Temperature on the axis at a height above the base.

        What a perfect probe there would read, C.
        """
        heights = self._heights()[:, 0]
        centres = np.cumsum(heights) - heights / 2.0
        return float(np.interp(height_m, centres, self.temperature_c[:, 0]))

    def enthalpy_j(self) -> float:
        """Enthalpy of cake and pan above 0 C with its water liquid, J."""
        cake = self.solids_kg * self.crumb.solids_enthalpy(self.temperature_c)
        cake = cake + self.water_kg * self.crumb.water_enthalpy(self.temperature_c)
        pan = self.made.pan_kg * ALUMINIUM_CP * self.pan_c if self.in_pan else 0.0
        return float(cake.sum()) + pan

    # what is done to it

    def unmould(self) -> None:
        """Take the cake out of its pan."""
        self.in_pan = False

    def step(self, seconds: float, around: Surroundings) -> float:
        """Let time pass.

        Args:
            seconds: how long; at most 1.5 s, for the explicit scheme.
            around: what the cake stands in.

        Returns:
            Heat taken up from the surroundings, J.

        Raises:
            ValueError: the step is too long.
        """
        if not 0 < seconds <= LONGEST_STEP_S:
            raise ValueError(f"a step is at most {LONGEST_STEP_S} s, not {seconds!r}")
        t = self.temperature_c
        heights = self._heights()
        volume = self.grid.ring_area_m2 * heights
        dense_volume = self.crumb.dense_volume(self.solids_kg, self.water_kg)
        porosity = np.clip(1.0 - dense_volume / volume, 0.02, 0.95)
        k = porous_conductivity(
            self.crumb.dense_conductivity(t, self.solids_kg, self.water_kg), porosity
        )
        moist = self.water_kg / self.solids_kg
        activity = water_activity(moist)
        steam = vapour_density(t, activity)
        crowding = np.minimum(activity * saturation_pa(t) / self.made.pressure_pa, 0.80)
        open_pores = porosity * self.made.tortuosity * (CRUST + (1.0 - CRUST) * _share(moist, 0.35))
        diffusion = open_pores * vapour_diffusivity(t) / (1.0 - crowding)

        water = inflow(
            steam,
            self.grid.between_layers(diffusion, heights),
            self.grid.between_rings(diffusion, heights),
        )
        heat = inflow(t, self.grid.between_layers(k, heights), self.grid.between_rings(k, heights))
        heat += INNER_LATENT * water
        liquid = LIQUID_M2_S * np.exp((t - 60.0) / 40.0) * self.solids_kg / volume
        water += inflow(
            moist,
            self.grid.between_layers(liquid, heights),
            self.grid.between_rings(liquid, heights),
        )

        taken = self._top(heat, water, k, diffusion, steam, heights, around, seconds)
        if self.in_pan:
            taken += self._pan(heat, k, heights, around, seconds)
        else:
            taken += self._bare(heat, water, k, diffusion, steam, heights, around, seconds)

        capacity = self.solids_kg * self.crumb.solids_cp(t)
        capacity += self.water_kg * self.crumb.water_cp(t)
        t = t + heat * seconds / capacity
        self.water_kg = np.maximum(self.water_kg + water * seconds, 1e-9)
        self.temperature_c = self._boil(t, capacity)
        np.maximum(self.hottest_c, self.temperature_c, out=self.hottest_c)
        self.heat_in_j += taken
        return taken

    # how it is done

    def _heights(self) -> Field:
        """Heights of the cells.

        The crumb rises as it sets, once, and shrinks a little as its gas cools.
        """
        set_share = np.clip((self.hottest_c - 30.0) / 60.0, 0.0, 1.0)
        set_share = set_share * set_share * (3.0 - 2.0 * set_share)
        grown = 1.0 + self.made.rise * set_share
        grown *= 1.0 - 0.0005 * (self.hottest_c - self.temperature_c)
        flat: Field = self._volume_m3 / self.grid.ring_area_m2
        return flat * grown

    def _top(
        self, heat: Field, water: Field, k: Field, diffusion: Field, steam: Field,
        heights: Field, around: Surroundings, seconds: float,
    ) -> float:  # fmt: skip
        area = self.grid.ring_area_m2
        convection = natural_w_m2k(1.32, around.air_c - float(self._top_c.mean()),
                                   self.made.diameter_m) + around.forced_w_m2k  # fmt: skip
        half = heights[-1] / 2.0
        gain, self._top_c = self._surface(
            self.temperature_c[-1], self._top_c, k[-1] / half, convection,
            self.made.crust_emissivity, around,
        )  # fmt: skip
        heat[-1] += gain * area
        self._dry(heat, water, (-1, slice(None)), area, diffusion[-1] / half, steam[-1],
                  convection, around, seconds)  # fmt: skip
        return float((gain * area).sum()) * seconds

    def _pan(
        self, heat: Field, k: Field, heights: Field, around: Surroundings, seconds: float
    ) -> float:
        made = self.made
        base = self.grid.ring_area_m2 / (1.0 / made.contact_w_m2k + heights[0] / (2.0 * k[0]))
        rim = self.grid.rim_m * heights[:, -1]
        side = rim / (1.0 / made.contact_w_m2k + self.grid.width_m / (2.0 * k[:, -1]))
        to_base = base * (self.pan_c - self.temperature_c[0])
        to_side = side * (self.pan_c - self.temperature_c[:, -1])
        heat[0] += to_base
        heat[:, -1] += to_side

        difference = around.air_c - self.pan_c
        radiation = (
            made.pan_emissivity
            * STEFAN_BOLTZMANN
            * ((around.wall_c + 273.15) ** 4 - (self.pan_c + 273.15) ** 4)
        )
        under = float(self.grid.ring_area_m2.sum()) * around.under
        beside = self.grid.rim_m * max(made.depth_m * 2.0, 0.05)
        below = natural_w_m2k(0.59, difference, made.diameter_m) + around.forced_w_m2k
        along = natural_w_m2k(1.42, difference, 0.05) + around.forced_w_m2k
        gain_w = under * (below * difference + radiation) + beside * (
            along * difference + radiation
        )
        given_w = float(to_base.sum() + to_side.sum())
        self.pan_c += (gain_w - given_w) * seconds / (made.pan_kg * ALUMINIUM_CP)
        return gain_w * seconds

    def _bare(
        self, heat: Field, water: Field, k: Field, diffusion: Field, steam: Field,
        heights: Field, around: Surroundings, seconds: float,
    ) -> float:  # fmt: skip
        taken = 0.0
        base = self.grid.ring_area_m2 * around.under
        rim = self.grid.rim_m * heights[:, -1]
        height = self.height_m
        places: list[tuple[tuple[int | slice, int | slice], Field, Field | float, float, float]] = [
            ((0, slice(None)), base, heights[0] / 2.0, 0.59, self.made.diameter_m),
            ((slice(None), -1), rim, self.grid.width_m / 2.0, 1.42, height),
        ]
        for where, area, half, shape, length in places:
            inside = self.temperature_c[where]
            convection = natural_w_m2k(shape, around.air_c - float(inside.mean()), length)
            convection += around.forced_w_m2k
            gain, _ = self._surface(
                inside, inside, k[where] / half, convection, self.made.crust_emissivity, around
            )
            heat[where] += gain * area
            self._dry(heat, water, where, area, diffusion[where] / half, steam[where],
                      convection, around, seconds)  # fmt: skip
            taken += float((gain * area).sum()) * seconds
        return taken

    def _surface(
        self, inside_c: Field, surface_c: Field, inner_w_m2k: Field, convection: float,
        emissivity: float, around: Surroundings,
    ) -> tuple[Field, Field]:  # fmt: skip
        """Heat into a surface (W/m2) through half a cell, and the surface's temperature."""
        wall_k = around.wall_c + 273.15
        surface_k = surface_c + 273.15
        radiation = (
            emissivity * STEFAN_BOLTZMANN * (wall_k**2 + surface_k**2) * (wall_k + surface_k)
        )
        drive = convection * around.air_c + radiation * around.wall_c
        surface = (drive + inner_w_m2k * inside_c) / (convection + radiation + inner_w_m2k)
        return inner_w_m2k * (surface - inside_c), surface

    def _dry(
        self, heat: Field, water: Field, where: tuple[int | slice, int | slice], area: Field,
        inner_m_s: Field, steam: Field, convection: float, around: Surroundings, seconds: float,
    ) -> None:  # fmt: skip
        """Vapour leaves through half a cell of crust and the air's boundary layer (Lewis)."""
        air_density = 353.0 / (around.air_c + 273.15)
        outer = convection / (air_density * AIR_HEAT_CAPACITY * LEWIS_TO_TWO_THIRDS)
        resistance = 1.0 / max(outer, 1e-6) + 1.0 / inner_m_s + self._skin(where)
        rate = area * (steam - around.vapour_kg_m3) / resistance
        rate = np.minimum(rate, 0.2 * self.water_kg[where] / seconds)
        latent = rate * latent_j_per_kg(self.temperature_c[where])
        heat[where] -= latent
        water[where] -= rate
        self.vapour_out_kg += float(rate.sum()) * seconds
        self.latent_out_j += float(latent.sum()) * seconds

    def _skin(self, where: tuple[int | slice, int | slice]) -> Field:
        cooler = np.maximum(90.0 - self.temperature_c[where], 0.0)
        # a batter has no skin yet
        baked = np.clip((self.hottest_c[where] - 60.0) / 30.0, 0.0, 1.0)
        return SKIN_S_PER_M * (1.0 + baked * np.expm1(np.minimum(cooler / SKIN_SETS_K, 3.0)))

    def _boil(self, t: Field, capacity: Field) -> Field:
        """Heat beyond the boiling point turns water into steam, which finds its way out."""
        limit = boiling_c(self.made.pressure_pa, water_activity(self.water_kg / self.solids_kg))
        excess = t - limit
        if not bool((excess > 0.0).any()):
            return t
        latent = latent_j_per_kg(limit)
        steam = np.clip(excess * capacity / latent, 0.0, 0.5 * self.water_kg)
        self.water_kg = self.water_kg - steam
        self.vapour_out_kg += float(steam.sum())
        self.latent_out_j += float((steam * latent).sum())
        return t - steam * latent / capacity


def _share(part: Field, whole: float) -> Field:
    return np.minimum(part / whole, 1.0)


def natural_w_m2k(shape: float, difference_k: float, length_m: float) -> float:
    """Natural convection in air, h = shape (dT/L)^0.25, W/(m2 K).

    Shapes: 1.32 hot plate facing up, 0.59 facing down, 1.42 upright (Holman, simplified equations
    for air).
    """
    return shape * math.pow(max(abs(difference_k), 0.5) / length_m, 0.25)


def at_altitude(made: PanAndBatter, pressure_pa: float) -> PanAndBatter:
    """The same pan in a kitchen at another air pressure."""
    return replace(made, pressure_pa=pressure_pa)
