"""Household measures against the records they come from.

USDA National Nutrient Database for Standard Reference, Release 28 (May 2016), file WEIGHT, read in
github.com/masilver99/SR28-PSQL at f47469114e65571f9dbc7d3fa77fed9645232c33. All 330 weights of the
table are the same in SR Legacy of FoodData Central (its column fdc_portion_agrees).
"""

import pytest

from logger.formula import weigh
from logger.pantry import shipped
from logger.quantity import AmountError


@pytest.mark.parametrize(
    ("amount", "name", "grams", "record"),
    [
        ("1 cup", "cake flour", 137, "20084"),
        ("1 cup", "all-purpose flour", 125, "20081"),
        ("1 cup", "bread flour", 137, "20083"),
        ("1 cup", "whole wheat flour", 120, "20080"),
        ("1 cup", "self-rising flour", 125, "20082"),
        ("1 cup", "cornflour", 128, "20027"),
        ("1 tsp", "caster sugar", 4.2, "19335"),
        ("1 cup", "granulated sugar", 200, "19335"),
        ("1 cup packed", "dark brown sugar", 220, "19334"),
        ("1 cup unpacked", "brown sugar", 145, "19334"),
        ("1 tsp packed", "brown sugar", 4.6, "19334"),
        ("1 cup", "icing sugar", 120, "19336"),
        ("1 cup sifted", "powdered sugar", 100, "19336"),
        ("1 tbsp", "confectioners' sugar", 8.0, "19336"),
        ("1 cup", "honey", 339, "19296"),
        ("1 tbsp", "molasses", 20, "19304"),
        ("1 cup", "light corn syrup", 341, "19350"),
        ("1 stick", "unsalted butter", 113, "01145"),
        ("1 cup", "butter", 227, "01145"),
        ("1 tbsp", "salted butter", 14.2, "01001"),
        ("1 cup", "rapeseed oil", 218, "04582"),
        ("1 cup", "whole milk", 244, "01211"),
        ("1 cup", "buttermilk", 245, "01088"),
        ("1 cup", "heavy cream", 238, "01053"),
        ("1 cup", "sour cream", 230, "01056"),
        ("1 cup", "cream cheese", 232, "01017"),
        ("1 large", "eggs", 50, "01123"),
        ("1 extra large", "eggs", 56, "01123"),
        ("1", "egg yolks", 17, "01125"),
        ("1", "egg whites", 33, "01124"),
        ("1 cup", "cocoa powder", 86, "19165"),
        ("1 tsp", "baking powder", 4.6, "18369"),
        ("1/2 tsp", "bicarbonate of soda", 2.3, "18372"),
        ("1 tsp", "table salt", 6.0, "02047"),
        ("1 tsp", "vanilla extract", 4.2, "02050"),
        ("1 tbsp", "ground cinnamon", 7.8, "02010"),
        ("1 cup", "ground almonds", 95, "12061"),
        ("1 cup", "chopped walnuts", 117, "12155"),
        ("1 cup", "raisins", 145, "09298"),
        ("1 cup packed", "raisins", 165, "09298"),
        ("1 cup", "grated carrots", 110, "11124"),
        ("1 large", "carrots", 72, "11124"),
        ("1 fl oz", "water", 29.6, "14411"),
        ("1 l", "water", 1000, "14411"),
        ("1 cup cubes", "pears", 161, "09252"),
        ("1 square", "unsweetened chocolate", 29, "19078"),
    ],
)
def test_a_measure_weighs_what_its_record_says(amount, name, grams, record):
    weight = weigh(amount, name, shipped())

    assert weight.mass_kg == pytest.approx(grams / 1000, rel=1e-12)
    assert weight.source is not None
    assert f"USDA SR 28, record {record}:" in weight.source


def grams(amount, name):
    mass_kg = weigh(amount, name, shipped()).mass_kg
    assert mass_kg is not None
    return mass_kg * 1000


def test_packing_and_sifting_make_the_difference_they_are_published_with():
    assert grams("1 cup packed", "brown sugar") / grams("1 cup unpacked", "brown sugar") > 1.5
    assert grams("1 cup", "icing sugar") / grams("1 cup sifted", "icing sugar") == pytest.approx(
        1.2
    )
    assert grams("1 cup", "heavy cream") / grams("1 cup whipped", "heavy cream") > 1.98


def test_a_whole_egg_is_its_yolk_and_its_white():
    assert grams("1 large", "eggs") == grams("1 large", "yolks") + grams("1 large", "egg whites")


def test_a_cup_of_eggs_holds_what_the_record_says_in_eggs():
    # 01123: "cup (4.86 large eggs)", 243 g.
    assert grams("1 cup", "eggs") / grams("1", "eggs") == pytest.approx(4.86)


def test_two_sticks_and_a_cup_differ_by_the_rounding_of_the_source():
    assert grams("2 sticks", "butter") == pytest.approx(226)
    assert grams("1 cup", "butter") == 227


def test_rolled_and_whole_oats_are_not_mistaken_for_each_other():
    assert grams("1 cup", "rolled oats") == 81
    assert grams("1 cup", "whole-grain oats") == 156
    with pytest.raises(AmountError, match="rolled oats or whole-grain oats"):
        weigh("1 cup", "oats", shipped())


def test_half_a_teaspoon_of_leavening_is_half_of_one():
    for name in ("baking powder", "baking soda", "cream of tartar"):
        assert 2 * grams("1/2 tsp", name) == pytest.approx(grams("1 tsp", name))


@pytest.mark.parametrize("number", ["20084", "18372", "01123", "14411"])
def test_no_row_of_the_table_is_lost(number):
    assert [row for row in shipped() if row.source.endswith(number)]


def test_the_table_has_all_its_124_foods_and_332_rows():
    foods = [row for row in shipped() if row.source.startswith("USDA SR 28, record")]

    assert len(foods) == 124
    # Two foods have no household measure: industrial flour and vital gluten.
    assert [f.name for f in foods if not f.portions] == [
        "Wheat flour, white (industrial), 9% protein, bleached, enriched",
        "Vital wheat gluten",
    ]
    assert sum(len(f.portions) for f in foods) + 2 == 332


def test_what_is_not_determined_is_not_zero():
    turbinado = shipped().find("turbinado sugar")

    assert turbinado is not None
    assert turbinado.composition is not None
    assert turbinado.composition.fiber_g is None
    assert turbinado.composition.fat_g == 0.0
    assert turbinado.energy_factors is None
