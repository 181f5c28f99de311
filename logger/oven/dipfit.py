"""What one door tells of the probe's lag.

While the door is open the air falls towards some level within seconds; shut, it comes back towards
the walls within seconds, and the rest of the way slowly. The probe shows both through its own lag.
Fall and return have different time constants, the probe has one: that tells them apart. All
possibilities are laid on a coarse grid and simulated; what enters linearly (level, trend, depth,
the part that stays, the heater's answer) is fitted for each; the time constants of the air are
averaged over what is usual. First values throughout, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from logger.oven.air import Sample

LAGS_S = np.geomspace(2.0, 90.0, 20)
# How fast the air leaves through an open door, and comes back behind a shut one (a bare cavity in
# seconds, one full of racks and stones in a minute; the same air as in `logger.oven.lag`): usual,
# and spread of the logarithm.
FALLS_S, FALL_S, FALL_SPREAD = np.array([2.0, 5.0, 12.0, 25.0]), 6.0, 1.0
RETURNS_S, RETURN_S, RETURN_SPREAD = np.array([4.0, 10.0, 25.0, 60.0]), 20.0, 1.0
# Around the times at which the door seems to have opened and shut (seconds).
OPENED_S = np.array([-8.0, -4.0, 0.0, 4.0])
SHUT_S = np.array([-10.0, -5.0, 0.0, 5.0, 10.0])
BEFORE_S, AFTER_S = 40.0, 80.0
STEP_S = 1.0
FEWEST_SAMPLES = 8
# The model is no better than this share of the depth, and its errors last for some samples.
MISFIT = 0.03
LASTING_S = 6.0
# Spreads of what is fitted linearly: trend and heater in kelvins a second, what stays in depths.
TREND_C_PER_S, HEATER_C_PER_S, STAYS = 0.15, 0.15, 0.3


def lag_evidence(
    samples: Sequence[Sample], opened_s: float, shut_s: float, depth_c: float, sigma_c: float
) -> np.ndarray | None:
    """Log likelihood of each of `LAGS_S` (largest 0); None where the readings are too few.

    Args:
        samples: the readings from `BEFORE_S` before to `AFTER_S` after the door.
        opened_s, shut_s: when the door seems to have opened and shut.
        depth_c: how far the reading fell.
        sigma_c: scatter of one reading.
    """
    if len(samples) < FEWEST_SAMPLES or samples[-1].t_s < shut_s + 15.0:
        return None
    t = np.array([s.t_s for s in samples]) - opened_s
    y = np.array([s.celsius for s in samples])
    open_s = round(max(4.0, shut_s - opened_s))
    dip, stays, heater, prior = _responses(open_s)
    grid = np.arange(dip.shape[1]) * STEP_S - BEFORE_S
    low = np.clip(np.searchsorted(grid, t) - 1, 0, len(grid) - 2)
    part = (t - grid[low]) / STEP_S

    def at_samples(response: np.ndarray) -> np.ndarray:
        out: np.ndarray = response[:, low] * (1 - part) + response[:, low + 1] * part
        return out

    n = len(dip)
    columns = np.empty((n, len(t), 5))
    columns[:, :, 0] = 100.0
    columns[:, :, 1] = TREND_C_PER_S * t
    columns[:, :, 2] = 3.0 * depth_c * at_samples(dip)
    columns[:, :, 3] = STAYS * depth_c * at_samples(stays)
    columns[:, :, 4] = HEATER_C_PER_S * at_samples(heater)
    step_s = float(np.median(np.diff(t)))
    variance = (sigma_c**2 + (MISFIT * depth_c) ** 2) * max(1.0, LASTING_S / step_s)
    shown = y - y[0]
    transposed = columns.transpose(0, 2, 1)
    normal = transposed @ columns / variance + np.eye(5)
    right = transposed @ shown / variance
    solved = np.linalg.solve(normal, right[:, :, None])[:, :, 0]
    squares = float(shown @ shown) / variance - (right * solved).sum(axis=1)
    logs = prior - 0.5 * squares - 0.5 * np.linalg.slogdet(normal)[1]
    by_lag = logs.reshape(len(LAGS_S), -1)
    top = by_lag.max(axis=1, keepdims=True)
    evidence = top[:, 0] + np.log(np.exp(by_lag - top).sum(axis=1))
    out: np.ndarray = evidence - evidence.max()
    return out


@lru_cache(maxsize=16)
def _responses(open_s: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """What the probe shows of a unit dip, of a part that stays, of a ramp from the shutting on.

    Each (possibilities, times); the last is the log prior of the possibilities.
    """
    lag, fall, back, opened, shut = (
        a.ravel() for a in np.meshgrid(LAGS_S, FALLS_S, RETURNS_S, OPENED_S, SHUT_S, indexing="ij")
    )
    shut = np.maximum(open_s + shut, opened + 3.0)
    steps = round((BEFORE_S + open_s + max(SHUT_S) + AFTER_S + 10.0) / STEP_S)
    shown = np.zeros((3, len(lag), steps))
    air = np.zeros((2, len(lag)))
    probe = np.zeros((3, len(lag)))
    keep = np.exp(-STEP_S / lag)
    falls, backs = 1 - np.exp(-STEP_S / fall), np.exp(-STEP_S / back)
    for i in range(1, steps):
        now = i * STEP_S - BEFORE_S
        is_open = (now > opened) & (now <= shut)
        is_shut = now > shut
        air[0] = np.where(is_open, air[0] + (-1 - air[0]) * falls, air[0] * backs)
        air[1] = np.where(is_open, air[1] + (-1 - air[1]) * falls, air[1])
        ramp = np.where(is_shut, now - shut, 0.0)
        probe[:2] = air + (probe[:2] - air) * keep
        probe[2] = ramp + (probe[2] - ramp) * keep
        shown[:, :, i] = probe
    prior = -0.5 * (np.log(fall / FALL_S) / FALL_SPREAD) ** 2
    prior -= 0.5 * (np.log(back / RETURN_S) / RETURN_SPREAD) ** 2
    return shown[0], shown[1], shown[2], prior


def spread_of(logs: np.ndarray) -> tuple[float, float]:
    """Mean of the logarithm of the lag, and its spread, under these log weights."""
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    x = np.log(LAGS_S)
    centre = float(weights @ x)
    return centre, math.sqrt(float(weights @ (x - centre) ** 2))
