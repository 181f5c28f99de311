"""The nonlinear least squares behind the naive exponentials that forecasts are compared with.

NIST Statistical Reference Datasets, nonlinear regression: Misra1a (lower difficulty) and BoxBOD
(higher difficulty), both b1 (1 − exp(−b2 x)); certified values, standard deviations and residual
sums of squares of the files Misra1a.dat and BoxBOD.dat, from both of their starting values. Bounds
keep the far start of BoxBOD from running off. The forecaster itself fits no exponential.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import curve_fit

MISRA1A = (
    [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0],
    [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78],
    (2.3894212918e02, 5.5015643181e-04),
    (2.7070075241e00, 7.2668688436e-06),
    1.2455138894e-01,
)  # fmt: skip
BOXBOD = (
    [1.0, 2.0, 3.0, 5.0, 7.0, 10.0],
    [109.0, 149.0, 149.0, 191.0, 213.0, 224.0],
    (2.1380940889e02, 5.4723748542e-01),
    (1.2354515176e01, 1.0455993237e-01),
    1.1680088766e03,
)


@pytest.mark.parametrize(
    ("certified", "start"),
    [
        (MISRA1A, (500.0, 0.0001)),
        (MISRA1A, (250.0, 0.0005)),
        (BOXBOD, (1.0, 1.0)),
        (BOXBOD, (100.0, 0.75)),
    ],
)
def test_exponentials_are_fitted_to_the_certified_values(
    certified: tuple[list[float], list[float], tuple[float, float], tuple[float, float], float],
    start: tuple[float, float],
) -> None:
    x, y, values, deviations, residual = (np.array(part) for part in certified)

    found, covariance = curve_fit(
        lambda t, b1, b2: b1 * (1 - np.exp(-b2 * t)),
        x,
        y,
        p0=start,
        bounds=(0.0, 1000.0),
        ftol=1e-13,
        xtol=1e-13,
        gtol=1e-13,
    )

    assert found == pytest.approx(values, rel=1e-6)
    assert np.sqrt(np.diag(covariance)) == pytest.approx(deviations, rel=1e-4)
    assert np.sum((y - found[0] * (1 - np.exp(-found[1] * x))) ** 2) == pytest.approx(
        float(residual), rel=1e-6
    )
