"""Ingredients are found by exact names; likeness only suggests."""

import pytest

from logger.formula.own import KINDS
from logger.formula.pantry import Pantry
from logger.ingredient import Ingredient
from logger.pantry import shipped


def key(name):
    return " ".join(name.casefold().replace("-", " ").replace(",", " ").split())


def test_a_name_is_found_whatever_its_capitals_hyphens_and_apostrophes():
    pantry = shipped()

    for name in ("Cake Flour", "cake  flour", "all purpose flour", "confectioners’ sugar"):
        assert pantry.find(name) is not None
    assert pantry.find("Wheat flour, white, cake, enriched") is pantry.find("cake flour")


@pytest.mark.parametrize(
    ("written", "plain"),
    [
        ("chopped walnuts", "walnuts"), ("softened butter", "butter"), ("beaten eggs", "eggs"),
        ("room-temperature eggs", "eggs"), ("grated carrots", "carrots"), ("pecan halves", "pecans"),
        ("sifted icing sugar", "icing sugar"), ("light brown sugar, packed", "light brown sugar"),
    ],
)  # fmt: skip
def test_a_preparation_is_no_part_of_a_name(written, plain):
    assert shipped().find(plain) is not None
    assert shipped().find(written) is shipped().find(plain)


@pytest.mark.parametrize(
    "name",
    # Near to something in the table, and something else.
    ["flour", "cak flour", "double cream", "black treacle", "brown butter", "almond flour",
     "self-raising flour", "instant yeast", "salted", "", "dark chocolate"],
)  # fmt: skip
def test_a_near_miss_is_not_found(name):
    assert shipped().find(name) is None


@pytest.mark.parametrize(
    ("typo", "meant"),
    [
        ("cak flour", "cake flour"), ("buttre", "butter"), ("bakin powder", "baking powder"),
        ("rasins", "raisins"), ("granulted sugar", "granulated sugar"), ("vanila", "vanilla"),
    ],
)  # fmt: skip
def test_a_typo_is_met_with_what_is_near(typo, meant):
    near = shipped().near(typo)

    assert near[0] == meant
    assert len(near) <= 3


def test_suggestions_are_different_ingredients_and_none_where_nothing_is_like():
    rows = [shipped().find(name) for name in shipped().near("flour")]

    assert len({row.name for row in rows if row}) == 3
    assert shipped().near("quinoa") == []


def test_no_two_rows_of_the_table_share_a_name():
    taken = {}
    for row in shipped():
        for name in {key(n) for n in (row.name, *row.aliases)}:
            assert taken.setdefault(name, row.name) == row.name, name


def test_every_row_has_a_kind_and_every_flour_its_kind_of_flour():
    for row in shipped():
        assert row.kind in KINDS
        assert (row.flour_kind is not None) == (row.kind == "flour"), row.name


def test_frozen_rows_give_the_same_ingredients_without_the_table():
    names = ["butter", "large eggs", "coarse salt", "unknown thing", "Butter"]

    frozen = Pantry.of_rows(shipped().rows_for(names))

    assert len(frozen) == 3
    for name in names:
        assert frozen.find(name) == shipped().find(name)


def test_a_kitchens_own_ingredient_wins_and_survives_freezing():
    own = Ingredient("butter", "our dairy", aliases=("spread",), kind="fat")
    pantry = shipped().plus([own])

    assert pantry.find("butter") == own
    assert pantry.find("unsalted butter") == shipped().find("unsalted butter")
    frozen = Pantry.of_rows(pantry.rows_for(["unsalted butter", "butter"]))
    assert frozen.find("butter") == own
    assert frozen.find("unsalted butter") == shipped().find("unsalted butter")


def test_a_kitchens_own_flour_needs_no_question():
    pantry = shipped().plus([Ingredient("flour", "our mill")])

    assert shipped().ask("Flour") is not None
    assert pantry.ask("Flour") is None
    assert pantry.ask("oats") is not None
