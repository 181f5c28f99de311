"""What centre tests teach of a formula's own target, and what they do not."""

from __future__ import annotations

import itertools
from typing import Any

import pytest

from logger.events import BakeTest, BakeThreshold, Body, Event
from logger.plan import CentreTest, Formula, Milestone, Plan
from logger.thermal.centre_tests import CentreTests, threshold

AT_US = 1_800_000_000_000_000
FORMULA = Formula("Pear and ginger layer cake", ())
# Five bakes that turn from wet to done at 94 °C: each tested twice or three times.
FIVE_BAKES = tuple(
    CentreTest(f"b{bake}", bake, "wet" if core_c < 94.0 else result, core_c)
    for bake, core_c, result in itertools.chain(
        ((b, 91.5 + 0.2 * b, "wet") for b in range(5)),
        ((b, 95.5 - 0.2 * b, "moist crumbs") for b in range(5)),
        ((b, 97.0, "clean") for b in range(5)),
    )
)


def _tests(earlier: tuple[CentreTest, ...] = ()) -> CentreTests:
    plan = Plan(
        formulas=(FORMULA,),
        bake_milestones=(Milestone("done", core_c=97.0),),
        centre_tests=earlier,
    )
    return CentreTests(plan)


def test_the_first_test_is_kept_and_said_to_be_too_few() -> None:
    said = _tests().tested(AT_US, "b9", "moist crumbs", 95.2, 1700.0)

    test, proposal = said
    assert test == BakeTest(1.8e9, "moist crumbs", 95.2, 1700.0, "Pear and ginger layer cake")
    assert isinstance(proposal, BakeThreshold)
    assert proposal.proposed_c is None
    assert (proposal.tests, proposal.bakes) == (1, 1)
    assert proposal.text.startswith("1 centre test in 1 bake, too few to propose a target")


def test_some_bakes_give_a_proposal_beside_the_plans_target() -> None:
    said = _tests(FIVE_BAKES).tested(AT_US, "b9", "clean", 96.0, 1700.0)

    proposal = said[-1]
    assert isinstance(proposal, BakeThreshold)
    assert proposal.proposed_c == pytest.approx(94.0, abs=0.6)
    assert proposal.low_c < 94.0 < proposal.high_c
    assert proposal.planned_c == 97.0
    assert (proposal.tests, proposal.bakes) == (16, 6)
    assert "the plan asks for 97 °C" in proposal.text


def test_no_sentence_claims_that_food_is_safe() -> None:
    for earlier in ((), FIVE_BAKES):
        proposal = _tests(earlier).tested(AT_US, "b9", "clean", 97.0, None)[-1]

        assert isinstance(proposal, BakeThreshold)
        assert proposal.text.endswith("a temperature is no proof that food is safe.")


def test_many_clean_tests_alone_do_not_say_where_the_crumb_was_wet() -> None:
    clean = tuple(CentreTest(f"b{k}", k, "clean", 97.5) for k in range(12))

    proposal = _tests(clean).tested(AT_US, "b99", "clean", 97.5, None)[-1]

    assert isinstance(proposal, BakeThreshold)
    assert proposal.proposed_c is None


def test_without_a_core_the_test_is_kept_and_teaches_nothing() -> None:
    assert _tests().tested(AT_US, "b9", "wet", None, None) == [
        BakeTest(1.8e9, "wet", None, None, "Pear and ginger layer cake")
    ]


@pytest.mark.parametrize("result", [None, "", "burnt"])
def test_another_word_is_no_result(result: str | None) -> None:
    assert _tests().tested(AT_US, "b9", result, 95.0, None) == []


def test_more_tests_narrow_it() -> None:
    widths = []
    for count in (0, 5, 15):
        low, middle, high = threshold(list(FIVE_BAKES[:count]), 97.0)
        assert low <= middle <= high
        widths.append(high - low)

    assert widths[0] > widths[1] > widths[2]


def test_contradicting_tests_give_a_middle_and_no_error() -> None:
    low, middle, high = threshold(
        [CentreTest("a", 1, "wet", 105.0), CentreTest("b", 2, "clean", 80.0)], 96.0
    )

    assert low <= middle <= high
    assert 85.0 < middle < 100.0


def test_a_mark_in_the_bake_is_told_with_the_core(kitchen: Any, put_through: Any) -> None:
    tested_s = kitchen.rises_to(92.0)
    entries = kitchen.readings(to_s=kitchen.out_s)
    entries += [
        kitchen.mark("into oven", 0.05),
        kitchen.mark("centre test", tested_s + 0.05, result="wet"),
    ]

    events: list[Event] = put_through(kitchen.plan, entries)

    bodies: list[Body] = [e.body for e in events]
    (test,) = [b for b in bodies if isinstance(b, BakeTest)]
    (proposal,) = [b for b in bodies if isinstance(b, BakeThreshold)]
    assert test.core_c == pytest.approx(92.0, abs=0.5)
    assert test.after_s == pytest.approx(tested_s, abs=1.0)
    assert proposal.tests == 1


def test_a_mark_before_the_bake_has_no_core(kitchen: Any, put_through: Any) -> None:
    entries = [*kitchen.readings(to_s=-60.0), kitchen.mark("centre test", -100.0, result="wet")]

    events: list[Event] = put_through(kitchen.plan, entries)

    assert [e.body.core_c for e in events if isinstance(e.body, BakeTest)] == [None]
