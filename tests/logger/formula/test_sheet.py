"""The sheet of a formula: everything together, and as JSON."""

from __future__ import annotations

import json

import pytest
from kitchen_lines import FROSTING, PEAR_AND_GINGER, TWO_ROUND_PANS, formula, pantry

from logger.formula.sheet import sheet
from logger.plan import Formula, Line, Makes, Pan

CAKE = formula("Pear and ginger layer cake", PEAR_AND_GINGER, version="3", makes=TWO_ROUND_PANS)


def test_the_sheet_of_the_cake():
    found = sheet(CAKE, pantry())

    assert (found.formula, found.version, found.portions) == (CAKE.name, "3", 12)
    assert found.flour_kg == pytest.approx(0.270)
    assert found.total_kg == pytest.approx(1.326)
    assert found.total_percent == pytest.approx(1326 / 2.70)
    assert sum(line.percent for line in found.lines) == pytest.approx(found.total_percent)
    assert sum(line.of_total for line in found.lines) == pytest.approx(100)
    assert found.problems == ()
    assert found.notes == ("This is a high-ratio cake (more sugar than flour).",)
    assert found.energy == found.whole.energy


def test_each_line_says_where_its_row_comes_from():
    flour = sheet(CAKE, pantry()).lines[0]

    assert flour.record == "USDA SR 28, record 20084"
    assert (flour.kind, flour.kind_assumed, flour.allergens) == ("flour", False, ("wheat",))
    assert (flour.percent, flour.mass_kg) == (100.0, 0.270)


def test_the_deposit_is_what_the_formula_says_and_the_rest_is_told():
    deposit = sheet(CAKE, pantry()).deposit

    assert deposit is not None
    assert (deposit.pans, deposit.per_pan_kg, deposit.given) == (2, 0.620, True)
    assert deposit.left_kg == pytest.approx(0.086)
    assert deposit.sentence == (
        "2 pans of 620 g take 1240 g of 1326 g: 86 g is left; what stays in the bowl is not in it."
    )


@pytest.mark.parametrize(
    ("makes", "sentence"),
    [
        (Makes(Pan(), 2), "2 pans: 663 g of batter in each."),
        (Makes(Pan()), "1 pan: 1326 g of batter in each."),
        (Makes(Pan(), 2, 0.663), "2 pans of 663 g take 1326 g of 1326 g."),
        (
            Makes(Pan(), 2, 0.7),
            "2 pans of 700 g take 1400 g of 1326 g: 74 g is missing; what stays in the bowl is not "
            "in it.",
        ),
    ],
)
def test_the_deposit_is_shared_out_where_the_formula_says_nothing(makes, sentence):
    deposit = sheet(formula("Cake", PEAR_AND_GINGER, makes=makes), pantry()).deposit

    assert deposit is not None
    assert deposit.sentence == sentence


def test_a_frosting_has_no_percentages_and_that_is_fine():
    found = sheet(formula("Brown-butter cream cheese frosting", FROSTING), pantry())

    assert found.total_percent is None
    assert {line.percent for line in found.lines} == {None}
    assert sum(line.of_total for line in found.lines) == pytest.approx(100)
    assert found.problems == ()
    assert found.deposit is None
    assert found.notes == (
        "There is no flour, so there are no baker's percentages and no cake balance; the per cent "
        "of the total stand in their place.",
        "Not in the ingredient table, so without composition and allergens: brown butter.",
    )


def test_a_cake_without_flour_has_a_problem_and_still_a_sheet():
    grams = {name: mass for name, mass in PEAR_AND_GINGER.items() if name != "cake flour"}

    found = sheet(formula("Pear cake", grams, makes=TWO_ROUND_PANS), pantry())

    assert len(found.problems) == 1
    assert "has no flour" in found.problems[0]
    assert found.total_kg == pytest.approx(1.056)


def test_a_line_to_taste_is_in_no_sum_and_said():
    salt = Line("salt", "salt", "to taste", None, None)
    found = sheet(Formula("Cake", (*CAKE.lines[:3], salt)), pantry())

    assert found.without_mass == ("salt",)
    assert found.lines[-1].percent is None
    assert "Without a mass, and in no sum: salt." in found.notes


def test_the_sheet_reads_back_from_json_as_it_was_written():
    document = sheet(CAKE, pantry()).to_json()

    assert json.loads(json.dumps(document, allow_nan=False)) == document
    assert document["lines"][1]["percent"] == pytest.approx(300 / 2.70)
    assert document["whole"]["energy"]["kcal"] > 0
    assert document["balance"]["ratios"][0]["name"] == "sugar : flour"


def test_the_rows_frozen_in_a_plan_give_the_same_sheet():
    names = [line.ingredient for line in CAKE.lines]
    frozen = json.loads(json.dumps(pantry().rows_for(names)))

    assert sheet(CAKE, type(pantry()).of_rows(frozen)) == sheet(CAKE, pantry())
