"""The smallest rescale: every line within its tolerance again, and no smaller one does it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.formula.pantry import Pantry
from logger.plan import CakePlan, Line, Pan
from logger.weighing.recovery import FACTOR_STEP, Amount, least_factor, rescale
from logger.weighing.ways import Situation, ways

FLOUR = Line("flour", "cake flour", "300 g", 0.300, 0.003)
SUGAR = Line("sugar", "granulated sugar", "320 g", 0.320, 0.0032)
BUTTER = Line("butter", "butter", "170 g", 0.170, 0.0017)
EGGS = Line("eggs", "eggs", "3 large", 0.150, 0.003, by="count")
MILK = Line("milk", "milk", "240 g", 0.240, 0.0048)
NOTHING = Pantry(())


@st.composite
def batches(draw: st.DrawFn) -> list[Amount]:
    """Lines of a few grams to a kilogram, some of them in, some over, on scales that can decide."""
    out = []
    for number in range(draw(st.integers(1, 8))):
        target = draw(st.floats(0.005, 1.0))
        tolerance = max(0.0001, draw(st.floats(0.005, 0.1)) * target)
        line = Line(str(number), str(number), "", target, tolerance)
        mass = draw(st.none() | st.floats(0.5, 1.6).map(lambda f, t=target: f * t))
        expanded = draw(st.floats(0.0, 0.8)) * tolerance
        out.append(Amount(line, mass, expanded if mass is not None else 0.0))
    return out


@given(batches())
@settings(max_examples=120, deadline=None)
def test_after_a_rescale_every_line_is_within_its_tolerance(amounts: list[Amount]) -> None:
    found = rescale(amounts)
    added = {one.line.key: one.mass_kg for one in found.top_ups}

    for amount, line in zip(amounts, found.lines, strict=True):
        if amount.mass_kg is None:
            continue
        topped = replace(amount, line=line, mass_kg=amount.mass_kg + added.get(line.key, 0.0))
        assert topped.word() == "within"
    assert all(one.mass_kg > 0 for one in found.top_ups)


@given(batches())
@settings(max_examples=120, deadline=None)
def test_no_smaller_rescale_would_do(amounts: list[Amount]) -> None:
    factor = least_factor(amounts)

    if factor == 1.0:
        assert all(
            amount.word() in (None, "within") or (amount.mass_kg or 0.0) <= amount.line.target_kg
            for amount in amounts
            if amount.line.target_kg is not None
        )
        return
    smaller = factor - 2 * FACTOR_STEP
    too_much = [
        amount
        for amount in amounts
        if amount.mass_kg is not None
        and amount.line.target_kg is not None
        and amount.mass_kg > smaller * amount.line.target_kg
        and amount.word(smaller) != "within"
    ]
    assert too_much


@given(batches(), st.floats(1.0, 1.5))
@settings(max_examples=100, deadline=None)
def test_new_targets_keep_the_proportions(amounts: list[Amount], factor: float) -> None:
    for amount, line in zip(amounts, rescale(amounts, factor).lines, strict=True):
        assert amount.line.target_kg is not None
        assert amount.line.tolerance_kg is not None
        assert line.target_kg == pytest.approx(factor * amount.line.target_kg, abs=2e-9)
        assert line.tolerance_kg == pytest.approx(factor * amount.line.tolerance_kg, abs=2e-9)


def test_an_exact_mass_over_needs_the_mass_over_the_upper_limit() -> None:
    # 318 g of 300 ± 3 g: 318 / 303.
    assert least_factor([Amount(FLOUR, 0.318)]) == pytest.approx(318 / 303, abs=FACTOR_STEP)


def test_an_uncertain_mass_needs_its_guard_band_more() -> None:
    expanded = 0.0008
    factor = least_factor([Amount(FLOUR, 0.318, expanded)])

    # 97.5 % on one side are 1.96 standard uncertainties.
    assert factor == pytest.approx((0.318 + 1.96 * expanded / 2) / 0.303, abs=2e-5)


def test_the_factor_is_judged_as_it_is_stated() -> None:
    # At the bound the limits of the new target, rounded as they are kept, decide; not the exact ones.
    line = Line("ginger", "ground ginger", "", 2**-6, 2**-10)
    amount = Amount(line, 0.024519031703697954, 2**-14)
    found = rescale([amount])

    assert replace(amount, line=found.lines[0]).word() == "within"


def test_a_mass_that_the_scale_can_never_decide_becomes_the_target() -> None:
    assert least_factor([Amount(FLOUR, 0.318, 0.01)]) == pytest.approx(1.06)


def test_two_lines_over_are_both_brought_back() -> None:
    factor = least_factor([Amount(FLOUR, 0.318), Amount(SUGAR, 0.360)])

    assert factor == pytest.approx(0.360 / 0.3232, abs=FACTOR_STEP)


def test_lines_that_are_in_get_top_ups_and_the_rest_new_targets() -> None:
    found = rescale([Amount(FLOUR, 0.300), Amount(SUGAR, 0.352), Amount(MILK, None)])

    factor = 0.352 / 0.3232
    assert [one.line.key for one in found.top_ups] == ["flour"]
    assert found.top_ups[0].mass_kg == pytest.approx(0.300 * (factor - 1), abs=1e-6)
    assert found.lines[2].target_kg == pytest.approx(0.240 * factor, abs=1e-6)


def test_a_line_still_being_filled_needs_no_top_up() -> None:
    found = rescale([Amount(FLOUR, 0.120, filling=True), Amount(SUGAR, 0.352)])

    assert not found.top_ups


def test_a_stock_that_does_not_suffice_is_named() -> None:
    found = rescale([Amount(SUGAR, 0.352), Amount(replace(MILK, stock_kg=0.250), None)])

    assert [line.key for line in found.short] == ["milk"]


def named(situation: Situation) -> tuple[dict[str, str], dict[str, str]]:
    offered, withheld = ways(situation, NOTHING)
    return (
        {way["choice"]: way["text"] for way in offered},
        {way["choice"]: way["text"] for way in withheld},
    )


AMOUNTS = (Amount(FLOUR, 0.300, 0.0008), Amount(SUGAR, 0.333, 0.0008), Amount(MILK, None))
SITUATION = Situation(over=AMOUNTS[1], amounts=AMOUNTS)


def test_the_ways_in_words() -> None:
    offered, withheld = named(SITUATION)

    assert list(offered) == ["take back", "rescale", "leave"]
    assert offered["take back"] == "Take 13.0 g of granulated sugar back out, down to 320 g."
    assert offered["rescale"] == (
        "Make everything 3.3 % larger: add 9.8 g of cake flour; then milk 248 g."
    )
    # 320 g of sugar on 300 g of flour are 107 %, 333 g are 111 %.
    assert offered["leave"].startswith("Leave it: 13.0 g (4.1 %) too much of granulated sugar.")
    assert "from 107 % to 111 % of the flour" in offered["leave"]
    assert not withheld


def test_what_lies_under_something_else_is_not_taken_back() -> None:
    offered, withheld = named(replace(SITUATION, mixed="sugar already has flour over it"))

    assert "take back" not in offered
    assert withheld == {"take back": "No taking back: sugar already has flour over it."}


def test_a_rescale_beyond_the_stock_is_not_offered() -> None:
    scarce = Amount(replace(MILK, stock_kg=0.244), None)
    offered, withheld = named(replace(SITUATION, amounts=(*AMOUNTS[:2], scarce)))

    assert "rescale" not in offered
    assert withheld["rescale"] == (
        "No rescaling: it takes 248 g of milk, and there are only 244 g."
    )


def test_a_rescale_to_another_batch_altogether_is_not_offered() -> None:
    twice = Amount(SUGAR, 0.650, 0.0008)
    amounts = (AMOUNTS[0], twice, AMOUNTS[2])
    offered, withheld = named(replace(SITUATION, over=twice, amounts=amounts))

    assert "rescale" not in offered
    assert withheld["rescale"] == "No rescaling: the whole batch would become 101 % larger."


def test_whole_eggs_do_not_grow() -> None:
    offered, _ = named(replace(SITUATION, amounts=(*AMOUNTS[:2], Amount(EGGS, None))))

    assert offered["rescale"].endswith("Eggs: 3 and 4.9 g of one more, beaten.")


@pytest.mark.parametrize(
    ("cake", "cautious"),
    [
        (CakePlan(pan=Pan(diameter_m=0.2, depth_m=0.05), batter_depth_m=0.0325), True),
        (CakePlan(pan=Pan(diameter_m=0.2, depth_m=0.05), batter_depth_m=0.030), False),
        (CakePlan(pan=Pan(diameter_m=0.2, depth_m=0.05), batter_kg=0.95), True),
        (CakePlan(pan=Pan(diameter_m=0.2, depth_m=0.05), batter_kg=0.62), False),
        (CakePlan(pan=Pan(), batter_kg=0.62), False),
        (CakePlan(), False),
    ],
)
def test_pans_filled_beyond_two_thirds_are_said(cake: CakePlan, cautious: bool) -> None:
    offered, _ = named(replace(SITUATION, cake=cake))

    assert ("The pans would be" in offered["rescale"]) == cautious


def test_an_earlier_rescale_counts_towards_the_pans_and_the_whole_factor() -> None:
    cake = CakePlan(pan=Pan(diameter_m=0.2, depth_m=0.05), batter_depth_m=0.030)
    offered, _ = ways(replace(SITUATION, cake=cake, whole_factor=1.1), NOTHING)

    way = next(way for way in offered if way["choice"] == "rescale")
    assert way["whole_factor"] == pytest.approx(1.1 * way["factor"], abs=1e-6)
    assert way["cautions"]


def test_a_frosting_has_no_balance_of_a_batter() -> None:
    cheese = Line("cream cheese", "cream cheese", "455 g", 0.455, 0.0091)
    over = Amount(cheese, 0.480)
    offered, _ = named(Situation(over=over, amounts=(over,)))

    assert offered["leave"] == "Leave it: 25 g (5.5 %) too much of cream cheese."
