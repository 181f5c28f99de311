"""What changed between two formulas."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from logger.formula.diff import diff
from logger.formula.pans import parse_pan
from logger.ingredient import Ingredient
from logger.plan import Formula, Line, Makes, MixingStep


class Shelf:
    def find(self, name: str) -> Ingredient | None:
        return None


SHELF = Shelf()
FLOUR = Line("cake flour", "cake flour", "270 g", 0.27, 0.0027, "dry")
SUGAR = Line("sugar", "sugar", "300 g", 0.3, 0.003, "dry")
SALT = Line("salt", "salt", "4 g", 0.004, 0.0002, "dry")
EGGS = Line("eggs", "eggs", "4 large", 0.2, 0.004, "wet", by="count")
MIX = MixingStep("mix", "cream butter and sugar", "medium", 180)
BAKE = MixingStep("bake", set_point_c=175)
ONE = Formula(
    "Cake", (FLOUR, SUGAR, SALT, EGGS), "1", Makes(parse_pan("round 200 x 50 mm"), 2), (MIX, BAKE)
)


def test_a_formula_does_not_differ_from_itself():
    found = diff(ONE, ONE, SHELF)

    assert found.is_same
    assert [line.change for line in found.lines] == ["same"] * 4


def test_a_changed_line_says_grams_and_baker_s_per_cent():
    two = replace(ONE, lines=(FLOUR, replace(SUGAR, amount="324 g", target_kg=0.324), SALT, EGGS))

    found = diff(ONE, two, SHELF)

    sugar = found.lines[1]
    assert sugar.change == "changed"
    assert sugar.difference_kg == 0.024
    assert sugar.was.percent == pytest.approx(111.111, abs=1e-3)
    assert sugar.now.percent == pytest.approx(120.0)
    assert sugar.difference_percent == pytest.approx(8.889, abs=1e-3)
    assert sugar.what == ("mass", "per cent", "amount")
    assert found.total_kg == (0.774, 0.798)


def test_more_flour_changes_the_per_cent_of_every_other_line():
    two = replace(ONE, lines=(replace(FLOUR, amount="300 g", target_kg=0.3), SUGAR, SALT, EGGS))

    found = diff(ONE, two, SHELF)

    assert found.lines[1].what == ("per cent",)
    assert found.lines[1].difference_kg == 0.0
    assert found.flour_kg == (0.27, 0.3)


def test_added_and_removed_lines_stand_where_they_belong():
    ginger = Line("ground ginger", "ground ginger", "6 g", 0.006, 0.0003)
    two = replace(ONE, lines=(FLOUR, ginger, SUGAR, EGGS))

    found = diff(ONE, two, SHELF)

    assert [(x.change, (x.now or x.was).key) for x in found.lines] == [
        ("same", "cake flour"),
        ("added", "ground ginger"),
        ("same", "sugar"),
        ("removed", "salt"),
        ("same", "eggs"),
    ]
    assert found.lines[1].difference_kg == 0.006
    assert found.lines[3].difference_kg == -0.004


def test_the_other_way_round_is_the_same_with_both_sides_exchanged():
    two = replace(
        ONE,
        name="Richer cake",
        lines=(FLOUR, replace(SUGAR, target_kg=0.33), EGGS),
        steps=(BAKE,),
    )

    there, back = diff(ONE, two, SHELF), diff(two, ONE, SHELF)

    exchanged = {"added": "removed", "removed": "added"}
    assert {
        (exchanged.get(x.change, x.change), x.now, x.was, x.difference_kg and -x.difference_kg)
        for x in there.lines
    } == {(x.change, x.was, x.now, x.difference_kg) for x in back.lines}
    assert {(x.name, x.now, x.was) for x in there.others} == {
        (x.name, x.was, x.now) for x in back.others
    }


def test_a_renamed_key_is_found_by_its_ingredient():
    two = replace(ONE, lines=(FLOUR, replace(SUGAR, key="sweet"), SALT, EGGS))

    found = diff(ONE, two, SHELF)

    assert found.lines[1].change == "changed"
    assert found.lines[1].what == ("key",)


def test_another_ingredient_under_the_same_key_is_a_change_of_ingredient():
    two = replace(ONE, lines=(FLOUR, replace(SUGAR, ingredient="brown sugar"), SALT, EGGS))

    found = diff(ONE, two, SHELF)

    assert found.lines[1].what == ("ingredient",)


def test_tolerance_bowl_and_note_are_changes_too():
    salt = replace(SALT, tolerance_kg=0.0005, bowl="wet", note="flaky")

    found = diff(ONE, replace(ONE, lines=(FLOUR, SUGAR, salt, EGGS)), SHELF)

    assert found.lines[2].what == ("bowl", "note", "tolerance")


@pytest.mark.parametrize(
    ("target_kg", "tolerance_kg", "said"),
    [(0.33, 0.0033, False), (0.33, 0.003, False), (0.33, 0.006, True), (0.3, 0.006, True)],
)
def test_a_tolerance_that_only_follows_its_target_is_no_change(target_kg, tolerance_kg, said):
    sugar = replace(SUGAR, target_kg=target_kg, tolerance_kg=tolerance_kg)

    found = diff(ONE, replace(ONE, lines=(FLOUR, sugar, SALT, EGGS)), SHELF)

    assert ("tolerance" in found.lines[1].what) is said


def test_name_version_pans_and_steps_are_compared():
    two = replace(
        ONE,
        version="2",
        makes=Makes(parse_pan("round 230 x 50 mm"), 2),
        steps=(replace(MIX, duration_s=240), BAKE, MixingStep("cool")),
    )

    found = {x.name: (x.was, x.now) for x in diff(ONE, two, SHELF).others}

    assert found == {
        "version": ("1", "2"),
        "pans": ("2 × round 200 x 50 mm", "2 × round 230 x 50 mm"),
        "step 1": (
            "mix: cream butter and sugar, medium, 3 min",
            "mix: cream butter and sugar, medium, 4 min",
        ),
        "step 3": (None, "cool"),
    }


def test_another_order_of_the_same_lines_is_said():
    found = diff(ONE, replace(ONE, lines=(SUGAR, FLOUR, SALT, EGGS)), SHELF)

    assert [x.name for x in found.others] == ["order of lines"]
    assert not found.is_same


def test_without_flour_there_are_no_per_cents_but_grams():
    frosting = Formula("Frosting", (SUGAR,))

    found = diff(frosting, Formula("Frosting", (replace(SUGAR, target_kg=0.2),)), SHELF)

    assert found.lines[0].difference_percent is None
    assert found.lines[0].difference_kg == -0.1


def test_a_diff_is_a_json_object():
    text = json.dumps(diff(ONE, replace(ONE, lines=(FLOUR,)), SHELF).to_json(), allow_nan=False)

    assert json.loads(text)["lines"][1]["change"] == "removed"
