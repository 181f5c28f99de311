"""Cakes to forecast, by equations that the forecaster does not use.

A stack of thin layers in mass coordinates: batter that sets and rises into crumb, each layer with
its own water. In the oven convection and radiation heat it from both sides and through the wall,
water boils where it must; in the room it loses heat by natural convection h = C (ΔT/L)^0.25,
radiation between grey surfaces (T⁴), and evaporation by Lewis' relation through a crust that
dries. The probe sits somewhere, lags, is offset, rounds. Constants lie in the published ranges
named in `logger.thermal.priors`; none comes from the forecaster's fits.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

SIGMA = 5.670374e-8
LAYERS = 12
DT_S = 2.5
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
    cool_s: float = 5.0 * 3600


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


def bake_and_cool(cases: list[Case]) -> list[Curve]:
    """All cases side by side; arrays are (cases, layers)."""
    n = len(cases)
    p = {
        f.name: np.array([[getattr(case, f.name)] for case in cases], dtype=float)
        for f in fields(Case)
    }
    mass = p["mass_kg_m2"] / LAYERS
    t = np.repeat(p["start_c"], LAYERS, axis=1)
    water = np.repeat(p["water"] * mass, LAYERS, axis=1)
    set_share = np.zeros((n, LAYERS))
    row = np.arange(n)
    place = np.minimum((p["probe_place"][:, 0] * LAYERS).astype(int), LAYERS - 1)
    probe = p["start_c"][:, 0].copy()
    late = np.full(n, np.inf)
    out = np.full(n, np.inf)
    ceiling = p["boiling_c"] + p["rise_k"]
    radius = p["radius_m"]
    times, cores, rooms = [], [], []
    clock, i = 0.0, 0
    while np.isinf(out).any() or clock < (out + p["cool_s"][:, 0]).max():
        baking = (clock < out)[:, None]
        set_share = np.maximum(set_share, np.clip((t - 40.0) / 45.0, 0.0, 1.0))
        density = 1.0 / ((1 - set_share) / p["batter_density"] + set_share / p["crumb_density"])
        thick = mass / density
        hot = np.clip((t - 40.0) / 55.0, 0.0, 1.0) ** 2
        moist = np.clip(water / (0.3 * p["water"] * mass), 0.0, 1.0)
        k = p["k_batter"] * (1 - set_share) + p["k_crumb"] * set_share
        k = k + p["k_crumb"] * p["vapour_boost"] * hot * moist
        resist = 0.5 * thick / k
        flow = np.diff(t) / (resist[:, 1:] + resist[:, :-1])
        q = np.zeros((n, LAYERS))
        q[:, :-1] += flow
        q[:, 1:] -= flow
        room = p["room_c"] + p["room_swing_k"] * np.sin(2 * np.pi * clock / p["room_period_s"])
        film = p["oven_film"]
        heat = film * thick / radius * (p["oven_c"] - t)
        heat[:, :1] += (p["oven_c"] - t[:, :1]) / (1 / (0.8 * film) + resist[:, :1])
        heat[:, -1:] += (p["oven_c"] - t[:, -1:]) / (1 / film + resist[:, -1:])
        gap = np.maximum(t - room, 0.0)
        loss = (1.42 * (gap / 0.05) ** 0.25 + 3.0) * thick / radius * gap
        since = np.maximum(clock - np.minimum(out, 1e9)[:, None], 0.0)
        wet = p["wetness"] * np.exp(-since / p["dry_s"])
        for edge, share, damp in (
            (slice(0, 1), p["under_factor"], 0.0 * wet),
            (slice(LAYERS - 1, LAYERS), np.ones((n, 1)), wet),
        ):
            inner = 1.0 / resist[:, edge]
            surface = t[:, edge]
            for _ in range(2):  # the surface's heat balance, by fixed-point steps
                convection = 1.32 * (np.maximum(surface - room, 0.0) / (2 * radius)) ** 0.25
                kelvin, around = surface + 273.15, room + 273.15
                radiation = p["emissivity"] * SIGMA * (kelvin**2 + around**2) * (kelvin + around)
                film = share * (convection + radiation)
                drive = pressure_kpa(surface) - 0.5 * pressure_kpa(room)
                steam = damp * convection * 16.3 * np.maximum(drive, 0.0)
                surface = (inner * t[:, edge] + film * room - steam) / (inner + film)
            loss[:, edge] += film * (surface - room) + steam
        t = t + (q + np.where(baking, heat, -loss)) * DT_S / (mass * p["cp"])
        over = np.where(water > 0.1 * p["water"] * mass, np.maximum(t - ceiling, 0.0), 0.0)
        water = water - over * mass * p["cp"] / LATENT
        t = t - over
        at_probe = t[row, place]
        probe += (at_probe - probe) * DT_S / p["probe_lag_s"][:, 0]
        clock += DT_S
        i += 1
        if i % 4 == 0:
            times.append(clock)
            cores.append(probe + p["probe_offset_k"][:, 0])
            rooms.append(room[:, 0])
        done = np.isinf(late) & ((at_probe >= p["pull_at_c"][:, 0]) | (clock > 5400))
        late[done] = clock
        leaving = np.isinf(out) & (clock >= late + p["later_s"][:, 0])
        out[leaving] = clock
    t_s, core, room_c = np.array(times), np.array(cores), np.array(rooms)
    return [Curve(t_s, core[:, c], room_c[:, c], float(out[c])) for c in range(n)]


def varied(number: int, draw: int = 1) -> list[Case]:
    """Cakes of many sizes and kitchens; numpy's generator, so always the same."""
    rng = np.random.default_rng(draw)
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
