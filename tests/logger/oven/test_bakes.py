"""Bakes written one a line."""

from __future__ import annotations

import json
from typing import Any

import pytest

from logger.events import Event
from logger.oven.bakes import BadBake, bake_of, drift_events

GOOD: dict[str, Any] = {"batch": "b1", "at": 1_800_000_000.5, "set_point_c": 175, "mean_c": 171.5}


def test_a_bake_is_its_mean_less_its_dial() -> None:
    bake = bake_of(json.dumps({**GOOD, "swing_c": 21.0, "period_s": 480, "new_baseline": True}))

    assert bake.offset_c == -3.5
    assert bake.at_us == 1_800_000_000_500_000
    assert (bake.swing_c, bake.period_s, bake.recovery_s) == (21.0, 480.0, None)
    assert bake.new_baseline


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("{", "not JSON"),
        ("[" * 100_000, "nested"),
        ("[1]", "object"),
        (json.dumps({**GOOD, "batch": None}), "'batch'"),
        (json.dumps({**GOOD, "at": "today"}), "'at' must be a number"),
        (json.dumps({**GOOD, "at": -1}), "'at' is -1"),
        (json.dumps({**GOOD, "set_point_c": None}), "'set_point_c' must be a number, not null"),
        (json.dumps({**GOOD, "mean_c": True}), "'mean_c'"),
        (json.dumps({**GOOD, "mean_c": float("nan")}), "'mean_c'"),
        (json.dumps({**GOOD, "mean_c": 4000}), "between"),
        (json.dumps({**GOOD, "swing_c": -1}), "'swing_c'"),
    ],
)
def test_a_bad_line_says_what_is_wrong(line: str, reason: str) -> None:
    with pytest.raises(BadBake, match=reason.replace("[", "\\[")):
        bake_of(line)


def test_drift_events_bear_the_bake_that_found_them() -> None:
    bakes = [
        bake_of(
            json.dumps({**GOOD, "batch": f"day {i}", "at": 100 * i, "mean_c": 172 + 6 * (i > 12)})
        )
        for i in range(20)
    ]

    said = list(drift_events(bakes))

    assert len(said) == 1
    event, bake = said[0]
    assert isinstance(event, Event)
    assert event.batch == bake.batch == event.to_json()["found_by"]
    assert event.at_us == bake.at_us
    assert event.to_json()["since_batch"] == "day 13"
