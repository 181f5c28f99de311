"""What a plan freezes in of the time before it, so that its batch rests on nothing outside it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from drivers.reading import seconds
from logger.document import Document
from logger.formula import Pantry, read_formula
from logger.store import Reader


def freeze_from(
    reader: Reader, document: Mapping[str, Any], pos: int, pantry: Pantry
) -> dict[str, Any]:
    """The oven's earlier bakes, the earlier centre tests of its first formula, the states of the
    instruments the plan names, and the rows of the ingredients its formulas name.

    Args:
        reader: of the log in which the batch is about to be opened.
        document: the mark that opens it, with its ``plan`` and ``formulas``.
        pos: last position of the log that counts as before.
        pantry: the ingredients that there are now.

    Raises:
        FileError: a formula that cannot be used.
    """
    plan = document.get("plan")
    channels = plan.get("channels") if isinstance(plan, dict) else None
    roles: dict[str, Any] = channels if isinstance(channels, dict) else {}
    ovens = [name for name, role in roles.items() if role == "oven"]
    instruments = {name.partition("/")[0] for name in roles}
    formulas = document.get("formulas")
    read = [
        read_formula(Document(formula, "formula"), pantry)
        for formula in (formulas if isinstance(formulas, list) else ())
        if isinstance(formula, dict)
    ]
    names = [line.ingredient for formula in read for line in formula.lines]
    return {
        "earlier_bakes": reader.earlier_bakes(ovens[0], before_pos=pos + 1) if ovens else [],
        "centre_tests": reader.centre_tests(read[0].name, before_pos=pos + 1) if read else [],
        "instruments": {
            state.instrument: {
                **state.document, "state": state.state, "since_at": seconds(state.t_us),
            }
            for state in reader.instruments()
            if state.instrument in instruments
        },
        "ingredients": pantry.rows_for(names),
    }  # fmt: skip
