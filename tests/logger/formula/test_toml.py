"""Formulas written as files are read back as they were."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.document import Document
from logger.formula import read_formula
from logger.formula.scaling import by_factor
from logger.formula.toml import formula_toml
from logger.pantry import shipped
from logger.plan import Formula

PANTRY = shipped()
TEXT = """
name = "Pear and ginger \\"layer\\" cake"
version = 3
flour = "cake"

[makes]
pan = { shape = "round", diameter = "8 in", depth = "50 mm", material = "dark" }
pans = 2
batter_per_pan = "620 g"
portions = 12

[[line]]
ingredient = "cake flour"
amount = "2 2/3 cups"
bowl = "dry"

[[line]]
ingredient = "butter"
amount = "110 g"
tolerance = "3 g"
lot = "L-7"
stock = "250 g"

[[line]]
ingredient = "butter"
amount = "20 g"
note = "for the pans: soft\\tnot melted\\u007f"

[[line]]
ingredient = "whole egg"
amount = "4 large"

[[line]]
ingredient = "house \\\\ blend"
key = "blend"
amount = "6.25 g"

[[line]]
ingredient = "salt"
amount = "to taste"

[[step]]
kind = "mix"
text = "cream butter and sugar"
speed = "medium"
time = "90 s"
scrape_down = true

[[step]]
kind = "bake"
set_point = "350 °F"
window = "28-32 min"

[bake.milestones]
done = { core = "97 °C", hold = "60 s" }

[cooling.milestones]
"to frost" = { core_above_room = "2 °C" }
"""


def read(text: str) -> Formula:
    return read_formula(Document.parse(text.encode(), "a.formula.toml"), PANTRY)


def test_a_formula_written_and_read_back_is_the_same_in_grams():
    was = read(TEXT)

    now = read(formula_toml(was, PANTRY))

    assert replace(now, lines=(), steps=(), makes=was.makes) == replace(was, lines=(), steps=())
    assert now.makes.pan.diameter_m == pytest.approx(was.makes.pan.diameter_m, abs=1e-9)
    assert replace(now.makes, pan=None) == replace(was.makes, pan=None)
    assert now.steps[0] == was.steps[0]
    assert now.steps[1].set_point_c == pytest.approx(was.steps[1].set_point_c, abs=1e-6)
    assert (now.steps[1].duration_s, now.steps[1].longest_s) == (1680, 1920)
    for a, b in zip(was.lines, now.lines, strict=True):
        assert b.stock_kg == a.stock_kg
        assert (b.key, b.ingredient, b.bowl, b.lot, b.note) == (
            a.key,
            a.ingredient,
            a.bowl,
            a.lot,
            a.note,
        )
        if a.target_kg is None:
            assert b.amount == a.amount
        else:
            assert b.target_kg == pytest.approx(a.target_kg, abs=5.01e-7)
            assert b.tolerance_kg == pytest.approx(a.tolerance_kg, abs=1e-6)
    assert [line.by for line in now.lines] == ["mass"] * 3 + ["count", "mass", "measure"]


def test_writing_twice_writes_the_same():
    once = formula_toml(read(TEXT), PANTRY, "Scaled.")

    assert once.startswith('# Scaled.\nname = "Pear and ginger \\"layer\\" cake"\n')
    assert formula_toml(read(once), PANTRY, "Scaled.") == once


def test_a_scaled_formula_is_written_with_the_tolerances_it_has():
    scaled = by_factor(read(TEXT), Fraction(3, 2), PANTRY).formula

    now = read(formula_toml(scaled, PANTRY))

    assert now.lines[1].tolerance_kg == pytest.approx(0.0045)
    assert now.lines[3].amount == "6 large"
    assert now.makes.pans == 3


@settings(max_examples=40)
@given(
    st.text(st.characters(exclude_categories=("Cs",)), min_size=1).filter(lambda t: t.strip() == t)
)
def test_any_name_is_read_back(name):
    formula = replace(read(TEXT), name=name)

    assert read(formula_toml(formula, PANTRY)).name == name


@settings(max_examples=40)
@given(st.floats(1e-6, 900))
def test_any_mass_is_read_back_to_the_milligram(mass_kg):
    formula = read(TEXT)
    line = replace(formula.lines[0], target_kg=mass_kg, by="mass")

    now = read(formula_toml(replace(formula, lines=(line,)), PANTRY))

    assert now.lines[0].target_kg == pytest.approx(mass_kg, abs=5.01e-7)
