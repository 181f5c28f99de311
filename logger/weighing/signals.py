"""What one scale tells the room, and what stands on it."""

from __future__ import annotations

from dataclasses import dataclass, field

from logger.weighing.pieces import Piece
from logger.weighing.rest import Rest


@dataclass(frozen=True, slots=True)
class ContainerOn:
    """A container was put on; `mass_kg` is counted from the empty pan."""

    mass_kg: float


@dataclass(frozen=True, slots=True)
class Lifted:
    """The container is gone, with all in it."""

    mass_kg: float


@dataclass(frozen=True, slots=True)
class Tared:
    """The zero was set at rest."""

    t_us: int


@dataclass(frozen=True, slots=True)
class Ended:
    """A piece came to rest."""

    piece: Piece


@dataclass(frozen=True, slots=True)
class Extended:
    """The end of a piece that had ended already moved a little further."""

    piece: Piece


@dataclass(frozen=True, slots=True)
class Vanished:
    """What looked like a piece left nothing behind."""

    piece: Piece


Signal = ContainerOn | Lifted | Tared | Ended | Extended | Vanished


@dataclass(slots=True)
class Bench:
    """What stands on the scale, in its continuous coordinate (kg).

    Attributes:
        present: a container is on it.
        empty_kg: coordinate of the empty pan; None where it was never seen.
        bowl_kg: coordinate of the container without content.
        lifted_from: rest before the container was lifted.
        lifted_to_zero: the lift ended at an indication of zero, as a slow tare would.
        known_kg: masses of containers seen.
        number: of the container on it, or last on it, counted on this scale.
        lifted_us: when the container was lifted; None while it is on.
        absences: from when to when containers were away, µs.
    """

    present: bool = False
    empty_kg: float | None = None
    bowl_kg: float = 0.0
    lifted_from: Rest | None = None
    lifted_to_zero: bool = False
    known_kg: list[float] = field(default_factory=list)
    number: int = 0
    lifted_us: int | None = None
    absences: list[tuple[int, int]] = field(default_factory=list)

    def is_known(self, mass_kg: float, division_kg: float) -> bool:
        """Whether a mass is that of a container seen before."""
        return any(abs(mass_kg - k) <= max(3 * division_kg, 0.004 * k) for k in self.known_kg)

    def remember(self, mass_kg: float, division_kg: float) -> None:
        """Keep the mass of a container, unless one like it is known."""
        if not any(abs(mass_kg - known) <= 3 * division_kg for known in self.known_kg):
            self.known_kg.append(mass_kg)

    def back(self, t_us: int) -> None:
        """A container is on it again."""
        if self.lifted_us is not None:
            self.absences.append((self.lifted_us, t_us))
            self.lifted_us = None

    def longest_absence_us(self, since_us: int, now_us: int) -> int:
        """For how long at most a container was away after an instant."""
        spans = [*self.absences]
        if self.lifted_us is not None:
            spans.append((self.lifted_us, now_us))
        return max((end - start for start, end in spans if start >= since_us), default=0)
