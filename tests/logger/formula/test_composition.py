"""What the whole is made of; what is unknown is named and never counted as nothing."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from kitchen_lines import BROWN_BUTTER, FROSTING, PEAR_AND_GINGER, lines, pantry

from logger.formula.composition import PARTS, Whole, composition, per_100_g
from logger.formula.cost import cost
from logger.formula.kinds import kinded
from logger.ingredient import Composition, Ingredient

TABLE = pantry()


def of(grams: dict[str, float], *own: Ingredient, portions: int | None = None) -> Whole:
    items = kinded(lines(grams), pantry(*own))
    return composition([(item, grams[item.line.key] / 1000) for item in items], portions)


def test_one_ingredient_is_what_its_record_says():
    """USDA SR 28 record 01123, whole egg: 76.15 g water, 9.51 g fat, 12.56 g protein, 142 mg Na."""
    egg = of({"eggs": 100.0})

    assert egg.part("water").known_kg == pytest.approx(0.07615)
    assert egg.part("fat").percent == pytest.approx(9.51)
    assert egg.part("protein").percent == pytest.approx(12.56)
    assert egg.part("salt").percent == pytest.approx(0.142 * 2.542, rel=1e-3)
    assert egg.energy.kcal == pytest.approx(143)
    assert egg.energy.kj == pytest.approx(143 * 4.184)


def test_the_whole_is_the_sum_of_its_lines():
    whole = of(PEAR_AND_GINGER)

    assert whole.total_kg == pytest.approx(1.326)
    for part in whole.parts:
        assert part.unknown == ()
        assert part.known_kg == pytest.approx(sum(line.parts_kg[part.name] for line in whole.lines))
    assert whole.sentence == ""


def test_alcohol_is_that_of_the_vanilla():
    """USDA SR 28 record 02050: 34.4 g of alcohol in 100 g."""
    assert of(PEAR_AND_GINGER).part("alcohol").known_kg == pytest.approx(0.006 * 0.344)


def test_a_line_of_unknown_composition_is_named_with_its_share():
    whole = of(FROSTING)

    assert whole.unknown == ("brown butter",)
    assert whole.unknown_percent == pytest.approx(100 * 150 / 670)
    assert whole.part("fat").unknown_kg == pytest.approx(0.150)
    assert whole.sentence == (
        "Nothing is known of what brown butter is made of, 22 % of the mass; the figures for the "
        "whole leave it out."
    )
    assert "at least" in whole.energy.sentence
    assert "not known: brown butter" in whole.energy.sentence


def test_the_kitchens_own_composition_fills_the_gap():
    whole = of(FROSTING, BROWN_BUTTER)

    assert whole.unknown == ()
    assert all(part.unknown == () for part in whole.parts)
    assert "at least" not in whole.energy.sentence


def test_a_part_that_is_not_determined_stays_unknown():
    known, _ = per_100_g(Composition(water_g=50.0, protein_g=1.0))

    assert known["water"] == 50.0
    assert known["fat"] is None
    assert known["starch"] is None
    assert known["salt"] is None


def test_where_other_parts_leave_no_room_there_is_no_alcohol():
    full, _ = per_100_g(
        Composition(water_g=10.0, protein_g=10.0, fat_g=1.0, carbohydrate_g=78.6, ash_g=0.4)
    )
    with_room, _ = per_100_g(
        Composition(water_g=50.0, protein_g=1.0, fat_g=0.0, carbohydrate_g=13.0, ash_g=0.2)
    )

    assert full["alcohol"] == 0.0
    assert with_room["alcohol"] is None


def test_a_food_without_carbohydrate_has_no_sugar_starch_or_fibre():
    oil, by_difference = per_100_g(Composition(fat_g=100.0, carbohydrate_g=0.0))

    assert (oil["sugar"], oil["starch"], oil["fibre"]) == (0.0, 0.0, 0.0)
    assert not by_difference


def test_starch_by_difference_is_named():
    whole = of({"cake flour": 100.0})

    assert whole.part("starch").known_kg == pytest.approx((78.03 - 1.7 - 0.31) / 1000)
    assert whole.part("starch").by_difference == ("cake flour",)


def test_determined_starch_is_taken_as_it_is():
    """USDA SR 28 record 20080, whole-grain flour: 57.77 g of starch in 100 g."""
    whole = of({"whole wheat flour": 100.0})

    assert whole.part("starch").percent == pytest.approx(57.77)
    assert whole.part("starch").by_difference == ()


def test_energy_is_told_for_a_portion_and_for_100_g_as_weighed_in():
    energy = of(PEAR_AND_GINGER, portions=12).energy

    assert energy.kcal_per_portion == pytest.approx(energy.kcal / 12)
    assert energy.kj_per_portion == pytest.approx(energy.kcal / 12 * 4.184)
    assert energy.kcal_per_100_g == pytest.approx(energy.kcal / 13.26)
    assert "as weighed in; baking drives water off and raises it" in energy.sentence
    assert "A portion, one of 12" in energy.sentence


def test_the_parts_of_any_row_of_the_table_fit_into_it():
    for row in TABLE:
        parts, _ = per_100_g(row.composition)
        inside = sum(parts[name] or 0.0 for name in PARTS if name != "salt")
        assert inside <= 100.6, row.name


@given(
    st.fixed_dictionaries({name: st.floats(1.0, 5000.0) for name in PEAR_AND_GINGER}),
    st.floats(0.1, 50.0),
)
def test_scaling_leaves_every_percentage(grams, factor):
    whole = of(grams)
    scaled = of({name: mass * factor for name, mass in grams.items()})

    for old, new in zip(whole.parts, scaled.parts, strict=True):
        assert new.percent == pytest.approx(old.percent, rel=1e-9)
    assert scaled.energy.kcal_per_100_g == pytest.approx(whole.energy.kcal_per_100_g, rel=1e-9)


def test_cost_names_what_has_none():
    items = kinded(lines(FROSTING), pantry(BROWN_BUTTER))
    priced = cost([(item, FROSTING[item.line.key] / 1000) for item in items], portions=4)

    assert priced.known == pytest.approx(1.80)
    assert priced.missing == ("cream cheese", "icing sugar")
    assert priced.sentence == (
        "The ingredients cost at least 1.80, at least 0.45 a portion. No cost was given for cream "
        "cheese and icing sugar."
    )


def test_without_any_cost_none_is_told():
    items = kinded(lines(FROSTING), TABLE)
    priced = cost([(item, 0.1) for item in items])

    assert priced.known is None
    assert priced.sentence == "No ingredient here has a cost of its own yet."


def test_with_every_cost_the_sum_is_plain():
    items = kinded(lines({"brown butter": 150.0}), pantry(BROWN_BUTTER))

    assert cost([(items[0], 0.15)]).sentence == "The ingredients cost 1.80."
