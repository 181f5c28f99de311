"""The uncertainty budget and the verdict on it."""

from __future__ import annotations

import math

import pytest

from logger.weighing import budget, judge
from logger.weighing.budget import combined
from logger.weighing.verdict import judge_at_least


def test_resolution_counts_at_zero_and_at_load() -> None:
    found = budget(0.24, 0.001)

    assert found.standard_kg == pytest.approx(0.001 * math.sqrt(2 / 12))
    assert found.expanded_kg == pytest.approx(2 * found.standard_kg)


def test_two_pairs_of_readings_count_twice() -> None:
    assert budget(0.24, 0.001, pairs=2).resolution_kg == pytest.approx(0.001 * math.sqrt(4 / 12))


def test_the_class_adds_a_uniform_error() -> None:
    found = budget(0.6, 0.001, accuracy_class="III")

    assert found.class_error_kg == pytest.approx(0.001 / math.sqrt(3))


def test_a_load_outside_the_class_counts_with_the_widest_limit() -> None:
    assert budget(20.0, 0.001, accuracy_class="III").class_error_kg == pytest.approx(
        0.0015 / math.sqrt(3)
    )


@pytest.mark.parametrize(
    ("mass_g", "word"),
    [
        (240.0, "within"),
        (241.5, "within"),
        (242.2, "undecidable"),
        (244.0, "over"),
        (236.0, "under"),
    ],
)
def test_verdicts_of_a_gram_scale_on_240_g_plus_minus_2_4_g(mass_g: float, word: str) -> None:
    standard = budget(mass_g / 1000, 0.001).standard_kg

    assert judge(mass_g / 1000, standard, 0.2376, 0.2424).word == word


def test_a_coarse_scale_cannot_decide_a_fine_tolerance() -> None:
    assert judge(0.240, budget(0.24, 0.005).standard_kg, 0.238, 0.242).word == "undecidable"


def test_a_known_part_can_only_be_judged_over() -> None:
    assert judge_at_least(0.300, 0.0004, 0.238, 0.242).word == "over"
    assert judge_at_least(0.240, 0.0004, 0.238, 0.242).word == "undecidable"
    assert judge_at_least(0.100, 0.0004, 0.238, 0.242).word == "undecidable"


def test_amounts_from_two_scales_combine_component_by_component() -> None:
    coarse = budget(0.3, 0.001, repeatability_kg=0.0003, accuracy_class="III")
    fine = budget(0.01, 0.0001, drift_kg=0.0002)

    both = combined([coarse, fine])

    assert both.standard_kg == pytest.approx(math.hypot(coarse.standard_kg, fine.standard_kg))
    assert both.class_error_kg == pytest.approx(coarse.class_error_kg)
    assert both.drift_kg == pytest.approx(fine.drift_kg)


def test_the_verification_interval_counts_where_it_is_not_the_division() -> None:
    found = budget(0.6, 0.001, accuracy_class="III", interval_kg=0.005)

    # 0.6 kg are 120 e of 5 g: half an interval.
    assert found.class_error_kg == pytest.approx(0.0025 / math.sqrt(3))


def test_the_components_by_name_leave_out_what_is_not_there() -> None:
    parts = budget(0.24, 0.001, repeatability_kg=0.0002).to_json()

    assert parts == {
        "resolution_kg": pytest.approx(0.001 * math.sqrt(2 / 12), abs=1e-9),
        "repeatability_kg": pytest.approx(0.0002),
        "class_error_kg": None,
        "drift_kg": None,
        "splice_kg": None,
    }
