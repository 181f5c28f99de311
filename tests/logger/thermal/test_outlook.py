"""Which time is told of many possible ones."""

from __future__ import annotations

import numpy as np
import pytest

from logger.thermal.forecast import outlook

SETTLES = np.full(100, 25.0)


def test_the_time_told_is_the_middle_of_those_that_arrive() -> None:
    crossing = np.concatenate([np.linspace(3000.0, 4000.0, 75), np.full(25, np.inf)])

    told = outlook(crossing, SETTLES)

    assert told.median_s == pytest.approx(3500.0)
    assert told.high_s is None


def test_no_time_is_told_where_hardly_two_of_three_arrive() -> None:
    crossing = np.concatenate([np.linspace(3000.0, 4000.0, 65), np.full(35, np.inf)])

    assert outlook(crossing, SETTLES).median_s is None


def test_of_two_explanations_the_time_told_errs_least_as_a_share_of_the_time_left() -> None:
    now_s = 1000.0
    soon, late = np.linspace(1700.0, 1900.0, 45), np.linspace(2700.0, 2900.0, 55)
    crossing = np.concatenate([soon, late])

    def error(said_s: float) -> float:
        return float(np.mean(np.abs(said_s - crossing) / (crossing - now_s)))

    plain, shares = outlook(crossing, SETTLES), outlook(crossing, SETTLES, now_s)

    assert plain.median_s is not None
    assert shares.median_s is not None
    assert plain.median_s > 2700.0
    assert error(shares.median_s) < error(plain.median_s)
    assert error(shares.median_s) <= min(error(t) for t in np.linspace(1700, 2900, 200)) + 0.005
    assert (shares.low_s, shares.high_s) == (plain.low_s, plain.high_s)
