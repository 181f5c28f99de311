"""The division, learnt from what a scale shows."""

from __future__ import annotations

import pytest

from logger.weighing.resolution import OUNCE_KG, Resolution


def shown(resolution: Resolution, values: list[float], unit_kg: float = 0.001) -> float:
    """The division in grams after a scale has shown these values."""
    for value in values:
        division_kg = resolution.see(value * unit_kg, None)
    return round(division_kg * 1000, 6)


@pytest.mark.parametrize(
    ("values", "division_g"),
    [
        ([0, 12.3, 40.1, 55.0], 0.1),
        ([0, 12.5, 40.0, 41.5, 55.0], 0.5),
        ([0, 12, 40, 41, 55], 1.0),
        ([0, 120, 340, 345, 385, 370, 345], 5.0),
    ],
)
def test_the_division_is_the_coarsest_of_which_all_readings_are_multiples(
    values: list[float], division_g: float
) -> None:
    assert shown(Resolution(), values) == division_g


def test_few_round_readings_are_no_coarse_scale() -> None:
    assert shown(Resolution(), [0, 350]) == 1.0


@pytest.mark.parametrize("bowl_g", [100, 200, 400, 500, 1000])
def test_a_bowl_of_a_round_weight_is_no_coarse_scale(bowl_g: int) -> None:
    assert shown(Resolution(), [0, bowl_g, bowl_g, 0, bowl_g]) == 1.0


def test_a_damaged_reading_makes_no_division_finer() -> None:
    resolution = Resolution()
    shown(resolution, [0, 12, 40, 41, 55, 57])

    assert shown(resolution, [23.4, 58, 59]) == 1.0
    assert shown(resolution, [58.5, 58, 59.5, 60, 60.5]) == 0.5


def test_ounces_have_a_division_of_their_own() -> None:
    resolution = Resolution()

    grams = shown(resolution, [0, 12, 40, 41, 55])
    ounces = shown(resolution, [1.95, 2.05, 2.1, 2.25, 2.3], OUNCE_KG)
    again = shown(resolution, [66, 67, 70])

    assert (grams, again) == (1.0, 1.0)
    assert ounces == pytest.approx(0.05 * OUNCE_KG * 1000)


def test_a_planned_division_stands_for_grams_and_is_the_least_for_ounces() -> None:
    resolution = Resolution(0.001)

    assert shown(resolution, [0, 12.5, 12.0, 13.5]) == 1.0
    assert shown(resolution, [1.95, 2.05, 2.1], OUNCE_KG) == pytest.approx(0.05 * OUNCE_KG * 1000)


def test_numbers_that_are_no_decimals_have_their_smallest_step() -> None:
    resolution = Resolution()

    assert shown(resolution, [0.1234567, 0.3234567, 0.6234567]) == pytest.approx(0.2)
