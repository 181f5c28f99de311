"""Puts the rooms together: the state a batch's engine starts from."""

from __future__ import annotations

from logger.engine import BatchState
from logger.entries import PlanEntry
from logger.oven import Oven
from logger.plan import Plan
from logger.planfile import plan_from_document
from logger.thermal import thermal
from logger.weighing import Weighing


def start(batch: str, plan: Plan) -> BatchState:
    """An empty engine at its plan. `batch` may be '': the first record then gives it a name."""
    return BatchState(
        batch=batch,
        plan=plan,
        rooms=[Weighing(plan), Oven(plan), thermal(plan)],
    )


def start_from(entry: PlanEntry) -> BatchState:
    """An empty engine at the plan of a plan record.

    Raises:
        FileError: the plan cannot be used; says what, where and the remedy.
    """
    return start(entry.batch, plan_from_document(entry.document))
