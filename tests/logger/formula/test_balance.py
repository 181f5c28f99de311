"""The balance asked with the targets and with other masses, in numbers and in words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from kitchen_lines import (
    BROWN_BUTTER,
    FROSTING,
    PEAR_AND_GINGER,
    POUND,
    SPONGE,
    kilograms,
    lines,
    pantry,
)

from logger.formula.balance import Balance, balance, changes
from logger.formula.rules import RULES, Range

TABLE = pantry()


def of(grams: dict[str, float], **more: object) -> Balance:
    return balance(kilograms(grams), lines(grams), TABLE, **more)  # type: ignore[arg-type]


def test_the_pear_and_ginger_cake_is_a_high_ratio_cake_in_balance():
    found = of(PEAR_AND_GINGER)

    assert found.family == "high-ratio"
    assert found.outside == ()
    assert found.ratio("sugar : flour").value == pytest.approx(300 / 270)
    assert found.ratio("egg : fat").value == pytest.approx(200 / 160)
    assert found.ratio("liquids : sugar").value == pytest.approx(430 / 300)
    assert found.ratio("sugar : flour").sentence == (
        "Sugar is 111 % of the flour; usual is 100 to 160 %."
    )


def test_a_ratio_outside_says_what_happens():
    found = of(PEAR_AND_GINGER | {"granulated sugar": 460.0})

    assert [ratio.name for ratio in found.outside] == ["sugar : flour"]
    assert found.ratio("sugar : flour").sentence == (
        "Sugar is 170 % of the flour, over the usual 100 to 160 %; the risk is a crumb that sets "
        "late and sinks in the middle, and a sticky crust."
    )


def test_a_ratio_a_hair_outside_is_a_little_outside():
    sentence = of(PEAR_AND_GINGER | {"granulated sugar": 440.0}).ratio("sugar : flour").sentence

    assert sentence.startswith("Sugar is 163 % of the flour, a little over the usual")


def test_the_water_of_fruit_stands_in_for_liquid_that_seems_missing():
    carrot = {"plain flour": 280.0, "sugar": 350.0, "eggs": 200.0, "carrots": 340.0}

    with_carrots = of(carrot).ratio("liquids : sugar")
    without = of({k: v for k, v in carrot.items() if k != "carrots"}).ratio("liquids : sugar")

    # USDA SR 28 record 11124: 88.29 g of water in 100 g of carrots.
    assert with_carrots.sentence == (
        "Eggs and liquids are 57 % of the sugar, 143 % with the water in its fruit; usual is 100 to "
        "150 %."
    )
    assert (with_carrots.stands, without.stands) == ("inside", "below")


def test_every_rule_with_a_range_says_what_happens_on_both_sides():
    for rule in RULES:
        if rule.high_ratio is not None or rule.low_ratio is not None:
            assert rule.below, rule.name
            assert rule.above, rule.name
        for usual in (rule.high_ratio, rule.low_ratio):
            assert usual is None or usual.source, rule.name


def test_equal_weights_of_four_make_a_low_ratio_cake():
    assert of(POUND).family == "low-ratio"
    assert of(POUND | {"sugar": 260.0}).family == "high-ratio"


def test_a_sponge_is_judged_by_neither_family_and_its_tartar_is_no_fault():
    found = of(SPONGE)

    assert found.family == "foam"
    assert found.outside == ()
    assert found.ratio("sugar : flour").sentence == (
        "Sugar is 100 % of the flour; the two families' rules do not ask."
    )
    assert found.ratio("egg : fat").value is None
    assert found.leavening.stands == "none"
    assert "beaten egg" in found.leavening.sentence


def test_a_frosting_is_asked_nothing():
    found = of(FROSTING)

    assert found.family is None
    assert found.outside == ()
    assert {ratio.sentence for ratio in found.ratios} == {"Not asked of a formula without flour."}


def test_a_line_without_a_mass_given_counts_with_its_target():
    assert balance({}, lines(PEAR_AND_GINGER), TABLE) == of(PEAR_AND_GINGER)


def test_what_is_told_from_a_name_is_said():
    found = of(POUND | {"brown butter": 50.0})

    assert found.amounts.fat_kg == pytest.approx(0.3)
    assert found.assumed == (
        "brown butter is not in the ingredient table; counted as fat from its name.",
    )
    assert found.water_unknown == ("brown butter",)
    assert "at least" in found.ratio("water : flour").sentence


def test_nothing_is_assumed_of_an_ingredient_of_the_kitchens_own():
    grams = POUND | {"brown butter": 50.0}
    found = balance(kilograms(grams), lines(grams), pantry(BROWN_BUTTER))

    assert found.assumed == ()
    assert found.water_unknown == ()


def test_dry_milk_and_dried_egg_are_no_liquids():
    found = of(POUND | {"nonfat dry milk": 30.0, "dried whole egg": 30.0, "milk powder": 30.0})

    assert found.amounts.liquids_kg == pytest.approx(0.25)
    assert found.amounts.egg_kg == pytest.approx(0.25)
    assert set(found.uncounted) == {"nonfat dry milk", "dried whole egg", "milk powder"}


def test_condensed_milk_is_no_liquid_for_it_is_mostly_not_water():
    found = of(POUND | {"sweetened condensed milk": 100.0, "evaporated milk": 100.0})

    # USDA SR 28: record 01095 holds 27 % of water, record 01096 74 %.
    assert found.amounts.liquids_kg == pytest.approx(0.25 + 0.100)
    assert found.uncounted == ("sweetened condensed milk",)


def test_the_salt_of_salted_butter_counts():
    salted = {"plain flour": 250.0, "salted butter": 250.0}

    # USDA SR 28 record 01001: 643 mg of sodium in 100 g.
    assert of(salted).amounts.salt_kg == pytest.approx(0.25 * 0.00643 * 2.542, rel=1e-3)


def test_of_chocolate_its_sugar_and_fat_count():
    found = of(POUND | {"semisweet chocolate": 100.0})

    # USDA SR 28 record 19080: 54.5 g of sugars and 30.0 g of fat in 100 g.
    assert found.amounts.sugar_kg == pytest.approx(0.25 + 0.0545, abs=2e-4)
    assert found.amounts.fat_kg == pytest.approx(0.25 + 0.030, abs=2e-4)


def test_cocoa_and_starch_are_no_flour():
    found = of(POUND | {"cocoa": 50.0, "cornstarch": 50.0})

    assert found.amounts.flour_kg == pytest.approx(0.25)
    assert found.amounts.cocoa_kg == pytest.approx(0.05)


@pytest.mark.parametrize(
    ("flour", "given_kind", "soft", "says"),
    [
        ("cake flour", None, True, "cake flour is right"),
        ("plain flour", None, False, "With all-purpose flour the cake may peak"),
        ("plain flour", "cake", True, "cake flour is right"),
        ("flour", None, None, "does not say what kind"),
    ],
)
def test_more_sugar_than_flour_asks_for_a_kind_of_flour(flour, given_kind, soft, says):
    grams = {flour: 200.0, "sugar": 240.0, "eggs": 150.0, "butter": 100.0}

    asked = of(grams, flour_kind=given_kind).flour_asked

    assert asked is not None
    assert asked.soft_enough is soft
    assert says in asked.sentence


GRAMS = st.floats(0.5, 5000.0)
CAKES = st.fixed_dictionaries(dict.fromkeys(PEAR_AND_GINGER, GRAMS))


@given(CAKES, st.floats(0.01, 100.0))
def test_scaling_all_masses_leaves_every_ratio(grams, factor):
    found = of(grams)
    scaled = of({name: mass * factor for name, mass in grams.items()}, family=found.family)

    for old, new in zip(found.ratios, scaled.ratios, strict=True):
        assert new.value == pytest.approx(old.value, rel=1e-9)
        assert new.sentence == old.sentence or abs(new.value / old.value - 1) < 1e-12
    assert scaled.leavening.stands == found.leavening.stands


@given(CAKES, st.randoms())
def test_the_order_of_lines_changes_nothing(grams, shuffle):
    names = list(grams)
    shuffle.shuffle(names)

    found, other = of(grams), of({name: grams[name] for name in names})

    assert other.amounts == found.amounts
    assert other.ratios == found.ratios
    assert other.family == found.family


def test_an_over_pour_says_what_it_does_and_keeps_the_family():
    pound = of(POUND)
    over = of(POUND | {"sugar": 290.0}, family=pound.family)

    assert changes(pound, over) == (
        "Sugar from 100 % to 116 % of the flour, over the usual 50 to 100 %; the risk is a crumb "
        "that sets late and sinks in the middle, and a sticky crust.",
    )


def test_an_over_pour_that_stays_usual_is_said_to_do_so():
    before = of(PEAR_AND_GINGER)
    after = of(PEAR_AND_GINGER | {"granulated sugar": 306.0}, family=before.family)

    assert changes(before, after) == (
        "Sugar from 111 % to 113 % of the flour: still usual.",
        "Eggs and liquids from 143 % to 141 % of the sugar: still usual.",
    )


def test_a_hair_more_hardly_changes_the_balance():
    before = of(PEAR_AND_GINGER)
    after = of(PEAR_AND_GINGER | {"cake flour": 271.0}, family=before.family)

    assert changes(before, after) == ("The balance hardly changes.",)


def test_too_much_soda_is_among_the_changes():
    grams = PEAR_AND_GINGER | {"baking soda": 2.0}
    before = of(grams)
    after = of(grams | {"baking soda": 6.0}, family=before.family)

    assert before.leavening.stands == "match"
    assert any("soapy" in sentence for sentence in changes(before, after))


def test_a_balance_is_written_as_plain_json():
    document = of(PEAR_AND_GINGER).to_json()

    assert document["ratios"][0]["usual"]["high"] == 1.6
    assert document["leavening"]["acids"][0]["counted_as"] == "fermented milk"


@pytest.mark.parametrize(
    ("value", "place"), [(0.9, "inside"), (0.899, "below"), (1.1, "inside"), (1.101, "above")]
)
def test_the_ends_of_a_range_belong_to_it(value, place):
    assert Range(0.9, 1.1, "").place(value) == place
