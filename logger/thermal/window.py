"""The formula's own time for the bake, as a cross-check of what the temperatures say.

A method that says "bake 28-32 min" was written for one oven, pan and filling. Where the core is
expected, or comes, clearly outside that time, something is not as it was: most often the oven.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from statistics import fmean

from logger.events import (
    BakeForecast,
    BakeIn,
    BakeOut,
    BakeReached,
    BakeWindow,
    Body,
    OvenCycle,
    OvenPreheated,
)
from logger.plan import Plan

# Said again when it has moved by so much, and no sooner than after this (first values).
MOVED_S, EVERY_S = 120.0, 300.0
# An oven so near its set point explains nothing.
NEAR_C = 3.0
MINUTE_S = 60.0


@dataclass(slots=True)
class Window:
    """Watches one bake; times are seconds since the epoch."""

    plan: Plan
    _from_s: float = 0.0
    _to_s: float = 0.0
    _set_point_c: float | None = None
    _in_at: float | None = None
    _means_c: list[tuple[float, float]] = field(default_factory=list)
    _said: BakeWindow | None = None
    _said_at: float = 0.0
    _is_over: bool = False

    def __post_init__(self) -> None:
        steps = (s for f in self.plan.formulas for s in f.steps if s.kind == "bake")
        step = next((s for s in steps if s.duration_s is not None), None)
        if step is None or step.duration_s is None:
            self._is_over = True  # the formula gives no time
            return
        self._from_s = step.duration_s
        self._to_s = max(step.longest_s or step.duration_s, step.duration_s)
        self._set_point_c = step.set_point_c
        if self._set_point_c is None:
            self._set_point_c = self.plan.oven.set_point_c

    def hear(self, body: Body, at: float) -> list[Body]:
        """A conclusion of the engine at this time; what it says of the window."""
        if self._is_over:
            return []
        done = self.plan.bake_milestones[-1].name if self.plan.bake_milestones else None
        match body:
            case OvenPreheated():
                self._means_c.append((body.reached_at, body.mean_c))
            case OvenCycle():
                self._means_c.append((body.to_at, body.mean_c))
            case BakeIn():
                self._in_at, self._said = body.in_at, None
            case BakeForecast() if body.milestone == done and self._in_at is not None:
                return self._expected(body, at, self._in_at)
            case BakeReached() if body.milestone == done and self._in_at is not None:
                self._is_over = True
                return [self._body(done, body.reached_at, self._in_at, True)]
            case BakeOut() if done is None and self._in_at is not None:
                self._is_over = True
                return [self._body(None, body.out_at, self._in_at, True)]
        return []

    def _expected(self, forecast: BakeForecast, at: float, in_at: float) -> list[Body]:
        if forecast.expected_at is None:
            return []  # the forecast itself says that it is out of reach, and what to do
        found = self._body(forecast.milestone, forecast.expected_at, in_at, False)
        is_behind = forecast.low_at is not None and forecast.low_at > found.to_at
        is_ahead = forecast.high_at is not None and forecast.high_at < found.from_at
        is_clear = is_behind or is_ahead
        if self._said is None:
            if not is_clear:
                return []
        else:
            is_back = not is_clear and found.outside_s == 0 and self._said.outside_s != 0
            moved_s = abs(found.outside_s - self._said.outside_s)
            if at < self._said_at + EVERY_S or not (is_back or (is_clear and moved_s >= MOVED_S)):
                return []
        self._said, self._said_at = found, at
        return [found]

    def _body(
        self, milestone: str | None, when: float, in_at: float, is_reached: bool
    ) -> BakeWindow:
        from_at, to_at = in_at + self._from_s, in_at + self._to_s
        outside_s = max(0.0, when - to_at) - max(0.0, from_at - when)
        offset_c = self._oven_c(in_at)
        return BakeWindow(
            milestone=milestone,
            from_at=from_at,
            to_at=to_at,
            expected_at=when,
            outside_s=outside_s,
            reached=is_reached,
            oven_offset_c=offset_c,
            text=self._text(milestone, outside_s, is_reached, offset_c),
        )

    def _oven_c(self, in_at: float) -> float | None:
        """How much hotter than asked for the oven is: over this bake, else at last before it."""
        if self._set_point_c is None or not self._means_c:
            return None
        here = [mean for until, mean in self._means_c if until > in_at]
        return (fmean(here) if here else self._means_c[-1][1]) - self._set_point_c

    def _text(
        self, milestone: str | None, outside_s: float, is_reached: bool, offset_c: float | None
    ) -> str:
        what = milestone or "out of the oven"
        if not is_reached:
            what += " is expected"
        if abs(outside_s) < MINUTE_S / 2:
            return f"{what} within the formula's window of {self._words()}"
        minutes = max(1, round(abs(outside_s) / MINUTE_S))
        unit = "minute" if minutes == 1 else "minutes"
        side = "behind" if outside_s > 0 else "ahead of"
        said = f"{what} {minutes} {unit} {side} the formula's window of {self._words()}"
        if offset_c is None:
            return said
        if abs(offset_c) < NEAR_C:
            return f"{said}; the oven holds its set point"
        if (offset_c < 0) != (outside_s > 0):
            return said
        return f"{said}: oven {abs(offset_c):.0f} °C {'cool' if offset_c < 0 else 'hot'}"

    def _words(self) -> str:
        low, high = self._from_s / MINUTE_S, self._to_s / MINUTE_S
        return f"{low:g} min" if low == high else f"{low:g}-{high:g} min"
