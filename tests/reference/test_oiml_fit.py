"""What a scale may err in service, and what it can therefore decide: OIML R 76-1:2006.

Status: second-hand. 3.5.1 (Table 6), 3.5.2 (twice in service) and 3.2 (Table 3, least loads) were
read where other documents quote them; the recommendation itself was not read. The rows follow from
the tables by arithmetic.
"""

from __future__ import annotations

import math

import pytest

from logger.plan import Line, ScaleFacts
from logger.weighing.fit import expected_budget, fit, smallest_load_kg

# class, e in g, load in g, error in service in g: twice the steps of Table 6.
IN_SERVICE = [
    ("III", 1, 500, 1.0),
    ("III", 1, 501, 2.0),
    ("III", 1, 2000, 2.0),
    ("III", 1, 2001, 3.0),
    ("III", 5, 2500, 5.0),
    ("III", 5, 2505, 10.0),
    ("II", 0.1, 500, 0.1),
    ("II", 0.1, 500.1, 0.2),
]


@pytest.mark.parametrize(("accuracy_class", "e_g", "load_g", "error_g"), IN_SERVICE)
def test_in_service_the_limits_are_twice_those_of_verification(
    accuracy_class: str, e_g: float, load_g: float, error_g: float
) -> None:
    found = expected_budget(load_g / 1000, ScaleFacts(e_g / 1000, accuracy_class))

    assert found.class_error_kg * 1000 * math.sqrt(3) == pytest.approx(error_g, rel=1e-9)


def test_the_interval_e_counts_for_the_class_and_the_division_d_for_the_reading() -> None:
    found = expected_budget(0.5, ScaleFacts(0.0001, "III", interval_kg=0.001))

    assert found.class_error_kg == pytest.approx(0.001 / math.sqrt(3))
    assert found.resolution_kg == pytest.approx(0.0001 / math.sqrt(6))


@pytest.mark.parametrize(
    ("accuracy_class", "e_g", "least_g"),
    [("I", 0.001, 0.1), ("II", 0.05, 1.0), ("II", 0.1, 5.0), ("III", 1, 20), ("IIII", 5, 50)],
)
def test_least_loads_of_the_classes(accuracy_class: str, e_g: float, least_g: float) -> None:
    found = smallest_load_kg(ScaleFacts(e_g / 1000, accuracy_class))

    assert found == pytest.approx(least_g / 1000)


def test_a_class_iii_scale_stops_deciding_where_its_limit_steps_up() -> None:
    """±2 g at e = d = 1 g: at 500 e the limit in service is ±1 g, above it ±2 g."""

    def answer(target_g: int) -> str:
        line = Line("flour", "flour", f"{target_g} g", target_g / 1000, 0.002)
        return fit([line], {"scale": ScaleFacts(0.001, "III")})[0].answer

    assert (answer(500), answer(501)) == ("decides", "cannot")
