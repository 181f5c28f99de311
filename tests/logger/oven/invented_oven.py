"""An invented oven for tests: element, air, walls, a thermostat (or a regulator), a door, a probe.

It shares no equation with the code under test. Every figure is invented.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from drivers.reading import Reading
from logger.plan import OvenPlan, Plan

BEGIN_US = 1_800_000_000_000_000
STEP_S = 1.0
WATCHED_S = 3300.0
NAME = "oven-probe/air"


@dataclass
class Invented:
    """Facts of one oven and one session; seconds since its beginning."""

    dial_c: float = 175.0
    offset_c: float = 0.0
    half_band_c: float = 6.0
    element_s: float = 40.0
    element_power_c_per_s: float = 3.0
    air_s: float = 12.0
    wall_s: float = 900.0
    sensor_s: float = 20.0
    regulated: bool = False
    begins_hot: bool = False
    length_s: float = 5400.0
    doors: list[tuple[float, float]] = field(default_factory=list)
    door_s: float = 12.0
    probe_lag_s: float = 20.0
    every_s: float = 1.0
    noise_c: float = 0.2
    step_c: float = 0.1
    glitches: int = 0
    gaps: list[tuple[float, float]] = field(default_factory=list)
    draw: int = 1


@dataclass
class Session:
    """What the oven truly did, on a grid of `STEP_S`, and what its probe told."""

    invented: Invented
    air_c: np.ndarray
    switched_on_s: list[float]
    readings: list[Reading]

    def true_mean(self, from_s: float, to_s: float) -> float:
        return float(self.air_c[max(0, int(from_s / STEP_S)) : int(to_s / STEP_S)].mean())

    def true_swing(self, from_s: float, to_s: float) -> float:
        part = self.air_c[max(0, int(from_s / STEP_S)) : int(to_s / STEP_S)]
        return float(part.max() - part.min())

    def true_period(self, from_s: float, to_s: float) -> float:
        """Time between the crossings of the air itself of its middle, nearest to these two."""
        part = self.air_c[max(0, int(from_s / STEP_S)) : int(to_s / STEP_S)]
        middle = (part.max() + part.min()) / 2
        above = self.air_c > middle
        best = (math.inf, math.nan)
        for change in (above[1:] & ~above[:-1], above[:-1] & ~above[1:]):
            at = STEP_S * np.flatnonzero(change)
            if len(at) > 1:
                first, last = at[np.abs(at - from_s).argmin()], at[np.abs(at - to_s).argmin()]
                off = abs(first - from_s) + abs(last - to_s)
                best = min(best, (float(off), float(last - first)))
        return best[1]

    def true_drop(self, opened_s: float, shut_s: float) -> float:
        """How far the air fell while the door was open."""
        part = self.air_c[int(opened_s / STEP_S) : int((shut_s + 5) / STEP_S)]
        return float(part[0] - part.min())

    def period_near(self, t_s: float) -> float:
        """The thermostat's whole period (warming up is none) that ended nearest to this time."""
        on = self.switched_on_s[1:]
        ends = [(abs(b - t_s), b - a) for a, b in pairwise(on)]
        return min(ends)[1]

    def plan(self, with_set_point: bool = True) -> Plan:
        dial = self.invented.dial_c if with_set_point else None
        return Plan(channels={NAME: "oven"}, oven=OvenPlan(set_point_c=dial))


def simulate(oven: Invented) -> Session:
    """Run the oven and its probe."""
    chance = random.Random(oven.draw)
    aim = oven.dial_c + oven.offset_c
    room = 22.0
    start = aim if oven.begins_hot else room
    element, air, wall, sensor, probe = start, start, start, start, start
    if oven.begins_hot:
        wall = aim - 8.0
    steps = int(oven.length_s / STEP_S)
    truth = np.empty(steps)
    seen = np.empty(steps)
    on, summed, switched = True, 0.0, [0.0]
    high, low = aim + oven.half_band_c, aim - oven.half_band_c
    strength, element_s, air_s, wall_s = (
        oven.element_power_c_per_s,
        oven.element_s,
        oven.air_s,
        oven.wall_s,
    )
    open_at = np.zeros(steps, dtype=bool)
    for opened, shut in oven.doors:
        open_at[int(opened / STEP_S) : int(shut / STEP_S)] = True
    for i, is_open in enumerate(open_at.tolist()):
        if oven.regulated:
            error = aim - sensor
            if abs(error) < 12:
                summed = min(1.0, max(0.0, summed + error * STEP_S * 0.0002))
            power = min(1.0, max(0.0, 0.05 * error + summed))
        else:
            if on and sensor > high:
                on = False
            elif not on and sensor < low:
                on = True
                switched.append(i * STEP_S)
            power = 1.0 if on else 0.0
        flow = (element - air) / element_s
        element += STEP_S * (power * strength - flow)
        if is_open:
            air += STEP_S * (0.5 * flow + (wall - air) / 30 + (room - air) / oven.door_s * 0.15)
        else:
            air += STEP_S * (0.5 * flow + (wall - air) / (3 * air_s))
        wall += STEP_S * ((air - wall) * 1.6 + (room - wall) * 0.25) / wall_s
        sensor += STEP_S * (air - sensor) / oven.sensor_s
        probe += STEP_S * (air - probe) / oven.probe_lag_s
        truth[i], seen[i] = air, probe
    readings = []
    times = np.arange(chance.uniform(0, oven.every_s), oven.length_s - 1, oven.every_s)
    wrong: dict[int, float] = {}
    for _ in range(oven.glitches):
        at = chance.randrange(20, len(times) - 20)
        for k in range(chance.choice((1, 2))):
            wrong[at + k] = chance.choice((0.0, 85.0, 400.0, -30.0))
    for n, t in enumerate(times):
        if any(a <= t < b for a, b in oven.gaps):
            continue
        value = wrong.get(n)
        if value is None:
            value = float(seen[int(t / STEP_S)]) + chance.gauss(0, oven.noise_c)
            value = round(value / oven.step_c) * oven.step_c
        readings.append(Reading("oven-probe", "air", BEGIN_US + round(t * 1e6), value, "Cel"))
    return Session(oven, truth, switched, readings)


def invent(draw: int, regulated: bool = False, doors: bool = True) -> Session:
    """A random oven with cycles of 5 to 15 minutes and 10 to 50 °C (or none, `regulated`)."""
    chance = random.Random(draw)
    while True:
        begins_hot = chance.random() < 0.3
        oven = Invented(
            dial_c=chance.choice((160.0, 175.0, 180.0, 200.0)),
            offset_c=chance.choice((0.0, 0.0, chance.uniform(-25, 25))),
            half_band_c=chance.uniform(2, 14),
            element_s=chance.uniform(20, 110),
            element_power_c_per_s=math.exp(chance.uniform(math.log(1.2), math.log(5))),
            air_s=chance.uniform(6, 18),
            wall_s=chance.uniform(300, 1200),
            sensor_s=chance.uniform(10, 60),
            regulated=regulated,
            begins_hot=begins_hot,
            length_s=7200.0,
            door_s=chance.uniform(6, 20),
            probe_lag_s=math.exp(chance.uniform(math.log(5), math.log(60))),
            every_s=chance.choice((1.0, 2.0, 5.0, 10.0)),
            noise_c=chance.uniform(0.1, 1.0),
            step_c=chance.choice((0.1, 0.25, 0.5, 1.0)),
            glitches=chance.choice((0, 0, 4)),
            gaps=[(3100.0, 3160.0)] if chance.random() < 0.3 else [],
            draw=draw,
        )
        if doors:
            at = 3300.0 + chance.uniform(0, 500)
            for _ in range(3):
                oven.doors.append((at, at + chance.uniform(10, 120)))
                at += chance.uniform(500, 1300)
        bare = simulate(
            Invented(
                **{**vars(oven), "doors": [], "gaps": [], "glitches": 0, "length_s": WATCHED_S}
            )
        )
        first_off = int(np.argmax(bare.air_c > oven.dial_c + oven.offset_c)) * STEP_S
        if first_off > 1800 or (first_off == 0 and not begins_hot):
            continue
        late = [t for t in bare.switched_on_s if t > 1500]
        if regulated:
            if (
                bare.true_swing(2500, WATCHED_S) < 3
                and abs(bare.true_mean(2500, WATCHED_S) - oven.dial_c - oven.offset_c) < 5
            ):
                return simulate(oven)
            continue
        if len(late) < 2:
            continue
        period = (late[-1] - late[0]) / (len(late) - 1)
        swing = bare.true_swing(late[-2], late[-1])
        if 300 <= period <= 900 and 10 <= swing <= 50:
            return simulate(oven)
