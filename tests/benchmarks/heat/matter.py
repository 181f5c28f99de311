"""Batters, crumb, pans and moist air, as the judge's cakes are made of them.

Ranges: batter and crumb densities, water, conductivity of finished cakes after Sweat (1985, in the
ASHRAE conductivity table), Rask (1989) and Baik et al. (2001); the rest is common practice.
Nothing here is shared with the forecaster.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LATENT = 2.30e6  # J/kg, between 2.26 at 100 °C and 2.45 at 20 °C
STEFAN_BOLTZMANN = 5.670e-8
WATER_CP = 4180.0


@dataclass(frozen=True)
class Kind:
    """Ranges of one kind of cake: (low, high) of what differs from batch to batch."""

    water: tuple[float, float]  # kg/kg of batter
    fat: tuple[float, float]
    batter_density: tuple[float, float]  # kg/m³
    crumb_density: tuple[float, float]
    set_point: tuple[float, float]  # °C
    depth: tuple[float, float]  # mm of batter in a deep pan


KINDS: dict[str, Kind] = {
    "layer": Kind((0.33, 0.39), (0.10, 0.16), (820, 950), (320, 420), (165, 180), (17, 28)),
    "sponge": Kind((0.30, 0.36), (0.03, 0.08), (430, 600), (190, 280), (165, 190), (22, 40)),
    "pound": Kind((0.22, 0.27), (0.20, 0.27), (800, 930), (450, 560), (155, 170), (28, 45)),
    "chocolate": Kind((0.35, 0.42), (0.12, 0.18), (900, 1050), (370, 470), (160, 177), (18, 30)),
    "carrot": Kind((0.34, 0.40), (0.18, 0.24), (930, 1060), (430, 560), (160, 177), (20, 32)),
    "fruit": Kind((0.22, 0.28), (0.10, 0.15), (1080, 1220), (850, 1050), (145, 160), (30, 50)),
}


@dataclass(frozen=True)
class Material:
    """A pan's wall: heat capacity per area, emissivity range."""

    capacity: float  # J/(m² K)
    emissivity: tuple[float, float]


MATERIALS: dict[str, Material] = {
    "aluminium": Material(2700 * 900 * 0.0012, (0.15, 0.45)),
    "dark": Material(7850 * 480 * 0.0007, (0.80, 0.95)),
    "tinplate": Material(7850 * 480 * 0.0006, (0.25, 0.45)),
    "glass": Material(2500 * 800 * 0.0050, (0.85, 0.93)),
    "silicone": Material(1150 * 1300 * 0.0025, (0.85, 0.95)),
}


@dataclass(frozen=True)
class Batter:
    """One batch's matter, drawn from its kind.

    Attributes:
        water, fat: kg per kg of batter.
        density, crumb_density: kg/m³.
        oswin_a, oswin_b: sorption: W = a (aw / (1 − aw))^b, W in kg water per kg dry.
        solid_conductivity: of the dry void-free matter, W/(m K).
        conductivity_scale: how far the true structure lies from Maxwell–Eucken's.
        vapour_factor: share of the free diffusivity of vapour that the pores let through.
        shrink: share of the risen height lost after the oven.
        skin, soft_skin: share of the vapour's way left open in a dried crust, hot and cooled.
        solute: how far dissolved sugar lowers the batter's water activity (0.03: by 3 %).
    """

    water: float
    fat: float
    density: float
    crumb_density: float
    oswin_a: float
    oswin_b: float
    solid_conductivity: float
    conductivity_scale: float
    vapour_factor: float
    shrink: float
    skin: float
    soft_skin: float
    solute: float


def draw_batter(rng: np.random.Generator, kind: str) -> Batter:
    """A batter of this kind."""
    k = KINDS[kind]
    return Batter(
        water=rng.uniform(*k.water),
        fat=rng.uniform(*k.fat),
        density=rng.uniform(*k.batter_density),
        crumb_density=rng.uniform(*k.crumb_density),
        oswin_a=rng.uniform(0.10, 0.16),
        oswin_b=rng.uniform(0.36, 0.44),
        solid_conductivity=rng.uniform(0.22, 0.28),
        conductivity_scale=rng.uniform(1.05, 1.55),
        vapour_factor=rng.uniform(0.08, 0.22),
        shrink=rng.uniform(0.01, 0.06),
        skin=rng.uniform(0.01, 0.05),
        soft_skin=rng.uniform(0.2, 0.8),
        solute=rng.uniform(0.015, 0.06),
    )


def saturation_pressure(t_c: Array) -> Array:
    """Over water, Pa; Buck (1981) up to 100 °C within 0.3 %, smooth above."""
    out: Array = 611.21 * np.exp((18.678 - t_c / 234.5) * t_c / (257.14 + t_c))
    return out


def boiling_c(pressure_pa: Array) -> Array:
    """Where water's saturation pressure is `pressure_pa` (Antoine, NIST 99.6–374 °C and below)."""
    p = np.log10(np.clip(pressure_pa, 2e4, 1.0e6) / 1e5)
    below = 1730.63 / (8.07131 - np.log10(760.0 * np.clip(pressure_pa, 2e4, 1e6) / 101325.0))
    above = 1435.264 / (4.6543 - p) + 64.848 - 273.15
    out: Array = np.where(pressure_pa < 101325.0, below - 233.426, above)
    return out


def vapour_density(t_c: Array, activity: Array | float) -> Array:
    """kg/m³ in pores or air at this temperature and water activity."""
    out: Array = activity * saturation_pressure(t_c) * 0.018015 / (8.3145 * (t_c + 273.15))
    return out


def pressure_at(altitude_m: float) -> float:
    """Standard atmosphere (1976), Pa."""
    return 101325.0 * float((1.0 - 2.25577e-5 * altitude_m) ** 5.25588)
