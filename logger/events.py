"""Event types: every conclusion of the engine, field by field.

A room concludes with a *body*: one of the frozen dataclasses below, without id and time. The engine
wraps it into an `Event`. The JSON form (`Event.to_json`) is the same on MQTT, in the store, in the
API and in the output of replay.

Times (fields ending in ``_at``) are seconds since the epoch; masses are kilograms, temperatures
degrees Celsius, temperature differences kelvins named ``_c`` like the temperatures they separate;
what is absent is None (null).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from drivers.reading import microseconds, seconds

# Events name the version of the conclusions; it changes whenever the same log would give others.
ENGINE_VERSION = "10"


@dataclass(frozen=True, slots=True)
class Body:
    """Base of all bodies; `kind` is the event's kind on the wire."""

    kind: ClassVar[str] = ""


@dataclass(frozen=True, slots=True)
class BatchOpened(Body):
    """The batch began.

    Attributes:
        title: formula's name, or the plan's; None without either.
        set_point_c: the oven's dial, None where the plan has none.
        warnings: what of the plan was not understood and widens the priors.
    """

    kind = "batch.opened"
    title: str | None
    set_point_c: float | None
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BatchStage(Body):
    """The batch entered a stage: weighing, baking, cooling, ready (all milestones reached)."""

    kind = "batch.stage"
    stage: str


@dataclass(frozen=True, slots=True)
class BatchClosed(Body):
    """The batch was closed by a mark."""

    kind = "batch.closed"


@dataclass(frozen=True, slots=True)
class WeighingContainer(Body):
    """A container was put on at rest, or the scale was tared with it."""

    kind = "weighing.container"
    mass_kg: float
    scale: str


@dataclass(frozen=True, slots=True)
class WeighingPouring(Body):
    """Something is being added; or taken back, after a person chose so (missing_kg below 0).

    Attributes:
        line: key of the formula line it is attributed to, None without a formula.
        mass_kg: net total of the line so far.
        missing_kg: target minus mass; None without a target.
        zero_kg: indicated value at which the line's net is zero, so that a display can follow
            the live readings between these events.
        advice: None, ``ease off`` or ``stop``.
    """

    kind = "weighing.pouring"
    line: str | None
    mass_kg: float
    missing_kg: float | None
    zero_kg: float
    advice: str | None
    scale: str


@dataclass(frozen=True, slots=True)
class WeighingAddition(Body):
    """The net total of a line at rest, with its verdict. The last one for a line stands.

    Attributes:
        line: key of the formula line; None without a formula.
        mass_kg: net total so far; None when confirmed without having been weighed; 0 with a null
            scale and verdict when what was said of the line proved to be of another, and the line
            is open again.
        expanded_uncertainty_kg: k = 2; None when not weighed.
        target_kg, lower_kg, upper_kg: of the line, as it stands after a rescale.
        probability_within: that the true mass lies inside the tolerance.
        verdict: ``under``, ``within``, ``over``, ``undecidable``; None without a tolerance.
        scale: SenML name of the scale's channel.
        replaces: event id of the earlier addition of this line, None for the first.
        start_at: when its first rise began.
        budget: standard uncertainties (k = 1) by name: ``resolution_kg``, ``repeatability_kg``,
            ``class_error_kg``, ``drift_kg`` (seen at rest since the tare) and ``splice_kg`` (of a
            zero set in the middle of a pour); None where there is none. Twice the root of the sum
            of their squares is the expanded uncertainty. None when not weighed.
    """

    kind = "weighing.addition"
    line: str | None
    mass_kg: float | None
    expanded_uncertainty_kg: float | None
    target_kg: float | None
    lower_kg: float | None
    upper_kg: float | None
    probability_within: float | None
    verdict: str | None
    scale: str | None
    replaces: int | None = None
    start_at: float | None = None
    budget: Mapping[str, float | None] | None = None


@dataclass(frozen=True, slots=True)
class WeighingRemoved(Body):
    """Mass was taken from the scale at rest: a container lifted (line None) or a take-back."""

    kind = "weighing.removed"
    mass_kg: float
    line: str | None
    scale: str


@dataclass(frozen=True, slots=True)
class WeighingScale(Body):
    """Which scale to use for the line that comes next; said only where there are several.

    Attributes:
        line: key of the formula line.
        scale: SenML name of the scale's channel.
        decides: whether it can decide the line's tolerance; False: it only comes nearest.
    """

    kind = "weighing.scale"
    line: str
    scale: str
    decides: bool


@dataclass(frozen=True, slots=True)
class WeighingRecovery(Body):
    """Ways back from an over-pour: said when a line is over, again when the ways have become
    others, and when one of them is taken. The last one for a line stands.

    Attributes:
        line: the line that went over.
        choices: the ways that are open, each with its name in ``choice`` and a sentence in
            ``text``:

            - ``reassign``: what was poured last (``mass_kg``) fits another open line (``line``).
            - ``take back``: ``take_kg``, down to the target ``to_kg``; while nothing lies over it.
            - ``rescale``: the line's formula by ``factor``, the least that brings every line back
              within its tolerance (``whole_factor``: together with earlier ones): ``top_ups``
              (each ``line``, ``mass_kg``) to lines that are in already, new ``targets`` (each
              ``line``, ``target_kg``, ``lower_kg``, ``upper_kg``), ``cautions`` (sentences).
            - ``leave``: ``deviation_kg``, ``deviation_percent``, and the changed ``balance`` in
              sentences.

            When the line is no longer over, the one thing that was done; ``container``: what
            seemed to be too much of it was one, and was tared.
        chosen: the way taken; None while open. ``leave`` also where the batch went on without.
        withheld: ways that are not open, each with ``choice`` and the reason in ``text``.
    """

    kind = "weighing.recovery"
    line: str
    choices: tuple[Mapping[str, Any], ...]
    chosen: str | None
    withheld: tuple[Mapping[str, Any], ...] = ()


@dataclass(frozen=True, slots=True)
class OvenPreheated(Body):
    """The oven's *mean* (not a peak of it) holds the set point."""

    kind = "oven.preheated"
    reached_at: float
    mean_c: float
    set_point_c: float


@dataclass(frozen=True, slots=True)
class OvenCycle(Body):
    """One full thermostat cycle, probe lag removed; or ten minutes where there is no cycling.

    Attributes:
        from_at, to_at: its time.
        mean_c, swing_c: time mean, and peak to peak.
        period_s: None where there is no cycling.
        set_point_c, offset_c: the dial, and mean minus dial; None without a set point.
    """

    kind = "oven.cycle"
    from_at: float
    to_at: float
    mean_c: float
    swing_c: float
    period_s: float | None
    set_point_c: float | None
    offset_c: float | None


@dataclass(frozen=True, slots=True)
class OvenSpots(Body):
    """Other places of the oven over the cycle that was just said.

    Attributes:
        from_at, to_at: the cycle's time.
        offsets_c: mean of each further probe (by role, ``oven 2`` …) less that of the first.
    """

    kind = "oven.spots"
    from_at: float
    to_at: float
    offsets_c: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class OvenDoor(Body):
    """The door was open (loading and unloading included).

    Without length and depth where only a mark tells of it: the air did not show it.
    """

    kind = "oven.door"
    start_at: float
    end_at: float
    depth_c: float


@dataclass(frozen=True, slots=True)
class OvenRecovered(Body):
    """The oven is back at its mean after a door."""

    kind = "oven.recovered"
    reached_at: float
    after_s: float


@dataclass(frozen=True, slots=True)
class OvenDrift(Body):
    """The oven drifts from bake to bake. Said by the bake that shows it, at its end; repeated at
    the beginning of later batches until a new baseline, with what the bakes since then say.

    Attributes:
        statistic: ``ewma`` or ``cusum``.
        value, limit: the statistic and the limit it passed, in sigmas, both with the shift's sign.
        shift_c: how far the offset has moved from the baseline of the earlier bakes.
        since_batch: the bake from which on.
        dial_advice_c: the dial setting that would give the present set point.
        bakes: how many bakes it rests on.
        measure: what moved: ``offset``, ``swing``, ``period`` or ``recovery``.
        dial_plus_minus_c: two standard deviations of the advice.
        swing_ratio, period_ratio: the cycles' since then over those of the baseline; None where
            they are not known.
        likely: what changes an oven like this, in words; None where nothing is likelier.
        found_by: the bake that showed it.
    """

    kind = "oven.drift"
    statistic: str
    value: float
    limit: float
    shift_c: float
    since_batch: str | None
    dial_advice_c: float | None
    bakes: int
    measure: str = "offset"
    dial_plus_minus_c: float | None = None
    swing_ratio: float | None = None
    period_ratio: float | None = None
    likely: str | None = None
    found_by: str | None = None


@dataclass(frozen=True, slots=True)
class OvenBaseline(Body):
    """The kitchen confirmed the oven as it is (a mark ``oven baseline``, after a service, say).

    The charts of its drift begin anew with this bake.

    Attributes:
        confirmed_at: when.
    """

    kind = "oven.baseline"
    confirmed_at: float


@dataclass(frozen=True, slots=True)
class BakeIn(Body):
    """The cake went in.

    Attributes:
        in_at: when.
        how: ``marked`` or ``noticed``.
        confidence: 0 to 1; 1 when marked.
    """

    kind = "bake.in"
    in_at: float
    how: str
    confidence: float


@dataclass(frozen=True, slots=True)
class BakeOut(Body):
    """The cake came out; fields as `BakeIn`."""

    kind = "bake.out"
    out_at: float
    how: str
    confidence: float


@dataclass(frozen=True, slots=True)
class BakeWindow(Body):
    """The formula's own time for the bake against what the core says: a cross-check.

    Said when the last milestone of the bake is expected clearly outside the window (its whole
    interval), when that has changed, and when it is reached; at the way out without milestones.

    Attributes:
        milestone: the one meant; None: the way out.
        from_at, to_at: the window.
        expected_at: when it is expected, or was reached.
        outside_s: how far behind the window (positive) or ahead of it (negative); 0 within.
        reached: whether it was reached.
        oven_offset_c: the oven's mean in this bake less its set point; None without an oven probe.
        text: one sentence.
    """

    kind = "bake.window"
    milestone: str | None
    from_at: float
    to_at: float
    expected_at: float
    outside_s: float
    reached: bool
    oven_offset_c: float | None
    text: str


@dataclass(frozen=True, slots=True)
class BakeTest(Body):
    """A centre test was made.

    Attributes:
        tested_at: when.
        result: ``wet``, ``moist crumbs`` or ``clean``.
        core_c: the core then; None where no probe was in it.
        after_s: seconds since the way in; None where it is not known.
        formula: the batch's formula, by name.
    """

    kind = "bake.test"
    tested_at: float
    result: str
    core_c: float | None
    after_s: float | None
    formula: str | None


@dataclass(frozen=True, slots=True)
class BakeThreshold(Body):
    """What the centre tests of this formula teach of its target. A proposal, of doneness only.

    Attributes:
        proposed_c: the core temperature at which tests turn from wet to done; None while the tests
            are too few.
        low_c, high_c: central 90 % of where it may lie.
        planned_c: the plan's own target, which stays.
        tests, bakes: how many it rests on.
        text: one sentence.
    """

    kind = "bake.threshold"
    proposed_c: float | None
    low_c: float
    high_c: float
    planned_c: float | None
    tests: int
    bakes: int
    text: str


@dataclass(frozen=True, slots=True)
class Forecast(Body):
    """When a milestone will be reached.

    Attributes:
        milestone: its name.
        made_at: when it was said (the event's own time).
        expected_at: median; None when not reachable.
        low_at, high_at: central 90 % interval; high_at None: perhaps never.
        reachable: False unless a time is clearly likelier than never.
        settles_c: where the temperature settles instead, when not reachable.
        proposal: what would help, in words, when not reachable.
    """

    milestone: str
    made_at: float
    expected_at: float | None
    low_at: float | None
    high_at: float | None
    reachable: bool
    settles_c: float | None = None
    proposal: str | None = None


@dataclass(frozen=True, slots=True)
class BakeForecast(Forecast):
    """A forecast of a milestone of the bake; `core` names the last one where there are several."""

    kind = "bake.forecast"
    core: str | None = None


@dataclass(frozen=True, slots=True)
class OvenForecast(Forecast):
    """A forecast of the milestone ``preheated``: when the oven's mean will have settled."""

    kind = "oven.forecast"


@dataclass(frozen=True, slots=True)
class CoolingForecast(Forecast):
    """A forecast of a milestone of the cooling; `core` as in `BakeForecast`."""

    kind = "cooling.forecast"
    core: str | None = None


@dataclass(frozen=True, slots=True)
class Reached(Body):
    """A milestone was reached.

    Attributes:
        milestone: its name.
        reached_at: when; where there are several cores, when the last of them did.
        temperature_c: the corrected temperature then.
        core: which was the last; None where there is one.
    """

    milestone: str
    reached_at: float
    temperature_c: float
    core: str | None = None


@dataclass(frozen=True, slots=True)
class BakeReached(Reached):
    """A milestone of the bake, crossing upward (in the oven or by carry-over after it)."""

    kind = "bake.reached"


@dataclass(frozen=True, slots=True)
class CoolingReached(Reached):
    """A milestone of the cooling, crossing downward."""

    kind = "cooling.reached"


@dataclass(frozen=True, slots=True)
class CoolingStarted(Body):
    """The cooling began: at the way out of the oven, or with the first falling core."""

    kind = "cooling.started"
    start_at: float
    temperature_c: float | None


@dataclass(frozen=True, slots=True)
class CoolingChanged(Body):
    """The way of cooling changed.

    Attributes:
        changed_at: when.
        place: ``in pan, on rack``, ``refrigerator`` …; None where only noticed.
        what: ``moved``, ``probe moved``, ``probe out``, ``probe back``.
        how: ``marked`` or ``noticed``.
    """

    kind = "cooling.changed"
    changed_at: float
    place: str | None
    what: str
    how: str


@dataclass(frozen=True, slots=True)
class SafetyCooling(Body):
    """A caution about cooling, with the rule it quotes; never a proof that food is safe."""

    kind = "safety.cooling"
    text: str
    rule: str
    since_at: float | None


@dataclass(frozen=True, slots=True)
class InstrumentStateChanged(Body):
    """An instrument of the batch changed its state (``online``, ``silent``, ``offline`` …)."""

    kind = "instrument.state"
    instrument: str
    state: str
    since_at: float


@dataclass(frozen=True, slots=True)
class ClockJumped(Body):
    """The clock at an instrument stepped."""

    kind = "clock.jump"
    instrument: str
    jump_s: float


@dataclass(frozen=True, slots=True)
class Alert(Body):
    """Something a person should look at, with the remedy in words.

    Attributes:
        about: short name of the matter, e.g. ``engine error``, ``silence``.
        text: what is wrong, where, what to do.
    """

    kind = "alert"
    about: str
    text: str


def _leaves(cls: type[Body]) -> list[type[Body]]:
    out = [cls] if cls.kind else []
    for child in cls.__subclasses__():
        out += _leaves(child)
    return out


@dataclass(frozen=True, slots=True)
class Event:
    """One conclusion with its place in the batch.

    Attributes:
        id: 1, 2, … in the batch.
        at_us: the passed second's or record's time that gave it, never before the event before.
        batch: the batch's id.
        body: what was concluded.
    """

    id: int
    at_us: int
    batch: str
    body: Body
    engine: str = ENGINE_VERSION

    @property
    def kind(self) -> str:
        return self.body.kind

    def to_json(self) -> dict[str, Any]:
        """The one JSON form: common fields first, then the body's."""
        head: dict[str, Any] = {
            "id": self.id,
            "kind": self.body.kind,
            "at": seconds(self.at_us),
            "batch": self.batch,
            "engine": self.engine,
        }
        for field in dataclasses.fields(self.body):
            value = getattr(self.body, field.name)
            head[field.name] = list(value) if isinstance(value, tuple) else value
        return head


def from_json(document: Mapping[str, Any]) -> Event:
    """The event of a JSON form written by `Event.to_json`.

    Raises:
        ValueError: an unknown kind or a missing field.
    """
    cls = KINDS.get(str(document.get("kind")))
    if cls is None:
        raise ValueError(f"unknown kind of event {document.get('kind')!r}")
    values: dict[str, Any] = {}
    for field in dataclasses.fields(cls):
        if field.name in document:
            value = document[field.name]
            values[field.name] = tuple(value) if isinstance(value, list) else value
    try:
        return Event(
            id=int(document["id"]),
            at_us=microseconds(document["at"]),
            batch=str(document["batch"]),
            body=cls(**values),
            engine=str(document.get("engine", ENGINE_VERSION)),
        )
    except (KeyError, TypeError) as error:
        raise ValueError(f"an event {document.get('kind')!r} without {error}") from error


KINDS: dict[str, type[Body]] = {cls.kind: cls for cls in _leaves(Body)}
