"""Ovens in watts and joules, to measure the room on: it shares no equation with the code under test
nor with the other invented oven. Every figure is invented.

Element, air, two layers of wall, a pan with something in it that dries, a bulb that switches, a door
that lets the air out and the walls see the kitchen, and a probe of one or two stages.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

import numpy as np

from drivers.reading import Reading
from logger.plan import OvenPlan, Plan

BEGIN_US = 1_800_000_000_000_000
STEP_S = 0.5
NAME = "oven-probe/air"
SIGMA = 5.67e-8


@dataclass
class Facts:
    """One oven, one probe, one session (seconds since its beginning)."""

    draw: int
    dial_c: float
    offset_c: float
    half_band_k: float
    power_w: float
    element_j_per_k: float
    air_j_per_k: float
    inner_j_per_k: float
    outer_j_per_k: float
    element_air_w_per_k: float
    element_wall_m2: float
    air_wall_w_per_k: float
    inner_outer_w_per_k: float
    outer_room_w_per_k: float
    vent_w_per_k: float
    door_w_per_k: float
    door_m2: float
    bulb_s: float
    load_j_per_k: float
    load_w_per_k: float
    drying_w: float
    stages: int
    lag_s: float
    every_s: float
    noise_c: float
    step_c: float
    length_s: float
    off_s: float | None = None
    pulsed: bool = False
    doors: list[tuple[float, float]] = field(default_factory=list)
    in_s: float = 0.0
    out_s: float = 0.0
    glitches: int = 0
    gaps: list[tuple[float, float]] = field(default_factory=list)
    missing: float = 0.0


@dataclass
class Session:
    """The air itself on a grid of `STEP_S`, and what the probe told."""

    facts: Facts
    air_c: np.ndarray
    readings: list[Reading]

    def part(self, from_s: float, to_s: float) -> np.ndarray:
        return self.air_c[max(0, round(from_s / STEP_S)) : round(to_s / STEP_S)]

    def mean(self, from_s: float, to_s: float) -> float:
        return float(self.part(from_s, to_s).mean())

    def swing(self, from_s: float, to_s: float) -> float:
        return float(np.ptp(self.part(from_s, to_s)))

    def period(self, from_s: float, to_s: float) -> float:
        """Between the air's own crossings of its middle, nearest to these two."""
        part = self.part(from_s, to_s)
        above = self.air_c > (part.max() + part.min()) / 2
        best = (math.inf, math.nan)
        for change in (above[1:] & ~above[:-1], above[:-1] & ~above[1:]):
            at = STEP_S * np.flatnonzero(change)
            if len(at) > 1:
                first, last = at[np.abs(at - from_s).argmin()], at[np.abs(at - to_s).argmin()]
                best = min(best, (float(abs(first - from_s) + abs(last - to_s)), last - first))
        return best[1]

    def plan(self) -> Plan:
        return Plan(channels={NAME: "oven"}, oven=OvenPlan(set_point_c=self.facts.dial_c))


def facts(draw: int) -> Facts:
    """A random oven and session."""
    r = random.Random(draw)
    log = lambda a, b: math.exp(r.uniform(math.log(a), math.log(b)))  # noqa: E731
    fan = r.random() < 0.3
    regulated = r.random() < 0.12
    in_s = r.uniform(2400, 3300)
    out_s = in_s + r.uniform(1500, 3000)
    doors = [(in_s - r.uniform(8, 25), in_s + r.uniform(3, 20))]
    for _ in range(r.choice((0, 1, 1, 2))):
        at = r.uniform(in_s + 400, out_s - 400)
        if all(abs(at - a) > 400 for a, _ in doors):
            doors.append((at, at + r.choice((r.uniform(4, 10), r.uniform(11, 30)))))
    doors.append((out_s - r.uniform(5, 20), out_s + r.uniform(5, 30)))
    length_s = out_s + r.uniform(1200, 2400)
    return Facts(
        draw=draw,
        dial_c=r.choice((160.0, 170.0, 175.0, 180.0, 190.0, 200.0)),
        offset_c=r.choice((0.0, r.uniform(-15, 15))),
        half_band_k=r.uniform(1.0, 6.0),
        power_w=r.uniform(1400, 3000),
        element_j_per_k=log(150, 700),
        air_j_per_k=r.uniform(60, 160),
        inner_j_per_k=r.uniform(4000, 10_000),
        outer_j_per_k=r.uniform(4000, 12_000),
        element_air_w_per_k=r.uniform(2.0, 6.0) * (2 if fan else 1),
        element_wall_m2=r.uniform(0.03, 0.08),
        air_wall_w_per_k=r.uniform(6, 14) * (2.5 if fan else 1),
        inner_outer_w_per_k=r.uniform(3, 7),
        outer_room_w_per_k=r.uniform(2, 4),
        vent_w_per_k=r.uniform(0.3, 1.2),
        door_w_per_k=r.uniform(8, 45),
        door_m2=r.uniform(0.03, 0.12),
        bulb_s=r.uniform(15, 70),
        load_j_per_k=r.uniform(1200, 4500),
        load_w_per_k=r.uniform(0.8, 2.5) * (2 if fan else 1),
        drying_w=r.uniform(30, 150),
        stages=r.choice((1, 1, 2)),
        lag_s=log(3, 60),
        every_s=r.choice((0.2, 0.5, 1.0, 2.0, 5.0, 10.0)),
        noise_c=r.choice((0.0, 0.1, 0.3, 0.5)),
        step_c=r.choice((0.1, 0.25, 0.5, 1.0)),
        length_s=length_s,
        off_s=out_s + 60 if r.random() < 0.3 else None,
        pulsed=regulated,
        doors=sorted(doors),
        in_s=in_s,
        out_s=out_s,
        glitches=r.choice((0, 0, 0, 4)),
        gaps=[(4000.0, 4000.0 + r.uniform(20, 120))] if r.random() < 0.25 else [],
        missing=r.choice((0.0, 0.0, 0.02, 0.15)),
    )


def simulate(f: Facts) -> Session:
    """Run the oven and its probe."""
    r = random.Random(f.draw + 1)
    room = r.uniform(19, 28)
    steps = int(f.length_s / STEP_S)
    truth, seen = np.empty(steps), np.empty(steps)
    te = ta = ti = to = bulb = room
    tl, probe, sheath = 20.0, room, room
    aim = f.dial_c + f.offset_c
    on, summed = True, 0.3
    stage_s = f.lag_s / f.stages
    opened = np.zeros(steps)
    for a, b in f.doors:
        opened[int(a / STEP_S) : int(b / STEP_S)] = 1.0
    for i in range(steps):
        t = i * STEP_S
        if f.off_s is not None and t > f.off_s:
            power = 0.0
        elif f.pulsed:
            error = aim - bulb
            summed = min(0.8, max(0.0, summed + 2e-4 * error * STEP_S)) if abs(error) < 15 else 0.3
            power = f.power_w if (t % 30.0) / 30.0 < 0.06 * error + summed else 0.0
        else:
            if on and bulb > aim + f.half_band_k:
                on = False
            elif not on and bulb < aim - f.half_band_k:
                on = True
            power = f.power_w if on else 0.0
        for _ in range(2):
            h = STEP_S / 2
            radiated = SIGMA * f.element_wall_m2 * ((te + 273.15) ** 4 - (ti + 273.15) ** 4)
            ea = f.element_air_w_per_k * (te - ta)
            aw = f.air_wall_w_per_k * (ta - ti)
            io = f.inner_outer_w_per_k * (ti - to)
            out = (f.vent_w_per_k + f.door_w_per_k * opened[i]) * (ta - room)
            seen_room = SIGMA * f.door_m2 * opened[i]
            seen_room *= (ti + 273.15) ** 4 - (room + 273.15) ** 4
            al = 0.0
            if f.in_s <= t < f.out_s:
                al = f.load_w_per_k * (0.4 * ta + 0.6 * ti - tl)
                dry = f.drying_w * min(1.0, max(0.0, (tl - 60) / 35))
                tl += h * (al - dry) / f.load_j_per_k
            te += h * (power - ea - radiated) / f.element_j_per_k
            ta += h * (ea - aw - out - 0.4 * al) / f.air_j_per_k
            ti += h * (radiated + aw - io - seen_room - 0.6 * al) / f.inner_j_per_k
            to += h * (io - f.outer_room_w_per_k * (to - room)) / f.outer_j_per_k
            bulb += h * (ta - bulb) / f.bulb_s
            sheath += h * (ta - sheath) / stage_s
            probe = sheath if f.stages == 1 else probe + h * (sheath - probe) / stage_s
        truth[i], seen[i] = ta, probe
    times = np.arange(r.uniform(0, f.every_s), f.length_s - 1, f.every_s)
    wrong: dict[int, float] = {}
    for _ in range(f.glitches):
        at = r.randrange(20, len(times) - 20)
        for k in range(r.choice((1, 2))):
            wrong[at + k] = r.choice((0.0, 85.0, 400.0, -30.0))
    readings = []
    for n, t in enumerate(times):
        if any(a <= t < b for a, b in f.gaps) or r.random() < f.missing:
            continue
        value = wrong.get(n)
        if value is None:
            value = float(seen[int(t / STEP_S)]) + r.gauss(0, f.noise_c)
            value = round(value / f.step_c) * f.step_c
        readings.append(Reading("oven-probe", "air", BEGIN_US + round(t * 1e6), value, "Cel"))
    return Session(f, truth, readings)


def invent(draw: int) -> Session:
    """A session whose oven, undisturbed before the cake, cycles by 8 to 60 °C in 3 to 17 minutes.

    (Or not at all, where its power is pulsed.)
    """
    for k in range(50):
        f = facts(draw + 1000 * k)
        session = simulate(f)
        before = session.part(f.in_s - 1200, f.in_s - 60)
        aim = f.dial_c + f.offset_c
        if not before.min() < aim < before.max() and not f.pulsed:
            continue
        if f.pulsed:
            if np.ptp(before) < 15 and abs(before.mean() - aim) < 6:
                return session
            continue
        middle = (before.max() + before.min()) / 2
        rises = np.flatnonzero((before[1:] > middle) & (before[:-1] <= middle)) * STEP_S
        if len(rises) >= 2 and 8 <= np.ptp(before) <= 60:
            period = (rises[-1] - rises[0]) / (len(rises) - 1)
            if 180 <= period <= 1000:
                return session
    raise AssertionError("no such oven")
