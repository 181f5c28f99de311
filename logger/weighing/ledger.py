"""What each line has, how sure that is, and what was last said of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from drivers.reading import seconds
from logger.events import WeighingAddition
from logger.plan import NO_SCALE_FACTS, Line, ScaleFacts
from logger.weighing.attribution import WINDOW, attribute, successors
from logger.weighing.budget import Budget, budget, combined
from logger.weighing.pieces import Blurs, Piece
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
    """

    said: WeighingAddition | None = None
    event_id: int | None = None
    left: bool = False
    confirmed: bool = False
    told_kg: float | None = None


class Ledger:
    """Pieces and the lines they belong to.

    Args:
        lines: the formula's; None without a formula.
    """

    def __init__(self, lines: tuple[Line, ...] | None) -> None:
        self.lines = lines
        self.pieces: list[Piece] = []
        self.slots: dict[int, Slot] = {}
        self.current: int | None = None
        self.facts: dict[str, ScaleFacts] = {}  # of each scale, by SenML name
        self._frozen = 0
        self._resume: int | None = None  # the line after which the order goes on

    def slot(self, index: int) -> Slot:
        """The slot of a line, made when first asked for."""
        return self.slots.setdefault(index, Slot())

    def line(self, index: int) -> Line | None:
        """The formula line of a slot, None without a formula."""
        return None if self.lines is None else self.lines[index]

    def of(self, index: int) -> list[Piece]:
        """The pieces of a slot."""
        return [p for p in self.pieces if p.line == index]

    def total_kg(self, index: int) -> float:
        """Net total of a slot so far."""
        return sum(p.mass_kg for p in self.pieces if p.line == index)

    def taken(self, blurs: Blurs) -> frozenset[int]:
        """Lines that have something already, or were confirmed."""
        have = {p.line for p in self.pieces if p.line is not None}
        kept = {i for i in have if abs(self.total_kg(i)) > blurs.of(self.of(i))}
        return frozenset(kept | {i for i, s in self.slots.items() if s.confirmed})

    def upcoming(self, blurs: Blurs) -> int | None:
        """The line to weigh next: the open one while it lacks something, else the next in order."""
        if self.lines is None:
            return None
        current = self.current
        if current is not None and not self.slot(current).left:
            lower = self.lines[current].lower_kg
            if lower is not None and self.total_kg(current) < lower:
                return current
        following = successors(self.lines, current, self.taken(blurs))
        return following[0][0] if following else None

    def add(self, piece: Piece, blurs: Blurs) -> None:
        """A piece came to rest: find the lines of the last pieces anew."""
        self.pieces.append(piece)
        if self.lines is None:
            self._add_without_formula(piece)
            return
        self.renew(blurs)

    def renew(self, blurs: Blurs) -> None:
        """Find the lines of the last pieces anew: the last of them is new, or grew."""
        tail = self.pieces[self._start() :]
        if self.lines is None or not tail:
            return
        chosen = self._attribute(tail, blurs)
        for one, line in zip(tail, chosen, strict=True):
            one.line = line
        self.current = tail[-1].line
        for index in {p.line for p in self.pieces if p.line is not None}:
            self.slot(index).left = index != self.current

    def provisional(self, piece: Piece, blurs: Blurs) -> int | None:
        """The line a piece that still goes on seems to belong to."""
        if self.lines is None:
            return None
        return self._attribute([*self.pieces[self._start() :], piece], blurs)[-1]

    def remove(self, piece: Piece) -> None:
        """It was no addition after all."""
        self.pieces.remove(piece)
        self._frozen = min(self._frozen, len(self.pieces))
        self.current = self.pieces[-1].line if self.pieces else None

    def freeze(self, resume: int | None = None) -> None:
        """What was attributed so far stays so; the order goes on after `resume`."""
        self._frozen = len(self.pieces)
        self._resume = resume

    def _add_without_formula(self, piece: Piece) -> None:
        numbers = [p.line for p in self.pieces if p.line is not None]
        if piece.mass_kg < 0 and numbers:
            piece.line = numbers[-1]
        else:
            piece.line = max(numbers, default=-1) + 1
        self.current = piece.line

    def _start(self) -> int:
        return max(self._frozen, len(self.pieces) - WINDOW)

    def _attribute(self, tail: Sequence[Piece], blurs: Blurs) -> list[int]:
        assert self.lines is not None
        head = self.pieces[: self._start()]
        totals = [0.0] * len(self.lines)
        blur = [0.0] * len(self.lines)
        for piece in head:
            if piece.line is not None:
                totals[piece.line] += piece.mass_kg
                blur[piece.line] = max(blur[piece.line], blurs.of([piece]))
        current = head[-1].line if head else None
        if self._resume is not None and self._start() == self._frozen:
            current = self._resume
        taken = {i for i, t in enumerate(totals) if abs(t) > blur[i]}
        taken |= {i for i, s in self.slots.items() if s.confirmed}
        return attribute(
            self.lines,
            tail,
            before=head[-1] if head else None,
            current=current,
            totals_kg=totals,
            taken=frozenset(taken),
            blurs=blurs,
            marks_each_line=self._marks_each_line(),
        )

    def _marks_each_line(self) -> bool:
        marked = unmarked = 0
        before: int | None = None
        for piece in self.pieces:
            if piece.line != before:
                if piece.selected is None:
                    unmarked += 1
                else:
                    marked += 1
            before = piece.line
        return marked >= 2 and unmarked == 0

    # What can be said ------------------------------------------------------------------------

    def budget(self, index: int) -> Budget:
        """The uncertainty budget of a slot's total: that of each scale it lies on, combined."""
        scales = dict.fromkeys(p.scale for p in self.pieces if p.line == index)
        return combined(self._budget_on(index, scale) for scale in scales)

    def budget_of(self, index: int) -> dict[str, float | None] | None:
        """The components of a slot's budget by name (kg, k = 1); None where it was not weighed."""
        return self.budget(index).to_json() if self.of(index) else None

    def _budget_on(self, index: int, scale: str) -> Budget:
        pairs, noise2, drift, splice2 = 0, 0.0, 0.0, 0.0
        division = mass = 0.0
        before: Piece | None = None
        for piece in self.pieces:
            if piece.scale != scale:
                continue
            if piece.line == index:
                mass += piece.mass_kg
                division = max(division, piece.before.division_kg)
                if before is not None and before.line == index and piece.contiguous:
                    drift += piece.drift_kg
                else:
                    pairs += 1
                    noise2 += piece.before.mean_error_kg**2
                if piece.after is not None:
                    division = max(division, piece.after.division_kg)
                    noise2 += piece.after.mean_error_kg**2
                splice2 += piece.splice_kg**2
            before = piece
        facts = self.facts.get(scale, NO_SCALE_FACTS)
        return budget(
            mass,
            division or 0.001,
            pairs=pairs,
            repeatability_kg=math.sqrt(noise2),
            accuracy_class=facts.accuracy_class,
            drift_kg=drift,
            splice_kg=math.sqrt(splice2),
            interval_kg=facts.interval_kg,
        )

    def body(self, index: int, moving: bool = False) -> WeighingAddition | None:
        """What is to be said of a slot now; None where there is nothing to say."""
        slot, line = self.slot(index), self.line(index)
        pieces = self.of(index)
        if not pieces and not slot.confirmed:
            return None
        limits = (line.lower_kg, line.upper_kg) if line else (None, None)
        lower, upper = limits
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
        elif pieces:
            mass = self.total_kg(index)
            found = self.budget(index)
            expanded, parts = found.expanded_kg, found.to_json()
            lost = any(p.lost for p in pieces)
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
            scale=self._main_scale(pieces),
            replaces=slot.event_id,
            start_at=seconds(pieces[0].start_us) if pieces else None,
            budget=parts,
        )

    @staticmethod
    def _main_scale(pieces: Sequence[Piece]) -> str | None:
        """The scale that most of a line lies on, of several the last."""
        share: dict[str, float] = {}
        for piece in pieces:
            share[piece.scale] = share.get(piece.scale, 0.0) + piece.mass_kg
        return max(reversed(share), key=lambda name: share[name], default=None)

    def say(self, index: int, blurs: Blurs, moving: bool = False) -> list[WeighingAddition]:
        """The slot's body, where it differs from what stands."""
        slot, body = self.slot(index), self.body(index, moving)
        blur_kg = blurs.of(self.of(index))
        if body is None:
            return []
        said = slot.said
        if said is None:
            if not slot.confirmed and abs(self.total_kg(index)) <= blur_kg:
                return []  # all of it was taken back before anything was said
        elif said.verdict == body.verdict and not _moved(said.mass_kg, body.mass_kg, blur_kg / 2):
            return []
        if said is not None and slot.event_id is None:
            return []  # its id is not known yet; the next second says it again
        slot.said = body
        return [body]


def _moved(before: float | None, now: float | None, by: float) -> bool:
    if before is None or now is None:
        return before is not now
    return abs(now - before) > by
