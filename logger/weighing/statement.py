"""What can be said of a line: its total, how sure that is, and the verdict."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from drivers.reading import seconds
from logger.events import WeighingAddition
from logger.plan import NO_SCALE_FACTS, Line, ScaleFacts
from logger.weighing.attribution import is_far
from logger.weighing.budget import Budget, budget, combined
from logger.weighing.pieces import Piece
from logger.weighing.verdict import judge, judge_at_least


@dataclass(slots=True)
class Slot:
    """One line, or one addition where there is no formula.

    Attributes:
        said: the body that stands.
        event_id: its id, once known.
        left: it is no longer being filled.
        confirmed: decided by a person.
        told_kg: the mass the person told.
        counted_kg: what was counted in unweighed, before the top-up that a rescale asked for.
    """

    said: WeighingAddition | None = None
    event_id: int | None = None
    left: bool = False
    confirmed: bool = False
    told_kg: float | None = None
    counted_kg: float = 0.0


def account(pieces: Sequence[Piece], index: int, facts: Mapping[str, ScaleFacts]) -> Budget:
    """The uncertainty budget of a line: that of each scale it lies on, combined.

    Args:
        pieces: all of the batch, in order.
        index: of the line.
        facts: what is known of each scale, by SenML name.
    """
    scales = dict.fromkeys(p.scale for p in pieces if p.line == index)
    return combined(_on(pieces, index, name, facts.get(name, NO_SCALE_FACTS)) for name in scales)


def _on(pieces: Sequence[Piece], index: int, scale: str, facts: ScaleFacts) -> Budget:
    pairs, noise2, drift, splice2 = 0, 0.0, 0.0, 0.0
    division = mass = 0.0
    before: Piece | None = None
    for piece in pieces:
        if piece.scale != scale:
            continue
        if piece.line == index:
            mass += piece.mass_kg
            division = max(division, piece.before.division_kg)
            if before is not None and before.line == index and piece.contiguous:
                drift += piece.drift_kg
                # One rest, the end of the one and the beginning of the other: it cancels.
                noise2 -= before.after.mean_error_kg**2 if before.after is not None else 0.0
            else:
                pairs += 1
                noise2 += piece.before.mean_error_kg**2
            if piece.after is not None:
                division = max(division, piece.after.division_kg)
                noise2 += piece.after.mean_error_kg**2
            splice2 += piece.splice_kg**2
        before = piece
    return budget(
        mass,
        division or 0.001,
        pairs=pairs,
        repeatability_kg=math.sqrt(max(0.0, noise2)),
        accuracy_class=facts.accuracy_class,
        drift_kg=drift,
        splice_kg=math.sqrt(splice2),
        interval_kg=facts.interval_kg,
    )


def statement(
    slot: Slot, line: Line | None, pieces: Sequence[Piece], found: Budget, moving: bool
) -> WeighingAddition:
    """What is to be said of a line now.

    Args:
        slot: what was said and confirmed of it.
        line: of the formula; None without one.
        pieces: of this line.
        found: the budget of their sum.
        moving: more is being added at this moment.
    """
    lower, upper = (line.lower_kg, line.upper_kg) if line else (None, None)
    mass: float | None = None
    expanded: float | None = None
    inside: float | None = None
    word: str | None = None
    parts: dict[str, float | None] | None = None
    if slot.told_kg is not None:
        mass = slot.told_kg
        if lower is not None and upper is not None:
            told = judge(mass, 0.0, lower, upper)
            inside, word = told.within, told.word
    elif pieces and not slot.counted_kg:
        mass = sum(p.mass_kg for p in pieces)
        expanded, parts = found.expanded_kg, found.to_json()
        lost = any(p.lost for p in pieces)
        filling = not slot.left and (line is None or mass < (line.target_kg or 0.0))
        if line is not None and not filling and is_far(line, mass, 2 * found.resolution_kg):
            # What was not seen to come and does not fit may as well be another zero.
            heard = sum(p.mass_kg for p in pieces if not p.unheard)
            lost, mass = lost or heard != mass, heard
        if lower is not None and upper is not None:
            rule = judge_at_least if lost else judge
            verdict = rule(mass, found.standard_kg, lower, upper)
            inside, word = verdict.within, verdict.word
        if lost:
            # More was added than was seen; by how much nobody knows.
            word = word or "undecidable"
            mass = mass if word == "over" else None
            expanded, parts = (expanded, parts) if word == "over" else (None, None)
        if moving:
            word = "undecidable"
    else:
        word = "undecidable"
    return WeighingAddition(
        line=line.key if line else None,
        mass_kg=None if mass is None else round(mass, 9),
        expanded_uncertainty_kg=None if expanded is None else round(expanded, 9),
        target_kg=line.target_kg if line else None,
        lower_kg=lower,
        upper_kg=upper,
        probability_within=None if inside is None else round(inside, 6),
        verdict=word,
        scale=_main_scale(pieces),
        replaces=slot.event_id,
        start_at=seconds(pieces[0].start_us) if pieces else None,
        budget=parts,
    )


def withdrawn(slot: Slot, line: Line) -> WeighingAddition:
    """What was said of a line proved to be of another: nothing is in it."""
    return WeighingAddition(
        line.key, 0.0, None, line.target_kg, line.lower_kg, line.upper_kg, None, None, None,
        replaces=slot.event_id,
    )  # fmt: skip


def differs(said: WeighingAddition, body: WeighingAddition, by_kg: float) -> bool:
    """Whether what is to be said now tells something else than what stands."""
    if (said.verdict, said.target_kg, said.scale) != (body.verdict, body.target_kg, body.scale):
        return True
    if said.mass_kg is None or body.mass_kg is None:
        return said.mass_kg is not body.mass_kg
    return abs(body.mass_kg - said.mass_kg) > by_kg


def _main_scale(pieces: Sequence[Piece]) -> str | None:
    """The scale that most of a line lies on, of several the last."""
    share: dict[str, float] = {}
    for piece in pieces:
        share[piece.scale] = share.get(piece.scale, 0.0) + piece.mass_kg
    return max(reversed(share), key=lambda name: share[name], default=None)
