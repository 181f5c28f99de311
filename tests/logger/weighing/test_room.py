"""The room on scenes from the bench: what is said of which line."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise

import pytest
from weighing_bench import NAME, Bench, Physics, line, run, standing

from drivers.reading import Reading
from logger.entries import Gap, Mark
from logger.events import (
    Event,
    WeighingAddition,
    WeighingContainer,
    WeighingPouring,
    WeighingRemoved,
)
from logger.plan import Formula, Plan, ScaleFacts
from logger.weighing import Weighing
from logger.weighing.scale import Scale
from logger.weighing.signals import Ended, Lifted
from logger.weighing.waking import waking

FLOUR, SUGAR, MILK = line("flour", 320, 3.2), line("sugar", 250, 2.5), line("milk", 240, 4.8)
FORMULA = Formula("cake", (FLOUR, SUGAR, MILK))
KITCHEN = Physics(stable_flag=True, net_flag=True)
BARE = Physics(says_division=False)


def bench(physics: Physics = KITCHEN, draw: int = 1, bowl_g: float = 612.0) -> Bench:
    """A bench with a bowl on it, tared."""
    out = Bench(physics, random.Random(draw))
    out.pass_s(2)
    out.put(bowl_g)
    out.pass_s(2.5)
    out.tare()
    out.pass_s(2)
    return out


def additions(events: list[Event], key: str | None) -> list[WeighingAddition]:
    return [e.body for e in events if isinstance(e.body, WeighingAddition) and e.body.line == key]


def assert_mass(found: WeighingAddition, mass_g: float, within_g: float = 1.0) -> None:
    assert found.mass_kg is not None
    assert found.mass_kg * 1000 == pytest.approx(mass_g, abs=within_g)


@pytest.mark.parametrize("physics", [KITCHEN, BARE])
def test_a_pour_onto_the_target_is_within(physics: Physics) -> None:
    b = bench(physics)
    b.pour("flour", 320.3, 45)
    b.pass_s(3)

    found = standing(run(b.entries, FORMULA))

    assert set(found) == {"flour"}
    assert_mass(found["flour"], 320.3)
    assert found["flour"].verdict == "within"
    assert found["flour"].scale == NAME


def test_the_container_is_said_and_is_no_addition() -> None:
    b = bench()

    events = run(b.entries, FORMULA, tail_s=60)

    containers = [e.body for e in events if isinstance(e.body, WeighingContainer)]
    assert [round(c.mass_kg, 2) for c in containers] == [0.61]
    assert not standing(events)


def test_an_under_line_waits_until_another_begins() -> None:
    b = bench()
    b.pour("flour", 290, 45)
    b.pass_s(3)
    before = run(b.entries, FORMULA)
    b.tare()
    b.pass_s(2)
    b.pour("sugar", 250, 45)
    b.pass_s(3)

    after = standing(run(b.entries, FORMULA))

    assert not standing(before)
    assert after["flour"].verdict == "under"
    assert after["sugar"].verdict == "within"


def test_an_under_line_left_alone_is_decided_after_half_a_minute() -> None:
    b = bench()
    b.pour("flour", 290, 45)
    b.pass_s(3)

    assert not standing(run(b.entries, FORMULA, tail_s=20))
    assert standing(run(b.entries, FORMULA, tail_s=40))["flour"].verdict == "under"


def test_a_mark_for_another_line_decides_an_under_line() -> None:
    b = bench()
    b.pour("flour", 290, 45)
    b.pass_s(3)
    b.mark("milk")

    assert standing(run(b.entries, FORMULA))["flour"].verdict == "under"


def test_a_lifted_container_decides_an_under_line_and_comes_back_without_an_addition() -> None:
    b = bench()
    b.pour("flour", 290, 45)
    b.pass_s(3)
    mass = b.lift()
    b.pass_s(40)
    b.put_back(mass)
    b.pass_s(3)

    events = run(b.entries, FORMULA)

    assert [a.verdict for a in additions(events, "flour")] == ["under"]
    assert set(standing(events)) == {"flour"}
    assert any(isinstance(e.body, WeighingRemoved) and e.body.line is None for e in events)


def test_a_take_back_replaces_what_was_said() -> None:
    b = bench()
    b.pour("flour", 335, 45)
    b.pass_s(3)
    b.take_back("flour", 14.5)
    b.pass_s(3)

    events = run(b.entries, FORMULA)

    said = [e for e in events if isinstance(e.body, WeighingAddition)]
    first, last = said[0], said[-1]
    assert isinstance(first.body, WeighingAddition)
    assert isinstance(last.body, WeighingAddition)
    assert first.body.verdict == "over"
    assert last.body.verdict == "within"
    assert last.body.replaces is not None
    assert first.id <= last.body.replaces < last.id
    assert_mass(last.body, 320.5)
    assert any(isinstance(e.body, WeighingRemoved) and e.body.line == "flour" for e in events)


def test_taking_back_and_topping_up_again_ends_at_the_same_mass() -> None:
    b = bench()
    b.pour("flour", 320, 45)
    b.pass_s(3)
    b.take_back("flour", 30)
    b.pass_s(3)
    b.pour("flour", 30, 10)
    b.pass_s(3)

    found = standing(run(b.entries, FORMULA))

    assert set(found) == {"flour"}
    assert_mass(found["flour"], 320)


@pytest.mark.parametrize("physics", [KITCHEN, BARE])
def test_several_lines_in_one_bowl_without_a_tare(physics: Physics) -> None:
    b = bench(physics)
    for key, mass in (("flour", 320.2), ("sugar", 249.8), ("milk", 241.0)):
        b.pour(key, mass, 45)
        b.pass_s(3)

    found = standing(run(b.entries, FORMULA))

    for key, truth in b.truth.items():
        assert_mass(found[key], truth.mass_g)
        assert found[key].verdict == "within"


def test_a_marked_line_out_of_order() -> None:
    b = bench()
    b.mark("milk")
    b.pass_s(0.5)
    b.pour("milk", 240, 45)
    b.pass_s(3)

    assert set(standing(run(b.entries, FORMULA))) == {"milk"}


@pytest.mark.parametrize("draw", range(6))
@pytest.mark.parametrize("physics", [KITCHEN, replace(BARE, lag_s=0.4)])
def test_a_tare_in_the_middle_of_a_pour_loses_nothing(physics: Physics, draw: int) -> None:
    b = bench(physics, draw=draw)
    b.pour("flour", 320, 30, tare_after=0.5)
    b.pass_s(4)

    found = standing(run(b.entries, FORMULA))

    assert set(found) == {"flour"}
    assert_mass(found["flour"], 320, within_g=3.0)
    assert found["flour"].verdict in ("within", "undecidable")


def test_a_scale_that_slept_and_woke_at_another_zero_keeps_what_was_weighed() -> None:
    b = bench()
    b.pour("flour", 320, 45)
    b.pass_s(3)
    b.sleep(60, zero_at_waking=True)
    b.pass_s(2)
    b.pour("sugar", 250, 45)
    b.pass_s(3)

    found = standing(run(b.entries, FORMULA))

    assert_mass(found["flour"], 320)
    assert_mass(found["sugar"], 250)
    assert {a.verdict for a in found.values()} == {"within"}


def test_unplugged_in_mid_pour_and_back_at_another_zero_is_undecidable() -> None:
    b = bench()
    b.pour("flour", 150, 45)
    b.load_g += 12
    b.sleep(8, zero_at_waking=True)
    b.pass_s(1.5)
    b.pour("flour", 150, 45)
    b.pass_s(3)

    found = standing(run(b.entries, FORMULA, tail_s=40))

    assert found["flour"].verdict == "undecidable"
    assert found["flour"].mass_kg is None


def test_a_declared_gap_is_treated_like_an_unplugged_scale() -> None:
    b = bench()
    b.pour("flour", 150, 45)
    b.load_g += 12
    before = len(b.entries)
    b.silent = True
    b.pass_s(1.0)  # shorter than any silence that would be noticed
    b.tare_g = b._f2
    b.silent = False
    last, t_us = b.entries[before - 1], 1_800_000_000_000_000 + round(b.t_s * 1e6)
    b.entries.append(Gap("bench-scale", "x", 1, None, None, last.t_us, t_us, "unplugged"))
    b.pass_s(1.5)
    b.pour("flour", 150, 45)
    b.pass_s(3)

    assert standing(run(b.entries, FORMULA, tail_s=40))["flour"].verdict == "undecidable"


def test_confirm_decides_a_counted_line_by_the_mass_told() -> None:
    formula = Formula("cake", (FLOUR, line("eggs", None, None)))
    b = bench()
    b.confirm("eggs", 152.0)

    found = standing(run(b.entries, formula))

    assert_mass(found["eggs"], 152.0)
    assert found["eggs"].verdict is None


def test_confirm_of_a_line_that_was_never_weighed_is_undecidable_without_a_mass() -> None:
    b = bench()
    b.confirm("milk")

    found = standing(run(b.entries, FORMULA))

    assert found["milk"].mass_kg is None
    assert found["milk"].verdict == "undecidable"


@pytest.mark.parametrize("mass_g", [-5.0, 1e300])
def test_confirm_with_a_mass_that_cannot_be_decides_nothing(mass_g: float) -> None:
    b = bench()
    b.confirm("milk", mass_g)

    assert "milk" not in standing(run(b.entries, FORMULA))


def test_confirm_decides_an_under_line_by_what_was_weighed() -> None:
    b = bench()
    b.pour("flour", 290, 45)
    b.pass_s(3)
    b.confirm("flour")

    found = standing(run(b.entries, FORMULA))

    assert_mass(found["flour"], 290)
    assert found["flour"].verdict == "under"


def test_without_a_formula_each_rest_after_a_rise_is_an_addition_of_its_own() -> None:
    b = bench()
    for mass in (120, 80):
        b.pour("x", mass, 45)
        b.pass_s(3)

    found = [a for a in additions(run(b.entries, None), None) if a.replaces is None]

    assert [round((a.mass_kg or 0) * 1000) for a in found] == [
        pytest.approx(120, abs=2),
        pytest.approx(80, abs=2),
    ]
    assert {a.target_kg for a in found} == {None}
    assert {a.verdict for a in found} == {None}


def test_a_pour_is_followed_with_advice_at_most_four_times_a_second() -> None:
    b = bench()
    b.pour("flour", 330, 45)
    b.pass_s(3)

    events = [e for e in run(b.entries, FORMULA) if isinstance(e.body, WeighingPouring)]
    bodies = [e.body for e in events if isinstance(e.body, WeighingPouring)]

    assert len(bodies) > 10
    gaps = [y.at_us - x.at_us for x, y in pairwise(events)]
    assert min(gaps) >= 240_000
    advice = [body.advice for body in bodies]
    assert advice.index(None) < advice.index("ease off") < advice.index("stop")
    for body in bodies:
        assert body.line == "flour"
        assert body.missing_kg == pytest.approx(0.320 - body.mass_kg)
        # Tared bowl, nothing else in it: the line's zero is the scale's.
        assert body.zero_kg == pytest.approx(0.0, abs=0.002)


def test_a_hand_on_the_bowl_adds_nothing() -> None:
    b = bench()
    b.pour("flour", 320, 45)
    b.pass_s(3)
    b.hand(4)
    b.pass_s(3)

    found = standing(run(b.entries, FORMULA))

    assert set(found) == {"flour"}
    assert_mass(found["flour"], 320)


def test_an_overload_adds_nothing() -> None:
    b = bench()
    b.pour("flour", 320, 45)
    b.pass_s(3)
    b.overloaded, b.extra_g = True, 9000
    b.pass_s(1.5)
    b.extra_g = 0
    b.pass_s(0.4)
    b.overloaded = False
    b.pass_s(3)

    found = standing(run(b.entries, FORMULA))

    assert set(found) == {"flour"}
    assert_mass(found["flour"], 320)


def test_no_addition_is_said_while_it_is_poured() -> None:
    b = bench()
    b.pour("flour", 320, 25)
    poured_us = 1_800_000_000_000_000 + round(b.t_s * 1e6)
    b.pass_s(3)

    said = [e for e in run(b.entries, FORMULA) if isinstance(e.body, WeighingAddition)]

    # The slow end of a pour may rest within a division of its end; not before.
    assert all(e.at_us >= poured_us - 1_500_000 for e in said)
    assert said


@pytest.mark.parametrize("shift_s", [-40_000_000, 3600, 86_400 * 300])
def test_shifting_all_times_changes_nothing_else(shift_s: int) -> None:
    b = bench()
    b.pour("flour", 330, 45)
    b.pass_s(3)
    b.mark("milk")
    b.pour("milk", 240, 45)
    b.pass_s(3)
    moved = [
        replace(e, t_us=e.t_us + shift_s * 1_000_000)
        for e in b.entries
        if isinstance(e, Reading | Mark)
    ]

    before = [e.to_json() for e in run(b.entries, FORMULA)]
    after = [e.to_json() for e in run(moved, FORMULA)]

    assert len(before) == len(after)
    for x, y in zip(before, after, strict=True):
        for document in (x, y):
            document.pop("at")
            document.pop("start_at", None)
    assert before == after


def test_the_same_log_gives_the_same_events_twice() -> None:
    b = bench()
    b.pour("flour", 320, 45)
    b.pass_s(3)

    assert [e.to_json() for e in run(b.entries, FORMULA)] == [
        e.to_json() for e in run(b.entries, FORMULA)
    ]


def test_growing_prefixes_give_prefixes_of_the_events() -> None:
    b = bench()
    b.pour("flour", 335, 45)
    b.pass_s(3)
    b.take_back("flour", 15)
    b.pass_s(3)
    whole = [e.to_json() for e in run(b.entries, FORMULA)]

    for end in range(0, len(b.entries), 37):
        part = [e.to_json() for e in run(b.entries[:end], FORMULA)]
        assert part == whole[: len(part)]


def test_readings_of_other_roles_and_units_are_left_alone() -> None:
    room = Weighing(Plan({NAME: "scale"}, formulas=(FORMULA,)))

    air = Reading("oven-probe", "air", 1_800_000_000_000_000, 175.0, "Cel")
    assert room.on_reading(air, "oven") == []
    assert room.on_mark(Mark("into oven", 1_800_000_000_000_001)) == []
    assert room.on_second(1_800_000_001_000_000) == []


@pytest.mark.parametrize("order", [("flour", "sugar", "milk"), ("milk", "flour", "sugar")])
def test_the_order_of_marked_lines_does_not_matter(order: tuple[str, ...]) -> None:
    masses = {"flour": 320.0, "sugar": 250.0, "milk": 240.0}
    b = bench()
    for key in order:
        b.mark(key)
        b.pass_s(0.5)
        b.pour(key, masses[key], 45)
        b.pass_s(3)

    found = standing(run(b.entries, FORMULA))

    for key, mass in masses.items():
        assert_mass(found[key], mass)
        assert found[key].verdict == "within"


def test_lines_may_be_weighed_on_either_of_two_scales() -> None:
    first, second = bench(draw=1), bench(draw=2, bowl_g=300.0)
    first.pour("flour", 320.2, 45)
    first.pass_s(3)
    second.pass_s(first.t_s)  # the second bowl waits until the first line is done
    second.pour("sugar", 250.1, 45)
    second.pass_s(3)
    room = Weighing(Plan({NAME: "scale", "small-scale/mass": "scale 2"}, formulas=(FORMULA,)))
    said: list[WeighingAddition] = []
    both = [(e, "scale") for e in first.entries] + [
        (replace(e, instrument="small-scale"), "scale 2")
        for e in second.entries
        if isinstance(e, Reading)
    ]

    for number, (entry, role) in enumerate(sorted(both, key=lambda pair: pair[0].t_us)):
        assert isinstance(entry, Reading)
        for body in room.on_reading(entry, role):
            room.on_event(Event(number + 1, entry.t_us, "b", body))
            if isinstance(body, WeighingAddition):
                said.append(body)

    found = {body.line: body for body in said}
    assert_mass(found["flour"], 320.2)
    assert_mass(found["sugar"], 250.1)
    assert found["flour"].scale == NAME
    assert found["sugar"].scale == "small-scale/mass"


@pytest.mark.parametrize("over_g", [0.0, 7.0])
@pytest.mark.parametrize("draw", range(4))
def test_a_tap_at_once_stays_with_the_pour_it_follows_though_that_is_within_already(
    draw: int, over_g: float
) -> None:
    b = bench(draw=draw)
    b.pour("flour", 318, 45)
    b.pass_s(0.8)
    b.spoon("flour", 2.2, 1)
    b.pass_s(12)
    b.pour("sugar", 250 + over_g, 45)
    b.pass_s(3)

    found = standing(run(b.entries, FORMULA))

    assert_mass(found["flour"], 320.2)
    assert_mass(found["sugar"], 250 + over_g)
    assert found["flour"].verdict == "within"
    assert found["sugar"].verdict == ("over" if over_g else "within")


def test_a_first_tap_of_the_next_line_after_a_pause_is_of_that_line() -> None:
    b = bench()
    b.pour("flour", 320, 45)
    b.pass_s(12)
    b.spoon("sugar", 2.6, 1)
    b.pass_s(2)
    b.pour("sugar", 247.4, 45)
    b.pass_s(3)

    found = standing(run(b.entries, FORMULA))

    assert_mass(found["flour"], 320)
    assert_mass(found["sugar"], 250)


@pytest.mark.parametrize("draw", range(3))
def test_a_slow_spoonful_after_a_tare_is_of_the_next_line_at_once(draw: int) -> None:
    vanilla = line("vanilla", 6, 0.3)
    b = bench(draw=draw)
    b.pour("milk", 240, 45)
    b.pass_s(3)
    b.tare()
    b.pass_s(5)
    b.pour("vanilla", 4, 1.0)
    b.pass_s(4)

    events = run(b.entries, Formula("wet", (MILK, vanilla)), tail_s=40)

    found = standing(events)
    assert_mass(found["milk"], 240)
    assert_mass(found["vanilla"], 4)


def test_an_addition_brings_the_budget_of_its_uncertainty() -> None:
    b = bench()
    b.pour("flour", 320, 45)
    b.pass_s(3)

    found = standing(run(b.entries, FORMULA, ScaleFacts(0.001, "III")))["flour"]

    assert found.budget is not None
    assert found.budget["class_error_kg"] == pytest.approx(0.0005 / 3**0.5, abs=1e-9)
    squares = sum(part**2 for part in found.budget.values() if part is not None)
    assert found.expanded_uncertainty_kg == pytest.approx(2 * squares**0.5, abs=1e-8)


def test_what_was_told_and_not_weighed_has_no_budget() -> None:
    b = bench()
    b.confirm("milk", 240.0)

    assert standing(run(b.entries, FORMULA))["milk"].budget is None


@pytest.mark.parametrize(("has_g", "kind"), [(320.0, Ended), (40.0, Lifted)])
def test_a_fall_by_more_than_the_line_ever_had_is_a_lifted_container(
    has_g: float, kind: type[Ended | Lifted]
) -> None:
    b = bench(bowl_g=100)
    b.pour("flour", 320, 45)
    b.pass_s(3)
    b.take_back("flour", 250)
    b.pass_s(3)
    scale = Scale(
        NAME,
        None,
        plausible=lambda change_kg, division_kg: change_kg > 0,
        awaited=lambda change_kg, start_us, division_kg: False,
        unfinished=lambda piece: False,
        takeable_kg=lambda: has_g / 1000,
        addable_kg=lambda: 0.0,
    )

    signals = [s for e in b.entries if isinstance(e, Reading) for s in scale.feed(e)]

    assert isinstance(signals[-1], kind)


@pytest.mark.parametrize(("zero_g", "word"), [(0.0, "within"), (140.0, "undecidable")])
def test_what_came_unheard_is_believed_where_it_fits_and_not_where_it_is_far_off(
    zero_g: float, word: str
) -> None:
    b = bench()
    b.mark("flour")
    b.pour("flour", 120, 45)
    b.pass_s(2)
    b.silent = True
    b.pour("flour", 80, 45)
    b.pass_s(6)
    b.tare_g -= zero_g
    b.silent = False
    b.pass_s(3)
    b.pour("flour", 120, 45)
    b.pass_s(3)

    assert standing(run(b.entries, FORMULA))["flour"].verdict == word


def test_a_zero_that_moved_by_more_than_the_line_can_take_adds_nothing() -> None:
    assert waking(0.9, 0.0, 0.4, 0.0, 0.0, 10.0, 0.001, addable_kg=0.2).kind == "unknown"
    assert waking(0.5, 0.0, 0.4, 0.0, 0.0, 10.0, 0.001, addable_kg=0.2).kind == "added"


@pytest.mark.parametrize(("addable_kg", "kind"), [(0.1, "added"), (0.05, "unknown")])
def test_a_stream_that_went_on_unheard_added_no_more_than_its_line_can_take(
    addable_kg: float, kind: str
) -> None:
    found = waking(0.48, 0.0, 0.4, 0.0, 0.002, 8.0, 0.001, addable_kg=addable_kg)

    assert found.kind == kind
