"""Whole eggs with the smallest change of ratios."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.formula.eggs import egg_pieces, whole_eggs
from logger.formula.scaling import by_factor, to_portions
from logger.ingredient import Ingredient, Portion
from logger.plan import Formula, Line, Makes


class Shelf:
    def __init__(self, *rows: Ingredient) -> None:
        self.rows = {row.name: row for row in rows}

    def find(self, name: str) -> Ingredient | None:
        return self.rows.get(name)


EGG = Ingredient("whole egg", "invented", kind="egg", portions=(Portion(1, "large", 50.0),))
SHELF = Shelf(EGG)


def cake(*eggs: Line) -> Formula:
    flour = Line("flour", "flour", "300 g", 0.3, 0.003)
    return Formula("Cake", (flour, *eggs), makes=Makes(None, 2, 0.5))


def counted(key: str, number: int, word: str, piece_kg: float) -> Line:
    kg = number * piece_kg
    return Line(key, key, f"{number} {word}", kg, 0.02 * kg, by="count", source="invented")


FOUR = cake(counted("eggs", 4, "large", 0.05))


def test_a_factor_that_is_a_little_off_whole_eggs_is_moved_there():
    scaled = by_factor(FOUR, Fraction(13, 10), SHELF)  # 5.2 eggs

    found = whole_eggs(scaled, SHELF)

    every, eggs = found.ways
    assert every.scaled.factor == Fraction(5, 4)
    assert every.off == pytest.approx(-0.2 / 5.2)
    assert eggs.pieces == {"eggs": 5}
    assert eggs.off == pytest.approx(5 / 5.2 - 1)
    assert found.chosen is every
    assert every.scaled.formula.lines[0].target_kg == pytest.approx(0.375)
    assert every.scaled.formula.lines[1].amount == "5 large"
    assert every.sentence == (
        "To whole pieces (eggs: 5 large): × 1.25 in place of × 1.3, all ratios kept, "
        "the whole −3.8 %."
    )
    assert eggs.sentence == (
        "To whole pieces (eggs: 5 large), the rest as scaled: −3.8 % of them against the rest."
    )


def test_where_yolks_and_whites_do_not_come_out_together_only_they_are_rounded():
    formula = cake(counted("yolks", 5, "yolks", 0.017), counted("whites", 3, "whites", 0.033))
    scaled = by_factor(formula, Fraction(6, 5), SHELF)  # 6 yolks, 3.6 whites

    found = whole_eggs(scaled, SHELF)

    every, eggs = found.ways
    assert every.pieces == {"yolks": 5, "whites": 3}
    assert every.off == pytest.approx(-1 / 6)
    assert eggs.pieces == {"yolks": 6, "whites": 4}
    assert eggs.off == pytest.approx(4 / 3.6 - 1)
    assert found.chosen is eggs
    assert eggs.scaled.formula.lines[0].target_kg == pytest.approx(0.36)
    assert [x.amount for x in eggs.scaled.formula.lines[1:]] == ["6 yolks", "4 whites"]


def test_eggs_that_are_whole_already_change_nothing():
    found = whole_eggs(by_factor(FOUR, Fraction(3, 2), SHELF), SHELF)

    assert [way.off for way in found.ways] == [0, 0]
    assert found.chosen.name == "all"
    assert found.chosen.scaled.warnings == ()


def test_one_egg_is_the_least():
    found = whole_eggs(by_factor(FOUR, Fraction(1, 20), SHELF), SHELF)

    assert all(way.pieces == {"eggs": 1} for way in found.ways)


def test_eggs_written_as_a_mass_are_counted_by_the_weight_of_a_large_one():
    formula = cake(Line("whole egg", "whole egg", "200 g", 0.2, 0.004))

    (pieces,) = egg_pieces(formula, SHELF)
    found = whole_eggs(by_factor(formula, Fraction(11, 10), SHELF), SHELF)

    assert pieces.count == 4
    line = found.ways[1].scaled.formula.lines[1]
    assert (line.amount, line.by, line.source) == ("4 large", "count", "invented")
    assert line.target_kg == pytest.approx(0.2)


def test_portions_follow_a_moved_factor_unless_they_were_asked_for():
    twelve = replace(FOUR, makes=Makes(portions=12))

    by_number = whole_eggs(to_portions(twelve, 16, SHELF), SHELF)
    by_share = whole_eggs(by_factor(twelve, Fraction(4, 3), SHELF), SHELF)

    assert by_number.ways[0].scaled.factor == by_share.ways[0].scaled.factor == Fraction(5, 4)
    assert by_number.ways[0].scaled.formula.makes.portions == 16
    assert by_share.ways[0].scaled.formula.makes.portions == 15


def test_white_chocolate_is_no_egg():
    chocolate = Ingredient("white chocolate", "invented", kind="chocolate")
    formula = cake(counted("white chocolate", 2, "bars", 0.1))

    assert egg_pieces(formula, Shelf(chocolate)) == ()
    assert whole_eggs(by_factor(formula, Fraction(3, 2), SHELF), Shelf(chocolate)) is None


def test_the_batter_in_a_pan_follows_a_moved_factor():
    scaled = by_factor(FOUR, Fraction(13, 10), SHELF)

    found = whole_eggs(scaled, SHELF)

    assert scaled.formula.makes.batter_per_pan_kg == pytest.approx(0.65)
    assert found.ways[0].scaled.formula.makes.batter_per_pan_kg == pytest.approx(0.625)
    assert found.ways[1].scaled.formula.makes.batter_per_pan_kg == pytest.approx(0.65)


@given(st.fractions(Fraction(1, 4), 8, max_denominator=200), st.integers(1, 12), st.integers(1, 12))
def test_both_ways_are_whole_and_the_smaller_change_is_chosen(factor, yolks, whites):
    formula = cake(counted("yolks", yolks, "yolks", 0.017), counted("whites", whites, "w", 0.033))

    found = whole_eggs(by_factor(formula, factor, SHELF), SHELF)

    assert abs(found.chosen.off) == min(abs(way.off) for way in found.ways)
    every, eggs = found.ways
    ratio = {line.key: line.target_kg for line in every.scaled.formula.lines}
    assert ratio["yolks"] / ratio["flour"] == pytest.approx(yolks * 0.017 / 0.3)
    for way in (every, eggs):
        for line, piece in (("yolks", 0.017), ("whites", 0.033)):
            kg = next(x.target_kg for x in way.scaled.formula.lines if x.key == line)
            assert kg / piece == pytest.approx(way.pieces[line])
            assert way.pieces[line] >= 1
