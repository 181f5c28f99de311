"""The sentences of cooling: when it can be unmoulded or frosted, and that it can."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import tzinfo

from logger.batch import BatchView
from logger.sentence.forecast import (
    core_told,
    span,
    still_open,
    temperature,
    time_measure,
    unreachable,
)
from logger.sentence.parts import NOTHING, Number, Sentence
from logger.sentence.wording import clock


def cooling(view: BatchView, now: float, tz: tzinfo, live: Mapping[str, float]) -> Sentence:
    """The cake cools: when each milestone is expected, and which one is reached."""
    waiting = still_open(view.cooling)
    core, who = core_told(waiting[0] if waiting else None, live)
    at_core = f"{who} is at {core:.1f} °C. " if core is not None else ""
    if view.cooling and not waiting:
        last = max(view.cooling, key=lambda m: m.reached_at or 0.0)
        reached_at = last.reached_at or 0.0
        quarter = last.first_quarter
        then = f"Reached at {clock(reached_at, tz)}."
        if quarter is not None and quarter["expected_at"] is not None:
            then += (
                f" At a quarter of the way it was expected at {clock(quarter['expected_at'], tz)}."
            )
        value = core if core is not None else (last.temperature_c or 0.0)
        return Sentence(f"Cool enough to {last.name}.", then, temperature(value, "ready"), act=True)
    if not waiting or waiting[0].forecast is None:
        number = temperature(core, "cooling") if core is not None else NOTHING
        return Sentence("Cooling.", f"{at_core}It is too early to say when.".strip(), number)
    first, forecast = waiting[0], waiting[0].forecast
    assert forecast is not None
    if not forecast["reachable"]:
        return unreachable(first, forecast, core)
    later = [m for m in waiting[1:] if m.forecast and m.forecast["reachable"]]
    then = at_core
    if later:
        following = later[0].forecast
        assert following is not None
        then += f"{later[0].name.capitalize()} at about {clock(following['expected_at'], tz)}, "
        then += f"{span(following, tz)}."
    return Sentence(
        f"{first.name.capitalize()} at about {clock(forecast['expected_at'], tz)}, "
        f"{span(forecast, tz)}.",
        then.strip() or "Leave it to cool.",
        Number(clock(forecast["expected_at"], tz), "", "clock", f"to {first.name}"),
        time_measure(forecast, now),
    )
