"""What one scale tells the room, and what stands on it."""

from __future__ import annotations

from dataclasses import dataclass, field

from logger.weighing.pieces import Piece
from logger.weighing.settling import Rest


@dataclass(frozen=True, slots=True)
class ContainerOn:
    """A container was put on; `mass_kg` is counted from the empty pan."""

    mass_kg: float
    changed: bool


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
    """

    present: bool = False
    empty_kg: float | None = None
    bowl_kg: float = 0.0
    lifted_from: Rest | None = None
    lifted_to_zero: bool = False
    known_kg: list[float] = field(default_factory=list)
