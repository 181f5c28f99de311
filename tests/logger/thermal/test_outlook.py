"""Which time is told of many possible ones."""

from __future__ import annotations

import numpy as np
import pytest

from logger.plan import Milestone
from logger.thermal.forecast import outlook, telling_weights
from logger.thermal.teller import cooling_forecast

SETTLES = np.full(100, 25.0)


def test_the_time_told_is_the_middle_of_those_that_arrive() -> None:
    crossing = np.concatenate([np.linspace(3000.0, 4000.0, 75), np.full(25, np.inf)])

    told = outlook(crossing, SETTLES)

    assert told.told_s == pytest.approx(3500.0)
    assert told.high_s is None


def test_no_time_is_told_where_hardly_two_of_three_arrive() -> None:
    crossing = np.concatenate([np.linspace(3000.0, 4000.0, 65), np.full(35, np.inf)])

    assert outlook(crossing, SETTLES).told_s is None


def test_a_cooling_is_promised_where_three_of_four_arrive() -> None:
    """A false promise of a cake that creeps to the room is waited for in vain for hours."""

    def told_of(arrive: int) -> float | None:
        crossing = np.concatenate(
            [np.linspace(3000.0, 4000.0, arrive), np.full(100 - arrive, np.inf)]
        )
        goal = Milestone("frost", core_c=24.0)
        in_cold = np.zeros(100, dtype=np.bool_)
        return cooling_forecast(goal, crossing, SETTLES, in_cold, 0.0, 0.0).expected_at

    assert told_of(72) is None
    assert told_of(78) is not None


def test_of_two_explanations_the_time_told_errs_least_as_a_share_of_the_time_left() -> None:
    now_s = 1000.0
    soon, late = np.linspace(1700.0, 1900.0, 45), np.linspace(2700.0, 2900.0, 55)
    crossing = np.concatenate([soon, late])

    def error(said_s: float) -> float:
        return float(np.mean(np.abs(said_s - crossing) / (crossing - now_s)))

    in_cold = np.arange(100) < 45
    plain = outlook(crossing, SETTLES)
    shares = outlook(crossing, SETTLES, telling_weights(crossing, in_cold, now_s))

    assert plain.told_s is not None
    assert shares.told_s is not None
    assert plain.told_s > 2700.0
    assert error(shares.told_s) < error(plain.told_s)
    assert error(shares.told_s) <= min(error(t) for t in np.linspace(1700, 2900, 200)) + 0.01
    assert (shares.low_s, shares.high_s) == (plain.low_s, plain.high_s)


def test_within_one_explanation_errors_count_by_the_root_of_the_time_left() -> None:
    now_s = 600.0
    crossing = now_s + np.linspace(300.0, 9000.0, 201)
    alone = np.zeros(201, dtype=np.bool_)

    told = outlook(crossing, np.full(201, 25.0), telling_weights(crossing, alone, now_s)).told_s

    def error(said_s: float) -> float:
        return float(np.mean(np.abs(said_s - crossing) / np.sqrt(crossing - now_s)))

    assert told is not None
    assert error(told) <= min(error(t) for t in np.linspace(900.0, 9600.0, 400)) * 1.001


def test_alike_members_are_told_by_their_median() -> None:
    crossing = np.linspace(3000.0, 3100.0, 101)
    weights = telling_weights(crossing, np.zeros(101, dtype=np.bool_), 0.0)

    told = outlook(crossing, np.full(101, 25.0), weights).told_s

    assert told == pytest.approx(3050.0, abs=1.0)


def test_what_is_told_lies_within_its_interval() -> None:
    crossing = np.concatenate([np.full(4, 10.0), np.full(96, 15_000.0)])

    told = outlook(crossing, SETTLES, telling_weights(crossing, crossing < 100.0, 0.0))

    assert told.low_s is not None
    assert told.told_s is not None
    assert told.low_s <= told.told_s
