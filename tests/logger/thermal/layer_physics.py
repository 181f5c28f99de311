"""Cakes to forecast, by equations that the forecaster does not use.

A stack of thin layers in mass coordinates: batter that sets and rises into crumb, each layer with
its own water. In the oven convection and radiation heat it from both sides and through the wall,
water boils where it must; in the room it loses heat by natural convection h = C (ΔT/L)^0.25,
radiation between grey surfaces (T⁴), and evaporation by Lewis' relation through a crust that
dries. The probe sits somewhere, lags, is offset, rounds. Constants lie in the published ranges
named in `logger.thermal.priors`; none comes from the forecaster's fits.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

SIGMA = 5.670374e-8
LAYERS = 18
DT_S = 2.0
LATENT = 2.35e6


@dataclass
class Case:
    mass_kg_m2: float = 19.7
    radius_m: float = 0.10
    crumb_density: float = 330.0
    batter_density: float = 850.0
    k_batter: float = 0.23
    k_crumb: float = 0.13
    vapour_boost: float = 2.0  # extra conduction of moist crumb at 95 °C, times k_crumb
    cp: float = 2700.0
    water: float = 0.36
    boiling_c: float = 100.0
    rise_k: float = 0.8  # boiling point rise of the syrup
    oven_c: float = 175.0
    oven_film: float = 28.0
    room_c: float = 22.5
    room_swing_k: float = 0.3
    room_period_s: float = 5400.0
    under_factor: float = 0.6  # loss of the underside relative to the top (pan on rack)
    emissivity: float = 0.9
    wetness: float = 0.25  # of the top as it leaves the oven
    dry_s: float = 2400.0
    start_c: float = 22.0
    probe_place: float = 0.5  # share of the mass below the probe
    probe_lag_s: float = 10.0
    probe_offset_k: float = 0.0
    pull_at_c: float = 97.0
    later_s: float = 0.0  # taken out so much later
    cool_s: float = 4.0 * 3600


@dataclass
class Curve:
    """t in seconds from the way into the oven; core is the probe's, before rounding."""

    t_s: np.ndarray
    core_c: np.ndarray
    room_c: np.ndarray
    out_s: float


def pressure_kpa(celsius: np.ndarray) -> np.ndarray:
    """Buck 1981, over water."""
    return 0.61121 * np.exp((18.678 - celsius / 234.5) * celsius / (257.14 + celsius))


def bake_and_cool(case: Case) -> Curve:
    n = LAYERS
    mass = case.mass_kg_m2 / n
    t = np.full(n, case.start_c)
    water = np.full(n, case.water * mass)
    set_share = np.zeros(n)
    place = min(int(case.probe_place * n), n - 1)
    probe = case.start_c
    out_s: float | None = None
    late: float | None = None
    times, cores, rooms = [], [], []
    clock, i = 0.0, 0
    ceiling = case.boiling_c + case.rise_k
    while out_s is None or clock < out_s + case.cool_s:
        set_share = np.maximum(set_share, np.clip((t - 40.0) / 45.0, 0.0, 1.0))
        density = 1.0 / ((1 - set_share) / case.batter_density + set_share / case.crumb_density)
        thick = mass / density
        hot = np.clip((t - 40.0) / 55.0, 0.0, 1.0) ** 2
        moist = np.clip(water / (0.3 * case.water * mass), 0.0, 1.0)
        k = case.k_batter * (1 - set_share) + case.k_crumb * set_share
        k = k + case.k_crumb * case.vapour_boost * hot * moist
        between = 1.0 / (0.5 * thick[1:] / k[1:] + 0.5 * thick[:-1] / k[:-1])
        q = np.zeros(n)
        flow = between * np.diff(t)
        q[:-1] += flow
        q[1:] -= flow
        room = case.room_c + case.room_swing_k * np.sin(2 * np.pi * clock / case.room_period_s)
        if out_s is None:
            for edge, film in ((0, 0.8 * case.oven_film), (n - 1, case.oven_film)):
                q[edge] += (case.oven_c - t[edge]) / (1 / film + 0.5 * thick[edge] / k[edge])
            q += 0.5 * case.oven_film * 2 * thick / case.radius_m * (case.oven_c - t)
        else:
            wet = case.wetness * np.exp(-(clock - out_s) / case.dry_s)
            for edge, share, damp in ((0, case.under_factor, 0.0), (n - 1, 1.0, wet)):
                # Surface temperature from the heat balance, by two fixed-point steps.
                surface = t[edge]
                for _ in range(2):
                    gap = max(surface - room, 0.0)
                    convection = 1.32 * (gap / (2 * case.radius_m)) ** 0.25
                    kelvin, around = surface + 273.15, room + 273.15
                    radiation = case.emissivity * SIGMA * (kelvin**2 + around**2) * (kelvin + around)
                    film = share * (convection + radiation)
                    steam = (
                        damp * convection * 16.3
                        * max(pressure_kpa(surface) - 0.5 * pressure_kpa(room), 0.0)
                    )
                    inner = 2 * k[edge] / thick[edge]
                    surface = (inner * t[edge] + film * room - steam) / (inner + film)
                q[edge] -= film * (surface - room) + steam
            gap = np.maximum(t - room, 0.0)
            q -= 0.5 * (1.42 * (gap / 0.05) ** 0.25 + 3.0) * 2 * thick / case.radius_m * gap
        t = t + q * DT_S / (mass * case.cp)
        over = np.where(water > 0.1 * case.water * mass, np.maximum(t - ceiling, 0.0), 0.0)
        water = water - over * mass * case.cp / LATENT
        t = t - over
        probe += (t[place] - probe) * DT_S / case.probe_lag_s
        clock += DT_S
        i += 1
        if i % 5 == 0:
            times.append(clock)
            cores.append(probe + case.probe_offset_k)
            rooms.append(room)
        if out_s is None:
            if late is None and (t[place] >= case.pull_at_c or clock > 5400):
                late = clock
            if late is not None and clock >= late + case.later_s:
                out_s = clock
    return Curve(np.array(times), np.array(cores), np.array(rooms), out_s)


def varied(number: int, seed: int = 1) -> list[Case]:
    """Cakes of many sizes and kitchens; numpy's generator, so always the same."""
    rng = np.random.default_rng(seed)
    cases = []
    for _ in range(number):
        mass = float(np.exp(rng.uniform(np.log(9.0), np.log(32.0))))
        cases.append(
            replace(
                Case(),
                mass_kg_m2=mass,
                radius_m=float(rng.uniform(0.07, 0.13)),
                crumb_density=float(rng.uniform(260, 470)),
                batter_density=float(rng.uniform(650, 950)),
                k_batter=float(rng.uniform(0.2, 0.25)),
                k_crumb=float(rng.uniform(0.10, 0.18)),
                vapour_boost=float(rng.uniform(1.0, 4.0)),
                cp=float(rng.uniform(2500, 2950)),
                water=float(rng.uniform(0.28, 0.42)),
                rise_k=float(rng.uniform(0.2, 2.0)),
                oven_c=float(rng.uniform(160, 190)),
                oven_film=float(rng.uniform(20, 42)),
                room_c=float(rng.uniform(18, 25)),
                room_swing_k=float(rng.uniform(0, 0.6)),
                room_period_s=float(rng.uniform(2400, 9000)),
                under_factor=float(rng.uniform(0.3, 0.9)),
                emissivity=float(rng.uniform(0.75, 0.95)),
                wetness=float(rng.uniform(0.0, 0.6)),
                dry_s=float(rng.uniform(900, 6000)),
                start_c=float(rng.uniform(19, 25)),
                probe_place=float(rng.uniform(0.3, 0.65)),
                probe_lag_s=float(rng.uniform(6, 25)),
                probe_offset_k=float(rng.normal(0, 0.25)),
                pull_at_c=float(rng.uniform(96.5, 98.5)),
                later_s=float(rng.uniform(0, 240)),
            )
        )
    return cases
