"""Which scale can decide a line, said before the batch."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.ingredient import Ingredient, Portion
from logger.plan import Line, ScaleFacts
from logger.weighing import judge
from logger.weighing.fit import expected_budget, fit, readings_within, scale_fit

BENCH = ScaleFacts(0.001)
FINE = ScaleFacts(0.0001)


def line(ingredient: str, target_g: float, tolerance_g: float, **more: object) -> Line:
    return Line(
        key=ingredient,
        ingredient=ingredient,
        amount=f"{target_g:g} g",
        target_kg=target_g / 1000,
        tolerance_kg=tolerance_g / 1000,
        **more,
    )


class Shelf:
    def __init__(self, *rows: Ingredient) -> None:
        self.rows = {row.name: row for row in rows}

    def find(self, name: str) -> Ingredient | None:
        return self.rows.get(name)


SALT = Ingredient("salt", "invented", kind="salt", portions=(Portion(1, "tsp", 6.0),))
SODA = Ingredient("baking soda", "invented", kind="leavening", portions=(Portion(1, "tsp", 4.6),))


def test_a_gram_scale_decides_flour_and_says_at_which_readings():
    (found,) = fit([line("cake flour", 270, 2.7)], {"scale": BENCH})

    assert (found.answer, found.scale) == ("decides", "scale")
    assert found.sentence == "The scale says within from 269 to 271 g."
    assert found.remedies == ()


def test_a_gram_scale_cannot_decide_salt_and_the_fine_one_can():
    (found,) = fit([line("salt", 4, 0.2)], {"scale": BENCH, "scale 2": FINE})

    assert (found.answer, found.scale) == ("decides", "scale 2")
    assert [one.decides for one in found.scales] == [False, True]
    assert found.remedies[0].kind == "other scale"
    assert "Scale 2 says within from 3.9 to 4.1 g." in found.sentence


def test_where_only_one_reading_is_within_that_one_is_named():
    (found,) = fit([line("butter", 110, 1.1)], {"scale": BENCH})

    assert found.sentence == "The scale says within at 110 g only."


def test_a_target_between_two_readings_is_not_decided_though_the_tolerance_is_wide_enough():
    (on,) = fit([line("oil", 10.0, 1.0)], {"scale": BENCH})
    (between,) = fit([line("oil", 10.5, 1.0)], {"scale": BENCH})

    assert (on.answer, between.answer) == ("decides", "cannot")
    assert "No reading of it falls near enough to the target." in between.sentence


@given(
    st.floats(0.2, 3000),
    st.floats(0.1, 60),
    st.sampled_from([0.01, 0.1, 0.5, 1, 2, 5]),
    st.sampled_from([None, "II", "III"]),
)
def test_what_decides_is_what_the_verdict_at_the_bench_would_say(target, tolerance, d, klass):
    one = line("flour", target, tolerance)
    facts = ScaleFacts(d / 1000, klass)
    standard = expected_budget(target / 1000, facts).standard_kg

    found = scale_fit("scale", facts, one)

    if found.decides:
        for reading in (found.reads_from_kg, found.reads_to_kg):
            assert judge(reading, standard, one.lower_kg, one.upper_kg).word == "within"
        for reading in (found.reads_from_kg - d / 1000, found.reads_to_kg + d / 1000):
            assert judge(reading, standard, one.lower_kg, one.upper_kg).word != "within"
    else:
        nearest = round(target / d) * d / 1000
        assert judge(nearest, standard, one.lower_kg, one.upper_kg).word != "within"


@given(st.floats(1, 500), st.floats(0.1, 20))
def test_a_wider_tolerance_is_never_harder_to_decide(target, tolerance):
    facts = {"scale": BENCH}

    (narrow,) = fit([line("flour", target, tolerance)], facts)
    (wide,) = fit([line("flour", target, tolerance * 1.5)], facts)

    assert not (narrow.answer == "decides" and wide.answer == "cannot")


@given(st.floats(1, 900), st.sampled_from([0.1, 1, 5]), st.sampled_from([None, "III"]))
def test_the_narrowest_tolerance_that_is_named_is_decided_and_a_narrower_one_is_not(
    target, d, klass
):
    facts = ScaleFacts(d / 1000, klass)
    named = scale_fit("scale", facts, line("flour", target, 0.1)).tolerance_kg * 1000

    assert scale_fit("scale", facts, line("flour", target, named * 1.0001)).decides
    assert not scale_fit("scale", facts, line("flour", target, named * 0.999)).decides


def test_the_readings_within_are_none_where_the_guard_bands_meet():
    assert readings_within(0.0005, 0.001, 0.1, 0.099, 0.101) is None
    assert readings_within(0.0004, 0.001, 0.1, 0.099, 0.101) == (0.1, 0.1)


def test_a_spoon_is_offered_for_salt_where_it_is_nearer_than_the_scale():
    (found,) = fit([line("salt", 3, 0.15)], {"scale": BENCH}, Shelf(SALT))

    spoon = next(r for r in found.remedies if r.kind == "spoon")
    assert spoon.teaspoons == 0.5
    assert spoon.text == "By spoon: 1/2 tsp, level (±20 %; the scale leaves ±28 %)."


def test_no_spoon_is_offered_where_the_scale_is_nearer():
    (found,) = fit([line("baking soda", 9.2, 0.4)], {"scale": BENCH}, Shelf(SODA))

    assert found.answer == "cannot"
    assert "spoon" not in {r.kind for r in found.remedies}


def test_no_spoon_is_offered_for_flour_or_for_an_amount_that_spoons_do_not_make():
    shelf = Shelf(
        SALT, Ingredient("flour", "invented", kind="flour", portions=(Portion(1, "tsp", 2.6),))
    )

    (flour,) = fit([line("flour", 3, 0.1)], {"scale": BENCH}, shelf)
    (pinch,) = fit([line("salt", 0.3, 0.1)], {"scale": BENCH}, shelf)

    assert "spoon" not in {r.kind for r in flour.remedies}
    assert "spoon" not in {r.kind for r in pinch.remedies}


def test_a_line_written_as_a_spoon_is_spooned_with_its_own_spread():
    one = line("salt", 3, 0.15, by="measure", spread_kg=0.0001)

    (found,) = fit([one], {"scale": BENCH})

    spoon = next(r for r in found.remedies if r.kind == "spoon")
    assert spoon.expanded_kg == pytest.approx(0.0002)


def test_a_premix_is_carried_by_the_sugar_and_meets_the_tolerance():
    lines = [line("granulated sugar", 300, 3), line("salt", 4, 0.2)]

    found = fit(lines, {"scale": BENCH})[1]

    mixed = next(r for r in found.remedies if r.kind == "premix")
    share = mixed.premix_kg / (mixed.premix_kg + mixed.carrier_kg)
    assert mixed.carrier == "granulated sugar"
    assert mixed.portion_kg * share == pytest.approx(0.004, abs=1e-5)
    assert mixed.carried_kg == pytest.approx(mixed.portion_kg - 0.004, abs=1e-5)
    standard = mixed.expanded_kg / 2
    assert judge(mixed.portion_kg * share, standard, 0.0038, 0.0042).word == "within"
    assert "36 g less granulated sugar" in mixed.text


@pytest.mark.parametrize("sugar", ["brown sugar", "Light Muscovado Sugar"])
def test_a_moist_sugar_carries_no_premix(sugar: str):
    lines = [line(sugar, 300, 3), line("all-purpose flour", 280, 2.8), line("baking soda", 5, 0.25)]

    found = fit(lines, {"scale": BENCH})[2]

    mixed = next(r for r in found.remedies if r.kind == "premix")
    assert mixed.carrier == "all-purpose flour"


def test_a_premix_takes_no_more_carrier_than_the_formula_has():
    lines = [line("granulated sugar", 10, 0.3), line("salt", 4, 0.2)]

    found = fit(lines, {"scale": BENCH})[1]

    assert "premix" not in {r.kind for r in found.remedies}


def test_the_carrier_of_the_same_bowl_comes_first():
    lines = [
        line("granulated sugar", 300, 3, bowl="wet"),
        line("cake flour", 300, 3, bowl="dry"),
        line("baking powder", 10, 0.5, bowl="dry"),
    ]

    found = fit(lines, {"scale": BENCH})[2]

    assert next(r.carrier for r in found.remedies if r.kind == "premix") == "cake flour"


def test_an_extract_is_not_stretched_with_sugar():
    lines = [line("granulated sugar", 300, 3), line("vanilla extract", 6, 0.3)]

    found = fit(lines, {"scale": BENCH})[1]

    assert [r.kind for r in found.remedies] == ["finer scale"]
    assert found.remedies[0].division_kg == pytest.approx(0.0002)


def test_the_finer_scale_that_is_named_can_indeed_decide():
    one = line("vanilla extract", 6, 0.3)
    (found,) = fit([one], {"scale": BENCH})
    named = next(r.division_kg for r in found.remedies if r.kind == "finer scale")

    (again,) = fit([one], {"scale": ScaleFacts(named)})

    assert again.answer == "decides"


def test_counted_eggs_that_the_scale_cannot_decide_are_counted():
    one = line("eggs", 50, 0.5, by="count")

    (found,) = fit([one], {"scale": ScaleFacts(0.005)})

    assert found.remedies[0].kind == "count"


def test_capacity_counts_the_bowl_and_what_is_in_it():
    lines = [line("flour", 900, 9, bowl="dry"), line("sugar", 900, 9, bowl="dry")]
    scale = {"scale": ScaleFacts(0.001, capacity_kg=2.0)}

    first, second = fit(lines, scale)

    assert first.answer == "decides"
    assert second.answer == "cannot"
    assert second.remedies[0].kind == "another bowl"


def test_what_no_bowl_can_hold_is_weighed_in_parts():
    (found,) = fit([line("flour", 4000, 40)], {"scale": ScaleFacts(0.001, capacity_kg=2.0)})

    assert found.remedies[0].text == "Weigh it in 3 parts."


@pytest.mark.parametrize("scales", [{}, {"scale": ScaleFacts(None, "III")}])
def test_without_a_resolution_nothing_is_claimed(scales):
    (found,) = fit([line("flour", 270, 2.7)], scales)

    assert found.answer == "unknown"
    assert 'resolution = "1 g"' in found.sentence


def test_a_line_without_a_target_has_none_to_decide():
    (found,) = fit([Line("salt", "salt", "to taste", None, None)], {"scale": BENCH})

    assert found.answer == "no target"


def test_a_fit_is_a_json_object():
    found = fit([line("granulated sugar", 300, 3), line("salt", 4, 0.2)], {"scale": BENCH})

    text = json.dumps([one.to_json() for one in found], allow_nan=False)

    assert json.loads(text)[1]["remedies"][0]["kind"] == "premix"
