"""Every state of a batch has its sentence."""

import dataclasses
from datetime import UTC
from types import MappingProxyType

import pytest

from logger import events as ev
from logger.batch import BatchView
from logger.plan import CakePlan, Formula, Line, Milestone, OvenPlan, Plan
from logger.sentence import no_batch, sentence

T = 1_800_000_000.0  # 08:00 UTC
FLOUR = Line("cake flour", "cake flour", "270 g", 0.27, 0.0027, "dry")
SUGAR = Line("granulated sugar", "granulated sugar", "300 g", 0.3, 0.003, "dry")
PLAN = Plan(
    channels=MappingProxyType({"s/mass": "scale", "o/air": "oven", "p/core": "core"}),
    formulas=(Formula("Cake", (FLOUR, SUGAR)),),
    oven=OvenPlan(175.0),
    cake=CakePlan(),
    bake_milestones=(Milestone("done", core_c=97.0),),
    cooling_milestones=(Milestone("unmould", core_c=60.0), Milestone("frost", core_c=24.0)),
)


def view_after(*bodies, at=T):
    view = BatchView.of("b", PLAN)
    for i, body in enumerate(bodies, 1):
        view.apply(ev.Event(i, int(at * 1e6), "b", body))
    return view


def pouring(line, mass, advice=None):
    return ev.WeighingPouring(line.key, mass, line.target_kg - mass, 0.5, advice, "s/mass")


def addition(line, mass, verdict):
    return ev.WeighingAddition(
        line.key, mass, 0.001, line.target_kg, line.lower_kg, line.upper_kg, 0.9, verdict, "s/mass"
    )


def forecast(cls, name, expected, low, high, made=T):
    return cls(name, made, expected, low, high, True)


BAKED = (ev.BakeIn(T - 3000, "marked", 1.0), ev.BakeOut(T - 600, "marked", 1.0))
LEFT = (ev.CoolingStarted(T - 600, 96.0),)
WEIGHED = (addition(FLOUR, 0.27, "within"), addition(SUGAR, 0.3, "within"))

STATES = [
    ((), {}, "Next: cake flour, 270 g.", "bowl"),
    ((pouring(FLOUR, 0.232),), {}, "Cake flour: 38 g more.", "granulated sugar"),
    ((pouring(FLOUR, 0.262, "ease off"),), {}, "Cake flour: 8 g more.", "granulated sugar"),
    ((pouring(FLOUR, 0.27),), {}, "Cake flour: stop", "granulated sugar"),
    ((pouring(FLOUR, 0.28),), {}, "Cake flour: over by 10 g.", "Take some back"),
    ((addition(FLOUR, 0.279, "over"),), {}, "Next: granulated sugar", "over by 9 g"),
    ((addition(FLOUR, 0.27, "undecidable"),), {}, "Next: granulated sugar", "can't tell"),
    (WEIGHED, {"oven": 120.0}, "on its way to 175 °C", "mean holds"),
    (WEIGHED, {}, "All lines are weighed.", "into oven"),
    (
        (*WEIGHED, ev.OvenPreheated(T, 171.0, 175.0)), {"oven": 172.0},
        "The oven is holding 171 °C: put them in.", "dial",
    ),
    ((*WEIGHED, ev.BakeIn(T - 600, "marked", 1.0)), {"core": 40.0}, "In the oven for 10 min.", "early"),
    (
        (ev.BakeIn(T - 600, "marked", 1.0), forecast(ev.BakeForecast, "done", T + 900, T + 780, T + 1020)),
        {"core": 70.0}, "Done at about 08:15, between 08:13 and 08:17.", "70 °C",
    ),
    (
        (ev.BakeIn(T - 600, "marked", 1.0), ev.BakeReached("done", T, 97.0)),
        {"core": 97.2}, "take them out", "hot pans",
    ),
    ((*BAKED, *LEFT), {"core": 95.0}, "Cooling.", "too early"),
    (
        (*BAKED, *LEFT, ev.BakeIn(T - 3000, "noticed", 0.5)),
        {"core": 80.0}, "In the oven for 50 min.", "early",
    ),
    (
        (*BAKED, *LEFT, forecast(ev.CoolingForecast, "frost", T + 7200, T + 6600, T + 8100),
         forecast(ev.CoolingForecast, "unmould", T + 900, T + 800, T + 1000)),
        {"core": 80.0}, "Unmould at about 08:15", "Frost at about 10:00, between 09:50 and 10:15",
    ),
    (
        (*BAKED, *LEFT, ev.CoolingReached("unmould", T - 60, 60.0),
         forecast(ev.CoolingForecast, "frost", T + 7200, T + 6600, None)),
        {"core": 50.0}, "not before 09:50, and perhaps never", "50.0 °C",
    ),
    (
        (*BAKED, *LEFT, ev.CoolingReached("unmould", T - 60, 60.0),
         ev.CoolingForecast("frost", T, None, None, None, False, 26.0, "Move it to the refrigerator.")),
        {}, "will not get to 24 °C here: it settles at about 26 °C", "refrigerator",
    ),
    (
        (*BAKED, *LEFT, forecast(ev.CoolingForecast, "frost", T + 90, T, T + 200, made=T - 599),
         ev.CoolingReached("unmould", T - 60, 60.0), ev.CoolingReached("frost", T, 24.0)),
        {"core": 24.0}, "Cool enough to frost.", "expected at 08:01",
    ),
    ((ev.BatchClosed(),), {}, "Batch closed at 08:00.", "record"),
]  # fmt: skip


@pytest.mark.parametrize(("bodies", "live", "now", "then"), STATES)
def test_each_state_has_its_sentence(bodies, live, now, then):
    said = sentence(view_after(*bodies), int(T * 1e6), UTC, live)

    assert now in said.now
    assert then in said.then
    assert said.to_json()["number"]["kind"] in (
        "missing", "mass", "time", "temperature", "clock", "none",
    )  # fmt: skip


def test_a_line_passed_over_is_named_and_does_not_hold_up_the_oven():
    view = view_after(addition(SUGAR, 0.3, "within"), ev.OvenPreheated(T, 171.0, 175.0))

    said = sentence(view, int(T * 1e6), UTC, {"oven": 171.0})

    assert "put them in" in said.now
    assert "Not weighed: cake flour" in said.then


def test_a_kitchen_without_a_batch_says_what_to_do():
    assert "Open a batch" in no_batch().now


def test_the_measure_is_drawn_to_scale_with_brackets_as_wide_as_the_tolerance():
    said = sentence(view_after(pouring(FLOUR, 0.232)), int(T * 1e6), UTC)

    assert said.measure is not None
    assert (said.measure.target_low, said.measure.target_high) == (FLOUR.lower_kg, FLOUR.upper_kg)
    assert said.measure.from_ <= said.measure.value <= said.measure.to


def test_the_forecast_at_a_quarter_of_the_way_is_kept_beside_the_truth():
    start, end = T - 4000, T
    said = [
        forecast(ev.CoolingForecast, "frost", T + n, T, T + 900, made=start + n)
        for n in range(60, 4000, 60)
    ]

    view = view_after(ev.CoolingStarted(start, 96.0), *said, ev.CoolingReached("frost", end, 24.0))

    (_, frost) = view.cooling
    assert frost.first_quarter is not None
    assert frost.first_quarter["made_at"] == start + 960  # the last one by 1000 s
    assert len(frost.trace) <= 40


def scale_to_use(line, scale, decides=True):
    return ev.WeighingScale(line.key, scale, decides)


def test_the_scale_to_use_is_named_where_it_changes():
    first = view_after(scale_to_use(FLOUR, "bench-scale/mass"))
    same = view_after(
        dataclasses.replace(addition(FLOUR, 0.27, "within"), scale="bench-scale/mass"),
        scale_to_use(SUGAR, "bench-scale/mass"),
    )
    other = view_after(
        dataclasses.replace(addition(FLOUR, 0.27, "within"), scale="bench-scale/mass"),
        scale_to_use(SUGAR, "fine-scale/mass"),
    )

    said = [sentence(view, int(T * 1e6), UTC).now for view in (first, same, other)]

    assert said == [
        "Next: cake flour, 270 g, on the bench scale.",
        "Next: granulated sugar, 300 g.",
        "Next: granulated sugar, 300 g, on the fine scale.",
    ]


def test_a_line_confirmed_unweighed_blames_no_scale():
    confirmed = dataclasses.replace(addition(FLOUR, 0.0, "undecidable"), mass_kg=None)

    said = sentence(view_after(confirmed), int(T * 1e6), UTC)

    assert said.then == "Cake flour: confirmed, not weighed."


def over_sugar(chosen=None, **way):
    choice = {"choice": chosen or "leave", "text": "What was done.", **way}
    return ev.WeighingRecovery(SUGAR.key, (choice,), chosen)


def said_after(*bodies):
    return sentence(view_after(addition(FLOUR, 0.27, "within"), *bodies), int(T * 1e6), UTC)


def test_what_is_to_be_taken_back_is_the_one_next_thing():
    said = said_after(addition(SUGAR, 0.313, "over"), over_sugar("take back"))

    assert said.now == "Take 13 g of granulated sugar back out."
    assert said.number.value == "\N{MINUS SIGN}13"
    assert said.act


def test_once_it_is_taken_back_the_next_thing_is_another():
    said = said_after(
        addition(SUGAR, 0.313, "over"), over_sugar("take back"), addition(SUGAR, 0.3, "within")
    )

    assert "Take" not in said.now


def test_a_rescale_asks_for_its_top_up_first_and_then_shows_the_new_target():
    milk = Line("milk", "milk", "240 g", 0.24, 0.0048)
    plan = dataclasses.replace(PLAN, formulas=(Formula("Cake", (FLOUR, SUGAR, milk)),))
    view = BatchView.of("b", plan)
    targets = [
        {"line": one.key, "target_kg": one.target_kg * 1.1, "lower_kg": one.lower_kg * 1.1,
         "upper_kg": one.upper_kg * 1.1}
        for one in (FLOUR, SUGAR, milk)
    ]  # fmt: skip
    rescaled = over_sugar(
        "rescale", factor=1.1, whole_factor=1.1, targets=targets,
        top_ups=[{"line": FLOUR.key, "mass_kg": 0.027}],
    )  # fmt: skip
    new_flour = dataclasses.replace(FLOUR, target_kg=0.297, tolerance_kg=0.00297)
    said = []
    for number, body in enumerate(
        (addition(FLOUR, 0.27, "within"), addition(SUGAR, 0.33, "over"), rescaled,
         addition(new_flour, 0.27, "under"), addition(new_flour, 0.297, "within")), 1,
    ):  # fmt: skip
        view.apply(ev.Event(number, int(T * 1e6), "b", body))
        said.append(sentence(view, int(T * 1e6), UTC).now)

    assert said[2] == said[3] == "Add 27 g more of cake flour."
    assert said[4] == "Next: milk, 264 g in place of 240 g."


def test_an_open_way_back_is_named_beside_the_next_line():
    view = view_after(
        addition(FLOUR, 0.279, "over"),
        ev.WeighingRecovery(FLOUR.key, ({"choice": "leave", "text": "Leave it."},), None),
    )

    said = sentence(view, int(T * 1e6), UTC)

    assert said.now == "Next: granulated sugar, 300 g."
    assert said.then == "Cake flour: over by 9 g. Choose a way back, or go on."


def test_the_formulas_own_time_is_told_beside_the_forecast_where_they_differ():
    begun = (
        ev.BatchStage("baking"),
        ev.BakeIn(T - 900, "marked", 1.0),
        forecast(ev.BakeForecast, "done", T + 1500, T + 1300, T + 1700),
    )
    text = "done is expected 8 minutes behind the formula's window of 28-32 min: oven 11 °C cool"

    said = {}
    for outside_s in (480.0, 0.0):
        window = ev.BakeWindow("done", T + 780, T + 1020, T + 1500, outside_s, False, -11.0, text)
        view = view_after(*begun, window)
        found = sentence(view, T, UTC, {"core": 70.0})
        said[outside_s] = f"{found}"
        assert view.to_json()["bake"]["window"]["outside_s"] == outside_s

    assert "Done is expected 8 minutes behind the formula's window" in said[480.0]
    assert "window" not in said[0.0]
