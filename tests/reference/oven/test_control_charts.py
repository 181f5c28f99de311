"""EWMA and CUSUM against worked examples of NIST/SEMATECH.

NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4 (EWMA control charts) and section
6.3.2.3 (CUSUM control charts). Status: secondary source; the numbers were read in documents that
reproduce the examples, not in the handbook itself.
"""

from __future__ import annotations

import pytest

from logger.oven import cusum, cusum_run_length, ewma, ewma_half_width

# e-Handbook 6.3.2.4: EWMA of the past 50, s = 2.0539, weight 0.3.
EWMA_VALUES = [
    *(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5),
    *(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1),
]
EWMA_PRINTED = [
    *(50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33),
    *(50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99),
]

# e-Handbook 6.3.2.3: target 325, k = 0.3175, h = 4.1959. The section's own formula does not give
# this h from its alpha and beta (so the secondary source), hence h and k are taken as they stand.
CUSUM_VALUES = [
    *(324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600),
    *(324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350),
]
CUSUM_HIGH_PRINTED = [
    *(0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0),
    *(0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04),
]
CUSUM_LOW_PRINTED = [
    *(0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25),
    *(0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0),
]


def test_ewma_gives_the_printed_averages() -> None:
    assert ewma(EWMA_VALUES, 50.0, 0.3) == pytest.approx(EWMA_PRINTED, abs=0.0051)


def test_ewma_limits_are_the_printed_ones() -> None:
    half = ewma_half_width(2.0539, 0.3, 3.0)

    # 52.5884 and 47.4115 are printed; the second is one unit in the last place off the first's
    # mirror image, as the example rounds the square root to 0.4201.
    assert 50 + half == pytest.approx(52.5884, abs=2e-4)
    assert 50 - half == pytest.approx(47.4115, abs=2e-4)
    assert all(abs(z - 50) < half for z in ewma(EWMA_VALUES, 50.0, 0.3))


def test_cusum_gives_the_printed_sums() -> None:
    high, low = cusum(CUSUM_VALUES, 325.0, 0.3175)

    # Two printed values stand on a tie of rounding.
    assert high == pytest.approx(CUSUM_HIGH_PRINTED, abs=0.0051)
    assert low == pytest.approx(CUSUM_LOW_PRINTED, abs=0.0051)


def test_cusum_signals_first_at_group_fourteen() -> None:
    high, low = cusum(CUSUM_VALUES, 325.0, 0.3175)

    signals = [i for i, (a, b) in enumerate(zip(high, low, strict=True), 1) if max(a, b) > 4.1959]
    assert signals[0] == 14


def test_ewma_half_width_grows_to_its_limit() -> None:
    # The factor for the first values is the same section's exact variance formula.
    first = ewma_half_width(1.0, 0.3, 3.0, 1)

    assert first == pytest.approx(3 * 0.3)
    assert ewma_half_width(1.0, 0.3, 3.0, 100) == pytest.approx(ewma_half_width(1.0, 0.3, 3.0))


# Average run lengths of the two-sided tabular CUSUM with slack 0.5 (Montgomery, Introduction to
# Statistical Quality Control, table of limits 4 and 5 by shift). Status: from memory.
@pytest.mark.parametrize(
    ("limit", "shift", "printed"),
    [(4.0, 0.0, 168.0), (5.0, 0.0, 465.0), (4.0, 1.0, 8.38), (5.0, 1.0, 10.4), (5.0, 2.0, 4.01)],
)
def test_run_lengths_are_near_the_printed_ones(limit: float, shift: float, printed: float) -> None:
    # The approximation is least good for the shortest runs.
    assert cusum_run_length(0.5, limit, shift) == pytest.approx(printed, rel=0.04)


def test_a_run_length_with_a_shift_of_the_slack_is_the_middle_of_its_neighbours() -> None:
    low, exact, high = (cusum_run_length(1.0, 4.0, s) for s in (0.999, 1.0, 1.001))

    assert low > exact > high
    assert exact == pytest.approx((low + high) / 2, rel=1e-3)
