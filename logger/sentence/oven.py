"""The sentences at the oven: on its way to the set point, holding, the cake in it."""

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
from logger.sentence.parts import NOTHING, Measure, Number, Sentence
from logger.sentence.wording import clock, lasting


def before_baking(view: BatchView, tz: tzinfo, live: Mapping[str, float]) -> Sentence:
    """Weighed, or nothing to weigh: how far the oven is."""
    set_point = view.oven["set_point_c"]
    air = live.get("oven")
    weighed = "All lines are weighed. " if view.lines else ""
    if missing := view.passed_over:
        names = ", ".join(line.ingredient for line in missing)
        weighed = f"Not weighed: {names}; confirm it or weigh it. "
    if view.oven["preheated_at"] is not None:
        holding = view.oven["mean_c"]
        text = f"The oven is holding {holding:.0f} °C: put them in."
        then = f"{weighed}{_drift_words(view) or f'Its dial says {set_point:.0f} °C.'}"
        return Sentence(text, then, temperature(holding, "preheated"), act=True)
    if air is not None and set_point is not None:
        measure = Measure(air, air, air, set_point - 5, set_point + 5, "°C", 0.0, set_point * 1.15)
        return Sentence(
            f"The oven is at {air:.0f} °C on its way to {set_point:.0f} °C.",
            f"{weighed}{_preheat_words(view, tz)}",
            temperature(air, "heating"), measure,
        )  # fmt: skip
    return Sentence(
        weighed.strip() or "Ready: weigh, or put the cake in.",
        "Say “into oven” when it goes in; it is noticed too.",
        NOTHING,
    )


def _preheat_words(view: BatchView, tz: tzinfo) -> str:
    """When the oven will be preheated, as far as that is known."""
    forecast = view.oven["forecast"]
    rule = "It counts as preheated when its mean holds, not at its first peak."
    if forecast is None:
        return rule
    if not forecast["reachable"]:
        return "It is not heating: switch it on."
    return f"Preheated at about {clock(forecast['expected_at'], tz)}, {span(forecast, tz)}. {rule}"


def _drift_words(view: BatchView) -> str:
    drift = view.drift
    if drift is None:
        return ""
    shift = drift["shift_c"]
    text = f"This oven has drifted {abs(shift):.0f} °C {'hotter' if shift > 0 else 'cooler'}"
    if drift["dial_advice_c"] is not None:
        text += f"; a dial of {drift['dial_advice_c']:.0f} °C"
        if drift["dial_plus_minus_c"] is not None:
            text += f" (± {max(1.0, drift['dial_plus_minus_c']):.0f})"
        text += " would hold the set point"
    return text + "."


def _window_words(view: BatchView) -> str:
    """How the formula's own time stands against it, where they differ."""
    window = view.checks.get("window")
    if window is None or window["outside_s"] == 0:
        return ""
    return f" {window['text'][0].upper()}{window['text'][1:]}."


def baking(view: BatchView, now: float, tz: tzinfo, live: Mapping[str, float]) -> Sentence:
    """The cake is in: when it is expected to be done, or that it is."""
    in_for = lasting(now - (view.in_at or now))
    waiting = still_open(view.bake)
    core, who = core_told(waiting[0] if waiting else None, live)
    at_core = f" {who} is at {core:.0f} °C." if core is not None else ""
    if view.bake and all(m.reached_at is not None for m in view.bake):
        last = view.bake[-1]
        reached = last.temperature_c if last.temperature_c is not None else (core or 0.0)
        return Sentence(
            f"{last.name.capitalize()}: the core reached {reached:.0f} °C. "
            "Test the centre, take them out.",
            f"In for {in_for}.{_window_words(view)} Mind the hot pans.",
            temperature(core if core is not None else reached, last.name), act=True,
        )  # fmt: skip
    forecast = waiting[0].forecast if waiting else None
    if not waiting or forecast is None:
        number = temperature(core, "in the oven") if core is not None else NOTHING
        return Sentence(
            f"In the oven for {in_for}.{at_core}", "It is too early to say when.", number
        )
    name = waiting[0].name.capitalize()
    if not forecast["reachable"]:
        return unreachable(waiting[0], forecast, core)
    left = max(0.0, forecast["expected_at"] - now)
    return Sentence(
        f"{name} at about {clock(forecast['expected_at'], tz)}, {span(forecast, tz)}.",
        f"In for {in_for}.{at_core}{_window_words(view)}",
        Number(f"{left / 60:.0f}" if left >= 60 else "<1", "min", "time", f"to {waiting[0].name}"),
        time_measure(forecast, now),
    )
