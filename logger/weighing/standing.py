"""What one scale is known to stand on: its rests, its container, the piece that goes on."""

from __future__ import annotations

from collections.abc import Callable

from logger.weighing.continuity import Continuity, Zeroing
from logger.weighing.motion import Motion
from logger.weighing.pieces import Piece
from logger.weighing.resolution import Resolution
from logger.weighing.rest import Rest
from logger.weighing.settling import Settler
from logger.weighing.signals import Bench, ContainerOn, Ended, Extended, Signal

FINGER_KG = 0.03  # what a finger on the tare key may weigh

PAUSE_US = 1_000_000  # nobody puts one ingredient down and pours the next sooner
# Bowls weigh more; a piece, an egg or a spoonful put down at once less (common practice).
LIGHTEST_BOWL_KG = 0.075

Plausible = Callable[[float, float], bool]  # a change, and the division that shows it
Awaited = Callable[[float, int, float], bool]  # a rise, its beginning, and the division


class Standing:
    """State that following a scale, waking it and explaining its rests share.

    Attributes:
        name: SenML name of the scale's channel.
        base: the rest to which changes of the load are counted; None before the first reading.
        piece: what is being added now.
        tared: the zero was set at rest, or the container changed, since the last piece ended.
        same_zero: the zero is that of the end of the last piece.
        drift_kg: drift seen at rest since the last piece.
        last_us: time of the last reading.
        unfinished: whether the line of a piece still lacks something.
        addable_kg: the most that can have been added while nobody saw it.
        takeable_kg: the most that can be taken back from the line last added to.
        zeroing: the last time the zero was set.
        undo: the same, while it may yet prove to have been a load on its way down.
        last_piece: the last that ended.
        contained_us: when a container was put on or came back.
        pending_splice_kg: uncertainty of a zero set before the piece it falls into was known.
        unheard: the load is another than when the readings stopped, and nobody saw it change.
        moving_rate_kg_s: how fast the load grew when the readings stopped.
        signals: what is to be told to the room.
    """

    def __init__(
        self,
        name: str,
        planned_division_kg: float | None,
        plausible: Plausible,
        awaited: Awaited,
        unfinished: Callable[[Piece], bool],
        takeable_kg: Callable[[], float],
        addable_kg: Callable[[], float],
    ) -> None:
        self.name = name
        self.resolution = Resolution(planned_division_kg)
        self.settler = Settler()
        self.continuity = Continuity()
        self.motion = Motion()
        self.bench = Bench()
        self.base: Rest | None = None
        self.piece: Piece | None = None
        self.tared = False
        self.same_zero = False
        self.drift_kg = 0.0
        self.last_us = 0
        self._plausible = plausible
        self._awaited = awaited
        self.unfinished = unfinished
        self.takeable_kg = takeable_kg
        self.addable_kg = addable_kg
        self.zeroing: Zeroing | None = None
        self.undo: Zeroing | None = None
        self.last_piece: Piece | None = None
        self.contained_us = 0
        self.pending_splice_kg = 0.0
        self.unheard = False
        self.moving_rate_kg_s = 0.0
        self.signals: list[Signal] = []

    @property
    def division_kg(self) -> float:
        """The division in force."""
        return self.resolution.division_kg

    @property
    def at_rest(self) -> bool:
        """Whether the load rests now."""
        return self.settler.rest is not None

    def plausible(self, change_kg: float) -> bool:
        """Whether a change by so much could be an addition to some line, or a take-back."""
        return self._plausible(change_kg, self.division_kg)

    def is_awaited(self, rise_kg: float, start_us: int) -> bool:
        """Whether a line's mark waits for a rise, this one began after it, and it fits."""
        return self._awaited(rise_kg, start_us, self.division_kg)

    def is_ingredient(self, rise_kg: float, start_us: int) -> bool:
        """Whether something put down in one go is more likely for a line than a container.

        It is where a line's mark waits for it, or where it is lighter than bowls are and some line
        may take it. The tare key right after it still tells otherwise.
        """
        if self.is_awaited(rise_kg, start_us):
            return True
        return rise_kg < LIGHTEST_BOWL_KG and self.plausible(rise_kg)

    @property
    def has_not_risen(self) -> bool:
        """Whether nothing to speak of was added since the last rest."""
        if self.base is None:
            return False
        return abs(self.now_kg() - self.base.level_kg) <= 2.5 * self.division_kg

    @property
    def load_kg(self) -> float:
        """What stands on it now, as far as is known; never negative."""
        return max(0.0, self.now_kg() - (self.bench.empty_kg or 0.0))

    def now_kg(self) -> float:
        """The coordinate of the last reading."""
        last = self.continuity.last
        return self.continuity.offset_kg + (last.value_kg if last else 0.0)

    def new_piece(self, base: Rest, start_us: int) -> Piece:
        piece = Piece(
            before=base,
            after=None,
            scale=self.name,
            start_us=start_us,
            now_kg=self.now_kg(),
            tared=self.tared,
            contiguous=self.same_zero,
            splice_kg=self.pending_splice_kg,
            drift_kg=self.drift_kg,
            container=self.bench.number,
        )
        self.pending_splice_kg = 0.0
        return piece

    def started(self, base: Rest) -> int:
        return self.motion.path[0][0] if self.motion.path else base.last_us

    def realign(self, by_kg: float) -> None:
        """Move the coordinate of everything from the present rest on."""
        self.continuity.offset_kg += by_kg
        self.settler.shift(by_kg)
        self.motion.shift(by_kg)

    def put_on(self, rest: Rest, mass: float) -> None:
        bench = self.bench
        bench.present, bench.bowl_kg = True, rest.level_kg
        bench.remember(mass, rest.division_kg)
        self.contained(rest, mass)

    def contained(self, rest: Rest, mass: float) -> None:
        self.base = rest
        self.bench.number += 1
        self.bench.back(rest.start_us)
        self.contained_us = rest.settled_us
        self.tared, self.same_zero = True, False
        self.signals.append(ContainerOn(mass))

    def take_as_container(self, piece: Piece) -> None:
        """What was taken for an addition was a container."""
        self.bench.bowl_kg += piece.mass_kg
        self.bench.known_kg.append(piece.mass_kg)

    def extend(self, rest: Rest) -> bool:
        last = self.last_piece
        assert last is not None
        last.after, self.base = rest, rest
        last.unheard = last.unheard or self.unheard
        self.tared = last.tared and last.is_trifle
        self.signals.append(Extended(last))
        return True

    def _goes_on(self, piece: Piece) -> bool:
        """Whether a piece is the last one again, after less of a pause than another line takes."""
        last = self.last_piece
        if last is None or last.after is None or not piece.contiguous or piece.tared:
            return False
        if piece.before is not last.after or piece.lost or last.mass_kg <= 0 or piece.mass_kg <= 0:
            return False
        paused_us = piece.start_us - last.rested_us
        return paused_us < PAUSE_US and not self.is_awaited(piece.mass_kg, piece.start_us)

    def end(self, piece: Piece, rest: Rest, sudden: bool) -> bool:
        piece.after, piece.sudden, piece.ended_us = rest, sudden, rest.settled_us
        piece.now_kg, piece.rested_us = rest.level_kg, rest.start_us
        if self._goes_on(piece):
            last = self.last_piece
            assert last is not None
            last.ended_us, last.rested_us = rest.settled_us, rest.start_us
            last.sudden = False
            last.splice_kg = (last.splice_kg**2 + piece.splice_kg**2) ** 0.5
            return self.extend(rest)
        self.base = rest
        piece.unheard = self.unheard
        self.tared = piece.tared and piece.is_trifle
        self.same_zero = True
        self.drift_kg = 0.0
        self.last_piece = piece
        self.signals.append(Ended(piece))
        return True
