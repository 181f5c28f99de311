"""What the endpoints answer, typed, with examples. Times are seconds since the epoch."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

T0 = 1_800_000_000.0


class Answer(BaseModel):
    """Base: an answer never carries NaN or an infinity."""

    model_config = ConfigDict(allow_inf_nan=False)


class LiveValue(Answer):
    """The newest value of a channel; `value` is null exactly when `state` says why."""

    channel: str = Field(examples=["bench-scale/mass"])
    t: float = Field(description="when it was taken", examples=[T0])
    value: float | None = Field(examples=[0.24])
    unit: str = Field(examples=["kg"])
    state: str | None = Field(examples=[None])
    stable: bool | None = Field(examples=[True])
    net: bool | None = Field(examples=[True])
    division: float | None = Field(examples=[0.001])
    age_s: float = Field(description="kitchen seconds since it was taken", examples=[0.2])


class InstrumentAnswer(Answer):
    """An instrument with its state and its channels' newest values."""

    name: str = Field(examples=["bench-scale"])
    state: str | None = Field(description="null: never announced", examples=["online"])
    since_at: float | None = Field(examples=[T0 - 3600])
    channels: list[LiveValue]


class InstrumentsAnswer(Answer):
    """All instruments ever heard of."""

    instruments: list[InstrumentAnswer]


class KitchenAnswer(Answer):
    """The kitchen: who it is, what time it is there, what it measures."""

    title: str = Field(examples=["Harbour Steps cake room"])
    kitchen: str = Field(description="short name in topics", examples=["harbour-steps"])
    time_zone: str = Field(examples=["Europe/Lisbon"])
    now: float = Field(description="kitchen time", examples=[T0])
    speed: float = Field(description="kitchen seconds per second", examples=[1.0])
    current: str | None = Field(description="the batch shown first", examples=["b20270115T080000"])
    instruments: list[InstrumentAnswer]


class BatchAnswer(Answer):
    """A batch in the list."""

    batch: str = Field(examples=["b20270115T080000"])
    title: str | None = Field(examples=["Pear and ginger layer cake"])
    opened_at: float = Field(examples=[T0])
    closed_at: float | None = Field(examples=[None])
    flagged: bool = Field(
        description="the engine failed in it; readings are kept", examples=[False]
    )


class BatchesAnswer(Answer):
    """The batches, the newest first."""

    batches: list[BatchAnswer]


class BatchWithPlanAnswer(BatchAnswer):
    """A batch with the plan it rests on, frozen."""

    plan: dict[str, Any] = Field(examples=[{"channels": {"bench-scale/mass": "scale"}}])
    formulas: list[dict[str, Any]] = Field(examples=[[]])


class NumberAnswer(Answer):
    """The number that matters now."""

    value: str = Field(examples=["38"])
    unit: str = Field(examples=["g"])
    kind: str = Field(
        description="missing, mass, time, temperature, clock, none", examples=["missing"]
    )
    word: str = Field(examples=["keep pouring"])


class SentenceAnswer(Answer):
    """The one next thing in words; `measure` is drawn to scale under the number."""

    now: str = Field(examples=["Cake flour: 38 g more."])
    then: str = Field(examples=["After that: granulated sugar, 300 g."])
    act: bool = Field(description="a hand is needed now", examples=[False])
    number: NumberAnswer
    measure: dict[str, Any] | None = Field(examples=[None])


class LineAnswer(Answer):
    """A formula line and what was weighed of it; masses in kg."""

    model_config = ConfigDict(extra="allow")
    key: str = Field(examples=["cake flour"])
    ingredient: str = Field(examples=["cake flour"])
    amount: str = Field(examples=["270 g"])
    bowl: str | None = Field(examples=["dry"])
    target_kg: float | None = Field(examples=[0.27])
    lower_kg: float | None = Field(examples=[0.2673])
    upper_kg: float | None = Field(examples=[0.2727])
    mass_kg: float | None = Field(examples=[0.2701])
    expanded_uncertainty_kg: float | None = Field(examples=[0.0011])
    probability_within: float | None = Field(examples=[0.999])
    verdict: str | None = Field(examples=["within"])


class StateAnswer(Answer):
    """What stands of a batch now; the same document as the stream's `state`."""

    model_config = ConfigDict(extra="allow")
    batch: str | None = Field(examples=["b20270115T080000"])
    title: str | None = Field(examples=["Pear and ginger layer cake"])
    stage: str | None = Field(examples=["weighing"])
    opened_at: float | None = Field(examples=[T0])
    closed_at: float | None = Field(examples=[None])
    at: float | None = Field(description="time of the last event", examples=[T0 + 60])
    lines: list[LineAnswer]
    pouring: dict[str, Any] | None = Field(examples=[None])
    time_zone: str = Field(examples=["Europe/Lisbon"])
    sentence: SentenceAnswer


class EventAnswer(Answer):
    """A stored event with its place in the log, by which a stream resumes."""

    id: str = Field(description="place in the log, pos.n", examples=["4711.1"])
    document: dict[str, Any] = Field(
        examples=[{"id": 1, "kind": "batch.opened", "at": T0, "batch": "b20270115T080000"}]
    )


class EventsAnswer(Answer):
    """Events in order; `next` continues after the last of them, null at the end."""

    events: list[EventAnswer]
    next: str | None = Field(examples=[None])


class Points(Answer):
    """Buckets of readings, column by column; `t` is a bucket's first time."""

    t: list[float] = Field(examples=[[T0]])
    min: list[float] = Field(examples=[[174.2]])
    mean: list[float] = Field(examples=[[175.8]])
    max: list[float] = Field(examples=[[177.9]])
    count: list[int] = Field(examples=[[12]])


class GapAnswer(Answer):
    """Readings are missing between these times, declared so."""

    from_at: float = Field(examples=[T0])
    to_at: float = Field(examples=[T0 + 30])
    reason: str = Field(examples=["the outbox was full"])


class CurveAnswer(Answer):
    """A channel over a time, thinned."""

    channel: str = Field(examples=["oven-probe/air"])
    role: str | None = Field(description="in the batch's plan", examples=["oven"])
    unit: str | None = Field(examples=["Cel"])
    bucket_s: float = Field(description="0: every reading is its own point", examples=[6.0])
    points: Points
    gaps: list[GapAnswer]


class SpanAnswer(Answer):
    """A stage of the batch; `to_at` is null while it lasts."""

    stage: str = Field(examples=["baking"])
    from_at: float = Field(examples=[T0])
    to_at: float | None = Field(examples=[None])


class AdditionAnswer(Answer):
    """A line weighed, as a mark on the ribbon."""

    at: float = Field(examples=[T0])
    line: str | None = Field(examples=["cake flour"])
    mass_kg: float | None = Field(examples=[0.2701])
    verdict: str | None = Field(examples=["within"])


class RibbonAnswer(Answer):
    """Everything the ribbon draws."""

    from_at: float = Field(examples=[T0])
    to_at: float = Field(examples=[T0 + 7200])
    now: float = Field(examples=[T0 + 3600])
    stages: list[SpanAnswer]
    additions: list[AdditionAnswer]
    curves: list[CurveAnswer]
    state: StateAnswer


class MarkBody(BaseModel):
    """A mark: its kind, when (now, if left out), and the kind's own fields."""

    model_config = ConfigDict(extra="allow", allow_inf_nan=False)
    mark: str = Field(min_length=1, max_length=64, examples=["into oven"])
    t: float | None = Field(None, ge=1_577_836_800, lt=4_102_444_800, examples=[T0])
    id: str | None = Field(
        None, min_length=1, max_length=64, pattern=r"^[\w.:-]+$", examples=["m-1"]
    )
    batch: str | None = Field(None, min_length=1, max_length=100, examples=["b20270115T080000"])


class MarkAnswer(Answer):
    """The mark is stored."""

    id: str = Field(examples=["m-1"])
    position: int = Field(description="its position in the log", examples=[4711])


class SavedFormulaBody(BaseModel):
    """A saved formula by its name (or address) and version; without one, the latest."""

    model_config = ConfigDict(extra="forbid")
    saved: str = Field(max_length=200, examples=["Pear and ginger layer cake"])
    version: int | None = Field(None, ge=1, le=1_000_000, examples=[2])


# A saved one is tried before any JSON, which would take everything.
FormulaGiven = Annotated[str | SavedFormulaBody | dict[str, Any], Field(union_mode="left_to_right")]


class OpenBody(BaseModel):
    """A batch to be opened: the plan and its formulas in order.

    A formula is a TOML text, JSON, or a saved one by name and version; what it says enters the log.
    """

    plan: str | dict[str, Any] = Field(
        examples=['[channels]\n"bench-scale/mass" = "scale"\n'], description="TOML text or JSON"
    )
    formulas: list[FormulaGiven] = Field(
        [], examples=[[{"saved": "Pear and ginger layer cake", "version": 2}]]
    )
    batch: str | None = Field(None, pattern=r"^[\w.-]{1,64}$", examples=["b20270115T080000"])


class OpenedAnswer(MarkAnswer):
    """The batch is open."""

    batch: str = Field(examples=["b20270115T080000"])


class CommandBody(BaseModel):
    """A command to an instrument."""

    command: str = Field(pattern=r"^(tare|zero)$", examples=["tare"])


class CommandAnswer(Answer):
    """The instrument did it."""

    id: str = Field(examples=["4b0f"])
    done: bool = Field(examples=[True])
    text: str = Field(examples=[""])


class HealthAnswer(Answer):
    """Whether everything stands."""

    status: str = Field(examples=["ok"])
    broker: bool = Field(description="connected", examples=[True])
    log: str | None = Field(description="id of the log; null until there is one", examples=["9f0c"])
    streams: int = Field(description="pages connected", examples=[1])
