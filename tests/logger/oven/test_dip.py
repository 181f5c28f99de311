"""When a dip is over: it came back, or its steep fall ended."""

from __future__ import annotations

from collections.abc import Callable

from logger.oven.air import Sample, Trace
from logger.oven.dip import STOPPED_WAIT_S, Opened


def _followed(air_c: Callable[[float], float], until_s: float) -> tuple[Opened, list[float], Trace]:
    """A dip that began at 200 s, and the times at which its fall was known to have ended."""
    trace = Trace()
    dip = Opened(200.0, air_c(200.0), False, (2.5, 1.4), Sample(200.0, air_c(200.0)), times=3.0)
    ended: list[float] = []
    for t_s in range(0, round(until_s), 2):
        trace.add(float(t_s), air_c(float(t_s)))
        if not trace.samples or trace.samples[-1].t_s <= 200.0:
            continue
        dip.lowest = min(dip.lowest, trace.samples[-1], key=lambda s: s.celsius)
        if dip.has_stopped(trace):
            ended.append(trace.samples[-1].t_s)
            break
    return dip, ended, trace


def _idle(t_s: float) -> float:
    """The air while the heat is off."""
    return 180.0 - 0.03 * t_s


def test_a_steep_fall_that_ends_in_the_ordinary_one_is_over_after_a_while() -> None:
    dip, ended, trace = _followed(
        lambda t: _idle(t) - 12.0 * min(1.0, max(0.0, (t - 200.0) / 20.0)), 500.0
    )

    assert len(ended) == 1
    assert 200.0 + STOPPED_WAIT_S < ended[0] < 290.0 + STOPPED_WAIT_S
    assert dip.lowest.t_s < 270.0
    assert dip.shut_s(trace, 10.0) < 250.0


def test_an_oven_that_only_goes_on_falling_is_no_dip_that_ended() -> None:
    _, ended, _ = _followed(lambda t: _idle(t) - 0.1 * max(0.0, t - 200.0), 600.0)

    assert ended == []


def test_a_small_fall_must_come_back() -> None:
    trace = Trace()
    dip = Opened(200.0, 174.0, False, (2.5, 1.4), Sample(220.0, 171.0), times=1.2)
    for t_s in range(0, 500, 2):
        trace.add(float(t_s), _idle(t_s) - (3.0 if t_s > 210 else 0.0))

    assert not dip.has_stopped(trace)


def test_what_came_back_by_a_quarter_is_over() -> None:
    dip, _, trace = _followed(lambda t: 174.0 - (12.0 if 200 < t < 230 else 0.0), 240.0)

    assert dip.has_returned(trace)
    assert not dip.is_slow(trace)
