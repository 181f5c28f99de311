"""Over-pours at the bench: what is offered, what a person chooses, what becomes of the lines."""

from __future__ import annotations

import random

import pytest
from weighing_bench import START_US, Bench, Physics, line, run, standing

from logger.batch import BatchView
from logger.entries import Mark
from logger.events import (
    Event,
    WeighingAddition,
    WeighingPouring,
    WeighingRecovery,
    from_json,
)
from logger.plan import Formula, Plan, ScaleFacts

FLOUR, SUGAR = line("cake flour", 320, 3.2), line("granulated sugar", 250, 2.5)
BUTTER, MILK = line("butter", 170, 1.7), line("milk", 240, 4.8)
EGGS = line("eggs", 150, 3.0, by="count")
CAKE = Formula("cake", (FLOUR, SUGAR, BUTTER, MILK))


def bench(draw: int = 1) -> Bench:
    out = Bench(Physics(stable_flag=True, net_flag=True), random.Random(draw))
    out.pass_s(2)
    out.put(612)
    out.pass_s(2.5)
    out.tare()
    out.pass_s(2)
    return out


def pour(b: Bench, key: str, mass_g: float) -> None:
    b.pour(key, mass_g, 45)
    b.pass_s(3)


def recover(b: Bench, key: str, choice: str) -> None:
    b._mark("recover", {"line": key, "choice": choice})
    b.pass_s(1)


def recoveries(events: list[Event]) -> list[WeighingRecovery]:
    return [e.body for e in events if isinstance(e.body, WeighingRecovery)]


def names(body: WeighingRecovery) -> list[str]:
    return [way["choice"] for way in body.choices]


def view(events: list[Event], *formulas: Formula) -> BatchView:
    out = BatchView.of("b", Plan(formulas=formulas or (CAKE,)))
    for event in events:
        out.apply(event)
    return out


def flour_and_too_much_sugar(draw: int = 1) -> Bench:
    b = bench(draw)
    pour(b, "cake flour", 320)
    pour(b, "granulated sugar", 263)
    return b


def test_a_line_that_is_over_is_followed_by_the_ways_back() -> None:
    b = flour_and_too_much_sugar()

    events = run(b.entries, CAKE)

    said = recoveries(events)
    assert [body.line for body in said] == ["granulated sugar"]
    assert names(said[0]) == ["take back", "rescale", "leave"]
    assert said[0].chosen is None
    over = next(
        e for e in events if isinstance(e.body, WeighingAddition) and e.body.verdict == "over"
    )
    assert events[events.index(over) + 1].body is said[0]


def test_within_is_followed_by_no_way_back() -> None:
    b = bench()
    pour(b, "cake flour", 320)

    assert not recoveries(run(b.entries, CAKE))


def test_the_event_survives_its_json_form() -> None:
    event = next(
        e
        for e in run(flour_and_too_much_sugar().entries, CAKE)
        if isinstance(e.body, WeighingRecovery)
    )

    assert from_json(event.to_json()).to_json() == event.to_json()


def test_sugar_with_butter_over_it_is_not_taken_back() -> None:
    b = flour_and_too_much_sugar()
    pour(b, "butter", 170)

    last = recoveries(run(b.entries, CAKE))[-1]

    assert names(last) == ["rescale", "leave"]
    assert [dict(way) for way in last.withheld] == [
        {
            "choice": "take back",
            "text": "No taking back: granulated sugar already has butter over it.",
        }
    ]


def test_a_bowl_that_was_away_may_be_mixed() -> None:
    b = flour_and_too_much_sugar()
    mass = b.lift()
    b.pass_s(40)
    b.put_back(mass)
    b.pass_s(3)

    last = recoveries(run(b.entries, CAKE))[-1]

    assert "take back" not in names(last)
    assert "may be mixed" in last.withheld[0]["text"]


def test_leaving_it_closes_the_matter() -> None:
    b = flour_and_too_much_sugar()
    recover(b, "granulated sugar", "leave")
    pour(b, "butter", 170)

    events = run(b.entries, CAKE)

    last = recoveries(events)[-1]
    assert last.chosen == "leave"
    assert names(last)[-1] == "leave"
    assert standing(events)["granulated sugar"].verdict == "over"
    assert standing(events)["butter"].verdict == "within"
    assert view(events).line("granulated sugar").way_back.startswith("Leave it: 13")  # type: ignore[union-attr]


def test_taking_back_is_followed_down_to_the_target_and_judged_again() -> None:
    b = flour_and_too_much_sugar()
    recover(b, "granulated sugar", "take back")
    for _ in range(2):
        b.load_g -= 3.0
        b.pass_s(0.4)
        b.load_g -= 3.3
        b.pass_s(3)
    b.add_truth("granulated sugar", -12.6)

    events = run(b.entries, CAKE)

    body = standing(events)["granulated sugar"]
    assert body.verdict == "within"
    assert body.mass_kg == pytest.approx(0.2504, abs=0.001)
    last = recoveries(events)[-1]
    assert last.chosen == "take back"
    assert names(last) == ["take back"]
    taking = [
        e.body
        for e in events
        if isinstance(e.body, WeighingPouring) and e.body.missing_kg and e.body.missing_kg < -0.003
    ]
    assert any(body.line == "granulated sugar" and body.mass_kg < 0.262 for body in taking)


def test_taking_back_without_saying_so_closes_the_matter_too() -> None:
    b = flour_and_too_much_sugar()
    b.take_back("granulated sugar", 12.6)
    b.pass_s(3)

    last = recoveries(run(b.entries, CAKE))[-1]

    assert last.chosen == "take back"
    assert last.choices[0]["take_kg"] == pytest.approx(0.0126, abs=0.002)


@pytest.mark.parametrize("draw", range(4))
def test_a_rescale_gives_new_targets_and_asks_for_a_top_up(draw: int) -> None:
    b = flour_and_too_much_sugar(draw)
    recover(b, "granulated sugar", "rescale")
    events = run(b.entries, CAKE)
    said = recoveries(events)[-1]
    way = next(way for way in said.choices if way["choice"] == "rescale")
    found = standing(events)

    assert said.chosen == "rescale"
    assert way["factor"] == pytest.approx(263.8 / 252.5, abs=0.006)
    assert found["granulated sugar"].verdict == "within"
    assert found["granulated sugar"].replaces is not None
    assert found["cake flour"].verdict == "under"
    assert found["cake flour"].target_kg == pytest.approx(0.320 * way["factor"], abs=1e-6)
    assert [top_up["line"] for top_up in way["top_ups"]] == ["cake flour"]

    pour(b, "cake flour", way["top_ups"][0]["mass_kg"] * 1000)
    pour(b, "butter", 170 * way["factor"])
    pour(b, "milk", 240 * way["factor"])
    after = standing(run(b.entries, CAKE))

    assert {key: body.verdict for key, body in after.items()} == dict.fromkeys(
        ["cake flour", "granulated sugar", "butter", "milk"], "within"
    )
    assert after["milk"].target_kg == pytest.approx(0.240 * way["factor"], abs=1e-6)


def test_the_view_shows_new_targets_top_ups_and_what_comes_next() -> None:
    b = flour_and_too_much_sugar()
    recover(b, "granulated sugar", "rescale")

    shown = view(run(b.entries, CAKE))

    flour, milk = shown.line("cake flour"), shown.line("milk")
    assert flour is not None
    assert milk is not None
    assert flour.top_up_kg == pytest.approx(0.320 * (flour.factor - 1), abs=0.001)
    assert milk.target_kg == pytest.approx(0.240 * milk.factor)
    assert shown.next_line is flour
    assert shown.to_json()["next"] == "cake flour"


def test_a_topped_up_line_gives_way_to_the_next() -> None:
    b = flour_and_too_much_sugar()
    recover(b, "granulated sugar", "rescale")
    way = next(w for w in recoveries(run(b.entries, CAKE))[-1].choices if w["choice"] == "rescale")
    pour(b, "cake flour", way["top_ups"][0]["mass_kg"] * 1000)

    shown = view(run(b.entries, CAKE))

    assert shown.next_line is not None
    assert shown.next_line.key == "butter"


def test_a_second_rescale_composes_with_the_first() -> None:
    b = flour_and_too_much_sugar()
    recover(b, "granulated sugar", "rescale")
    first = next(
        w for w in recoveries(run(b.entries, CAKE))[-1].choices if w["choice"] == "rescale"
    )
    pour(b, "cake flour", first["top_ups"][0]["mass_kg"] * 1000)
    pour(b, "butter", 170 * first["factor"] + 8)
    recover(b, "butter", "rescale")

    events = run(b.entries, CAKE)

    second = next(w for w in recoveries(events)[-1].choices if w["choice"] == "rescale")
    assert second["whole_factor"] == pytest.approx(first["factor"] * second["factor"], abs=2e-6)
    target = next(t for t in second["targets"] if t["line"] == "milk")["target_kg"]
    assert target == pytest.approx(0.240 * second["whole_factor"], abs=1e-6)
    assert standing(events)["butter"].verdict == "within"


def test_counted_eggs_get_a_top_up_that_nobody_judges() -> None:
    formula = Formula("cake", (FLOUR, EGGS, SUGAR, MILK))
    b = bench()
    pour(b, "cake flour", 320)
    b.confirm("eggs")
    b.pass_s(1)
    pour(b, "granulated sugar", 263)
    recover(b, "granulated sugar", "rescale")
    way = next(
        w for w in recoveries(run(b.entries, formula))[-1].choices if w["choice"] == "rescale"
    )
    tops = {one["line"]: one["mass_kg"] * 1000 for one in way["top_ups"]}
    pour(b, "cake flour", tops["cake flour"])
    pour(b, "eggs", tops["eggs"])
    pour(b, "milk", 240 * way["factor"])

    events = run(b.entries, formula)

    found = standing(events)
    assert found["eggs"].mass_kg is None
    assert found["eggs"].verdict == "undecidable"
    assert found["cake flour"].verdict == "within"
    assert found["milk"].verdict == "within"
    shown = view(events, formula).line("eggs")
    assert shown is not None
    assert shown.top_up_kg is None


def test_only_the_formula_that_went_over_is_rescaled() -> None:
    frosting = Formula(
        "frosting",
        (line("cream cheese", 455, 9.1, formula="frosting"), line("icing sugar", 120, 1.2)),
    )
    b = bench()
    pour(b, "cake flour", 320)
    b.mark("cream cheese")
    b.pass_s(0.5)
    pour(b, "cream cheese", 480)
    recover(b, "cream cheese", "rescale")

    events = run(b.entries, (CAKE, frosting))

    shown = view(events, CAKE, frosting)
    icing, flour = shown.line("icing sugar"), shown.line("cake flour")
    assert icing is not None
    assert flour is not None
    assert icing.factor > 1.03
    assert flour.factor == 1.0
    assert flour.verdict == "within"


@pytest.mark.parametrize("choice", ["take back", "no such way", ""])
def test_a_way_that_is_not_open_changes_nothing_and_is_answered_with_those_that_are(
    choice: str,
) -> None:
    b = flour_and_too_much_sugar()
    pour(b, "butter", 170)
    before = len(recoveries(run(b.entries, CAKE)))
    recover(b, "granulated sugar", choice)

    said = recoveries(run(b.entries, CAKE))

    assert len(said) == before + 1
    assert said[-1].chosen is None
    assert names(said[-1]) == ["rescale", "leave"]


def test_a_way_back_of_a_line_that_is_not_over_is_ignored() -> None:
    b = bench()
    pour(b, "cake flour", 320)
    before = [e.to_json() for e in run(b.entries, CAKE)]
    recover(b, "cake flour", "rescale")
    recover(b, "no such line", "leave")

    assert [e.to_json() for e in run(b.entries, CAKE)] == before


def test_going_into_the_oven_leaves_it_as_it_is() -> None:
    b = flour_and_too_much_sugar()
    b._mark("into oven", {})

    assert recoveries(run(b.entries, CAKE))[-1].chosen == "leave"


def test_what_was_poured_to_a_marked_line_and_fits_another_may_be_re_assigned() -> None:
    small = line("brown sugar", 60, 1.5)
    formula = Formula("cake", (FLOUR, small, MILK))
    b = bench()
    pour(b, "cake flour", 320)
    b.mark("brown sugar")
    b.pass_s(0.5)
    b.pour("milk", 240, 45)
    b.pass_s(3)
    offered = recoveries(run(b.entries, formula))[-1]
    recover(b, "brown sugar", "reassign")
    pour(b, "brown sugar", 60)

    events = run(b.entries, formula)

    assert names(offered)[0] == "reassign"
    assert offered.choices[0]["line"] == "milk"
    found = standing(events)
    assert found["milk"].verdict == "within"
    assert found["milk"].mass_kg == pytest.approx(0.240, abs=0.001)
    assert found["brown sugar"].verdict == "within"


def test_a_line_whose_only_pour_was_of_another_is_open_again() -> None:
    b = bench()
    pour(b, "cake flour", 320)
    b.mark("butter")
    b.pass_s(0.5)
    pour(b, "butter", 240)  # it was the milk
    b._mark("reassign", {"from": "butter", "line": "milk"})
    b.pass_s(1)

    events = run(b.entries, CAKE)

    found = standing(events)
    assert found["butter"].mass_kg == 0
    assert found["butter"].verdict is None
    assert found["butter"].replaces is not None
    assert found["milk"].verdict == "within"
    butter = view(events).line("butter")
    assert butter is not None
    assert not butter.weighed


def test_only_the_last_pour_is_moved_where_the_first_was_right() -> None:
    b = bench()
    b.mark("butter")
    b.pass_s(0.5)
    pour(b, "butter", 170)
    b.mark("butter")
    b.pass_s(0.5)
    pour(b, "butter", 240)  # it was the milk
    b._mark("reassign", {"from": "butter", "line": "milk"})
    b.pass_s(1)

    found = standing(run(b.entries, CAKE))

    assert found["butter"].mass_kg == pytest.approx(0.170, abs=0.001)
    assert found["butter"].verdict == "within"
    assert found["milk"].mass_kg == pytest.approx(0.240, abs=0.001)


@pytest.mark.parametrize(
    "document",
    [{"from": "cake flour", "line": "cake flour"}, {"line": "milk"}, {"from": "milk", "line": "butter"},
     {"from": 3, "line": "butter"}, {"from": "cake flour", "line": "no such line"}],
)  # fmt: skip
def test_a_re_assignment_of_nothing_changes_nothing(document: dict[str, object]) -> None:
    b = bench()
    pour(b, "cake flour", 320)
    before = [e.to_json() for e in run(b.entries, CAKE)]
    b._mark("reassign", document)
    b.pass_s(1)

    assert [e.to_json() for e in run(b.entries, CAKE)] == before


def test_the_ways_are_the_same_after_a_restart_in_the_middle() -> None:
    b = flour_and_too_much_sugar()
    recover(b, "granulated sugar", "rescale")
    pour(b, "butter", 178)
    whole = [e.to_json() for e in run(b.entries, CAKE)]

    for end in range(len(b.entries) // 2, len(b.entries), 41):
        part = [e.to_json() for e in run(b.entries[:end], CAKE)]
        assert part == whole[: len(part)]


def test_a_mark_without_a_batch_of_formulas_is_ignored() -> None:
    b = bench()
    pour(b, "x", 120)
    t_us = START_US + round(b.t_s * 1e6)
    marks = [Mark("recover", t_us, document={"line": "x", "choice": "leave"}),
             Mark("reassign", t_us, document={"from": "x", "line": "y"})]  # fmt: skip

    assert not recoveries(run([*b.entries, *marks], None, ScaleFacts()))
