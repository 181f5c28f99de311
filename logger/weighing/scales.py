"""The scales of a batch, each with its role."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from logger.plan import NO_SCALE_FACTS, Line, ScaleFacts, is_scale
from logger.weighing.choice import Choice, choose
from logger.weighing.expectation import addable_kg, awaited, plausible, takeable_kg, unfinished
from logger.weighing.ledger import Ledger
from logger.weighing.pieces import Blurs, Piece
from logger.weighing.scale import Scale


class Scales:
    """The scales that are followed.

    Args:
        channels: SenML name → role; those in the role of a scale are followed.
        facts: role → what the plan says of that scale.
        ledger: what the lines have, by which a scale tells an addition from a container.
    """

    def __init__(
        self, channels: Mapping[str, str], facts: Mapping[str, ScaleFacts], ledger: Ledger
    ) -> None:
        self._facts = facts
        self._ledger = ledger
        self._scales: dict[str, Scale] = {}
        for name, role in channels.items():
            if is_scale(role):
                self.scale(name, role)

    def scale(self, name: str, role: str) -> Scale:
        """The scale with this SenML name, made when first asked for."""
        found = self._scales.get(name)
        if found is None:
            facts = self._facts.get(role, NO_SCALE_FACTS)
            self._ledger.facts[name] = facts
            # Bound methods and nothing else: a copy of the room must ask its own ledger.
            found = Scale(
                name,
                facts.resolution_kg,
                self._plausible,
                self._awaited,
                self._unfinished,
                self._takeable_kg,
                self._addable_kg,
            )
            self._scales[name] = found
        return found

    def __getitem__(self, name: str) -> Scale:
        return self._scales[name]

    def __iter__(self) -> Iterator[Scale]:
        return iter(self._scales.values())

    @property
    def blurs(self) -> Blurs:
        """About a division of each scale heard so far."""
        return Blurs({s.name: s.division_kg for s in self if s.last_us})

    def choose(self, line: Line) -> Choice | None:
        """The scale to use for a line; None where there is only one, or nothing to choose by."""
        heard = [s for s in self if s.last_us]
        if len(heard) < 2:
            return None
        known = (
            (s.name, replace(self._ledger.facts[s.name], resolution_kg=s.division_kg), s.load_kg)
            for s in heard
        )
        return choose(line, known)

    def _plausible(self, change_kg: float, division_kg: float) -> bool:
        return plausible(self._ledger, change_kg, division_kg, self.blurs)

    def _awaited(self, change_kg: float, start_us: int, division_kg: float) -> bool:
        return awaited(self._ledger, change_kg, start_us, division_kg)

    def _takeable_kg(self) -> float:
        return takeable_kg(self._ledger)

    def _addable_kg(self) -> float:
        return addable_kg(self._ledger, self.blurs)

    def _unfinished(self, piece: Piece) -> bool:
        return unfinished(self._ledger, piece)
