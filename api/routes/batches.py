"""Batches: what was planned, what stands, what happened, what was measured."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Query

from api.answers import (
    AdditionAnswer,
    BatchAnswer,
    BatchesAnswer,
    BatchWithPlanAnswer,
    CurveAnswer,
    EventAnswer,
    EventsAnswer,
    GapAnswer,
    Points,
    RibbonAnswer,
    SpanAnswer,
    StateAnswer,
)
from api.deps import BatchDep, Kitchen, KitchenDep
from api.formula_answers import BatchSheetsAnswer, FrozenSheet, SavedVersionAnswer
from api.mailbox import Place, place_of, place_text
from api.refusal import Refusal, answers
from api.sheets import saved_facts, scales_of, sheet_of
from drivers.reading import MICROSECOND, microseconds, seconds
from logger.events import BatchStage, WeighingAddition
from logger.formula.pantry import Pantry
from logger.planfile import plan_from_document
from logger.store import BatchRow, Chart, EventRow

router = APIRouter(prefix="/api/batches", tags=["batches"])

EARLIEST_S, LATEST_S = 1_577_836_800.0, 4_102_444_800.0
RIBBON_POINTS = 600
# Drawn, not told: a page that lists what happened leaves them out.
DRAWN = ("weighing.pouring", "oven.cycle", "bake.forecast", "cooling.forecast")


def batch_answer(row: BatchRow) -> BatchAnswer:
    """A row as the list gives it."""
    return BatchAnswer(
        batch=row.id,
        title=row.title,
        opened_at=seconds(row.opened_us),
        closed_at=None if row.closed_us is None else seconds(row.closed_us),
        flagged=row.flagged,
    )


def curve_answer(chart: Chart, role: str | None, least_bucket_s: float = 0.0) -> CurveAnswer:
    """A chart as an answer."""
    return CurveAnswer(
        channel=chart.channel,
        role=role,
        unit=chart.unit,
        bucket_s=max(chart.bucket_us / MICROSECOND, least_bucket_s),
        points=Points(
            t=[seconds(point.from_us) for point in chart.points],
            min=[point.lowest for point in chart.points],
            mean=[point.mean for point in chart.points],
            max=[point.highest for point in chart.points],
            count=[point.count for point in chart.points],
        ),
        gaps=[
            GapAnswer(from_at=gap["from_at"], to_at=gap["to_at"], reason=gap["reason"])
            for gap in chart.gaps
        ],
    )


@router.get("", responses=answers())
def batches(kitchen: KitchenDep) -> BatchesAnswer:
    """The batches, the newest first."""
    return BatchesAnswer(batches=[batch_answer(row) for row in kitchen.reader.batches()])


@router.get("/{batch}", responses=answers(404))
def batch(kitchen: KitchenDep, row: BatchDep) -> BatchWithPlanAnswer:
    """A batch with the plan it rests on."""
    entry = kitchen.reader.plan_entry(row.id)
    document = entry.document if entry else {}
    return BatchWithPlanAnswer(
        **batch_answer(row).model_dump(),
        plan=document.get("plan") or {},
        formulas=document.get("formulas") or [],
    )


@router.get("/{batch}/sheet", responses=answers(404))
def sheet(kitchen: KitchenDep, row: BatchDep) -> BatchSheetsAnswer:
    """The sheets of the batch's formulas, from the plan it rests on and nothing newer."""
    entry = kitchen.reader.plan_entry(row.id)
    document = entry.document if entry else {}
    plan = plan_from_document(document)
    pantry = Pantry(plan.ingredients)
    scales = scales_of(plan, kitchen.instrument_states(), kitchen.live.latest.copy())
    contents = document.get("formulas") or []
    return BatchSheetsAnswer(
        batch=row.id,
        sheets=[
            FrozenSheet(
                **sheet_of(formula, pantry, scales),
                saved=_saved(kitchen, content),
            )
            for formula, content in zip(plan.formulas, contents, strict=True)
        ],
    )


def _saved(kitchen: Kitchen, content: Mapping[str, Any]) -> SavedVersionAnswer | None:
    """The latest saved version that says the same."""
    versions = kitchen.formulary.versions(str(content.get("name")))
    same = [one for one in versions if one.content == content]
    return SavedVersionAnswer(**saved_facts(same[-1])) if same else None


@router.get("/{batch}/state", responses=answers(404))
def state(kitchen: KitchenDep, row: BatchDep) -> StateAnswer:
    """What stands of the batch now, with its sentence."""
    return StateAnswer.model_validate(kitchen.views.state(row.id, kitchen.live.latest.copy()))


@router.get("/{batch}/events", responses=answers(404))
def events(
    kitchen: KitchenDep,
    row: BatchDep,
    after: str = Query("0.0", description="an event's id, pos.n", examples=["4711.1"]),
    limit: int = Query(1000, ge=1, le=10_000),
    quiet: bool = Query(False, description="leave out pouring, cycles and forecasts"),
) -> EventsAnswer:
    """The batch's events after a place in the log, in order."""
    place = _place(after)
    found = [
        event
        for event in kitchen.reader.events(row.id)
        if (event.pos, event.n) > place and not (quiet and event.kind in DRAWN)
    ]
    out = [
        EventAnswer(id=place_text((event.pos, event.n)), document=event.document)
        for event in found[:limit]
    ]
    return EventsAnswer(events=out, next=out[-1].id if len(found) > limit else None)


def _place(text: str) -> Place:
    place = place_of(text)
    if place is None:
        raise Refusal(422, f"after: {text!r} is no event's id.", "Write pos.n, e.g. after=4711.1.")
    return place


@router.get("/{batch}/readings", responses=answers(404))
def readings(
    kitchen: KitchenDep,
    row: BatchDep,
    channel: str = Query(pattern=r"^[^/]{1,64}/[^/]{1,64}$", examples=["oven-probe/air"]),
    from_at: float | None = Query(None, alias="from", ge=EARLIEST_S, lt=LATEST_S),
    to_at: float | None = Query(None, alias="to", ge=EARLIEST_S, lt=LATEST_S),
    points: int = Query(600, ge=2, le=5000),
) -> CurveAnswer:
    """A channel's readings while the batch was open, in at most `points` buckets."""
    start_us, end_us = _span(kitchen, row)
    chart = kitchen.reader.chart(
        channel,
        start_us if from_at is None else microseconds(from_at),
        end_us if to_at is None else microseconds(to_at),
        points=points,
    )
    if chart.unit is None:
        raise Refusal(404, f"There is no channel {channel!r}.", "GET /api/instruments lists them.")
    return curve_answer(chart, kitchen.views.roles(row.id).get(channel))


def _standing(additions: list[EventRow]) -> list[EventRow]:
    """Of the additions said again after a top-up or a take-back, the last one stands."""
    replaced = {event.document["replaces"] for event in additions}
    return [event for event in additions if event.id not in replaced]


def _span(kitchen: Kitchen, row: BatchRow) -> tuple[int, int]:
    return row.opened_us, row.closed_us or max(kitchen.clock.now_us(), row.opened_us)


@router.get("/{batch}/ribbon", responses=answers(404))
def ribbon(kitchen: KitchenDep, row: BatchDep) -> RibbonAnswer:
    """Everything the ribbon draws, in one answer."""
    start_us, end_us = _span(kitchen, row)
    document = kitchen.views.state(row.id, kitchen.live.latest.copy())
    width_s = (end_us - start_us) / MICROSECOND / RIBBON_POINTS
    charts = [
        (kitchen.reader.chart(name, start_us, end_us, points=RIBBON_POINTS), role)
        for name, role in kitchen.views.roles(row.id).items()
    ]
    stages = kitchen.reader.events(row.id, kind=BatchStage.kind)
    ends = [*[event.at_us for event in stages[1:]], row.closed_us]
    return RibbonAnswer(
        from_at=seconds(start_us),
        to_at=seconds(end_us),
        now=seconds(kitchen.clock.now_us()),
        stages=[
            SpanAnswer(
                stage=event.document["stage"],
                from_at=seconds(event.at_us),
                to_at=None if end is None else seconds(end),
            )
            for event, end in zip(stages, ends, strict=True)
        ]
        if stages
        else [],
        additions=[
            AdditionAnswer(
                at=event.document["at"],
                line=event.document["line"],
                mass_kg=event.document["mass_kg"],
                verdict=event.document["verdict"],
            )
            for event in _standing(kitchen.reader.events(row.id, kind=WeighingAddition.kind))
        ],
        curves=[
            curve_answer(chart, role, max(1.0, width_s))
            for chart, role in charts
            if chart.unit == "Cel"
        ],
        state=StateAnswer.model_validate(document),
    )
