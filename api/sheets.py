"""The sheet of a formula as the page shows it: what it is, what it makes, what can weigh it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from api.formulary import SavedFormula
from drivers.reading import Reading, seconds
from logger.entries import InstrumentState
from logger.formula.diff import step_text
from logger.formula.kinds import weighed
from logger.formula.pans import PanError, describe, fill
from logger.formula.pantry import Pantry
from logger.formula.sheet import Sheet, sheet
from logger.plan import Formula, Makes, Plan, ScaleFacts, is_scale
from logger.weighing.fit import fit
from logger.weighing.oiml import BOUNDS


def saved_facts(saved: SavedFormula) -> dict[str, Any]:
    """What names a saved version, as `api.formula_answers.SavedVersionAnswer`."""
    own = saved.content.get("version")
    return {
        "name": saved.name,
        "address": saved.address,
        "version": saved.version,
        "saved_at": seconds(saved.saved_us),
        "own_version": None if own is None else str(own),
    }


def sheet_of(formula: Formula, pantry: Pantry, scales: Mapping[str, ScaleFacts]) -> dict[str, Any]:
    """The sheet of a formula, as `api.formula_answers.SheetParts`.

    Args:
        pantry: the ingredients it rests on.
        scales: name → what is known of it; empty where no scale is known, and nothing is said then.
    """
    found = sheet(formula, pantry)
    return {
        "sheet": found.to_json(),
        "makes": makes_words(formula.makes),
        "fill": fill_words(formula.makes, found),
        "steps": [step_text(step) for step in formula.steps],
        "fit": [one.to_json() for one in fit(formula.lines, scales, pantry)] if scales else [],
    }


def makes_words(makes: Makes) -> str:
    """What a formula makes, in a few words; '' where it does not say.

    >>> makes_words(Makes(pans=2, batter_per_pan_kg=0.62, portions=16))
    '2 pans, 620 g in each; 16 portions'
    """
    out = ""
    if makes.pan is not None or makes.pans > 1 or makes.batter_per_pan_kg is not None:
        out = "1 pan" if makes.pans == 1 else f"{makes.pans} pans"
        if makes.pan is not None:
            out += f", {describe(makes.pan)}"
        if makes.batter_per_pan_kg is not None:
            out += f", {weighed(makes.batter_per_pan_kg)} in {'it' if makes.pans == 1 else 'each'}"
    portions = f"{makes.portions} portions" if makes.portions else ""
    return "; ".join(part for part in (out, portions) if part)


def fill_words(makes: Makes, found: Sheet) -> str | None:
    """How full the pans are with what the sheet puts into each; None where it is not known."""
    per_pan_kg = found.deposit.per_pan_kg if found.deposit else None
    if makes.pan is None or per_pan_kg is None or per_pan_kg <= 0:
        return None
    try:
        return fill(makes.pan, per_pan_kg).sentence
    except PanError:
        return None  # a pan without its depth can still be filled; only how far is not known


def scales_of(
    plan: Plan, states: Iterable[InstrumentState], live: Mapping[str, Reading]
) -> dict[str, ScaleFacts]:
    """The scales of a batch by role: as the plan tells them, else as they say of themselves."""
    told = _announced(states, live)
    out: dict[str, ScaleFacts] = {}
    for name, role in plan.channels.items():
        if is_scale(role):
            facts = plan.scales.get(role, ScaleFacts())
            own = told.get(name, ScaleFacts())
            out[role] = replace(
                facts,
                resolution_kg=facts.resolution_kg or own.resolution_kg,
                accuracy_class=facts.accuracy_class or own.accuracy_class,
            )
    return dict(sorted(out.items()))


def scales_here(
    states: Iterable[InstrumentState], live: Mapping[str, Reading]
) -> dict[str, ScaleFacts]:
    """The kitchen's scales by instrument, the coarsest (the bench's) first."""
    told = _announced(states, live)
    known = [(name, facts) for name, facts in told.items() if facts.resolution_kg is not None]
    known.sort(key=lambda pair: (-(pair[1].resolution_kg or 0.0), pair[0]))
    return {name.partition("/")[0]: facts for name, facts in known}


def _announced(
    states: Iterable[InstrumentState], live: Mapping[str, Reading]
) -> dict[str, ScaleFacts]:
    """What each weighing channel said of itself, by SenML name."""
    out: dict[str, ScaleFacts] = {}
    for state in states:
        channels = state.document.get("channels")
        for channel in channels if isinstance(channels, list) else ():
            if isinstance(channel, dict) and channel.get("unit") == "kg":
                division, word = channel.get("division"), channel.get("class")
                out[f"{state.instrument}/{channel.get('name')}"] = ScaleFacts(
                    division if isinstance(division, float | int) and division > 0 else None,
                    word if word in BOUNDS else None,
                )
    for name, reading in live.items():
        if reading.unit == "kg" and reading.division is not None:
            known = out.get(name, ScaleFacts())
            out[name] = replace(known, resolution_kg=known.resolution_kg or reading.division)
    return out
