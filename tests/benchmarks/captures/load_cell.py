"""Physics of a kitchen scale: a load cell on springs, its filter, its habits, its display.

Everything here is in grams and seconds. The load comes in at 100 Hz; what comes out is what the
scale would show at each instant that it sends a frame. Figures are common practice of kitchen
and bench scales, from memory, with no source; nothing is taken from the code that is judged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

DT_S = 0.01
OUNCE_G = 28.349523125

Floats = NDArray[np.float64]
Key = tuple[float, str, float]
"""At what time, which key or happening, with which number (0 where it needs none).

``tare``, ``zero``, ``unit`` (g and oz take turns), ``off`` (no frames), ``on`` (with 1 the scale
has kept its tare, with 0 it starts at zero with whatever stands on it), ``shift`` (the zero moves).
"""


@dataclass
class Character:
    """What kind of scale this is."""

    division_g: float
    capacity_g: float
    rate_hz: float
    jitter: float
    filter: Literal["average", "low-pass", "adaptive"]
    filter_s: float
    noise_d: float
    resonance_hz: float
    damping: float
    creep: float
    drift_d_per_min: float
    hysteresis: bool
    tracking: bool
    fine_tare: bool
    flag: Literal["none", "fair", "late", "hasty", "stuck"]
    off_at_start_g: float = 0.0


@dataclass
class Shown:
    """What the scale shows at one instant; ``value`` in ``unit``, None where there is no value."""

    t: float
    value: float | None
    unit: str
    decimals: int
    stable: bool
    net: bool
    over: bool
    centre: bool


OUNCE_DIVISION = {0.1: 0.005, 0.5: 0.02, 1.0: 0.05, 2.0: 0.1, 5.0: 0.2}
DECIMALS = {0.1: 1, 0.5: 1, 1.0: 0, 2.0: 0, 5.0: 0}
OUNCE_DECIMALS = {0.1: 3, 0.5: 2, 1.0: 2, 2.0: 1, 5.0: 1}


def draw_character(rng: np.random.Generator) -> Character:
    """A scale as one finds it on a bench."""
    division = float(rng.choice([0.1, 0.5, 1.0, 2.0, 5.0], p=[0.2, 0.12, 0.46, 0.14, 0.08]))
    rate = float(
        rng.choice(
            [5.0, 8.0, 10.0, 12.5, 20.0, 3.0, 2.5], p=[0.12, 0.1, 0.46, 0.1, 0.12, 0.05, 0.05]
        )
    )
    return Character(
        division_g=division,
        capacity_g={0.1: 2000.0, 0.5: 3000.0, 1.0: 5000.0, 2.0: 10000.0, 5.0: 15000.0}[division],
        rate_hz=rate,
        jitter=float(rng.choice([0.02, 0.1, 0.3])),
        filter=["average", "low-pass", "adaptive"][int(rng.integers(3))],  # type: ignore[arg-type]
        filter_s=float(np.exp(rng.uniform(np.log(0.1), np.log(1.2)))),
        noise_d=float(rng.uniform(0.05, 0.3)),
        resonance_hz=float(rng.uniform(6, 20)),
        damping=float(rng.uniform(0.08, 0.3)),
        creep=float(rng.uniform(-0.2, 1.0)),
        drift_d_per_min=float(rng.normal(0, 0.06)),
        hysteresis=bool(rng.random() < 0.4),
        tracking=bool(rng.random() < 0.5),
        fine_tare=bool(rng.random() < 0.6),
        flag=["none", "fair", "late", "hasty", "stuck"][
            int(rng.choice(5, p=[0.15, 0.45, 0.2, 0.12, 0.08]))
        ],  # type: ignore[arg-type]
    )


def _filtered(force: Floats, scale: Character) -> Floats:
    """What the load cell and the digital filter make of the force."""
    omega = 2 * np.pi * scale.resonance_hz
    pole = np.exp(DT_S * omega * complex(-scale.damping, np.sqrt(1 - scale.damping**2)))
    a = [1.0, -2 * pole.real, abs(pole) ** 2]
    start = force[0]
    swung: Floats = lfilter([sum(a)], a, force - start) + start
    if scale.filter == "average":
        n = max(1, round(scale.filter_s / DT_S))
        padded = np.concatenate([np.full(n - 1, swung[0]), swung])
        summed = np.concatenate([[0.0], np.cumsum(padded)])
        averaged: Floats = (summed[n:] - summed[:-n]) / n
        return averaged
    if scale.filter == "low-pass":
        k = 1 - np.exp(-DT_S / (scale.filter_s / 4))
        for _ in range(2):
            swung = lfilter([k], [1.0, k - 1], swung - start) + start
        return swung
    # Adaptive: quick while the load runs away from it, slow near rest.
    out = np.empty_like(swung)
    now = float(swung[0])
    slow, quick = 1 - np.exp(-DT_S / (scale.filter_s / 3)), 1 - np.exp(-DT_S / 0.04)
    limit = 6 * scale.division_g
    for i, x in enumerate(swung.tolist()):
        now += (quick if abs(x - now) > limit else slow) * (x - now)
        out[i] = now
    return out


def _seen(mass: Floats, force: Floats, scale: Character, rng: np.random.Generator) -> Floats:
    """Filtered weight with creep, drift and noise."""
    k = 1 - np.exp(-DT_S / 70.0)
    relative = scale.creep * scale.division_g / scale.capacity_g
    creep = relative * lfilter([k], [1.0, k - 1], mass)
    minutes = np.arange(len(mass)) * DT_S / 60
    drift = scale.drift_d_per_min * scale.division_g * minutes
    white = rng.normal(0, 1, len(mass))
    n = max(1, round(scale.filter_s / DT_S))
    noise = np.convolve(white, np.ones(n) / np.sqrt(n), "same") * scale.noise_d * scale.division_g
    seen: Floats = _filtered(mass + force, scale) + creep + drift + noise
    return seen


@dataclass
class Electronics:
    """Zero, tare, unit, flag and display, stepped at each instant that something is shown."""

    scale: Character
    zero: float = 0.0
    tare: float | None = None
    ounces: bool = False
    shown: float = 0.0
    quiet_since: float = 0.0
    past: list[float] = field(default_factory=list)

    def press(self, key: str, number: float, raw: float, t: float) -> None:
        """A key, or something that happens to the scale, while ``raw`` grams are seen."""
        d = self.scale.division_g
        if key == "tare":
            gross = raw - self.zero
            self.tare = gross if self.scale.fine_tare else round(gross / d) * d
        elif key == "zero":
            self.zero, self.tare = raw, None
        elif key == "unit":
            self.ounces = not self.ounces
        elif key == "shift":
            self.zero += number
        elif key == "on":
            self.past.clear()
            self.ounces = False
            if not number:
                self.zero, self.tare = raw, None
        self.quiet_since = t

    def show(self, t: float, raw: float, period: float) -> Shown:
        """What stands on the display."""
        scale = self.scale
        gross = raw - self.zero
        net = gross - (self.tare or 0.0)
        self._track(net, period)
        division = OUNCE_DIVISION[scale.division_g] if self.ounces else scale.division_g
        exact = net / OUNCE_G if self.ounces else net
        steps = exact / division
        if not scale.hysteresis or abs(steps - self.shown / division) > 0.7:
            self.shown = round(steps) * division
        decimals = (OUNCE_DECIMALS if self.ounces else DECIMALS)[scale.division_g]
        return Shown(
            t=t,
            value=None if gross > scale.capacity_g + 9 * scale.division_g else self.shown + 0.0,
            unit="oz" if self.ounces else "g",
            decimals=decimals,
            stable=self._flag(t, net, period),
            net=self.tare is not None,
            over=gross > scale.capacity_g + 9 * scale.division_g,
            centre=abs(net) < scale.division_g / 4,
        )

    def _track(self, net: float, period: float) -> None:
        d = self.scale.division_g
        self.past.append(net)
        del self.past[:-12]
        settled = len(self.past) >= 6 and max(self.past[-6:]) - min(self.past[-6:]) < d / 2
        if self.scale.tracking and settled and abs(net) < 0.5 * d:
            self.zero += float(np.clip(net, -0.3 * d * period, 0.3 * d * period))

    def _flag(self, t: float, net: float, period: float) -> bool:
        d, rule = self.scale.division_g, self.scale.flag
        if rule in ("none", "stuck"):
            return rule == "stuck"
        span_s = {"fair": 0.6, "late": 1.0, "hasty": 0.15}[rule]
        band = {"fair": 1.0, "late": 0.8, "hasty": 2.5}[rule]
        last = self.past[-max(2, min(12, round(span_s / period))) :]
        if max(last) - min(last) > band * d:
            self.quiet_since = t
        wait = 1.0 if rule == "late" else 0.0
        return t - self.quiet_since >= wait


def frames(
    mass: Floats, force: Floats, keys: Sequence[Key], scale: Character, rng: np.random.Generator
) -> list[Shown]:
    """What the scale sends over a recording, one entry a frame.

    Args:
        mass: what stands on the pan, at 100 Hz.
        force: other forces on it, in grams.
        keys: what is pressed and what happens, in any order.
    """
    raw = _seen(mass, force, scale, rng)
    end_s = (len(mass) - 1) * DT_S
    waiting = sorted(keys)
    box = Electronics(scale, zero=scale.off_at_start_g)
    out: list[Shown] = []
    awake = True
    period = 1 / scale.rate_hz
    due = float(rng.uniform(0, period))
    t = due
    while t < end_s:
        here = float(raw[int(t / DT_S)])
        while waiting and waiting[0][0] <= t:
            _, key, number = waiting.pop(0)
            awake = key != "off" and (awake or key == "on")
            box.press(key, number, here, t)
        if awake:
            out.append(box.show(t, here, period))
        due += period
        t = due + float(rng.uniform(-0.5, 0.5)) * scale.jitter * period
    return out
