"""The caution about slow cooling: FDA Food Code 3-501.14(A)(1), 57 °C to 21 °C within 2 hours."""

from __future__ import annotations

from logger.plan import Formula, Line, Plan
from logger.thermal.safety import SlowCooling, perishable_lines


def plan(*ingredients: str) -> Plan:
    lines = tuple(Line(name, name, "200 g", 0.2, 0.002) for name in ingredients)
    return Plan(formulas=(Formula("Layer cake", lines),))


def cooled(p: Plan, to_c: float, seconds: float) -> tuple[object, SlowCooling]:
    watch = SlowCooling(p)
    watch.feed(0.0, 60.0)
    watch.feed(10.0, 56.9)
    watch.feed(seconds, to_c)
    return watch.look(seconds, 1000.0), watch


def test_only_perishable_lines_are_spoken_of() -> None:
    assert perishable_lines(plan("cake flour", "Cream cheese, full fat")) == (
        "Cream cheese, full fat",
    )
    assert perishable_lines(Plan()) == ()


def test_two_hours_between_the_temperatures_are_cautioned_once() -> None:
    caution, watch = cooled(plan("cream cheese"), 30.0, 7211.0)

    assert caution is not None
    assert "local food code" in caution.text
    assert "no proof" in caution.text
    assert caution.since_at == 1010.0
    assert watch.look(8000.0, 1000.0) is None


def test_just_two_hours_are_not_more_than_two_hours() -> None:
    caution, _ = cooled(plan("cream cheese"), 30.0, 7210.0)

    assert caution is None


def test_what_is_cool_in_time_needs_no_caution() -> None:
    caution, watch = cooled(plan("cream cheese"), 21.0, 7000.0)

    assert caution is None
    assert watch.look(9000.0, 1000.0) is None


def test_a_plain_cake_is_not_spoken_of() -> None:
    caution, _ = cooled(plan("cake flour", "butter"), 30.0, 9000.0)

    assert caution is None
