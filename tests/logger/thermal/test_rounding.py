"""A rounded reading is an interval, not a value with noise."""

from __future__ import annotations

import math

import numpy as np
import pytest

from logger.thermal.rounding import rounded


@pytest.mark.parametrize(
    ("innovation", "step", "sd"), [(0.3, 1.0, 0.5), (-0.9, 1.0, 0.4), (0.0, 0.5, 2.0)]
)
def test_moments_are_those_of_a_normal_law_cut_off_on_both_sides(
    innovation: float, step: float, sd: float
) -> None:
    x = np.linspace(innovation - step / 2, innovation + step / 2, 20_001)
    weight = np.exp(-0.5 * (x / sd) ** 2)
    mean = float(np.average(x, weights=weight))
    variance = float(np.average((x - mean) ** 2, weights=weight))

    _, shift, left = rounded(innovation, step, sd)

    assert shift == pytest.approx(mean, abs=1e-4)
    assert left == pytest.approx(variance / sd**2, abs=1e-3)


def test_a_prediction_known_better_than_the_step_learns_nothing_within_it() -> None:
    _, shift, left = rounded(0.1, 1.0, 0.05)

    assert abs(shift) < 1e-6
    assert left > 0.99


def test_a_fine_step_is_an_ordinary_reading() -> None:
    likelihood, shift, left = rounded(0.4, 0.01, 0.5)

    assert (shift, left) == (0.4, 0.0)
    assert likelihood == pytest.approx(-0.5 * 0.8**2 - math.log(0.5))


def test_likelihoods_of_fine_and_coarse_steps_agree_where_they_meet() -> None:
    fine, _, _ = rounded(0.4, 0.0999, 0.5)
    coarse, _, _ = rounded(0.4, 0.1001, 0.5)

    assert fine == pytest.approx(coarse, abs=0.01)
