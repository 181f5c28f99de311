"""Allergens against the two legal lists.

United States: Food Allergen Labeling and Consumer Protection Act of 2004 (milk, egg, fish,
Crustacean shellfish, tree nuts, wheat, peanuts, soybeans) and FASTER Act of 2021 (sesame); tree
nuts of FDA's Questions and Answers Regarding Food Allergens, edition 5 (January 2025), appendix I,
read as quoted by Penn State Extension. European Union: Regulation (EU) No 1169/2011, Annex II,
read in reproductions (secondary source).
"""

from __future__ import annotations

import pytest

from logger.formula.allergens import EU_14, FDA_9, GROUPS, allergens
from logger.formula.kinds import kinded
from logger.formula.pantry import Pantry
from logger.ingredient import Ingredient
from logger.pantry import shipped
from logger.plan import Line


def groups_of(*words: str) -> tuple[set[str], set[str]]:
    table = Pantry([Ingredient("thing", "written by the kitchen", allergens=words)])
    found = allergens(kinded([Line("thing", "thing", "1 g", 0.001, 0.0001)], table))
    return {group.name for group in found.fda}, {group.name for group in found.eu}


def groups_of_table(name: str) -> tuple[set[str], set[str]]:
    found = allergens(kinded([Line(name, name, "1 g", 0.001, 0.0001)], shipped()))
    assert found.unknown == ()
    return {group.name for group in found.fda}, {group.name for group in found.eu}


def test_the_american_list_has_nine_and_the_european_fourteen():
    assert len(FDA_9) == len(set(FDA_9)) == 9
    assert len(EU_14) == len(set(EU_14)) == 14
    assert {fda for fda, _ in GROUPS.values()} - {None} == set(FDA_9)
    assert {eu for _, eu in GROUPS.values()} - {None} == set(EU_14)


@pytest.mark.parametrize("cereal", ["barley", "rye", "oats"])
def test_barley_rye_and_oats_hold_gluten_in_europe_and_are_no_wheat_in_america(cereal):
    assert groups_of(cereal) == (set(), {"cereals containing gluten"})


@pytest.mark.parametrize("cereal", ["wheat", "spelt", "khorasan"])
def test_wheat_of_any_kind_is_in_both(cereal):
    assert groups_of(cereal) == ({"wheat"}, {"cereals containing gluten"})


@pytest.mark.parametrize(
    ("word", "group"),
    [
        ("molluscs", "molluscs"),
        ("sulphites", "sulphur dioxide and sulphites"),
        ("celery", "celery"),
        ("mustard", "mustard"),
        ("lupin", "lupin"),
    ],
)
def test_five_groups_are_european_only(word, group):
    assert groups_of(word) == (set(), {group})


@pytest.mark.parametrize(
    "nut",
    ["almond", "hazelnut", "walnut", "cashew", "pecan", "Brazil nut", "pistachio", "macadamia"],
)
def test_the_eight_nuts_of_the_annex_are_nuts_in_both(nut):
    assert groups_of(nut) == ({"tree nuts"}, {"nuts"})


def test_the_american_list_of_nuts_is_longer():
    assert groups_of("pine nut") == ({"tree nuts"}, set())


def test_coconut_is_a_nut_in_neither_since_2025():
    assert groups_of("coconut") == (set(), set())


def test_peanuts_are_no_tree_nuts():
    assert groups_of("peanut") == ({"peanuts"}, {"peanuts"})


def test_crustaceans_are_in_both():
    assert groups_of("crustaceans") == ({"crustacean shellfish"}, {"crustaceans"})


@pytest.mark.parametrize(
    ("name", "fda", "eu"),
    [
        ("cake flour", {"wheat"}, {"cereals containing gluten"}),
        ("dark rye flour", set(), {"cereals containing gluten"}),
        ("butter", {"milk"}, {"milk"}),
        ("heavy cream", {"milk"}, {"milk"}),
        ("buttermilk", {"milk"}, {"milk"}),
        ("cream cheese", {"milk"}, {"milk"}),
        ("plain yogurt", {"milk"}, {"milk"}),
        ("eggs", {"egg"}, {"eggs"}),
        ("egg yolks", {"egg"}, {"eggs"}),
        ("Nuts, almond paste", {"tree nuts"}, {"nuts"}),
        ("full-fat soy flour", {"soybeans"}, {"soybeans"}),
        ("cornstarch", set(), set()),
        ("sugar", set(), set()),
        ("cocoa powder", set(), set()),
        ("baking soda", set(), set()),
    ],
)
def test_ingredients_of_the_shipped_table_by_definition(name, fda, eu):
    assert groups_of_table(name) == (fda, eu)
