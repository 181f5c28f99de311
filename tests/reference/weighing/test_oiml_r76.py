"""OIML R 76-1:2006 against its published steps.

Status: second-hand. Table 6 (3.5.1) and A.4.4.3 were read where other documents quote them (three
copies agree); the recommendation itself was not read.
"""

from __future__ import annotations

import pytest

from logger.weighing import error_before_rounding, max_permissible_error_kg

# Class, e in g, load in g, error on initial verification in g: rows computed from Table 6.
STEPS = [
    ("III", 1, 0, 0.5),
    ("III", 1, 500, 0.5),
    ("III", 1, 501, 1.0),
    ("III", 1, 2000, 1.0),
    ("III", 1, 2001, 1.5),
    ("III", 1, 10000, 1.5),
    ("III", 5, 2500, 2.5),
    ("III", 5, 2505, 5.0),
    ("II", 0.1, 500, 0.05),
    ("II", 0.1, 500.1, 0.1),
    ("II", 0.1, 2000.1, 0.15),
    ("I", 0.001, 50, 0.0005),
    ("I", 0.001, 50.001, 0.001),
    ("IIII", 5, 250, 2.5),
    ("IIII", 5, 255, 5.0),
    ("IIII", 5, 1005, 7.5),
]


@pytest.mark.parametrize(("accuracy_class", "e_g", "load_g", "error_g"), STEPS)
def test_the_permissible_error_steps_where_table_6_does(
    accuracy_class: str, e_g: float, load_g: float, error_g: float
) -> None:
    found = max_permissible_error_kg(accuracy_class, e_g / 1000, load_g / 1000)

    assert found is not None
    assert found * 1000 == pytest.approx(error_g, rel=1e-9)


@pytest.mark.parametrize(
    ("accuracy_class", "e_g", "load_g"),
    [("III", 1, 10_001), ("IIII", 5, 5_005), ("II", 0.1, 10_000.1)],
)
def test_a_load_outside_the_class_has_no_permissible_error(
    accuracy_class: str, e_g: float, load_g: float
) -> None:
    assert max_permissible_error_kg(accuracy_class, e_g / 1000, load_g / 1000) is None


def test_an_unknown_class_is_named_in_the_error() -> None:
    with pytest.raises(ValueError, match="'V'"):
        max_permissible_error_kg("V", 0.001, 0.1)


def test_the_worked_changeover_example_of_a_4_4_3() -> None:
    """e = 5 g, L = 1 000 g, I = 1 000 g, ΔL = 1.5 g: E = +1 g; with E0 = +0.5 g, Ec = +0.5 g."""
    assert error_before_rounding(1000.0, 1000.0, 5.0, 1.5) == 1.0
    assert error_before_rounding(1000.0, 1000.0, 5.0, 1.5, error_at_zero=0.5) == 0.5


def test_the_difference_of_reading_and_load_may_be_wrong_by_half_an_interval() -> None:
    """I = 1 005 g, ΔL = 5 g, L = 1 000 g: I − L = 5 g but E = 2.5 g, which passes ±2.5 g."""
    error_g = error_before_rounding(1005.0, 1000.0, 5.0, 5.0)

    assert error_g == 2.5
    limit_kg = max_permissible_error_kg("III", 0.005, 1.0)
    assert limit_kg is not None
    assert error_g <= limit_kg * 1000
