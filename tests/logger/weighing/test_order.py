"""Which line a rise belongs to where lines are counted or spooned, and over several formulas."""

from __future__ import annotations

import random

import pytest
from weighing_bench import Bench, Physics, line, run, standing

from logger.events import WeighingAddition
from logger.plan import Formula

FLOUR, SUGAR = line("flour", 320, 3.2), line("sugar", 250, 2.5)
MILK = line("milk", 240, 4.8)
EGGS = line("eggs", 150, 3.0, by="count")
SALT = line("salt", 3.0, 0.15, by="measure")
CUPS = line("cocoa", 85, 0.9, by="measure")


def bench(draw: int = 1) -> Bench:
    """A bench with a tared bowl on it."""
    out = Bench(Physics(stable_flag=True, net_flag=True), random.Random(draw))
    out.pass_s(2)
    out.put(612)
    out.pass_s(2.5)
    out.tare()
    out.pass_s(2)
    return out


def pour(b: Bench, *masses: tuple[str, float]) -> None:
    for key, mass in masses:
        b.pour(key, mass, 45)
        b.pass_s(3)


def assert_masses(found: dict[str | None, WeighingAddition], **masses_g: float) -> None:
    for key, mass_g in masses_g.items():
        mass_kg = found[key].mass_kg
        assert mass_kg is not None
        assert mass_kg * 1000 == pytest.approx(mass_g, abs=1.0)
    assert set(found) == set(masses_g)


@pytest.mark.parametrize("skipped", [EGGS, SALT, CUPS])
@pytest.mark.parametrize("draw", range(3))
def test_a_rise_that_fits_the_next_weighed_line_passes_over_a_counted_one(
    skipped: object, draw: int
) -> None:
    b = bench(draw)
    pour(b, ("flour", 320), ("milk", 240.4))
    formula = Formula("cake", (FLOUR, skipped, MILK, SUGAR))  # type: ignore[arg-type]

    assert_masses(standing(run(b.entries, formula)), flour=320, milk=240.4)


def test_eggs_weighed_shelled_are_judged_like_any_other_line() -> None:
    b = bench()
    pour(b, ("flour", 320), ("eggs", 158.0), ("milk", 240))

    found = standing(run(b.entries, Formula("cake", (FLOUR, EGGS, MILK))))

    assert_masses(found, flour=320, eggs=158, milk=240)
    assert found["eggs"].verdict == "over"
    assert found["eggs"].target_kg == pytest.approx(0.150)


def test_a_counted_line_may_be_confirmed_without_having_been_weighed() -> None:
    b = bench()
    pour(b, ("flour", 320))
    b.confirm("eggs")
    b.pass_s(1)
    pour(b, ("milk", 240))

    found = standing(run(b.entries, Formula("cake", (FLOUR, EGGS, MILK))))

    assert found["eggs"].mass_kg is None
    assert found["eggs"].expanded_uncertainty_kg is None
    assert found["eggs"].verdict == "undecidable"
    assert found["milk"].verdict == "within"


def test_eggs_confirmed_first_and_tipped_in_afterwards_are_found_when_the_milk_follows() -> None:
    b = bench()
    pour(b, ("flour", 320))
    b.confirm("eggs")
    b.pass_s(1)
    pour(b, ("eggs", 151), ("milk", 240))

    found = standing(run(b.entries, Formula("cake", (FLOUR, EGGS, MILK))))

    assert_masses(found, flour=320, eggs=151, milk=240)
    assert {body.verdict for body in found.values()} == {"within"}


@pytest.mark.parametrize("over_g", [6.0, 20.0])
def test_an_over_pour_of_a_measured_line_is_not_taken_for_the_line_after_it(over_g: float) -> None:
    flour = line("flour", 240, 2.4, by="measure")
    sugar = line("sugar", 268, 2.7, by="measure")
    b = bench()
    pour(b, ("flour", 240 + over_g), ("sugar", 268))

    found = standing(run(b.entries, Formula("cups", (flour, sugar))))

    assert_masses(found, flour=240 + over_g, sugar=268)
    assert found["flour"].verdict == "over"


def cake_and_frosting() -> tuple[Formula, Formula]:
    cake = (
        line("flour", 320, 3.2, formula="cake"),
        line("milk", 240, 4.8, formula="cake"),
        line("butter", 170, 1.7, formula="cake"),
    )
    frosting = (
        line("cream cheese", 455, 9.1, formula="frosting"),
        line("icing sugar", 120, 1.2, formula="frosting"),
    )
    return Formula("cake", cake), Formula("frosting", frosting)


def test_the_order_goes_through_one_formula_and_on_to_the_next() -> None:
    b = bench()
    for mass in (("flour", 320.0), ("milk", 240.0), ("butter", 170.0)):
        pour(b, mass)
    b.lift()
    b.pass_s(5)
    b.put(405)
    b.pass_s(2)
    b.tare()
    b.pass_s(2)
    pour(b, ("cream cheese", 455), ("icing sugar", 120))

    found = standing(run(b.entries, cake_and_frosting()))

    assert {key: body.verdict for key, body in found.items()} == dict.fromkeys(b.truth, "within")


def test_another_formula_may_be_begun_before_the_first_is_finished() -> None:
    b = bench()
    pour(b, ("flour", 320))
    b.lift()
    b.pass_s(5)
    b.put(405)
    b.pass_s(2)
    b.tare()
    b.pass_s(2)
    pour(b, ("cream cheese", 455), ("icing sugar", 120))

    found = standing(run(b.entries, cake_and_frosting()))

    assert {key: body.verdict for key, body in found.items()} == dict.fromkeys(b.truth, "within")


def test_after_a_marked_line_of_another_formula_its_own_lines_come_next() -> None:
    b = bench()
    pour(b, ("flour", 320))
    b.mark("cream cheese")
    b.pass_s(0.5)
    pour(b, ("cream cheese", 455), ("icing sugar", 120))

    found = standing(run(b.entries, cake_and_frosting()))

    assert {key: body.verdict for key, body in found.items()} == dict.fromkeys(b.truth, "within")


def test_what_is_left_of_a_formula_is_taken_up_again_after_another() -> None:
    b = bench()
    b.mark("cream cheese")
    b.pass_s(0.5)
    pour(b, ("cream cheese", 455), ("icing sugar", 120), ("flour", 320), ("milk", 240))

    found = standing(run(b.entries, cake_and_frosting()))

    assert {key: body.verdict for key, body in found.items()} == dict.fromkeys(b.truth, "within")


def test_a_confirmed_mass_that_another_line_just_got_is_of_the_confirmed_line() -> None:
    b = bench()
    b.mark("flour")
    b.pass_s(0.5)
    pour(b, ("milk", 240))
    b.confirm("milk", 240.0)
    b.pass_s(1)
    b.mark("flour")
    b.pass_s(0.5)
    pour(b, ("flour", 320))

    found = standing(run(b.entries, Formula("cake", (FLOUR, MILK, SUGAR))))

    assert_masses(found, flour=320, milk=240)
    assert found["flour"].verdict == "within"


def test_more_into_a_marked_line_that_is_decided_is_still_of_that_line() -> None:
    b = bench()
    for key, masses in (("flour", (320, 15)), ("milk", (241, 12))):
        b.mark(key)
        b.pass_s(0.5)
        for mass in masses:
            pour(b, (key, mass))

    found = standing(run(b.entries, Formula("cake", (FLOUR, MILK, SUGAR))))

    assert_masses(found, flour=335, milk=253)
    assert {found[key].verdict for key in ("flour", "milk")} == {"over"}


def test_an_over_pour_of_a_pinch_is_not_taken_for_the_line_after_it() -> None:
    b = bench()
    pour(b, ("flour", 320))
    b.spoon("salt", 9.0, 1)
    b.pass_s(3)
    pour(b, ("milk", 240))

    found = standing(run(b.entries, Formula("cake", (FLOUR, SALT, MILK))))

    assert_masses(found, flour=320, salt=9, milk=240)
    assert found["salt"].verdict == "over"


def test_what_was_said_of_a_hand_that_lay_still_on_the_bowl_is_withdrawn() -> None:
    b = bench()
    pour(b, ("flour", 320))
    b.extra_g = 256.0  # too much for the next line, enough for the one after
    b.pass_s(4)
    b.extra_g = 0.0
    b.pass_s(4)
    b.tare()
    b.pass_s(2)
    pour(b, ("honey", 54), ("sugar", 250))

    found = standing(run(b.entries, Formula("cake", (FLOUR, line("honey", 54, 1.1), SUGAR))))

    assert_masses(found, flour=320, honey=54, sugar=250)
