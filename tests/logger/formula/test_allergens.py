"""Allergens: what brings them, what is unknown, and what a name speaks of."""

from __future__ import annotations

import pytest
from kitchen_lines import BROWN_BUTTER, FROSTING, PEAR_AND_GINGER, lines, pantry

from logger.formula.allergens import SAFETY, Allergens, allergens, presumed, stated
from logger.formula.kinds import kinded
from logger.ingredient import Ingredient
from logger.plan import Line


def of(names, *own: Ingredient) -> Allergens:
    return allergens(kinded(lines(dict.fromkeys(names, 10.0)), pantry(*own)))


def test_each_group_names_the_lines_that_bring_it():
    found = of(PEAR_AND_GINGER)

    assert {group.name: group.lines for group in found.fda} == {
        "milk": ("butter", "buttermilk"),
        "egg": ("whole egg",),
        "wheat": ("cake flour",),
    }
    assert [group.name for group in found.eu] == ["cereals containing gluten", "eggs", "milk"]
    assert found.unknown == ()
    assert found.sentences[-1] == SAFETY


def test_an_unknown_line_is_said_and_what_its_name_speaks_of():
    found = of(FROSTING)

    assert found.unknown == ("brown butter",)
    assert found.presumed == {"brown butter": ("milk",)}
    assert "Not known for brown butter: read the label before anybody is told." in found.sentences
    assert "The name of brown butter speaks of milk; it may hold more." in found.sentences


def test_nothing_is_called_free_of_allergens_while_a_line_is_unknown():
    found = of(["sparkle dust", "sugar"])

    assert (
        found.sentences[0] == "Of the 9 of the United States, the lines that are known name none."
    )
    assert of(["sugar"]).sentences[0] == "Of the 9 of the United States, the table names none."


def test_an_ingredient_of_the_kitchens_own_that_states_nothing_is_unknown():
    silent = Ingredient("house crumble", "made here")
    free = Ingredient("house syrup", "made here", allergens=("none",))

    assert stated(silent) is None
    assert stated(free) == ()
    assert of(["house crumble", "house syrup"], silent, free).unknown == ("house crumble",)


def test_a_kitchen_that_quotes_the_table_has_still_stated_nothing():
    quoting = Ingredient("house nuts", "own.ingredients.toml, house nuts: USDA SR 28, record 12061")

    assert stated(quoting) is None


def test_every_row_of_the_shipped_table_states_its_allergens():
    assert all(stated(row) is not None for row in pantry())


def test_what_the_kitchen_states_is_taken_as_it_is():
    found = of(["brown butter"], BROWN_BUTTER)

    assert found.unknown == ()
    assert [group.name for group in found.fda] == ["milk"]


def test_a_word_in_neither_list_is_still_said():
    kiwi = Ingredient("kiwi purée", "made here", allergens=("kiwi", "Soya"))
    found = of(["kiwi purée"], kiwi)

    assert [group.name for group in found.in_no_list] == ["kiwi"]
    assert [group.name for group in found.eu] == ["soybeans"]
    assert "In neither list, but stated: kiwi." in found.sentences


def test_sulphites_come_with_the_limit_of_the_law():
    pear = Ingredient("dried pear", "label of the packet", allergens=("sulphites",))
    found = of(["dried pear"], pear)

    assert found.fda == ()
    assert any("above 10 mg" in sentence for sentence in found.sentences)


def test_a_line_to_taste_counts_too():
    found = allergens(kinded([Line("butter", "butter", "to taste", None, None)], pantry()))

    assert [group.name for group in found.fda] == ["milk"]


@pytest.mark.parametrize(
    ("name", "kind", "words"),
    [
        ("brown butter", "fat", ("milk",)),
        ("cocoa butter", "fat", ()),
        ("oat milk", "milk", ("oats",)),
        ("almond milk", "milk", ("almond",)),
        ("flour", "flour", ("wheat",)),
        ("rice flour", "flour", ()),
        ("spelt flour", "flour", ("spelt",)),
        ("rye flour", "flour", ("rye",)),
        ("gluten-free flour", "flour", ()),
        ("quail eggs", "egg", ("egg",)),
        ("toasted hazelnuts", "nut", ("hazelnut",)),
        ("nutmeg", "flavour", ()),
        ("coconut", "other", ()),
    ],
)
def test_a_name_speaks_of_an_allergen_and_never_of_its_absence(name, kind, words):
    assert presumed(name, kind) == words
