"""A piece: one change of the load between two rests that belongs to some line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from logger.weighing.rest import Rest

TRIFLE_KG = 0.000_2


@dataclass(slots=True)
class Piece:
    """A rise or a take-back.

    Attributes:
        before: the rest it starts from.
        after: the rest it ends at; None while it goes on.
        scale: SenML name of the scale's channel.
        start_us: when it began.
        now_kg: the coordinate now, while it goes on.
        selected: index of the line a mark newly selected for it, None without a new mark.
        tared: the zero was set at rest, or the container changed, since the piece before.
        sudden: reached in one go, as when something is put down.
        contiguous: starts at the very rest at which the piece before ended, at the same zero.
        splice_kg: standard uncertainty of zeros set while it went on.
        lost: readings are missing in it and the zero is another: more was added than is known.
        unheard: some of it came while no readings did: added, or another zero.
        drift_kg: drift seen at rest since the piece before.
        line: index of the line it is attributed to; None without a formula.
        ended_us: when its end was settled.
        rested_us: since when it rested then.
        container: number of the container it went into, counted on its scale.
    """

    before: Rest
    after: Rest | None
    scale: str
    start_us: int
    now_kg: float
    selected: int | None = None
    tared: bool = False
    sudden: bool = False
    contiguous: bool = False
    splice_kg: float = 0.0
    lost: bool = False
    unheard: bool = False
    drift_kg: float = 0.0
    line: int | None = None
    ended_us: int = 0
    rested_us: int = 0
    container: int = 0

    @property
    def mass_kg(self) -> float:
        """By how much the load changed."""
        end = self.now_kg if self.after is None else self.after.level_kg
        return end - self.before.level_kg

    @property
    def is_trifle(self) -> bool:
        """So little that it may as well be drift: it opens no line by itself."""
        return abs(self.mass_kg) <= max(1.2 * self.before.division_kg, TRIFLE_KG)


@dataclass(frozen=True, slots=True)
class Blurs:
    """By how much an amount is blurred: about a division of the scale it lies on.

    Attributes:
        by_scale: division of each scale heard so far, by SenML name.
    """

    by_scale: Mapping[str, float]

    @property
    def widest_kg(self) -> float:
        """Of the coarsest scale."""
        return max(self.by_scale.values(), default=0.001)

    def of(self, pieces: Iterable[Piece]) -> float:
        """Of the coarsest scale that these pieces lie on; of all where there are none."""
        return max(
            (self.by_scale[p.scale] for p in pieces if p.scale in self.by_scale),
            default=self.widest_kg,
        )
