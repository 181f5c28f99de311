"""Baker's percentages against exact arithmetic done by hand.

Definition from the textbooks of the trade (Pyler & Gorton, Baking Science and Technology;
Gisslen, Professional Baking), quoted from memory: the flour is 100 %, each ingredient is held
against it. The numbers are computed, not quoted.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from logger.formula.percent import NoFlourError, flour_for, percentages
from logger.quantity import exact

LAYER_CAKE = {
    "flour": Fraction(500), "sugar": Fraction(550), "shortening": Fraction(250), "egg": Fraction(300), "milk": Fraction(400),
    "baking powder": Fraction(25), "salt": Fraction("12.5"),
}  # fmt: skip


def test_a_layer_cake_of_500_g_of_flour_comes_out_exactly():
    found = percentages(LAYER_CAKE, {"flour"})

    assert found.of_flour == {
        "flour": 100, "sugar": 110, "shortening": 50, "egg": 60, "milk": 80,
        "baking powder": 5, "salt": Fraction("2.5"),
    }  # fmt: skip
    assert found.total == Fraction("407.5")
    assert found.total_kg == Fraction("2037.5")


def test_true_percentages_hold_an_ingredient_against_the_whole():
    found = percentages(LAYER_CAKE, {"flour"})

    assert found.of_total["sugar"] == Fraction(55000, Fraction("2037.5"))
    assert float(found.of_total["sugar"]) == pytest.approx(26.99, abs=0.005)
    assert sum(found.of_total.values()) == 100


def test_two_flours_both_count_in_the_hundred_per_cent():
    found = percentages(
        {"cake": Fraction(400), "plain": Fraction(100), "sugar": Fraction(550)}, {"cake", "plain"}
    )

    assert found.of_flour == {"cake": 80, "plain": 20, "sugar": 110}


def test_the_flour_for_a_batter_of_1200_g_follows_from_the_total_percentage():
    flour = flour_for(Fraction(1200), Fraction("407.5"))

    assert flour == Fraction(1200 * 1000, 4075)
    assert float(flour) == pytest.approx(294.479, abs=0.0005)


def test_a_mass_read_from_a_file_is_the_decimal_that_was_written():
    assert exact(0.1) + exact(0.2) == exact(0.3)
    assert exact(2.5e-05) == Fraction(25, 1_000_000)


def test_without_flour_there_are_no_percentages_of_flour_but_those_of_the_total():
    found = percentages({"butter": Fraction(1), "icing sugar": Fraction(3)}, set())

    assert found.of_flour is None
    assert found.total is None
    assert found.of_total == {"butter": 25, "icing sugar": 75}


def test_flour_for_nothing_is_an_error_that_says_what_to_do():
    with pytest.raises(NoFlourError, match="give the flour as 100 %"):
        flour_for(Fraction(1200), Fraction(0))


def test_a_negative_mass_is_refused():
    with pytest.raises(ValueError, match="below nothing"):
        percentages({"flour": Fraction(-1)}, {"flour"})
