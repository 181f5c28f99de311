"""The probe's lag: configured, prior, and what doors and half cycles say of it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from logger.oven.air import Sample, Trace
from logger.oven.dipfit import AFTER_S, BEFORE_S, LAGS_S, lag_evidence, spread_of
from logger.oven.lag import USUAL_S, ProbeLag


def _door(lag_s: float, open_s: float = 25.0, back_s: float = 10.0) -> list[Sample]:
    """A probe's reading of air that drops to 120 of 175 °C within seconds and comes back."""
    samples, air, probe = [], 175.0, 175.0
    for i in range(round((BEFORE_S + open_s + AFTER_S) * 10)):
        t = i / 10 - BEFORE_S
        to_c, own_s = (120.0, 4.0) if 0 < t <= open_s else (175.0, back_s)
        air += 0.1 * (to_c - air) / own_s
        probe += 0.1 * (air - probe) / lag_s
        if i % 20 == 0:
            samples.append(Sample(t, probe))
    return samples


@pytest.mark.parametrize("lag_s", [6.0, 15.0, 40.0])
def test_a_door_tells_of_the_lag(lag_s: float) -> None:
    samples = _door(lag_s)
    depth_c = 175.0 - min(s.celsius for s in samples)

    logs = lag_evidence(samples, 0.0, 25.0, depth_c, 0.2)

    assert logs is not None
    centre, spread = spread_of(logs)
    assert math.exp(centre) == pytest.approx(lag_s, rel=0.4)
    assert spread < 0.75  # weights that say nothing spread over 1.16


def test_a_door_with_few_readings_says_nothing() -> None:
    assert lag_evidence(_door(15.0)[::30], 0.0, 25.0, 30.0, 0.2) is None


def _halves(lag_s: float) -> Trace:
    """A reading that runs free between switchings 300 s apart, from an element of 80 s."""
    trace = Trace()
    element = air = probe = 0.0
    for t in range(3000):
        element += ((60.0 if (t // 300) % 2 else -60.0) - element) / 80.0
        air += (element - air) / 4.0
        probe += (air - probe) / lag_s
        trace.add(float(t), 175.0 + probe)
    return trace


def test_sharp_turns_say_that_the_probe_is_fast() -> None:
    estimates = []
    for lag_s in (3.0, 35.0):
        lag, trace = ProbeLag(), _halves(lag_s)
        for begin_s in range(900, 2700, 300):
            lag.half(trace, begin_s + lag_s, begin_s + 300 + lag_s)
        estimates.append(lag.seconds)

    fast, slow = estimates
    assert fast < 8.0 < slow


def test_a_configured_lag_stays() -> None:
    lag, trace = ProbeLag(configured_s=42.0), _halves(3.0)

    lag.half(trace, 900.0, 1200.0)
    lag.door(trace, 900.0, 930.0, 30.0)

    assert lag.seconds == 42.0


def test_without_evidence_the_lag_is_the_usual_one() -> None:
    assert ProbeLag().seconds == USUAL_S


def test_the_delay_is_the_lag_for_slow_cycles() -> None:
    assert ProbeLag(20.0).delay_s(1e6) == pytest.approx(20.0, rel=1e-3)
    assert ProbeLag(20.0).delay_s(60.0) < 20.0


def test_the_spread_of_even_weights_is_that_of_the_grid() -> None:
    centre, spread = spread_of(np.zeros(len(LAGS_S)))

    assert centre == pytest.approx(float(np.log(LAGS_S).mean()))
    assert spread == pytest.approx(float(np.log(LAGS_S).std()))
