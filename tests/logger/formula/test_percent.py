"""Percentages: sums, scaling, and when a missing flour is an error."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from kitchen_lines import BAKE, FROSTING, PEAR_AND_GINGER, TWO_ROUND_PANS, formula, pantry

from logger.formula.kinds import kinded
from logger.formula.percent import missing_flour, percentages
from logger.plan import Makes, MixingStep, Pan
from logger.quantity import exact

GRAMS = st.integers(1, 5_000_000).map(lambda n: Fraction(n, 1000))
MASSES = st.dictionaries(st.sampled_from("abcdefgh"), GRAMS, min_size=1)


@given(MASSES, st.sets(st.sampled_from("abcdefgh")))
def test_percentages_sum_to_the_total_exactly(masses, flours):
    found = percentages(masses, flours)

    assert sum(found.of_total.values()) == 100
    if found.of_flour is not None:
        assert sum(found.of_flour.values()) == found.total
        assert sum(found.of_flour[key] for key in flours if key in masses) == 100


@given(MASSES, st.integers(1, 1000), st.randoms())
def test_scaling_and_the_order_of_lines_change_no_percentage(masses, factor, shuffle):
    order = list(masses)
    shuffle.shuffle(order)

    found = percentages(masses, {"a", "b"})
    other = percentages({key: masses[key] * factor for key in order}, {"b", "a"})

    assert (other.of_flour, other.of_total, other.total) == (
        found.of_flour,
        found.of_total,
        found.total,
    )


@given(st.integers(0, 10_000_000))
def test_a_tenth_of_a_milligram_is_kept_exactly(tenths):
    assert exact(tenths / 10_000_000) == Fraction(tenths, 10_000_000)


def missing(name: str, grams: dict[str, float], **more: object):
    asked = formula(name, grams, **more)
    return missing_flour(asked, kinded(asked.lines, pantry()))


WITHOUT_FLOUR = {k: v for k, v in PEAR_AND_GINGER.items() if k != "cake flour"}


def test_a_cake_with_flour_misses_none():
    assert missing("Pear and ginger layer cake", PEAR_AND_GINGER, makes=TWO_ROUND_PANS) is None


@pytest.mark.parametrize(
    ("grams", "more"),
    [
        ({"sugar": 100.0, "butter": 100.0}, {}),
        ({"sugar": 100.0, "butter": 100.0, "eggs": 150.0}, {"steps": (BAKE,)}),
        ({"sugar": 100.0, "butter": 100.0}, {"makes": TWO_ROUND_PANS}),
        (WITHOUT_FLOUR, {"steps": (MixingStep("mix"),)}),
    ],
)
def test_a_cake_without_flour_is_told_so_with_a_remedy(grams, more):
    error = missing("Pear and ginger layer cake", grams, **more)

    assert error is not None
    assert "has no flour" in error.what
    assert 'flour = "none"' in error.remedy


@pytest.mark.parametrize(
    ("name", "more"),
    [
        ("Brown-butter cream cheese frosting", {}),
        ("Lemon curd", {}),
        ("Crumb layer of the house", {"steps": (MixingStep("chill"),)}),
        ("Flourless layer", {"flour_kind": "none", "steps": (BAKE,)}),
    ],
)
def test_what_is_meant_to_have_no_flour_is_no_error(name, more):
    assert missing(name, FROSTING, **more) is None


@pytest.mark.parametrize(
    "more", [{"makes": Makes(Pan())}, {"makes": Makes(batter_per_pan_kg=0.5)}, {"steps": (BAKE,)}]
)
def test_whatever_its_name_what_is_baked_is_asked_for_its_flour(more):
    assert missing("Lemon curd", FROSTING, **more) is not None


def test_a_cake_named_after_a_cream_is_still_a_cake():
    assert missing("Sour cream cake", {"sugar": 100.0, "sour cream": 100.0}) is not None
