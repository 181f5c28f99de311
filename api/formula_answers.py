"""What the endpoints of saved formulas take and answer, typed, with examples. Masses in kg."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from api.answers import T0, Answer


class SavedNameAnswer(Answer):
    """A saved formula by name; `address` is the name as links carry it."""

    name: str = Field(examples=["Pear and ginger layer cake"])
    address: str = Field(examples=["pear-and-ginger-layer-cake"])
    latest: int = Field(description="number of its latest version", examples=[2])
    saved_at: float = Field(description="when that was saved", examples=[T0])


class FormulasAnswer(Answer):
    """The saved formulas by name."""

    formulas: list[SavedNameAnswer]


class SavedVersionAnswer(Answer):
    """One saved version of a formula."""

    name: str = Field(examples=["Pear and ginger layer cake"])
    address: str = Field(examples=["pear-and-ginger-layer-cake"])
    version: int = Field(description="counted by the kitchen log, from 1", examples=[2])
    saved_at: float = Field(examples=[T0])
    own_version: str | None = Field(
        description="the file's own word for it", examples=["less ginger"]
    )


class VersionsAnswer(Answer):
    """All versions of a formula, the first first."""

    name: str = Field(examples=["Pear and ginger layer cake"])
    address: str = Field(examples=["pear-and-ginger-layer-cake"])
    versions: list[SavedVersionAnswer]


class SavedFormulaAnswer(SavedVersionAnswer):
    """One saved version, whole."""

    text: str | None = Field(
        description="TOML as it was saved; null where JSON was",
        examples=['name = "Shortbread"\n'],
    )
    document: dict[str, Any] = Field(
        examples=[{"name": "Shortbread", "line": [{"ingredient": "butter", "amount": "200 g"}]}]
    )


class SaveBody(BaseModel):
    """A formula to be kept: TOML text as a person wrote it, or the same as JSON."""

    formula: str | dict[str, Any] = Field(
        examples=['name = "Shortbread"\n\n[[line]]\ningredient = "butter"\namount = "200 g"\n']
    )


class SavedAnswer(SavedVersionAnswer):
    """The version under which the formula is kept."""

    new: bool = Field(description="false: it was there already", examples=[True])


class SheetParts(Answer):
    """The sheet of a formula: what it is, what it makes, what can weigh it."""

    sheet: dict[str, Any] = Field(
        description="lines with grams and baker's percentages, composition, balance, leavening, "
        "allergens, energy, cost; masses in kg",
        examples=[{"formula": "Shortbread", "flour_kg": 0.3, "total_kg": 0.6, "lines": []}],
    )
    makes: str = Field(examples=["2 pans, round 200 x 50 mm, 620 g in each; 16 portions"])
    fill: str | None = Field(
        description="how full the pan is; null where nobody can say",
        examples=["The pan is about 45% full, batter 23 mm deep; 50% to 67% is usual."],
    )
    steps: list[str] = Field(
        description="the method", examples=[["mix: cream butter and sugar, medium, 3 min"]]
    )
    fit: list[dict[str, Any]] = Field(
        description="for each line, whether a scale that is here can decide its tolerance; empty "
        "where no scale is known",
        examples=[[{"key": "salt", "answer": "cannot", "sentence": "The scale reads 1 g."}]],
    )


class SavedSheetAnswer(SavedVersionAnswer, SheetParts):
    """The sheet of a saved version, with the ingredients and scales as they are now."""


class FrozenSheet(SheetParts):
    """The sheet of a formula of a batch, with the ingredients frozen into its plan."""

    saved: SavedVersionAnswer | None = Field(
        description="the saved version that says the same; null where none does", examples=[None]
    )


class BatchSheetsAnswer(Answer):
    """The sheets of a batch's formulas, in the order in which they are weighed."""

    batch: str = Field(examples=["b20270115T080000"])
    sheets: list[FrozenSheet]


class ChangesAnswer(Answer):
    """What changed between two saved versions of a formula, in grams and in baker's per cent."""

    model_config = ConfigDict(serialize_by_alias=True, validate_by_name=True)
    name: str = Field(examples=["Pear and ginger layer cake"])
    address: str = Field(examples=["pear-and-ginger-layer-cake"])
    from_version: int = Field(alias="from", examples=[1])
    to_version: int = Field(alias="to", examples=[2])
    same: bool = Field(examples=[False])
    lines: list[dict[str, Any]] = Field(
        description="change (added, removed, changed, same), was, now, difference_kg, "
        "difference_percent, what",
        examples=[
            [{"change": "changed", "difference_kg": -0.002, "difference_percent": -0.7, "what": []}]
        ],
    )
    others: list[dict[str, Any]] = Field(
        description="what else: name, was, now",
        examples=[[{"name": "portions", "was": "12", "now": "16"}]],
    )
    flour_kg: list[float] = Field(description="was, now", examples=[[0.27, 0.27]])
    total_kg: list[float] = Field(description="was, now", examples=[[1.33, 1.328]])
