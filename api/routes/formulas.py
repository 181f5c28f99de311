"""The kitchen's saved formulas: every version, its sheet, and what changed between two."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query, Response

from api.deps import KitchenDep, picked
from api.formula_answers import (
    ChangesAnswer,
    FormulasAnswer,
    SaveBody,
    SavedAnswer,
    SavedFormulaAnswer,
    SavedNameAnswer,
    SavedSheetAnswer,
    SavedVersionAnswer,
    VersionsAnswer,
)
from api.formulary import SavedFormula
from api.given import given
from api.refusal import answers
from api.sheets import saved_facts, scales_here, sheet_of
from drivers.reading import seconds
from logger.formula import read_formula
from logger.formula.diff import diff

router = APIRouter(prefix="/api/formulas", tags=["formulas"])

NAME = Path(
    max_length=200,
    description="the formula's name, or its address as GET /api/formulas gives it",
    examples=["pear-and-ginger-layer-cake"],
)
VERSION = Path(ge=1, le=1_000_000, examples=[2])


def _versions(kitchen: KitchenDep, name: str = NAME) -> list[SavedFormula]:
    return kitchen.saved(name)


def _version(kitchen: KitchenDep, name: str = NAME, version: int = VERSION) -> SavedFormula:
    return kitchen.saved_version(name, version)


VersionsDep = Annotated[list[SavedFormula], Depends(_versions)]
VersionDep = Annotated[SavedFormula, Depends(_version)]


@router.post(
    "", status_code=201, responses=answers() | {200: {"model": SavedAnswer, "description": "Known"}}
)
def save(kitchen: KitchenDep, body: SaveBody, response: Response) -> SavedAnswer:
    """Keep a formula as the next version of its name; 200 and that version where it is known."""
    saved, new = kitchen.formulary.save(
        given(body.formula, "formula"), kitchen.pantry(), kitchen.clock.now_us()
    )
    if not new:
        response.status_code = 200
    return SavedAnswer(**saved_facts(saved), new=new)


@router.get("", responses=answers())
def formulas(kitchen: KitchenDep) -> FormulasAnswer:
    """The saved formulas by name, each with its latest version."""
    return FormulasAnswer(
        formulas=[
            SavedNameAnswer(
                name=row.name,
                address=row.address,
                latest=row.latest,
                saved_at=seconds(row.saved_us),
            )
            for row in kitchen.formulary.names()
        ]
    )


@router.get("/{name}", responses=answers(404))
def versions(rows: VersionsDep) -> VersionsAnswer:
    """All versions of a formula, the first first."""
    return VersionsAnswer(
        name=rows[-1].name,
        address=rows[-1].address,
        versions=[SavedVersionAnswer(**saved_facts(row)) for row in rows],
    )


@router.get("/{name}/diff", responses=answers(404))
def changes(
    kitchen: KitchenDep,
    rows: VersionsDep,
    from_version: int | None = Query(
        None, alias="from", ge=1, description="by default the one before", examples=[1]
    ),
    to_version: int | None = Query(
        None, alias="to", ge=1, description="by default the latest", examples=[2]
    ),
) -> ChangesAnswer:
    """What changed between two versions, line by line."""
    now = picked(rows, to_version)
    was = picked(rows, max(1, now.version - 1) if from_version is None else from_version)
    pantry = kitchen.pantry()
    found = diff(
        read_formula(was.document, pantry), read_formula(now.document, pantry), pantry
    ).to_json()
    return ChangesAnswer(
        name=now.name,
        address=now.address,
        from_version=was.version,
        to_version=now.version,
        **found,
    )


@router.get("/{name}/{version}", responses=answers(404))
def version(saved: VersionDep) -> SavedFormulaAnswer:
    """One version: what it says, and the text as it was saved."""
    return SavedFormulaAnswer(**saved_facts(saved), text=saved.text, document=saved.content)


@router.get("/{name}/{version}/sheet", responses=answers(404))
def sheet(kitchen: KitchenDep, saved: VersionDep) -> SavedSheetAnswer:
    """The sheet of a saved version, with the ingredients and scales that are here now."""
    pantry = kitchen.pantry()
    formula = read_formula(saved.document, pantry)
    scales = scales_here(kitchen.instrument_states(), kitchen.live.latest.copy())
    return SavedSheetAnswer(**saved_facts(saved), **sheet_of(formula, pantry, scales))
