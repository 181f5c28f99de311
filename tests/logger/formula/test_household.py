"""Amounts as people write them → masses, with their source and spread; or an error with a remedy."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.formula import Pantry, weigh
from logger.formula.written import parts_of
from logger.ingredient import Ingredient, Portion
from logger.pantry import shipped
from logger.quantity import VOLUME, AmountError


@pytest.mark.parametrize(
    ("written", "ml"),
    [
        ("2 cups", 473.176473), ("⅓ cup", 236.5882365 / 3), ("1 3/4 tsp", 8.6256127890625),
        ("1½ cups", 354.88235475), ("1-1/2 cups", 354.88235475), ("1 and 1/2 cups", 354.88235475),
        ("half a cup", 118.29411825), ("a pint", 473.176473), ("250 ml", 250), ("1,5 dl", 150),
        ("2 Tbsp.", 29.5735295625), ("8 fl. oz.", 236.5882365), ("1 metric cup", 250),
        ("2 Australian tablespoons", 40), ("1 imperial pint", 568.26125), ("1 US cup", 236.5882365),
        ("1 level teaspoon", 4.92892159375), ("1 cup (packed)", 236.5882365),
    ],
)  # fmt: skip
def test_volumes_are_read(written, ml):
    (part,) = parts_of(written)

    assert part.volume_ml is not None
    assert float(part.volume_ml) == pytest.approx(ml, rel=1e-12)


@pytest.mark.parametrize(
    ("written", "name", "grams", "by"),
    [
        ("8 1/2 oz", "anything", 240.9709465625, "mass"),
        ("8 oz", "milk", 226.796185, "mass"),
        ("240 g, sifted", "cake flour", 240, "mass"),
        ("240 g (2 cups)", "unheard-of flour", 240, "mass"),
        ("2 cups (240 g)", "unheard-of flour", 240, "mass"),
        ("2 x 400 g", "tinned plums", 800, "mass"),
        ("1 lb 4 oz", "butter", 566.99046250, "mass"),
        ("1 cup (250 ml)", "milk", 250 * 244 / 236.5882365, "measure"),
        ("1 tablespoon (15 ml)", "sugar", 15 * 4.2 / 4.92892159375, "measure"),
        ("1 can (400 ml)", "coconut milk", 400 * 226 / 236.5882365, "measure"),
        ("2 cups packed (440 g)", "brown sugar", 440, "mass"),
        ("100 g + 2 tbsp", "sugar", 125.2, "measure"),
        ("2 cups whole", "milk", 488, "measure"),
        ("1 tsp ground", "ground ginger", 1.8, "measure"),
        ("3 whole eggs", "eggs", 150, "count"),
        ("3 eggs, separated", "eggs", 150, "count"),
        ("1/2 lemon", "lemon juice", 24, "count"),
        ("1 (8 oz) package", "cream cheese", 226.796185, "mass"),
        ("1 8-ounce package", "cream cheese", 226.796185, "mass"),
        ("2 2/3 cups", "cake flour", 137 * 8 / 3, "measure"),
        ("1 tbsp", "sugar", 12.6, "measure"),
        ("1 tbsp packed", "brown sugar", 13.8, "measure"),
        ("1 tbsp + 1 tsp", "baking powder", 18.4, "measure"),
        ("1 cup plus 2 tbsp", "sugar", 200 + 25.2, "measure"),
        ("1 metric cup", "all-purpose flour", 125 * 250 / 236.5882365, "measure"),
        ("2 sticks", "butter", 226, "measure"),
        ("1 envelope", "gelatine", 7, "measure"),
        ("1 dash", "salt", 0.4, "measure"),
        ("3", "eggs", 150, "count"),
        ("3 large eggs", "eggs", 150, "count"),
        ("3 large eggs, beaten", "eggs", 150, "count"),
        ("2", "medium eggs", 88, "count"),
        ("2 1/2", "eggs", 125, "count"),
        ("3 yolks", "egg yolks", 51, "count"),
        ("3 egg yolks", "yolks", 51, "count"),
        ("2 medium", "ripe bananas", 236, "count"),
        ("1 lemon", "lemon juice", 48, "count"),
        ("1 cup flaked", "almonds", 92, "measure"),
        ("1 cup", "sliced almonds", 92, "measure"),
        ("1 cup", "mini chocolate chips", 173, "measure"),
        ("1 cup whole", "blanched almonds", 145, "measure"),
        ("1 tsp", "ground cardamom", 2, "measure"),
        ("250 ml", "water", 250, "measure"),
    ],
)  # fmt: skip
def test_an_amount_weighs(written, name, grams, by):
    weight = weigh(written, name, shipped())

    assert weight.mass_kg == pytest.approx(grams / 1000, rel=1e-9)
    assert weight.by == by
    assert (weight.spread_kg is None) == (weight.source is None) == (by == "mass")


@pytest.mark.parametrize(
    ("written", "name", "words"),
    [
        ("1 cup", "flour", "which flour is meant"),
        ("1 tsp", "coarse salt", "coarse salt differs"),
        ("1 tsp", "kosher salt", "coarse salt differs"),
        ("1 cup", "oats", "rolled oats or whole-grain oats"),
        ("1 cup", "double cream", "which cream is meant"),
        ("1 cup", "brown sugar", "1 cup packed = 220 g"),
        ("1 cup lightly packed", "brown sugar", "lightly packed"),
        ("1 cup", "almonds", "1 cup, slivered = 108 g"),
        ("1 cup", "semisweet chocolate", "leaves open"),
        ("1 cup sifted", "cake flour", "sifted"),
        ("1 cup", "melted butter", "melted"),
        ("1 cup", "cak flour", "did you mean 'cake flour'"),
        ("1 cup", "quinoa", "not among the ingredients"),
        ("3 large", "duck eggs", "did you mean"),
        ("3 yolks", "eggs", 'ingredient = "yolks"'),
        ("3 small", "large eggs", "two sizes"),
        ("1 package", "cream cheese", "package, small"),
        ("1 container", "plain yogurt", "container \\(8 oz\\) = 227 g"),
        ("2", "bananas", "no unit"),
        ("240", "cake flour", "no unit"),
        ("240", "eggs", "240 pieces"),
        ("1 cup", "vital wheat gluten", "no measure of it is published"),
        ("a pinch", "salt", "1/8 tsp"),
        ("1 heaped tsp", "baking powder", "level"),
        ("1 T", "sugar", "tbsp"),
        ("2-3 cups", "sugar", "range"),
        ("2 to 3 cups", "sugar", "range"),
        ("2 or 3", "eggs", "range"),
        ("0 cups", "sugar", "more than nothing"),
        ("-1 cup", "sugar", "more than nothing"),
        ("1/0 cup", "sugar", "zero"),
        ("some", "sugar", "begin with a number"),
        ("2 furlongs", "sugar", "no published measure"),
        ("1 cup plus more for dusting", "sugar", "not understood"),
        ("240 g or so", "sugar", "not understood"),
        ("1 cup 2 tbsp", "sugar", "second number"),
        ("2 cups minus 1 tbsp", "sugar", "second number"),
        ("2 cups 3", "sugar", "second number"),
        ("1/4 tsp + pinch", "salt", "pinch"),
        ("1 large + 1 yolk", "eggs", 'ingredient = "yolk"'),
        ("2 cans (400 g)", "tinned plums", "each or of all"),
        ("9" * 300, "sugar", "no amount"),
    ],
)  # fmt: skip
def test_what_has_no_weight_is_refused_with_a_remedy(written, name, words):
    with pytest.raises(AmountError, match=words) as refused:
        weigh(written, name, shipped())

    assert refused.value.remedy


def test_to_taste_has_no_weight():
    weight = weigh("to taste", "salt", shipped())

    assert (weight.mass_kg, weight.spread_kg, weight.source) == (None, None, None)


def test_a_spread_is_the_published_one_where_there_is_one():
    # 12142: cup, chopped, n = 24, standard deviation 6.18 g.
    weight = weigh("2 cups chopped", "pecans", shipped())

    assert weight.spread_kg == pytest.approx(2 * 0.00618)
    assert weight.source is not None
    assert "6.2 g as published of 24 samples" in weight.source


@pytest.mark.parametrize(
    ("written", "name", "share"),
    # Common practice, no source.
    [("1 cup", "cake flour", 0.10), ("1 cup", "sugar", 0.03), ("1 cup", "milk", 0.02),
     ("1 tsp", "baking powder", 0.10), ("1", "eggs", 0.05), ("1 stick", "butter", 0.02)],
)  # fmt: skip
def test_else_a_spread_is_common_practice_and_says_so(written, name, share):
    weight = weigh(written, name, shipped())

    assert weight.mass_kg is not None
    assert weight.spread_kg == pytest.approx(share * weight.mass_kg)
    assert weight.source is not None
    assert "common practice, no source" in weight.source


@pytest.mark.parametrize(
    ("written", "name"),
    # 12061: four cups of sliced almonds, standard deviation 32 g of 92; 16098: seven samples, 0.
    [("1 cup", "sliced almonds"), ("2 tbsp", "peanut butter")],
)
def test_an_odd_published_spread_is_not_believed(written, name):
    weight = weigh(written, name, shipped())

    assert weight.source is not None
    assert "as published" not in weight.source
    assert weight.mass_kg is not None
    assert weight.spread_kg is not None
    assert 0.05 * weight.mass_kg < weight.spread_kg < 0.12 * weight.mass_kg


def test_a_record_that_disagrees_with_itself_says_how_much():
    # 01091: 5 tbsp = 23 g (0.311 g/mL), 1 cup = 120 g (0.507 g/mL).
    weight = weigh("1 tbsp", "nonfat dry milk", shipped())

    assert weight.mass_kg == pytest.approx(0.0046)
    assert weight.spread_kg == pytest.approx(0.0046 * (0.5072 - 0.3111) / 2 / 0.3111, rel=1e-3)


def test_pieces_scatter_one_by_one_and_cups_together():
    eggs = weigh("4", "eggs", shipped())
    cups = weigh("4 cups", "sugar", shipped())

    assert eggs.spread_kg == pytest.approx(0.05 * 0.2 / 2)
    assert cups.spread_kg == pytest.approx(0.03 * 0.8)


def test_a_source_names_record_portion_and_which_cup():
    source = weigh("2 2/3 cups", "cake flour", shipped()).source
    scaled = weigh("1 imperial pint", "milk", shipped()).source
    taken = weigh("3", "eggs", shipped()).source

    assert source == (
        "USDA SR 28, record 20084: 1 cup unsifted, dipped = 137 g; US cup of 236.6 mL; "
        "one standard deviation 10 % by common practice, no source"
    )
    assert scaled is not None
    assert "1 quart = 976 g; scaled by volume to imperial pint of 568.3 mL" in scaled
    assert taken is not None
    assert "no size is written, large is taken" in taken


def test_a_density_stands_in_where_no_measure_is_known():
    pantry = Pantry([Ingredient("poppy oil", "our press", kind="fat", density_g_ml=0.92)])

    assert weigh("100 ml", "poppy oil", pantry).mass_kg == pytest.approx(0.092)
    assert weigh("1 cup", "poppy oil", pantry).mass_kg == pytest.approx(0.2176611776)
    with pytest.raises(AmountError, match="whipped"):
        weigh("1 cup whipped", "poppy oil", pantry)


def test_a_measure_goes_before_the_density():
    pantry = Pantry(
        [Ingredient("spelt meal", "x", portions=(Portion(1, "cup", 110),), density_g_ml=0.9)]
    )

    assert weigh("1 cup", "spelt meal", pantry).mass_kg == pytest.approx(0.110)


names = st.text(alphabet="bcdfghjkvwxyz ", min_size=3, max_size=20)
numbers = st.fractions(min_value="1/16", max_value=40, max_denominator=16)


@given(numbers, st.sampled_from(sorted(VOLUME)), names)
def test_an_unknown_name_is_never_guessed_at(number, unit, name):
    with pytest.raises(AmountError):
        weigh(f"{number.numerator}/{number.denominator} {unit}", f"zz{name}", shipped())


@given(numbers, st.sampled_from(["cup", "tbsp", "tsp", "fl oz", "pint", "metric cup", "ml"]))
def test_a_written_number_comes_back_exact(number, unit):
    whole, rest = divmod(number, 1)
    written = " ".join(f"{part}" for part in (whole, rest) if part) + f" {unit}"

    (part,) = parts_of(written)

    assert part.number == number
    assert part.volume == unit


@given(numbers, st.sampled_from(["cake flour", "sugar", "milk", "butter", "cocoa", "raisins"]))
def test_a_mass_grows_with_the_number_and_cups_are_16_tablespoons_of_volume(number, name):
    once = weigh(f"{number.numerator}/{number.denominator} cup", name, shipped())
    twice = weigh(f"{2 * number.numerator}/{number.denominator} cup", name, shipped())
    spoons = parts_of(f"{16 * number.numerator}/{number.denominator} tbsp")[0]

    assert once.mass_kg is not None
    assert twice.mass_kg == pytest.approx(2 * once.mass_kg)
    assert twice.spread_kg == pytest.approx(2 * (once.spread_kg or 0))
    assert spoons.volume_ml == number * VOLUME["cup"] == 48 * number * VOLUME["tsp"]


@given(st.text(max_size=40))
def test_any_text_is_an_amount_or_an_error_with_a_remedy(written):
    try:
        weight = weigh(written, "sugar", shipped())
    except AmountError as error:
        said = (error.what, error.remedy)
        assert all(said)
        return
    assert weight.mass_kg is None or weight.mass_kg > 0


def test_a_slip_about_a_prepared_ingredient_is_asked_about_too():
    with pytest.raises(AmountError, match="which flour"):
        weigh("1 cup", "sifted flour", shipped())
    with pytest.raises(AmountError, match="which chocolate"):
        weigh("1 cup", "chopped dark chocolate", shipped())


def test_every_published_portion_is_found_by_its_own_words():
    refused, other = set(), set()
    for row in shipped():
        for portion in row.portions if not shipped().ask(row.name) else ():
            words = portion.words.partition(" (")[0]
            if words.startswith("oz"):
                continue  # an ounce is a mass
            try:
                weight = weigh(f"{portion.amount:g} {words}", row.name, shipped())
            except AmountError:
                refused.add(words)
                continue
            assert weight.mass_kg is not None
            if weight.mass_kg * 1000 != pytest.approx(portion.mass_g, rel=1e-9):
                other.add((row.name, portion.words, portion.mass_g))

    assert other == set()
    # Words of the table that nobody writes, and packages that come in several sizes.
    assert refused == {
        "serving 1 cube", "serving 1 tbsp", "serving 1/4 cup", "serving 8 fl oz",
        "cup pieces or chips", "cup, quartered or chopped", "cup strips or slices",
        "cup, crushed, sliced, or chunks", "slice or ring", "cup, in shell, edible yield",
        "pint as purchased, yields", "loaf 1/6 of the loaf", "container", "package",
        "cake, 2-layer",
    }  # fmt: skip
