"""What people send: marks, and plans that open a batch."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from api.answers import MarkAnswer, MarkBody, OpenBody, OpenedAnswer
from api.deps import BatchDep, KitchenDep
from api.refusal import Refusal, answers
from drivers.reading import MICROSECOND
from logger.document import Document
from logger.engine import batch_id
from logger.planfile import plan_from_document

router = APIRouter(prefix="/api", tags=["marks"])


@router.post("/marks", status_code=201, responses=answers())
def mark(kitchen: KitchenDep, body: MarkBody) -> MarkAnswer:
    """Store a mark; 201 once the log shows it, else 503 (it is safe to send the same id again)."""
    mark_id, position = kitchen.desk.mark(body.model_dump(exclude_none=True))
    return MarkAnswer(id=mark_id, position=position)


@router.post("/batches/{batch}/marks", status_code=201, responses=answers(404, 409))
def mark_of_batch(kitchen: KitchenDep, row: BatchDep, body: MarkBody) -> MarkAnswer:
    """Store a mark for this batch."""
    if row.closed_us is not None:
        raise Refusal(409, f"The batch {row.id} is closed.", "Open another one.")
    document = body.model_dump(exclude_none=True) | {"batch": row.id}
    mark_id, position = kitchen.desk.mark(document)
    return MarkAnswer(id=mark_id, position=position)


@router.post("/batches", status_code=201, responses=answers(409))
def open_batch(kitchen: KitchenDep, body: OpenBody) -> OpenedAnswer:
    """Open a batch: plan and formula are checked here, and enter the log inside the mark."""
    plan = _content(body.plan, "plan")
    formula = None if body.formula is None else _content(body.formula, "formula")
    if formula is None and "formula" in plan:
        named = plan["formula"].get("file", "") if isinstance(plan["formula"], dict) else ""
        raise Refusal(422, f"The plan names the formula {named!r}.", "Send it along as formula.")
    plan_from_document({"plan": plan, "formula": formula, "frozen": {}})
    now_us = kitchen.clock.now_us()
    batch = body.batch or batch_id(now_us)
    mark_id, position = kitchen.desk.mark(
        {
            "mark": "open batch",
            "t": now_us / MICROSECOND,
            "batch": batch,
            "plan": plan,
            "formula": formula,
        }
    )
    return OpenedAnswer(id=mark_id, position=position, batch=batch)


def _content(given: str | dict[str, Any], name: str) -> dict[str, Any]:
    return Document.parse(given.encode(), name).content if isinstance(given, str) else given
