"""Scaling: there and back, to pans, portions, totals, and what there is least of."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.formula.pans import parse_pan
from logger.formula.repanning import scale_to_pans
from logger.formula.scaling import (
    ScalingError,
    by_factor,
    to_least,
    to_portions,
    to_total,
    total_kg,
)
from logger.ingredient import Ingredient
from logger.plan import Formula, Line, Makes


class Shelf:
    """Finds nothing: what the lines are is told from their names."""

    def find(self, name: str) -> Ingredient | None:
        return None


SHELF = Shelf()
CAKE = Formula(
    "Pear and ginger layer cake",
    (
        Line("cake flour", "cake flour", "270 g", 0.27, 0.0027, "dry"),
        Line("sugar", "sugar", "1 1/2 cups", 0.3, 0.003, "dry", by="measure", spread_kg=0.01),
        Line("baking powder", "baking powder", "10 g", 0.01, 0.0005, "dry"),
        Line("salt", "salt", "4 g", 0.004, 0.001, "dry"),
        Line("eggs", "eggs", "4 large", 0.2, 0.004, "wet", by="count", spread_kg=0.003),
        Line("pepper", "pepper", "to taste", None, None),
    ),
    makes=Makes(parse_pan("round 200 x 50 mm"), 2, 0.66, 12),
)
FACTORS = st.fractions(Fraction(1, 50), 50, max_denominator=1000)


def targets(formula: Formula) -> dict[str, float | None]:
    return {line.key: line.target_kg for line in formula.lines}


@given(FACTORS, st.lists(st.integers(1, 4_000_000), min_size=1, max_size=8))
def test_there_and_back_is_the_same_formula(factor, milligrams):
    lines = tuple(
        Line(str(i), "flour", f"{mg} mg", mg / 1e6, max(1e-4, 0.01 * mg / 1e6))
        for i, mg in enumerate(milligrams)
    )
    formula = Formula("any", lines)

    there = by_factor(formula, factor, SHELF)
    back = by_factor(there.formula, 1 / factor, SHELF)

    for was, now in zip(formula.lines, back.formula.lines, strict=True):
        assert now.target_kg == pytest.approx(was.target_kg, rel=3e-16, abs=0)


def test_there_and_back_keeps_pieces_pans_and_portions_too():
    back = by_factor(by_factor(CAKE, Fraction(3, 2), SHELF).formula, Fraction(2, 3), SHELF)

    assert targets(back.formula) == targets(CAKE)
    assert back.formula.makes == CAKE.makes
    assert (back.formula.lines[4].amount, back.formula.lines[4].by) == ("4 large", "count")
    assert back.formula.lines[4].spread_kg == pytest.approx(0.003)
    assert [line.tolerance_kg for line in back.formula.lines] == [
        line.tolerance_kg for line in CAKE.lines
    ]


@given(FACTORS)
def test_every_line_keeps_its_share(factor):
    scaled = by_factor(CAKE, factor, SHELF)

    for was, now in zip(CAKE.lines, scaled.formula.lines, strict=True):
        if was.target_kg is not None:
            assert now.target_kg / was.target_kg == pytest.approx(float(factor), rel=1e-14)
    assert float(total_kg(scaled.formula) / total_kg(CAKE)) == pytest.approx(float(factor))


def test_a_measure_becomes_grams_and_whole_pieces_stay_pieces():
    scaled = by_factor(CAKE, Fraction(3, 2), SHELF).formula

    sugar, eggs = scaled.lines[1], scaled.lines[4]
    assert (sugar.amount, sugar.by, sugar.spread_kg) == ("450 g", "mass", None)
    assert (eggs.amount, eggs.by) == ("6 large", "count")
    assert eggs.spread_kg == pytest.approx(0.003 * 1.5**0.5)  # pieces scatter each for itself


def test_pieces_that_are_no_simple_fraction_become_grams():
    scaled = by_factor(CAKE, Fraction(81, 64), SHELF).formula

    assert scaled.lines[4].amount == "253.125 g"
    assert scaled.lines[4].by == "mass"


def test_a_broken_egg_is_warned_of():
    scaled = by_factor(CAKE, Fraction(9, 8), SHELF)

    assert scaled.formula.lines[4].amount == "4 1/2 large"
    assert "eggs: 4 1/2 large; beat 5 and weigh 225 g, or ask for whole eggs." in scaled.warnings


def test_an_own_tolerance_is_scaled_and_one_by_class_is_made_anew():
    scaled = by_factor(CAKE, Fraction(1, 2), SHELF).formula

    assert scaled.lines[3].tolerance_kg == pytest.approx(0.0005)  # its own
    assert scaled.lines[0].tolerance_kg == pytest.approx(0.00135)  # 1 % of 135 g


def test_the_floor_of_the_tolerance_is_warned_of():
    scaled = by_factor(CAKE, Fraction(1, 20), SHELF)

    assert scaled.formula.lines[3].tolerance_kg == 0.0001
    assert any("salt: its tolerance stays at ±0.1 g, which is 50 %" in w for w in scaled.warnings)
    assert any("salt: 0.2 g is less than a bench scale weighs" in w for w in scaled.warnings)


def test_a_large_factor_warns_of_the_leaveners_and_a_small_one_does_not():
    large, small = by_factor(CAKE, Fraction(6), SHELF), by_factor(CAKE, Fraction(2), SHELF)

    assert any("baking powder may not act in proportion" in w for w in large.warnings)
    assert not any("proportion" in w for w in small.warnings)


def test_what_has_no_mass_stays_as_written():
    assert by_factor(CAKE, Fraction(2), SHELF).formula.lines[5] == CAKE.lines[5]


@pytest.mark.parametrize("factor", [Fraction(0), Fraction(-1, 2)])
def test_a_factor_that_is_not_above_nothing_is_refused(factor):
    with pytest.raises(ScalingError, match="leaves nothing"):
        by_factor(CAKE, factor, SHELF)


def test_a_million_tonnes_are_refused():
    with pytest.raises(ScalingError, match="more than a kitchen weighs"):
        to_total(CAKE, 1e9, SHELF)


def test_to_portions():
    scaled = to_portions(CAKE, 24, SHELF)

    assert scaled.factor == 2
    assert scaled.formula.makes.portions == 24
    assert scaled.formula.makes.pans == 4
    assert scaled.sentences == ("From 12 to 24 portions: × 2.",)


def test_to_portions_of_a_formula_that_does_not_say_how_many_it_makes():
    with pytest.raises(ScalingError, match=r"does not say how many.*portions = 12"):
        to_portions(Formula("Frosting", CAKE.lines), 24, SHELF)


def test_more_batter_in_the_same_pans_is_warned_of():
    more, much_more = by_factor(CAKE, Fraction(6, 5), SHELF), by_factor(CAKE, Fraction(9, 4), SHELF)

    assert more.of_pans == ()
    assert much_more.formula.makes.batter_per_pan_kg == pytest.approx(1.485)
    assert much_more.warnings[0].startswith("The pan overflows")


def test_to_a_total_names_what_has_no_mass():
    scaled = to_total(CAKE, 1.568, SHELF)

    assert float(total_kg(scaled.formula)) == pytest.approx(1.568, rel=1e-12)
    assert scaled.sentences == ("From 784 g to 1568 g in all: × 2. Without pepper.",)


def test_to_what_there_is_least_of():
    scaled = to_least(CAKE, {"cake flour": 0.5, "sugar": 0.4, "eggs": 0.4}, SHELF)

    assert scaled.factor == Fraction(4, 3)
    assert scaled.sentences == (
        "Sugar runs out first: there are 400 g and the formula takes 300 g, "
        "so every line × 1.3333.",
    )
    assert targets(scaled.formula)["sugar"] == 0.4


@pytest.mark.parametrize(
    ("available", "says"),
    [
        ({"lard": 1.0}, "has no line 'lard'; its lines are cake flour, sugar"),
        ({"pepper": 1.0}, "pepper has no mass"),
        ({"sugar": 0.0}, "no sugar at all"),
        ({}, "nothing is said"),
    ],
)
def test_what_there_is_least_of_must_be_a_line_with_a_mass(available, says):
    with pytest.raises(ScalingError, match=says):
        to_least(CAKE, available, SHELF)


def test_to_other_pans_the_batter_stays_as_deep():
    """8 in → 9 in: the areas are as 64 to 81, so the factor is exactly 81/64 = 1.265625."""
    eight = Formula("Cake", CAKE.lines, makes=Makes(parse_pan("round 8 x 2 in"), 2, 0.66, 12))

    scaled = scale_to_pans(eight, parse_pan("round 9 x 2 in"), 2, SHELF)

    assert scaled.factor == Fraction(81, 64)
    assert scaled.formula.makes.batter_per_pan_kg == pytest.approx(0.66 * 1.265625)
    assert scaled.formula.makes.portions == 15
    assert "the batter as deep as before (about 24 mm): × 1.2656." in scaled.sentences[0]
    assert "full" in scaled.sentences[1]


def test_other_pans_and_back_is_the_same_formula():
    there = scale_to_pans(CAKE, parse_pan("rectangle 230 x 330 x 50 mm"), 1, SHELF)

    back = scale_to_pans(there.formula, parse_pan("round 200 x 50 mm"), 2, SHELF)

    for was, now in zip(CAKE.lines, back.formula.lines, strict=True):
        if was.target_kg is not None:
            assert now.target_kg == pytest.approx(was.target_kg, rel=1e-12)


def test_a_shallow_pan_that_overflows_is_warned_of():
    scaled = scale_to_pans(CAKE, parse_pan("round 230 x 20 mm"), 2, SHELF)

    assert scaled.warnings[0].startswith("The pan overflows")


def test_a_pan_without_a_depth_leaves_the_fill_open():
    pan = parse_pan("round 230 x 50 mm")
    flat = type(pan)("round", diameter_m=pan.diameter_m)

    scaled = scale_to_pans(CAKE, flat, 2, SHELF)

    assert scaled.factor == Fraction(23, 20) ** 2
    assert scaled.warnings[0].startswith("The new pan's depth is not known")


def test_sloping_sides_are_filled_to_the_same_depth():
    straight = parse_pan("loaf 200 x 90 x 60 mm")
    sloping = type(straight)(
        "loaf", length_m=0.2, width_m=0.09, depth_m=0.06, top_length_m=0.22, top_width_m=0.11
    )
    made = Formula("Loaf", CAKE.lines, makes=Makes(straight, 1, 0.6))

    scaled = scale_to_pans(made, sloping, 1, SHELF)

    assert 1.05 < float(scaled.factor) < 1.2


def test_a_formula_that_does_not_say_its_pan_can_be_told_it():
    bare = Formula("Cake", CAKE.lines)

    with pytest.raises(ScalingError, match="does not say what pan"):
        scale_to_pans(bare, parse_pan("round 230 x 50 mm"), 2, SHELF)
    scaled = scale_to_pans(
        bare, parse_pan("round 200 x 50 mm"), 3, SHELF, was=(parse_pan("round 200 x 50 mm"), 2)
    )

    assert scaled.factor == Fraction(3, 2)
    assert "taken as all lines together" in " ".join(scaled.sentences)
