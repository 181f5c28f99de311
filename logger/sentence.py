"""The sentence: the one next thing in plain words, with its number and what comes after.

Every state of a batch has its sentence, written here and nowhere else; the page, speech and
notifications say the same one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, tzinfo
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from drivers.reading import MICROSECOND
from logger.batch import BatchView, LineView, MilestoneView


@dataclass(frozen=True, slots=True)
class Number:
    """The number that matters now.

    Attributes:
        value: as shown, without the unit.
        unit: ``g``, ``min``, ``°C``, or '' for a time of day.
        kind: ``missing``, ``mass``, ``time``, ``temperature``, ``clock`` or ``none``.
        word: one or two words under it.
    """

    value: str
    unit: str
    kind: str
    word: str


@dataclass(frozen=True, slots=True)
class Measure:
    """What the measure line draws, to scale, all in one `unit` (``kg``, ``°C`` or ``time``, s).

    Attributes:
        value: what is there; low, high: ends of its whiskers.
        target_low, target_high: the brackets, None without a target.
        from_, to: ends of the line.
    """

    value: float
    low: float
    high: float
    target_low: float | None
    target_high: float | None
    unit: str
    from_: float
    to: float

    def to_json(self) -> dict[str, Any]:
        out = asdict(self)
        out["from"] = out.pop("from_")
        return out


@dataclass(frozen=True, slots=True)
class Sentence:
    """What stands on top of the page.

    Attributes:
        now: the one next thing.
        then: what comes after, quieter.
        number: the number in the middle.
        measure: the line under it, None where there is nothing to draw.
        act: whether a hand is needed now.
    """

    now: str
    then: str
    number: Number
    measure: Measure | None = None
    act: bool = False

    def to_json(self) -> dict[str, Any]:
        return {
            "now": self.now,
            "then": self.then,
            "act": self.act,
            "number": asdict(self.number),
            "measure": None if self.measure is None else self.measure.to_json(),
        }


NOTHING = Number("", "", "none", "")
# Below this a level spoon is a fair measure (common practice of the trade).
SPOON_KG = 0.02


def zone(name: str | None) -> tzinfo:
    """The kitchen's time zone; UTC where it is not named or not known on this machine."""
    try:
        return ZoneInfo(name) if name else UTC
    except (ZoneInfoNotFoundError, ValueError):
        return UTC


def clock(at: float, tz: tzinfo) -> str:
    """A time of day on the kitchen's own clock.

    >>> clock(1_800_000_000.0, UTC)
    '08:00'
    """
    return datetime.fromtimestamp(at, tz).strftime("%H:%M")


def grams(kg: float, division_kg: float | None = None) -> str:
    """A mass in grams, with a decimal where the scale has one or the amount is small.

    >>> grams(0.2704), grams(0.0041), grams(0.3, 0.0001)
    ('270', '4.1', '300.0')
    """
    fine = abs(kg) < 0.02 if division_kg is None else division_kg < 0.001
    text = f"{kg * 1000:.1f}" if fine else f"{kg * 1000:.0f}"
    return "0" if text in ("-0", "-0.0") else text


def lasting(seconds_: float) -> str:
    """A duration in words.

    >>> lasting(95), lasting(3900)
    ('2 min', '1 h 05 min')
    """
    minutes = max(0, round(seconds_ / 60))
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


def no_batch() -> Sentence:
    """The sentence of a kitchen without an open batch."""
    return Sentence(
        "Nothing is open. Open a batch with your plan to begin.",
        "Readings are stored all the same.",
        NOTHING,
    )


def sentence(
    view: BatchView, now_us: int, tz: tzinfo, live: Mapping[str, float] | None = None
) -> Sentence:
    """The sentence of a batch.

    Args:
        view: what stands of it.
        now_us: kitchen time, µs since the epoch.
        tz: the kitchen's zone.
        live: newest value of each role (``core``, ``oven``, ``scale``), °C or kg, where fresh.
    """
    now = now_us / MICROSECOND
    live = live or {}
    if view.closed_at is not None:
        return _closed(view, tz)
    if view.pouring is not None:
        return _pouring(view)
    if view.cooling_started_at is not None or (view.in_at is not None and view.out_at is not None):
        return _cooling(view, now, tz, live)
    if view.in_at is not None:
        return _baking(view, now, tz, live)
    if (taking := _taking_back(view)) is not None:
        return taking
    line = view.next_line
    if line is not None:
        return _weigh_next(view, line)
    return _before_baking(view, tz, live)


def _closed(view: BatchView, tz: tzinfo) -> Sentence:
    at = view.closed_at or 0.0
    reached = [m for m in view.cooling if m.reached_at is not None]
    if reached:
        last = reached[-1]
        assert last.reached_at is not None
        when = clock(last.reached_at, tz)
        then = f"{last.name.capitalize()} came true at {when}."
        return Sentence(
            f"Batch closed at {clock(at, tz)}.", then, Number(when, "", "clock", last.name)
        )
    return Sentence(f"Batch closed at {clock(at, tz)}.", "The record is kept.", NOTHING)


def _after(view: BatchView, line: LineView | None) -> str:
    """The quieter line while weighing."""
    following = view.next_line
    if following is not None and (line is None or following.key != line.key):
        return f"After that: {following.ingredient}, {_amount(view, following)}."
    return "After that: into the oven." if view.bake else "That is the last line."


def _division(view: BatchView, line: LineView | None) -> float | None:
    """How finely masses are shown: as the plan's scale, else by the size of the target."""
    name = (line.scale or line.use_scale) if line is not None else None
    role = view.plan.role(name) if name is not None else "scale"
    planned = view.plan.scales.get(role or "", view.plan.scale).resolution_kg
    if planned is not None:
        return planned
    if line is None or line.target_kg is None:
        return None
    return 0.0001 if line.target_kg < 0.02 else 0.001


def scale_words(name: str) -> str:
    """A scale in words, by its instrument's own name.

    >>> scale_words("fine-scale/mass"), scale_words("hob/mass")
    ('the fine scale', 'the scale hob')
    """
    instrument = name.split("/")[0].replace("-", " ").replace("_", " ")
    return f"the {instrument}" if "scale" in instrument else f"the scale {instrument}"


def _pouring(view: BatchView) -> Sentence:
    pouring = view.pouring
    assert pouring is not None
    line = view.line(pouring["line"])
    division = _division(view, line)
    mass = float(pouring["mass_kg"])
    if line is None or line.target_kg is None or line.lower_kg is None or line.upper_kg is None:
        name = line.ingredient if line else "On the scale"
        return Sentence(
            f"{name.capitalize()}: {grams(mass, division)} g.", _after(view, line),
            Number(grams(mass, division), "g", "mass", "keep pouring"),
        )  # fmt: skip
    missing = line.target_kg - mass
    word = str(pouring["advice"] or "keep pouring")
    measure = _mass_measure(line, mass, None)
    name = line.ingredient.capitalize()
    if mass > line.upper_kg:
        over = grams(mass - line.target_kg, division)
        return Sentence(
            f"{name}: over by {over} g.", "Take some back, or leave it and go on.",
            Number(over, "g", "missing", f"over by {over} g"), measure, act=True,
        )  # fmt: skip
    if mass >= line.lower_kg:
        return Sentence(
            f"{name}: stop, {grams(mass, division)} g is there.", _after(view, line),
            Number(grams(missing, division), "g", "missing", "stop"), measure, act=True,
        )  # fmt: skip
    return Sentence(
        f"{name}: {grams(missing, division)} g more.", _after(view, line),
        Number(grams(missing, division), "g", "missing", word), measure, act=word != "keep pouring",
    )  # fmt: skip


def _mass_measure(line: LineView, mass: float, uncertainty: float | None) -> Measure:
    spread = uncertainty or 0.0
    top = max(line.upper_kg or 0.0, mass + spread, line.target_kg or 0.0) * 1.08
    return Measure(
        mass, mass - spread, mass + spread, line.lower_kg, line.upper_kg, "kg", 0.0, top or 0.001
    )


def verdict_words(line: LineView, division_kg: float | None = None) -> str:
    """Words for the verdict of a weighed line, the same on page and sheet.

    >>> line = LineView("salt", "salt", "4 g", None, .004, .0038, .0042, .004, .001, .3, "within")
    >>> verdict_words(line)
    'within'
    """
    if line.mass_kg is None or line.target_kg is None:
        return "confirmed" if line.weighed else ""
    off = line.mass_kg - line.target_kg
    match line.verdict:
        case "over":
            return f"over by {grams(off, division_kg)} g"
        case "under":
            return f"under by {grams(-off, division_kg)} g"
        case "undecidable":
            return "this scale can't tell"
    return line.verdict or ""


def _taking_back(view: BatchView) -> Sentence | None:
    """What is still to be taken out of a line, where a person chose so."""
    if view.recovery is None or view.recovery["chosen"] != "take back":
        return None
    line = view.line(view.recovery["line"])
    if line is None or line.verdict != "over" or line.mass_kg is None or line.target_kg is None:
        return None
    too_much = grams(line.mass_kg - line.target_kg, _division(view, line))
    return Sentence(
        f"Take {too_much} g of {line.ingredient} back out.",
        f"Down to {grams(line.target_kg, _division(view, line))} g; it is judged at the next rest.",
        Number(f"−{too_much}", "g", "missing", "take out"),
        _mass_measure(line, line.mass_kg, line.expanded_uncertainty_kg),
        act=True,
    )


def _amount(view: BatchView, line: LineView) -> str:
    """The amount as written, or the target that a rescale gave it."""
    if line.factor == 1.0 or line.target_kg is None:
        return line.amount
    return f"{grams(line.target_kg, _division(view, line))} g in place of {line.amount}"


def _weigh_next(view: BatchView, line: LineView) -> Sentence:
    weighed = [x for x in view.lines if x.weighed]
    last = max(weighed, key=lambda x: x.at or 0.0) if weighed else None
    then = "Put the bowl on and tare it." if not weighed else ""
    measure = None
    number = (
        Number(grams(line.target_kg, _division(view, line)), "g", "missing", "next")
        if line.target_kg
        else NOTHING
    )
    if last is not None:
        then = f"{last.ingredient.capitalize()}: {verdict_words(last, _division(view, last))}."
        if last.verdict == "over" and view.recovery is not None:
            then += " Choose a way back, or go on." if view.recovery["chosen"] is None else ""
        elif last.verdict in ("over", "under"):
            then += " Mend it now, or go on."
        elif last.verdict == "undecidable" and last.mass_kg is None:
            then = f"{last.ingredient.capitalize()}: confirmed, not weighed."
        elif last.verdict == "undecidable":
            small = last.target_kg is not None and last.target_kg < SPOON_KG
            remedy = "a finer scale or a level spoon can" if small else "a finer scale can"
            then = f"{last.ingredient.capitalize()}: this scale can't tell {last.amount}; {remedy}."
    if line.target_kg is not None and line.lower_kg is not None:
        measure = _mass_measure(line, line.mass_kg or 0.0, line.expanded_uncertainty_kg)
    where = ""
    before = last.scale if last is not None else None
    if line.use_scale is not None and line.use_scale != before:
        # Where the same scale goes on, nobody need be told.
        where = f", on {scale_words(line.use_scale)}"
    text = f"Next: {line.ingredient}, {_amount(view, line)}{where}."
    if line.top_up_kg is not None:
        more = grams(line.top_up_kg, _division(view, line))
        text = f"Add {more} g more of {line.ingredient}{where}."
        number = Number(more, "g", "missing", "top up")
    return Sentence(text, then, number, measure, act=True)


def _temperature(value: float, word: str) -> Number:
    return Number(f"{value:.0f}" if value >= 100 else f"{value:.1f}", "°C", "temperature", word)


def _before_baking(view: BatchView, tz: tzinfo, live: Mapping[str, float]) -> Sentence:
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
        return Sentence(text, then, _temperature(holding, "preheated"), act=True)
    if air is not None and set_point is not None:
        measure = Measure(air, air, air, set_point - 5, set_point + 5, "°C", 0.0, set_point * 1.15)
        return Sentence(
            f"The oven is at {air:.0f} °C on its way to {set_point:.0f} °C.",
            f"{weighed}{_preheat_words(view, tz)}",
            _temperature(air, "heating"), measure,
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
    return f"Preheated at about {clock(forecast['expected_at'], tz)}, {_span(forecast, tz)}. {rule}"


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


def _span(forecast: Mapping[str, Any], tz: tzinfo) -> str:
    low = clock(forecast["low_at"], tz)
    if forecast["high_at"] is None:
        return f"not before {low}, and perhaps never"
    return f"between {low} and {clock(forecast['high_at'], tz)}"


def _time_measure(forecast: Mapping[str, Any], now: float) -> Measure:
    expected, low, high = forecast["expected_at"], forecast["low_at"], forecast["high_at"]
    end = high if high is not None else expected + 2 * (expected - low)
    return Measure(
        expected, low, end, None, None, "time", now, max(end, now + 60) + 0.05 * (end - now)
    )


def _open(milestones: list[MilestoneView]) -> list[MilestoneView]:
    """Open milestones, the soonest expected first (those without a time last)."""
    waiting = [m for m in milestones if m.reached_at is None]
    return sorted(
        waiting,
        key=lambda m: (m.forecast or {}).get("expected_at") or float("inf"),
    )


def _baking(view: BatchView, now: float, tz: tzinfo, live: Mapping[str, float]) -> Sentence:
    in_for = lasting(now - (view.in_at or now))
    core = live.get("core")
    at_core = f" The core is at {core:.0f} °C." if core is not None else ""
    if view.bake and all(m.reached_at is not None for m in view.bake):
        last = view.bake[-1]
        reached = last.temperature_c if last.temperature_c is not None else (core or 0.0)
        return Sentence(
            f"{last.name.capitalize()}: the core reached {reached:.0f} °C. "
            "Test the centre, take them out.",
            f"In for {in_for}. Mind the hot pans.",
            _temperature(core if core is not None else reached, last.name), act=True,
        )  # fmt: skip
    waiting = _open(view.bake)
    forecast = waiting[0].forecast if waiting else None
    if not waiting or forecast is None:
        number = _temperature(core, "in the oven") if core is not None else NOTHING
        return Sentence(
            f"In the oven for {in_for}.{at_core}", "It is too early to say when.", number
        )
    name = waiting[0].name.capitalize()
    if not forecast["reachable"]:
        return _unreachable(waiting[0], forecast, core)
    left = max(0.0, forecast["expected_at"] - now)
    return Sentence(
        f"{name} at about {clock(forecast['expected_at'], tz)}, {_span(forecast, tz)}.",
        f"In for {in_for}.{at_core}",
        Number(f"{left / 60:.0f}" if left >= 60 else "<1", "min", "time", f"to {waiting[0].name}"),
        _time_measure(forecast, now),
    )


def _unreachable(
    milestone: MilestoneView, forecast: Mapping[str, Any], core: float | None
) -> Sentence:
    target = f" {milestone.target_c:.0f} °C" if milestone.target_c is not None else " its target"
    settles = forecast["settles_c"]
    where = f": it settles at about {settles:.0f} °C" if settles is not None else ""
    return Sentence(
        f"{milestone.name.capitalize()}: the core will not get to{target} here{where}.",
        forecast["proposal"] or "Change its place, or change the target.",
        _temperature(core, "core") if core is not None else NOTHING,
        act=True,
    )


def _cooling(view: BatchView, now: float, tz: tzinfo, live: Mapping[str, float]) -> Sentence:
    core = live.get("core")
    at_core = f"The core is at {core:.1f} °C. " if core is not None else ""
    waiting = _open(view.cooling)
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
        return Sentence(
            f"Cool enough to {last.name}.", then, _temperature(value, "ready"), act=True
        )
    if not waiting or waiting[0].forecast is None:
        number = _temperature(core, "cooling") if core is not None else NOTHING
        return Sentence("Cooling.", f"{at_core}It is too early to say when.".strip(), number)
    first, forecast = waiting[0], waiting[0].forecast
    assert forecast is not None
    if not forecast["reachable"]:
        return _unreachable(first, forecast, core)
    later = [m for m in waiting[1:] if m.forecast and m.forecast["reachable"]]
    then = at_core
    if later:
        following = later[0].forecast
        assert following is not None
        then += f"{later[0].name.capitalize()} at about {clock(following['expected_at'], tz)}, "
        then += f"{_span(following, tz)}."
    return Sentence(
        f"{first.name.capitalize()} at about {clock(forecast['expected_at'], tz)}, "
        f"{_span(forecast, tz)}.",
        then.strip() or "Leave it to cool.",
        Number(clock(forecast["expected_at"], tz), "", "clock", f"to {first.name}"),
        _time_measure(forecast, now),
    )
