"""Bakes written down one a line, and the drift events that they give."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator
from typing import Any

from drivers.reading import microseconds
from logger.events import Event
from logger.oven.drift import FEWEST_CYCLES, DriftChart
from logger.plan import EarlierBake

# No kitchen oven is colder or hotter; what lies outside is another unit, or a slip of the pen.
COLDEST_C, HOTTEST_C = -50.0, 600.0
# The years 1970 to 9999.
LAST_AT = 253_402_300_799.0


class BadBake(ValueError):
    """A line that is no bake; says what is wrong and what belongs there."""


def bake_of(line: str) -> EarlierBake:
    """The bake of one line of JSON.

    Keys: ``batch`` (text), ``at`` (seconds since the epoch), ``set_point_c``, ``mean_c``;
    ``swing_c``, ``period_s``, ``recovery_s`` may be absent or null; ``new_baseline`` is true where
    the kitchen confirmed the oven as it is and its charts begin anew.

    Raises:
        BadBake: with the reason.

    >>> bake_of('{"batch": "b1", "at": 1, "set_point_c": 175, "mean_c": 171.5}').offset_c
    -3.5
    """
    try:
        document = json.loads(line)
    except json.JSONDecodeError as error:
        raise BadBake(f"not JSON: {error.msg} at character {error.pos + 1}") from error
    except (RecursionError, ValueError) as error:
        raise BadBake("JSON nested too deeply, or with a number of too many digits") from error
    if not isinstance(document, dict):
        raise BadBake("not a JSON object; write one bake a line")
    batch = document.get("batch")
    if isinstance(batch, int) and not isinstance(batch, bool):
        batch = str(batch)
    if not isinstance(batch, str) or not batch:
        raise BadBake("'batch' must name the bake, as text")
    at = _number(document, "at", 0.0, LAST_AT)
    dial = _number(document, "set_point_c", COLDEST_C, HOTTEST_C)
    mean = _number(document, "mean_c", COLDEST_C, HOTTEST_C)
    return EarlierBake(
        batch=batch,
        at_us=microseconds(at),
        set_point_c=dial,
        offset_c=mean - dial,
        cycles=FEWEST_CYCLES,
        swing_c=_optional(document, "swing_c", HOTTEST_C),
        period_s=_optional(document, "period_s", 86_400.0),
        recovery_s=_optional(document, "recovery_s", 86_400.0),
        new_baseline=document.get("new_baseline") is True,
    )


def _number(document: dict[str, Any], key: str, low: float, high: float) -> float:
    value = document.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise BadBake(f"'{key}' must be a number, not {json.dumps(value)[:40]}")
    if not low <= value <= high:
        raise BadBake(f"'{key}' is {value:g}; between {low:g} and {high:g} is possible")
    return float(value)


def _optional(document: dict[str, Any], key: str, high: float) -> float | None:
    return None if document.get(key) is None else _number(document, key, 0.0, high)


def drift_events(bakes: Iterable[EarlierBake]) -> Iterator[tuple[Event, EarlierBake]]:
    """``oven.drift`` events of the bakes in the order given, each with the bake that showed it."""
    chart = DriftChart()
    count, at_us = 0, 0
    for bake in bakes:
        drift = chart.add(bake)
        if drift is not None:
            count, at_us = count + 1, max(at_us, bake.at_us)
            yield Event(count, at_us, bake.batch, drift), bake
