"""The air probe's lag, taken as of first order: configured, or learnt as the session goes.

A cycle of period P is shown smaller by sqrt(1 + (2 pi lag / P)^2) and later; its mean is right. Two
things tell of the lag, neither surely, so both are weights over a grid of lags and add up with what
is usual:

- *half cycles*: between two switchings the oven runs free, so that the reading is a slow bend and
  two decays, of the element and of the probe with the air's own lag, which may be a few seconds or
  most of a minute. Which of the two is which, only what is usual can say; a sharp turn bounds both.
- *doors*: see `logger.oven.dipfit`; a door does not move the element. The doors of one oven err
  alike, with its air: together they say no more than one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from logger.oven.air import Sample, Trace
from logger.oven.dipfit import AFTER_S, BEFORE_S, LAGS_S, lag_evidence, spread_of

# Probes from a bare thermocouple (3 s) to a thick sheath in still air (60 s) are met: even between
# these on a logarithmic scale. Elements reach from bare wires (15 s) to cast ones (minutes), air
# from a bare cavity to one full of racks and stones. Common practice, no source; spreads are of the
# logarithm.
USUAL_S, USUAL_SPREAD = 13.4, 0.865
ELEMENT_S, ELEMENT_SPREAD = 70.0, 0.6
AIR_S, AIR_SPREAD = 20.0, 1.0
# Racks, stones and walls bend a half cycle, too: what it says counts for this share.
HALVES_SHARE = 0.6
# The decays are no purer, and a door's answer no surer, than this.
DECAY_SPREAD, DOOR_SPREAD = 0.2, 0.5
DECAYS_S = np.geomspace(3.0, 160.0, 18)
PAIRS = tuple(combinations(range(len(DECAYS_S)), 2))
# The model of a half cycle is no better than this share of its height, and neighbouring errors are
# alike: a half cycle counts as this share of its readings.
MISFIT, COUNTS = 0.004, 0.3
# The heat is on again before the air turns: so much of a half cycle is left out.
LEFT_OUT = 0.3
FEWEST_SAMPLES, MOST_SAMPLES, MOST_HALVES = 10, 120, 16
RETURN_S = AFTER_S + 1.0


def _log_normal(x: np.ndarray, middle: float, spread: float) -> np.ndarray:
    out: np.ndarray = -0.5 * (np.log(x / middle) / spread) ** 2
    return out


@dataclass(slots=True)
class ProbeLag:
    """The present estimate, in seconds; `configured` ones stay."""

    configured_s: float | None = None
    seconds: float = USUAL_S
    _pairs: np.ndarray = field(default_factory=lambda: np.zeros(len(PAIRS)))
    _halves: int = 0
    _count: int = 0
    _doors: np.ndarray = field(default_factory=lambda: np.zeros(len(LAGS_S)))

    def __post_init__(self) -> None:
        if self.configured_s is not None:
            self.seconds = self.configured_s

    def door(self, trace: Trace, start_s: float, end_s: float, depth_c: float) -> None:
        """Learn from a door, once the readings reach `RETURN_S` behind it."""
        if self.configured_s is not None:
            return
        samples = trace.between(start_s - BEFORE_S, end_s + AFTER_S)
        logs = lag_evidence(samples, start_s, end_s, depth_c, trace.noise.sigma_c)
        if logs is None:
            return
        centre, spread = spread_of(logs)
        self._doors += _log_normal(LAGS_S, math.exp(centre), max(spread, DOOR_SPREAD))
        self._count += 1
        self._conclude()

    def half(self, trace: Trace, first_s: float, second_s: float) -> None:
        """Learn from the half cycle between two turns without a door."""
        if self.configured_s is not None or self._halves >= MOST_HALVES:
            return
        end_s = second_s - LEFT_OUT * (second_s - first_s)
        samples = trace.between(first_s, end_s)
        if len(samples) < FEWEST_SAMPLES or trace.missing_s(first_s, end_s) > 0:
            return
        step = 1 + (len(samples) - 1) // MOST_SAMPLES
        self._pairs += COUNTS * _decays(samples[::step], trace.noise.sigma_c)
        self._halves += 1
        self._conclude()

    def _conclude(self) -> None:
        doors = self._doors / max(1, self._count)
        logs = _log_normal(LAGS_S, USUAL_S, USUAL_SPREAD) + doors
        if self._halves:
            weights = np.exp(self._pairs - self._pairs.max())
            logs = logs + HALVES_SHARE * np.log(weights @ PAIR_LAGS + 1e-12)
        self.seconds = math.exp(spread_of(logs)[0])

    def delay_s(self, period_s: float) -> float:
        """By how much the probe shows a cycle of this period too late.

        >>> round(ProbeLag(30.0).delay_s(300.0), 1)
        26.8
        """
        omega = 2 * math.pi / period_s
        return math.atan(omega * self.seconds) / omega


def _decays(samples: Sequence[Sample], sigma_c: float) -> np.ndarray:
    """Log likelihood of each pair of decays beside a slow bend."""
    t = np.array([s.t_s for s in samples])
    t -= t[0]
    shown = np.array([s.celsius for s in samples])
    shown = shown - shown[-1]
    height_c = float(np.ptp(shown))
    variance = sigma_c**2 + (MISFIT * height_c) ** 2 + 1e-6
    slow = t / 100.0
    bend = np.stack([100.0 * np.ones_like(t), 50.0 * slow, 50.0 * slow**2], axis=1)
    decays = 100.0 * np.exp(-t[:, None] / DECAYS_S)
    columns = np.concatenate([bend, decays], axis=1)
    every = columns.T @ columns / variance
    right = columns.T @ shown / variance
    chosen = np.array([(0, 1, 2, 3 + i, 3 + j) for i, j in PAIRS])
    normal = every[chosen[:, :, None], chosen[:, None, :]] + np.eye(5)
    part = right[chosen]
    solved = np.linalg.solve(normal, part[:, :, None])[:, :, 0]
    fits: np.ndarray = (part * solved).sum(axis=1) / 2 - np.linalg.slogdet(normal)[1] / 2
    return fits


def _pair_lags() -> np.ndarray:
    """Weight of each of `LAGS_S` under each pair: the probe is the faster decay, or the slower."""
    steps = np.linspace(-2.0, 2.0, 17)
    air_s = AIR_S * np.exp(AIR_SPREAD * steps)
    usual = np.exp(-0.5 * steps**2)
    together = LAGS_S[:, None] + air_s

    def weight(decay_s: float) -> np.ndarray:
        out: np.ndarray = np.exp(_log_normal(together, decay_s, DECAY_SPREAD)) @ usual
        return out

    out = np.empty((len(PAIRS), len(LAGS_S)))
    for k, (i, j) in enumerate(PAIRS):
        fast, slow = DECAYS_S[i], DECAYS_S[j]
        of_slow, of_fast = np.exp(_log_normal(np.array([slow, fast]), ELEMENT_S, ELEMENT_SPREAD))
        out[k] = weight(fast) * of_slow + weight(slow) * of_fast
    return out


PAIR_LAGS = _pair_lags()
