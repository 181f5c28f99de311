"""What a line is: the table tells it, else words in its name, said as assumed."""

from __future__ import annotations

import pytest
from kitchen_lines import BROWN_BUTTER, lines, pantry

from logger.formula.kinds import kind_by_name, kinded, weighed


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("brown butter", "fat"), ("peanut butter of the house", "nut"), ("buttermilk", "milk"),
        ("cream of tartar", "acid"), ("cream cheese", "cheese"), ("cocoa butter", "fat"),
        ("Dutch cocoa", "cocoa"), ("almond flour", "nut"), ("spelt flour", "flour"),
        ("vanilla sugar", "sugar"), ("vanilla extract", "flavour"), ("lemon juice", "acid"),
        ("stem ginger", "fruit"), ("ground ginger", "flavour"), ("potato starch", "starch"),
        ("golden syrup", "syrup"), ("baking powder", "leavening"), ("sea salt", "salt"),
        ("salted butter", "fat"), ("quail eggs", "egg"), ("strong coffee", "liquid"),
        ("grated pear", "fruit"), ("oat milk", "milk"),
    ],
)  # fmt: skip
def test_words_in_a_name_tell_the_kind(name, kind):
    assert kind_by_name(name) == kind


@pytest.mark.parametrize("name", ["sparkle dust", "eggplant", "saltine", "buttercup", ""])
def test_a_part_of_a_word_tells_nothing(name):
    assert kind_by_name(name) is None


def test_the_table_is_believed_before_the_name():
    butter, unknown = kinded(lines({"butter": 1.0, "brown butter": 1.0}), pantry())

    assert (butter.kind, butter.assumed) == ("fat", False)
    assert (unknown.kind, unknown.assumed, unknown.ingredient) == ("fat", True, None)


def test_an_ingredient_of_the_kitchens_own_is_not_assumed():
    (found,) = kinded(lines({"brown butter": 1.0}), pantry(BROWN_BUTTER))

    assert (found.kind, found.assumed) == ("fat", False)


def test_what_neither_tells_is_other_and_not_assumed():
    (found,) = kinded(lines({"sparkle dust": 1.0}), pantry())

    assert (found.kind, found.assumed) == ("other", False)


def test_masses_are_said_as_a_baker_says_them():
    assert [weighed(kg) for kg in (0.0004, 0.00994, 0.00996, 0.25, 1.326, 12.5)] == [
        "0.4 g", "9.9 g", "10 g", "250 g", "1326 g", "12.50 kg",
    ]  # fmt: skip
