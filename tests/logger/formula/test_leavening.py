"""Acids and soda: how much is taken up, what is left over, what that does."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from kitchen_lines import lines, pantry

from logger.formula.kinds import kinded
from logger.formula.leavening import ACIDS, Leavening, leavening

TABLE = pantry()


def of(grams: dict[str, float], flour: float = 250.0) -> Leavening:
    items = kinded(lines(grams), TABLE)
    return leavening([(item, grams[item.line.key] / 1000) for item in items], flour / 1000)


@pytest.mark.parametrize(
    ("name", "counted_as", "soda_g_per_kg"),
    [
        ("buttermilk", "fermented milk", 2300 / 245),
        ("sour cream", "fermented milk", 2300 / 245),
        ("plain yogurt", "fermented milk", 2300 / 245),
        ("kefir", "fermented milk", 2300 / 245),
        ("cocoa", "natural cocoa", 70.0),
        ("molasses", "molasses", 4600 / 337),
        ("honey", "honey", 1150 / 339),
        ("brown sugar", "brown sugar", 460 / 337),
        ("cream of tartar", "cream of tartar", 446.4),
        ("lemon juice", "lemon or lime juice", 65.6),
        ("cider vinegar", "vinegar", 69.9),
    ],
)
def test_each_acid_takes_up_its_soda(name, counted_as, soda_g_per_kg):
    (acid,) = of({name: 1000.0}).acids

    assert acid.counted_as == counted_as
    assert acid.soda_kg * 1000 == pytest.approx(soda_g_per_kg, rel=2e-3)
    assert acid.source


@pytest.mark.parametrize(
    "name",
    [
        "dutch-process cocoa", "Dutch cocoa", "alkalized cocoa", "cocoa butter", "milk", "butter",
        "cream cheese", "sugar", "milk chocolate", "cake flour", "honey extract",
    ],
)  # fmt: skip
def test_no_soda_is_asked_for_what_is_not_sour(name):
    assert of({name: 1000.0}).acids == ()


def test_soda_that_matches_its_buttermilk_is_a_match():
    found = of({"buttermilk": 245.0, "baking soda": 2.3})

    assert found.stands == "match"
    assert found.sentence == (
        "Fermented milk takes up about 2.3 g of soda and there is 2.3 g: they match."
    )


def test_soda_without_acid_is_left_over():
    found = of({"milk": 245.0, "baking soda": 3.0})

    assert found.stands == "soda left"
    assert found.left_soda_kg == pytest.approx(0.003)
    assert found.sentence == (
        "There is 3.0 g of soda and no acid counted for it: soda left over can taste soapy, yellow "
        "the crumb and coarsen it."
    )


def test_acid_without_soda_is_left_over_and_the_swap_is_told():
    found = of({"buttermilk": 230.0, "baking powder": 10.0})

    assert found.stands == "acid left"
    assert found.sentence == (
        "Fermented milk takes up about 2.2 g of soda and there is none: acid left over can keep "
        "the cake sour, pale and tight. 2.2 g of soda in place of 7.4 g of the baking powder would "
        "take it up."
    )


def test_no_swap_is_told_where_there_is_not_enough_baking_powder():
    assert "in place of" not in of({"buttermilk": 230.0, "baking powder": 5.0}).sentence


def test_two_acids_are_said_together():
    found = of({"buttermilk": 245.0, "cocoa": 50.0, "baking soda": 5.0})

    assert found.sentence.startswith("Fermented milk and natural cocoa take up about 5.8 g")
    assert found.stands == "match"


def test_a_trifle_is_not_worth_a_word():
    assert of({"honey": 20.0}).stands == "none"


def test_without_flour_nothing_is_judged():
    assert of({"lemon juice": 50.0}, flour=0.0).stands == "none"


def test_all_leavening_counts_as_baking_powder():
    matched = of({"baking powder": 5.0, "baking soda": 2.3, "buttermilk": 245.0})

    assert matched.equivalent_kg * 1000 == pytest.approx(5 + 2.3 * 24 / 7)


def test_yeast_ammonium_and_self_raising_flour_are_named_as_not_counted():
    found = of({"active dry yeast": 5.0, "baker's ammonium": 2.0, "self-raising flour": 250.0})

    assert found.uncounted == ("active dry yeast", "baker's ammonium", "self-raising flour")
    assert found.equivalent_kg == 0


def test_every_acid_rule_names_its_source():
    assert all(rule.source and 0 < rule.soda_share < 1 for rule in ACIDS)


GRAMS = st.floats(0.0, 500.0)


@given(GRAMS, GRAMS, GRAMS)
def test_what_is_left_is_what_is_there_less_what_is_taken_up(soda, buttermilk, powder):
    found = of({"baking soda": soda, "buttermilk": buttermilk, "baking powder": powder})

    assert found.left_soda_kg - found.left_acid_kg == pytest.approx(
        found.soda_kg - found.needed_kg, abs=1e-12
    )
    assert min(found.left_soda_kg, found.left_acid_kg) == 0
    assert found.equivalent_kg >= found.powder_kg
