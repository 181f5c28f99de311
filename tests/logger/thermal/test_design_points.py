"""Fixed points in place of drawn ones."""

import numpy as np
import pytest
from scipy.stats import norm

from logger.thermal.design_points import Disturbances, normal_design, normal_quantile


def test_the_normal_quantile_agrees_with_scipy() -> None:
    u = np.linspace(1e-6, 1 - 1e-6, 2001)

    assert np.abs(normal_quantile(u) - norm.ppf(u)).max() < 1e-7


def test_the_design_is_white() -> None:
    z = normal_design(360, 14)

    assert z.shape == (14, 360)
    assert np.abs(z @ z.T / 360 - np.eye(14)).max() < 1e-9
    assert np.abs(z.mean(axis=1)).max() < 1e-9


def test_disturbances_are_always_the_same_and_never_alike() -> None:
    one, two = Disturbances(360), Disturbances(360)
    rows = np.array([one.next() for _ in range(50)])

    assert np.array_equal(rows, np.array([two.next() for _ in range(50)]))
    assert np.abs(np.corrcoef(rows) - np.eye(50)).max() < 0.25
    assert rows.std(axis=1) == pytest.approx(1.0)
