"""JCGM 106:2012, conformance probabilities of its examples.

Status: the inputs of the three examples are from memory (the pages were not readable); the
arithmetic is computed from the formulas and agrees with the two digits remembered as printed.
"""

from __future__ import annotations

import pytest

from logger.weighing import conformance, judge


def test_upper_limit_as_in_the_breakdown_voltage_example() -> None:
    """Inputs from memory: y = −5.47 V, u = 0.05 V, upper limit −5.40 V: Φ(1.40)."""
    _, inside, above = conformance(-5.47, 0.05, None, -5.40)

    assert inside == pytest.approx(0.9192, abs=5e-5)
    assert above == pytest.approx(1 - 0.9192, abs=5e-5)


def test_lower_limit_as_in_the_container_strength_example() -> None:
    """Inputs from memory: y = 509.7 kPa, u = 8.6 kPa, lower limit 490 kPa: Φ(2.29)."""
    _, inside, _ = conformance(509.7, 8.6, 490.0, None)

    assert inside == pytest.approx(0.9890, abs=1e-4)


def test_two_limits_as_in_the_viscosity_example() -> None:
    """Inputs from memory: y = 13.6, u = 1.8, limits 12.5 and 16.3 mm²/s."""
    _, inside, _ = conformance(13.6, 1.8, 12.5, 16.3)

    assert inside == pytest.approx(0.6626, abs=5e-5)


@pytest.mark.parametrize(
    ("guard_u", "risk"), [(0.0, 0.5), (1.645, 0.05), (1.96, 0.025), (2, 0.0228)]
)
def test_risk_at_a_guarded_limit(guard_u: float, risk: float) -> None:
    """Guard bands (8.3): risk of a wrong acceptance at the limit A = T − w. Computed."""
    _, _, above = conformance(100.0 - guard_u, 1.0, None, 100.0)

    assert above == pytest.approx(risk, abs=5e-5)


def test_probabilities_sum_to_one_and_sharpen_to_a_decision() -> None:
    for u in (3.0, 0.3, 0.03):
        assert sum(conformance(1.1, u, 0.9, 1.2)) == pytest.approx(1.0)
    assert conformance(1.1, 0.0, 0.9, 1.2) == (0.0, 1.0, 0.0)
    assert conformance(1.3, 0.0, 0.9, 1.2) == (0.0, 0.0, 1.0)


def test_the_guard_band_is_the_expanded_uncertainty() -> None:
    """At w = 1.96 u inside a limit the verdict turns, where the other limit is far."""
    assert judge(10.0 - 1.97, 1.0, -1000.0, 10.0).word == "within"
    assert judge(10.0 - 1.95, 1.0, -1000.0, 10.0).word == "undecidable"
    assert judge(10.0 + 1.95, 1.0, -1000.0, 10.0).word == "undecidable"
    assert judge(10.0 + 1.97, 1.0, -1000.0, 10.0).word == "over"
