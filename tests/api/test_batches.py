"""What the routes say of a batch: list, state, events, curves, ribbon."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from typing import Any

import pytest
from served import Served

from api.answers import RibbonAnswer, StateAnswer

Serve = Callable[[str], Served]


def finite(value: Any) -> bool:
    """Whether no number in a document is NaN or an infinity."""
    if isinstance(value, dict):
        return all(finite(part) for part in value.values())
    if isinstance(value, list):
        return all(finite(part) for part in value)
    return not isinstance(value, float) or math.isfinite(value)


def test_the_list_names_the_batch_and_the_batch_brings_its_plan(standing: Serve) -> None:
    served = standing("weighing")

    listed = served.ask("/api/batches")[1]["batches"]
    one = served.ask("/api/batches/b-pear")[1]

    assert [batch["batch"] for batch in listed] == ["b-pear"]
    assert listed[0]["closed_at"] is None
    assert one["plan"]["channels"]["bench-scale/mass"] == "scale"
    assert one["formulas"][0]["name"] == "Pear and ginger layer cake"


def test_the_state_has_the_sentence_and_the_lines(standing: Serve) -> None:
    served = standing("pouring")

    status, state = served.ask("/api/batches/b-pear/state")

    assert status == 200
    assert state["sentence"]["now"] == "Granulated sugar: 38 g more."
    assert state["lines"][0]["verdict"] == "within"
    assert state["time_zone"] == "Europe/Lisbon"
    StateAnswer.model_validate(state)


def test_events_page_on_from_any_place_without_a_hole(standing: Serve) -> None:
    served = standing("baking")
    whole = served.ask("/api/batches/b-pear/events?limit=10000")[1]["events"]

    paged: list[Any] = []
    after = "0.0"
    while after:
        page = served.ask(f"/api/batches/b-pear/events?after={after}&limit=7")[1]
        paged += page["events"]
        after = page["next"]

    assert paged == whole
    assert [event["document"]["id"] for event in whole] == list(range(1, len(whole) + 1))


def test_quiet_events_leave_out_what_is_drawn(standing: Serve) -> None:
    served = standing("cooling")

    events = served.ask("/api/batches/b-pear/events?quiet=true")[1]["events"]

    kinds = {event["document"]["kind"] for event in events}
    assert "bake.reached" in kinds
    assert not kinds & {"bake.forecast", "cooling.forecast", "oven.cycle", "weighing.pouring"}


@pytest.mark.parametrize("points", [2, 50, 5000])
def test_readings_come_in_at_most_as_many_buckets_and_keep_their_extent(
    standing: Serve, points: int
) -> None:
    served = standing("baking")
    address = "/api/batches/b-pear/readings?channel=oven-probe/air"

    whole = served.ask(f"{address}&points=5000")[1]["points"]
    answer = served.ask(f"{address}&points={points}")[1]

    assert 0 < len(answer["points"]["t"]) <= points
    assert answer["role"] == "oven"
    assert max(answer["points"]["max"]) == max(whole["max"])
    assert min(answer["points"]["min"]) == min(whole["min"])
    assert sum(answer["points"]["count"]) == sum(whole["count"])


def test_the_ribbon_has_curves_stages_additions_and_declared_gaps(standing: Serve) -> None:
    served = standing("closed")

    status, ribbon = served.ask("/api/batches/b-pear/ribbon")

    assert status == 200
    RibbonAnswer.model_validate(ribbon)
    assert finite(ribbon)
    assert [span["stage"] for span in ribbon["stages"]] == [
        "weighing", "baking", "cooling", "ready",
    ]  # fmt: skip
    assert ribbon["stages"][-1]["to_at"] == pytest.approx(ribbon["state"]["closed_at"], abs=1)
    assert len(ribbon["additions"]) == 9
    assert {curve["role"] for curve in ribbon["curves"]} == {"oven", "core", "room"}
    core = next(curve for curve in ribbon["curves"] if curve["role"] == "core")
    assert len(core["gaps"]) == 1
    assert len(core["points"]["t"]) <= 600
    assert len(json.dumps(ribbon)) < 400_000


def test_the_kitchen_tells_its_time_and_the_age_of_each_value(standing: Serve) -> None:
    served = standing("weighing")

    kitchen = served.ask("/api/kitchen")[1]

    assert kitchen["title"] == "Harbour Steps cake room"
    assert kitchen["time_zone"] == "Europe/Lisbon"
    scale = next(i for i in kitchen["instruments"] if i["name"] == "bench-scale")
    assert scale["state"] == "online"
    assert scale["channels"][0]["unit"] == "kg"
    age = kitchen["now"] - scale["channels"][0]["t"]
    assert scale["channels"][0]["age_s"] == pytest.approx(age, abs=0.5)
