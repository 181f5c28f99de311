"""What the sentences of oven and cooling share: how a forecast and a milestone are told."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import tzinfo
from typing import Any

from logger.batch import MilestoneView
from logger.sentence.parts import NOTHING, Measure, Number, Sentence
from logger.sentence.wording import clock


def span(forecast: Mapping[str, Any], tz: tzinfo) -> str:
    """Between when and when: the forecast's 90 % interval in words."""
    low = clock(forecast["low_at"], tz)
    if forecast["high_at"] is None:
        return f"not before {low}, and perhaps never"
    return f"between {low} and {clock(forecast['high_at'], tz)}"


def time_measure(forecast: Mapping[str, Any], now: float) -> Measure:
    """The measure line of a forecast, in seconds since the epoch from `now` on."""
    expected, low, high = forecast["expected_at"], forecast["low_at"], forecast["high_at"]
    end = high if high is not None else expected + 2 * (expected - low)
    return Measure(
        expected, low, end, None, None, "time", now, max(end, now + 60) + 0.05 * (end - now)
    )


def still_open(milestones: list[MilestoneView]) -> list[MilestoneView]:
    """Open milestones, the soonest expected first (those without a time last)."""
    waiting = [m for m in milestones if m.reached_at is None]
    return sorted(
        waiting,
        key=lambda m: (m.forecast or {}).get("expected_at") or float("inf"),
    )


def core_told(
    milestone: MilestoneView | None, live: Mapping[str, float]
) -> tuple[float | None, str]:
    """The core that decides a milestone: its temperature now (°C), and what to call it.

    Of several the last one decides.
    """
    last = None if milestone is None else milestone.core
    return live.get(last or "core"), "The core" if last is None else f"The last, {last},"


def unreachable(
    milestone: MilestoneView, forecast: Mapping[str, Any], core: float | None
) -> Sentence:
    """A milestone that is forecast as not reachable, with what to do."""
    target = f" {milestone.target_c:.0f} °C" if milestone.target_c is not None else " its target"
    settles = forecast["settles_c"]
    where = f": it settles at about {settles:.0f} °C" if settles is not None else ""
    return Sentence(
        f"{milestone.name.capitalize()}: the core will not get to{target} here{where}.",
        forecast["proposal"] or "Change its place, or change the target.",
        temperature(core, "core") if core is not None else NOTHING,
        act=True,
    )


def temperature(value: float, word: str) -> Number:
    """A temperature (°C) as the number that matters, finer below 100."""
    return Number(f"{value:.0f}" if value >= 100 else f"{value:.1f}", "°C", "temperature", word)
