"""A batch as a fold of its events: what stands now, ready for a page, a display, a record.

`BatchView.apply` takes the events in order; the same events always give the same view. Nothing
here concludes: it only keeps what was concluded.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from drivers.reading import seconds
from logger import events as ev
from logger.plan import Line, Milestone, Plan

# Earlier forecasts stay as faint traces; more of them than this only blacken the picture.
LONGEST_TRACE = 40


@dataclass(slots=True)
class LineView:
    """A formula line and what was weighed of it; fields as `logger.events.WeighingAddition`.

    `by` and `formula` as `logger.plan.Line` has them.

    Attributes:
        use_scale: SenML name of the scale to use for it; None where there is only one.
        scale_decides: whether that scale can decide the tolerance.
        factor: by what the line was rescaled; `amount` stays as written, the target does not.
        top_up_kg: what a rescale asks to be added to it; None where it asks for nothing (any more).
        way_back: after an over-pour, what was done about it, or why it can't be taken back.
    """

    key: str
    ingredient: str
    amount: str
    bowl: str | None
    target_kg: float | None
    lower_kg: float | None
    upper_kg: float | None
    mass_kg: float | None = None
    expanded_uncertainty_kg: float | None = None
    probability_within: float | None = None
    verdict: str | None = None
    scale: str | None = None
    event: int | None = None
    start_at: float | None = None
    at: float | None = None
    by: str = "mass"
    formula: str = ""
    budget: Mapping[str, float | None] | None = None
    use_scale: str | None = None
    scale_decides: bool | None = None
    factor: float = 1.0
    top_up_kg: float | None = None
    way_back: str | None = None

    @classmethod
    def of(cls, line: Line) -> LineView:
        return cls(
            line.key,
            line.ingredient,
            line.amount,
            line.bowl,
            line.target_kg,
            line.lower_kg,
            line.upper_kg,
            by=line.by,
            formula=line.formula,
        )

    @property
    def weighed(self) -> bool:
        """Whether the line has been said at least once."""
        return self.event is not None

    def said(self, body: ev.WeighingAddition, event_id: int, at: float) -> None:
        """Take what was said of it."""
        for name in (
            "mass_kg", "expanded_uncertainty_kg", "probability_within", "verdict", "scale",
            "budget",
        ):  # fmt: skip
            setattr(self, name, getattr(body, name))
        if body.target_kg is not None:
            self.target_kg, self.lower_kg, self.upper_kg = (
                body.target_kg,
                body.lower_kg,
                body.upper_kg,
            )
        if body.mass_kg == 0 and body.scale is None:
            # It was another line's; this one is open again.
            self.mass_kg = self.event = self.start_at = self.at = self.way_back = None
            return
        if self.start_at is None:
            self.start_at = body.start_at
        self.event, self.at = event_id, at
        if self.top_up_kg is not None:
            self.top_up_kg = self._still_lacking(body)

    def _still_lacking(self, body: ev.WeighingAddition) -> float | None:
        if body.mass_kg is None:
            # Counted in: what is weighed of it now is the top-up.
            return self.top_up_kg if body.scale is None else None
        if self.target_kg is None or self.upper_kg is None or body.verdict in ("within", "over"):
            return None
        lacking_kg = self.target_kg - body.mass_kg
        return lacking_kg if lacking_kg > (self.upper_kg - self.target_kg) / 4 else None

    def recovered(self, body: ev.WeighingRecovery) -> None:
        """Take what was offered or done about its over-pour."""
        taken = next((w for w in body.choices if w["choice"] == body.chosen), None)
        why = " ".join(str(way["text"]) for way in body.withheld)
        self.way_back = str(taken["text"]) if taken is not None else why or None


@dataclass(slots=True)
class MilestoneView:
    """A milestone with its forecasts and how it came true.

    Attributes:
        forecast: the last one said.
        first_quarter: the last one said by a quarter of the way to it, once it is reached.
        trace: earlier forecasts, thinned to at most 40.
        core: which core is the last, where there are several.
    """

    name: str
    target_c: float | None
    above_room_k: float | None
    forecast: dict[str, Any] | None = None
    first_quarter: dict[str, Any] | None = None
    trace: list[dict[str, Any]] = field(default_factory=list)
    reached_at: float | None = None
    temperature_c: float | None = None
    core: str | None = None
    _stride: int = 1
    _said: int = 0
    _all: list[dict[str, Any]] = field(default_factory=list)

    @classmethod
    def of(cls, milestone: Milestone) -> MilestoneView:
        target = milestone.core_c if milestone.core_c is not None else milestone.surface_c
        return cls(milestone.name, target, milestone.core_above_room_k)

    def said(self, body: ev.Forecast) -> None:
        self.forecast = entry = dataclasses.asdict(body)
        self.core = entry.get("core")
        self._all.append(entry)
        if self._said % self._stride == 0:
            self.trace.append(entry)
            if len(self.trace) > LONGEST_TRACE:
                self.trace = self.trace[::2]
                self._stride *= 2
        self._said += 1

    def reached(self, body: ev.Reached, start_at: float | None) -> None:
        self.reached_at, self.temperature_c = body.reached_at, body.temperature_c
        self.core = body.core
        if start_at is None or not self._all:
            return
        quarter = start_at + (body.reached_at - start_at) / 4
        by_then = [entry for entry in self._all if entry["made_at"] <= quarter]
        self.first_quarter = by_then[-1] if by_then else None

    def to_json(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "target_c": self.target_c,
            "above_room_k": self.above_room_k,
            "forecast": self.forecast,
            "first_quarter": self.first_quarter,
            "trace": self.trace,
            "reached_at": self.reached_at,
            "temperature_c": self.temperature_c,
            "core": self.core,
        }


@dataclass(slots=True)
class BatchView:
    """What stands of one batch now.

    Attributes:
        plan: what the batch rests on.
        pouring: the present addition (fields of `logger.events.WeighingPouring`), None at rest.
        removed: the last thing taken from the scale.
    """

    batch: str
    plan: Plan
    title: str | None = None
    stage: str | None = None
    opened_at: float | None = None
    closed_at: float | None = None
    at: float | None = None
    lines: list[LineView] = field(default_factory=list)
    loose: list[LineView] = field(default_factory=list)
    pouring: dict[str, Any] | None = None
    container_kg: float | None = None
    container_at: float | None = None
    recovery: dict[str, Any] | None = None
    oven: dict[str, Any] = field(default_factory=dict)
    doors: list[dict[str, Any]] = field(default_factory=list)
    drift: dict[str, Any] | None = None
    in_at: float | None = None
    out_at: float | None = None
    bake: list[MilestoneView] = field(default_factory=list)
    checks: dict[str, dict[str, Any]] = field(default_factory=dict)
    cooling_started_at: float | None = None
    place: str | None = None
    changes: list[dict[str, Any]] = field(default_factory=list)
    cooling: list[MilestoneView] = field(default_factory=list)
    instruments: dict[str, dict[str, Any]] = field(default_factory=dict)
    alerts: list[dict[str, Any]] = field(default_factory=list)
    cautions: list[dict[str, Any]] = field(default_factory=list)

    @classmethod
    def of(cls, batch: str, plan: Plan) -> BatchView:
        """An empty view of a batch that rests on `plan`."""
        return cls(
            batch=batch,
            plan=plan,
            lines=[LineView.of(line) for line in plan.lines or ()],
            bake=[MilestoneView.of(m) for m in plan.bake_milestones],
            cooling=[MilestoneView.of(m) for m in plan.cooling_milestones],
            oven={
                "set_point_c": plan.oven.set_point_c,
                "preheated_at": None,
                "forecast": None,
                "mean_c": None,
                "swing_c": None,
                "period_s": None,
                "offset_c": None,
                "cycles": 0,
            },
        )

    def line(self, key: str | None) -> LineView | None:
        """The formula line with this key."""
        return next((line for line in self.lines if line.key == key), None)

    @property
    def next_line(self) -> LineView | None:
        """The line to weigh next: the first open one behind the line weighed last.

        A person who moved on has moved on: a line that was passed over is named by `passed_over`.
        """
        poured = self.pouring["line"] if self.pouring else None
        open_ = [i for i, x in enumerate(self.lines) if not x.weighed and x.key != poured]
        begun = [i for i, x in enumerate(self.lines) if x.weighed or x.key == poured]
        lacking = (x for x in self.lines if x.top_up_kg is not None and x.key != poured)
        if (first := next(lacking, None)) is not None:
            return first
        latest = max(begun, key=lambda i: (self.lines[i].start_at or 0.0, i), default=-1)
        return next((self.lines[i] for i in open_ if i > latest), None)

    @property
    def passed_over(self) -> list[LineView]:
        """Lines before the one weighed last of which nothing was said."""
        following = self.next_line
        if following is not None and following.top_up_kg is not None:
            return []  # it comes out of turn
        end = self.lines.index(following) if following is not None else len(self.lines)
        poured = self.pouring["line"] if self.pouring else None
        return [x for x in self.lines[:end] if not x.weighed and x.key != poured]

    def apply(self, event: ev.Event) -> None:
        """Take one event."""
        at = seconds(event.at_us)
        self.at = at
        body = event.body
        match body:
            case ev.BatchOpened():
                self.title, self.opened_at = body.title, at
            case ev.BatchStage():
                self.stage = body.stage
            case ev.BatchClosed():
                self.closed_at, self.pouring = at, None
            case ev.BakeIn():
                self.in_at, self.out_at, self.cooling_started_at = body.in_at, None, None
                self.pouring = None
            case ev.BakeOut():
                self.out_at = body.out_at
            case ev.BakeWindow() | ev.BakeThreshold():
                self.checks[body.kind.removeprefix("bake.")] = dataclasses.asdict(body)
            case ev.CoolingStarted():
                self.cooling_started_at = body.start_at
            case ev.CoolingChanged():
                self.place = body.place or self.place
                self.changes.append(dataclasses.asdict(body))
            case ev.OvenForecast():
                self.oven["forecast"] = dataclasses.asdict(body)
            case ev.Forecast() | ev.Reached():
                self._milestone(body)
            case ev.InstrumentStateChanged():
                self.instruments[body.instrument] = {"state": body.state, "since_at": body.since_at}
            case ev.Alert():
                self.alerts.append({**dataclasses.asdict(body), "at": at})
            case ev.SafetyCooling():
                self.cautions.append({**dataclasses.asdict(body), "at": at})
            case _ if body.kind.startswith("weighing."):
                self._weighing(body, event.id, at)
            case _ if body.kind.startswith("oven."):
                self._oven(body)

    def _weighing(self, body: ev.Body, event_id: int, at: float) -> None:
        match body:
            case ev.WeighingContainer():
                self.container_kg, self.container_at, self.pouring = body.mass_kg, at, None
            case ev.WeighingPouring():
                self.pouring = dataclasses.asdict(body)
            case ev.WeighingRemoved():
                self.pouring = None
            case ev.WeighingScale():
                if (line := self.line(body.line)) is not None:
                    line.use_scale, line.scale_decides = body.scale, body.decides
            case ev.WeighingRecovery():
                self._recovery(body)
            case ev.WeighingAddition():
                self.pouring = None
                line = self.line(body.line)
                if line is None:
                    line = LineView("", "", "", None, None, None, None)
                    self.loose.append(line)
                line.said(body, event_id, at)

    def _recovery(self, body: ev.WeighingRecovery) -> None:
        document = dataclasses.asdict(body)
        line = self.line(body.line)
        if line is not None:
            line.recovered(body)
        if body.chosen is None or self.recovery is None or self.recovery["line"] == body.line:
            self.recovery = document
        if body.chosen != "rescale":
            return
        for way in body.choices:
            if way["choice"] == "rescale" and "targets" in way:
                self._rescale(way)

    def _rescale(self, way: Mapping[str, Any]) -> None:
        for target in way["targets"]:
            if (line := self.line(target["line"])) is not None:
                line.target_kg = target["target_kg"]
                line.lower_kg, line.upper_kg = target["lower_kg"], target["upper_kg"]
                line.factor = way["whole_factor"]
        for one in way["top_ups"]:
            if (line := self.line(one["line"])) is not None:
                line.top_up_kg = one["mass_kg"]

    def _oven(self, body: ev.Body) -> None:
        match body:
            case ev.OvenPreheated():
                self.oven |= {"preheated_at": body.reached_at, "mean_c": body.mean_c}
            case ev.OvenCycle():
                self.oven |= {
                    "mean_c": body.mean_c,
                    "swing_c": body.swing_c,
                    "period_s": body.period_s,
                    "offset_c": body.offset_c,
                    "cycles": self.oven["cycles"] + 1,
                }
            case ev.OvenDoor():
                self.doors.append(dataclasses.asdict(body))
            case ev.OvenDrift():
                self.drift = dataclasses.asdict(body)

    def _milestone(self, body: ev.Forecast | ev.Reached) -> None:
        baking = body.kind.startswith("bake.")
        views = self.bake if baking else self.cooling
        view = next((m for m in views if m.name == body.milestone), None)
        if view is None:
            return
        if isinstance(body, ev.Forecast):
            view.said(body)
        else:
            view.reached(body, self.in_at if baking else self.cooling_started_at)

    def to_json(self) -> dict[str, Any]:
        """The one document for page, wire (`now/<batch>`) and API."""
        return {
            "batch": self.batch,
            "title": self.title,
            "stage": self.stage,
            "opened_at": self.opened_at,
            "closed_at": self.closed_at,
            "at": self.at,
            "channels": dict(self.plan.channels),
            "lines": [dataclasses.asdict(line) for line in self.lines],
            "loose": [dataclasses.asdict(line) for line in self.loose],
            "pouring": self.pouring,
            "container_kg": self.container_kg,
            "next": None if self.next_line is None else self.next_line.key,
            "recovery": self.recovery,
            "oven": {**self.oven, "drift": self.drift, "doors": self.doors},
            "bake": {
                "in_at": self.in_at,
                "out_at": self.out_at,
                "milestones": [m.to_json() for m in self.bake],
                "window": self.checks.get("window"),
                "threshold": self.checks.get("threshold"),
            },
            "cooling": {
                "started_at": self.cooling_started_at,
                "place": self.place,
                "changes": self.changes,
                "milestones": [m.to_json() for m in self.cooling],
            },
            "instruments": self.instruments,
            "alerts": self.alerts,
            "cautions": self.cautions,
            "warnings": list(self.plan.warnings),
        }
