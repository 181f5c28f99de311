"""What people send: marks, and plans that open a batch."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from api.answers import MarkAnswer, MarkBody, OpenBody, OpenedAnswer, SavedFormulaBody
from api.deps import BatchDep, Kitchen, KitchenDep
from api.given import given
from api.refusal import Refusal, answers
from logger.document import Document
from logger.formula import read_formula
from logger.planfile import formula_files, read_plan

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


@router.post("/batches", status_code=201, responses=answers(404, 409))
def open_batch(kitchen: KitchenDep, body: OpenBody) -> OpenedAnswer:
    """Open a batch: plan and formula are checked here, and enter the log inside the mark."""
    plan = given(body.plan, "plan")
    formulas = [_formula(kitchen, formula) for formula in body.formulas]
    named = formula_files(plan)
    if len(named) > len(formulas):
        missing = ", ".join(repr(name) for name in named[len(formulas) :])
        raise Refusal(422, f"The plan names {missing}.", "Send them along in formulas.")
    # Checked against what the recorder freezes in.
    pantry = kitchen.pantry()
    read_plan(plan, [read_formula(formula, pantry) for formula in formulas])
    document: dict[str, Any] = {
        "mark": "open batch",
        "plan": plan.content,
        "formulas": [formula.content for formula in formulas],
    }
    if body.batch is not None:
        document["batch"] = body.batch
    mark_id, position = kitchen.desk.mark(document)
    # Without a name of its own the recorder gave it one.
    opened = next(row.id for row in kitchen.reader.batches() if row.opened_pos == position)
    return OpenedAnswer(id=mark_id, position=position, batch=opened)


def _formula(kitchen: Kitchen, sent: str | dict[str, Any] | SavedFormulaBody) -> Document:
    """What a formula says, whether it was sent along or saved before."""
    if isinstance(sent, SavedFormulaBody):
        return kitchen.saved_version(sent.saved, sent.version).document
    if isinstance(sent, dict) and "saved" in sent:
        raise Refusal(
            422,
            "A saved formula is named by saved and version, and nothing else.",
            'Send for example {"saved": "Pear and ginger layer cake", "version": 2}.',
        )
    return given(sent, "formula")
