"""The scales of a batch, each with its role."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from logger.plan import ScaleFacts
from logger.weighing.expectation import plausible, unfinished
from logger.weighing.ledger import Ledger
from logger.weighing.pieces import Piece
from logger.weighing.scale import Scale


class Scales:
    """The scales that are followed.

    Args:
        channels: SenML name → role; those whose role starts with ``scale`` are followed.
        facts: what the plan says of the scale.
        ledger: what the lines have, by which a scale tells an addition from a container.
    """

    def __init__(self, channels: Mapping[str, str], facts: ScaleFacts, ledger: Ledger) -> None:
        self._facts = facts
        self._ledger = ledger
        self._scales: dict[str, Scale] = {}
        for name, role in channels.items():
            if role.startswith("scale"):
                self.scale(name, role)

    def scale(self, name: str, role: str) -> Scale:
        """The scale with this SenML name, made when first asked for."""
        found = self._scales.get(name)
        if found is None:
            # [scale] of the plan speaks for the role "scale"; others are learnt.
            planned = self._facts.resolution_kg if role == "scale" else None
            # Bound methods and nothing else: a copy of the room must ask its own ledger.
            found = Scale(name, planned, self._plausible, self._unfinished)
            self._scales[name] = found
        return found

    def __getitem__(self, name: str) -> Scale:
        return self._scales[name]

    def __iter__(self) -> Iterator[Scale]:
        return iter(self._scales.values())

    @property
    def blur_kg(self) -> float:
        """About a division of the coarsest scale in use."""
        return max((s.division_kg for s in self if s.last_us), default=0.001)

    def _plausible(self, change_kg: float) -> bool:
        return plausible(self._ledger, change_kg, self.blur_kg)

    def _unfinished(self, piece: Piece) -> bool:
        return unfinished(self._ledger, piece)
