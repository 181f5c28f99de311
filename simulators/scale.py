"""A bench scale: a load cell that rings, a stream that falls, and a display that follows late.

Masses in grams, as on its display. The stream leaves the hand, falls, and presses with its impact
while it lands: rate times the time of fall, which is just the mass still in the air.
"""

from __future__ import annotations

import heapq
import math
from collections import deque
from dataclasses import dataclass
from random import Random

STEP_S = 0.01
STEPS_A_LOOK = 10
GRAVITY = 9.81


@dataclass(frozen=True)
class ScaleMake:
    """The scale's build: grams, seconds, hertz."""

    capacity_g: float = 5000.0
    resolution_g: float = 1.0
    natural_hz: float = 9.0
    damping: float = 0.25
    filter_s: float = 0.11
    noise_g: float = 0.35
    fall_m: float = 0.22
    creep_share: float = 1.5e-4
    creep_s: float = 600.0
    sleep_after_s: float = 150.0
    tracks_zero: bool = True


@dataclass(frozen=True)
class Shown:
    """What the display shows.

    ``value_g`` is rounded to the resolution, None under ``O`` or ``U``; ``status`` is a blank,
    ``Z`` (centre of zero), ``O`` (over capacity) or ``U`` (under).
    """

    value_g: float | None
    status: str
    net: bool
    motion: bool
    tare_g: float


class BenchScale:
    """The scale; :meth:`advance` lets time pass in steps of 10 ms."""

    def __init__(self, random: Random, make: ScaleMake | None = None) -> None:
        self.make = ScaleMake() if make is None else make
        self._random = random
        self.landed_g = 0.0
        self.vibration_g = 0.0
        self.asleep = False
        self.tare_g = 0.0
        self.net = False
        self._elapsed_s = 0.0
        self._steps = 0
        self._falling: list[tuple[float, float]] = []  # a heap: when it lands, how much
        self._fall_s = math.sqrt(2.0 * self.make.fall_m / GRAVITY)
        self._cell_g = 0.0
        self._speed_g_s = 0.0
        self._first_g = 0.0
        self._second_g = 0.0
        self._creep_g = 0.0
        self._zero_g = 0.0
        self._lately: deque[float] = deque([0.0] * 6, maxlen=6)
        self._kick_g = 0.0
        self._active_s = 0.0
        self._active_g = 0.0
        self._transition = _ringing(self.make.natural_hz, self.make.damping, STEP_S)

    # what a person does

    def put(self, mass_g: float) -> None:
        """Set something down (or take it off, negative), not quite gently."""
        self.landed_g += mass_g
        self._kick_g += 0.15 * mass_g

    def lift_all(self) -> float:
        """Take everything off; returns its mass, g."""
        mass_g = self.landed_g
        self.put(-mass_g)
        return mass_g

    def drop(self, mass_g: float) -> None:
        """Let a piece or a pinch fall in."""
        heapq.heappush(self._falling, (self._elapsed_s + self._fall_s, mass_g))

    def pour(self, mass_g: float, seconds: float) -> None:
        """Let a stream go on for a while, in lumps that together are just ``mass_g``."""
        lumps = max(round(seconds / STEP_S), 1)
        weights = [self._random.uniform(0.5, 1.5) for _ in range(lumps)]
        share = mass_g / sum(weights)
        start = self._elapsed_s + self._fall_s
        for index, weight in enumerate(weights):
            heapq.heappush(self._falling, (start + index * STEP_S, weight * share))

    def press_tare(self) -> None:
        """The tare key: what lies there now counts as nothing.

        On an empty pan it clears the tare.
        """
        if self.asleep:
            self.wake()
            return
        gross = self._gross_g()
        self._touch()
        if abs(gross) < 0.5 * self.make.resolution_g + 0.25:
            self.clear_tare()
            self._zero_g += gross
            return
        self.tare_g = gross
        self.net = True

    def press_zero(self) -> bool:
        """The zero key; False when the load is too far from zero (2 % of capacity) or moves."""
        gross = self._gross_g()
        self._touch()
        if abs(gross) > 0.02 * self.make.capacity_g or self._moves():
            return False
        self._zero_g += gross
        self.clear_tare()
        return True

    def clear_tare(self) -> None:
        """Show the gross weight again."""
        self.tare_g = 0.0
        self.net = False

    def wake(self) -> None:
        """Any key or command ends the power-save."""
        self.asleep = False
        self._touch()

    # what it does by itself

    def advance(self, seconds: float) -> None:
        """Let time pass, in whole steps of 10 ms."""
        for _ in range(round(seconds / STEP_S)):
            self._step()
            self._steps += 1
            if self._steps % STEPS_A_LOOK == 0:
                self._look(STEPS_A_LOOK * STEP_S)

    def _look(self, seconds: float) -> None:
        """What the scale's own processor does ten times a second: motion, zero, power-save."""
        filtered = self._gross_g()
        self._lately.append(filtered)
        if self.make.tracks_zero and abs(filtered) < 0.5 * self.make.resolution_g:
            most = 0.5 * self.make.resolution_g * seconds
            self._zero_g += min(max(filtered, -most), most)
        if abs(filtered - self._active_g) > 3.0 * self.make.resolution_g:
            self._touch()
        if self._elapsed_s - self._active_s > self.make.sleep_after_s:
            self.asleep = True

    def shown(self) -> Shown:
        """What the display shows now."""
        make = self.make
        gross = self._gross_g()
        motion = self._moves()
        if gross > make.capacity_g + 9 * make.resolution_g:
            return Shown(None, "O", self.net, motion, self.tare_g)
        if gross < -0.2 * make.capacity_g - 2000.0:
            return Shown(None, "U", self.net, motion, self.tare_g)
        value = round((gross - self.tare_g) / make.resolution_g) * make.resolution_g
        centred = not self.net and abs(gross) <= 0.25 * make.resolution_g
        return Shown(value, "Z" if centred else " ", self.net, motion, self.tare_g)

    def _step(self) -> None:
        self._elapsed_s += STEP_S
        now = self._elapsed_s
        arrived = 0.0
        while self._falling and self._falling[0][0] <= now:
            arrived += heapq.heappop(self._falling)[1]
        self.landed_g += arrived
        force = self.landed_g + self._creep_g
        if arrived:
            # momentum of what lands in this step, as a weight
            force += arrived / STEP_S * self._fall_s * self._random.uniform(0.5, 1.5)
        if self._kick_g:
            force += self._kick_g
            self._kick_g = 0.0 if abs(self._kick_g) < 0.5 else 0.8 * self._kick_g
        if self.vibration_g:
            force += self.vibration_g * math.sin(2.0 * math.pi * 13.0 * now)
            force += self._random.gauss(0.0, self.vibration_g)
        a, b, c, d = self._transition
        away = self._cell_g - force
        self._cell_g, self._speed_g_s = (
            force + a * away + b * self._speed_g_s,
            c * away + d * self._speed_g_s,
        )
        share = STEP_S / self.make.filter_s
        felt = self._cell_g + self._random.gauss(0.0, self.make.noise_g)
        self._first_g += (felt - self._first_g) * share
        self._second_g += (self._first_g - self._second_g) * share
        crept = self.landed_g * self.make.creep_share
        self._creep_g += (crept - self._creep_g) * STEP_S / self.make.creep_s

    def _gross_g(self) -> float:
        return self._second_g - self._zero_g

    def _moves(self) -> bool:
        return max(self._lately) - min(self._lately) > 0.9 * self.make.resolution_g

    def _touch(self) -> None:
        self._active_s = self._elapsed_s
        self._active_g = self._gross_g()


def _ringing(hertz: float, damping: float, seconds: float) -> tuple[float, float, float, float]:
    """Exact step of a damped oscillator about its rest: rows of the transition matrix."""
    omega = 2.0 * math.pi * hertz
    rung = omega * math.sqrt(1.0 - damping * damping)
    decay = math.exp(-damping * omega * seconds)
    cosine, sine = math.cos(rung * seconds), math.sin(rung * seconds)
    lean = damping * omega / rung
    return (
        decay * (cosine + lean * sine),
        decay * sine / rung,
        -decay * omega * omega / rung * sine,
        decay * (cosine - lean * sine),
    )
