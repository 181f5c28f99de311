"""From a true temperature to what a probe writes: lag, offset, noise, steps, glitches, gaps."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from matter import Array
from scipy.signal import lfilter


@dataclass(frozen=True)
class Probe:
    """One channel's faults.

    Attributes:
        rate_s: seconds between readings.
        lag_s: time constant of the probe in its medium.
        noise_k, step_k, offset_k: standard deviation, quantisation, constant error.
        glitches_per_h: readings that are no temperature.
        gaps: (start, end) in session seconds where nothing comes.
        open_state: whether a gap of the core says `open circuit` instead of nothing.
    """

    rate_s: float
    lag_s: float
    noise_k: float
    step_k: float
    offset_k: float
    glitches_per_h: float
    gaps: list[tuple[float, float]] = field(default_factory=list)
    open_state: bool = False


def lagged(true_c: Array, lag_s: float, dt: float = 1.0) -> Array:
    """First-order lag of a series sampled every `dt` s."""
    a = float(np.exp(-dt / max(lag_s, 1e-3)))
    out: Array = lfilter([1 - a], [1, -a], true_c, zi=[a * true_c[0]])[0]
    return out


def readings(rng: np.random.Generator, probe: Probe, seen_c: Array) -> tuple[Array, Array]:
    """Times and values written, from the probe's own (lagged) temperature each second."""
    end = len(seen_c) - 1
    times = np.arange(rng.uniform(0, probe.rate_s), end, probe.rate_s)
    times = times + rng.uniform(0, 0.02, len(times)) * probe.rate_s
    values = np.interp(times, np.arange(end + 1.0), seen_c) + probe.offset_k
    values = values + rng.normal(0, probe.noise_k, len(values))
    count = rng.poisson(probe.glitches_per_h * end / 3600.0)
    for index in rng.integers(0, len(values), count):
        kind = rng.integers(0, 4)
        length = int(rng.integers(1, 3))
        wrong = [0.0, 85.0, 327.0, float(values[index]) + float(rng.choice([-25, 25, 12]))][kind]
        values[index : index + length] = wrong
    values = np.round(values / probe.step_k) * probe.step_k
    keep = rng.random(len(times)) > 0.002
    for start, stop in probe.gaps:
        keep &= ~((times >= start) & (times < stop))
    return times[keep], values[keep]


def draw_probe(
    rng: np.random.Generator, role: str, rate_s: float, length_s: float, troubled: bool
) -> Probe:
    """A probe for `core`, `oven`, `room` or `refrigerator`."""
    lag = {"core": (3, 20), "oven": (3, 60), "room": (60, 240), "refrigerator": (60, 240)}[role]
    gaps: list[tuple[float, float]] = []
    if troubled:
        for _ in range(int(rng.integers(1, 4))):
            start = rng.uniform(0, length_s)
            gaps.append((start, start + float(np.exp(rng.uniform(np.log(20), np.log(600))))))
    return Probe(
        rate_s=rate_s,
        lag_s=float(np.exp(rng.uniform(np.log(lag[0]), np.log(lag[1])))),
        noise_k=float(np.exp(rng.uniform(np.log(0.05), np.log(0.5 if role == "oven" else 0.35)))),
        step_k=float(rng.choice([0.1, 0.1, 0.25, 0.5, 1.0] if role != "room" else [0.1, 0.1, 0.5])),
        offset_k=float(rng.normal(0, 0.2)) if role != "oven" else 0.0,
        glitches_per_h=float(rng.uniform(1, 6)) if rng.random() < 0.3 else 0.0,
        gaps=gaps,
        open_state=bool(rng.random() < 0.3),
    )
