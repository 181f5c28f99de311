"""The uncertainty budget and the verdict on it."""

from __future__ import annotations

import math

import pytest

from logger.weighing import budget, judge
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
