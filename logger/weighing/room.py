"""`Weighing`: the room that answers the engine."""

from __future__ import annotations

from drivers.reading import Reading
from logger.entries import EntryRefused, Gap, Mark, told_mass_g
from logger.events import (
    Body,
    Event,
    WeighingContainer,
    WeighingRemoved,
    WeighingScale,
)
from logger.plan import Plan, is_scale
from logger.weighing.ledger import Ledger
from logger.weighing.mending import Mending
from logger.weighing.misfit import told_of
from logger.weighing.pieces import TRIFLE_KG, Piece
from logger.weighing.pouring import Pours
from logger.weighing.rest import Rest
from logger.weighing.scale import Scale
from logger.weighing.scales import Scales
from logger.weighing.settling import S
from logger.weighing.signals import (
    ContainerOn,
    Ended,
    Extended,
    Lifted,
    Signal,
    Tared,
    Vanished,
)
from logger.weighing.speaking import Speaker

RECENT_US = 15 * S
HASTY_US = 2 * S
ENDING_MARKS = frozenset({"close batch", "into oven"})


class Weighing:
    """Follows the scales and says what each line of the formula has.

    Args:
        plan: its lines in their order (None: every rest after a rise is an addition of its own),
            what it says of the scale, and its channels, of which those in the role of a scale are
            followed.
    """

    def __init__(self, plan: Plan) -> None:
        self.ledger = Ledger(plan.lines)
        self._scales = Scales(plan.channels, plan.scales, self.ledger)
        self._pours = Pours(self.ledger)
        self._speaker = Speaker(self.ledger, self._scales)
        self._mending = Mending(plan, self.ledger, self._scales, self._speaker)
        self._scale_said: tuple[int, str] | None = None  # line, and the scale to use for it
        self._unrisen: dict[str, Rest | None] = {}  # at the last mark, by scale
        self._keyed: set[str] = set()  # scales tared since their container was put on

    # The engine's questions -------------------------------------------------------------------

    def on_reading(self, reading: Reading, role: str) -> list[Body]:
        """A reading; only those of scales matter here."""
        if not is_scale(role) or reading.unit != "kg":
            return []
        scale = self._scales.scale(reading.name, role)
        signals = scale.feed(reading)
        if signals:
            out = self._heard(scale, signals, reading.t_us)
            return [*out, *self._mending.refresh(reading.t_us), *self._scale_to_use()]
        piece = scale.piece
        if piece is None:
            taking = None if scale.at_rest else self._mending.taking
            return [] if taking is None else list(self._pours.take(scale, taking, reading.t_us))
        if self._pours.is_new(scale, piece):
            self._take_selection(piece)
        return list(self._pours.say(scale, piece, reading.t_us, self._scales.blurs))

    def on_mark(self, mark: Mark) -> list[Body]:
        """`line`, `confirm`, `recover`, `reassign`, and those after which nothing is weighed."""
        if mark.kind in ENDING_MARKS:
            return [*self._speaker.leave_all(), *self._mending.end(mark.t_us)]
        return [*self._told(mark), *self._mending.refresh(mark.t_us), *self._scale_to_use()]

    def _told(self, mark: Mark) -> list[Body]:
        index = self.ledger.index(mark.text("line"))
        if index is None:
            return []
        if mark.kind == "line":
            self.ledger.awaited = (index, mark.t_us)
            self._unrisen = {s.name: s.base for s in self._scales if s.has_not_risen}
            current = self.ledger.current
            moving = any(s.piece is not None for s in self._scales)
            if current is not None and current != index and not moving:
                return self._speaker.leave(current)
        elif mark.kind == "confirm":
            try:
                told_g = told_mass_g(mark)
            except EntryRefused:
                return []  # on the wire it was refused with its reason; in a recording it is idle
            return self._confirm(index, told_g)
        elif mark.kind == "recover":
            return self._mending.choose(index, mark.text("choice"), mark.t_us)
        elif mark.kind == "reassign":
            from_ = self.ledger.index(mark.text("from"))
            return [] if from_ is None else self._mending.reassign(from_, index)
        return []

    def on_gap(self, gap: Gap) -> list[Body]:
        """Readings of a scale are missing: the next one may be at another zero."""
        for scale in self._scales:
            if scale.name.startswith(gap.instrument + "/") and gap.to_us >= scale.last_us - S:
                scale.interrupt()
        return []

    def on_second(self, t_us: int) -> list[Body]:
        """Rests that last decide lines that were left alone."""
        return [*self._left_alone(t_us), *self._mending.refresh(t_us)]

    def _left_alone(self, t_us: int) -> list[Body]:
        current = self.ledger.current
        if current is None:
            return []
        pieces = self.ledger.of(current)
        if not pieces:
            return []
        scale = self._scales[pieces[-1].scale]
        if scale.piece is not None or not (scale.at_rest or not scale.bench.present):
            return []
        # Drift, and a bench that creeps, do not make it any younger.
        ended_us = max((p.ended_us for p in pieces if not p.is_trifle), default=pieces[-1].ended_us)
        resting_us = t_us - ended_us
        return list(self._speaker.speak(current, resting_us))

    def on_event(self, event: Event) -> list[Body]:
        """Learn the ids of what this room said, and offer ways back from an over-pour."""
        self._speaker.heard(event)
        return self._mending.heard(event, event.at_us)

    # What the scales tell ---------------------------------------------------------------------

    def _heard(self, scale: Scale, signals: list[Signal], t_us: int) -> list[Body]:
        out: list[Body] = []
        for signal in signals:
            match signal:
                case ContainerOn():
                    self._keyed.discard(scale.name)
                    out.append(WeighingContainer(round(signal.mass_kg, 9), scale.name))
                    out += self._left(scale)
                case Lifted():
                    self._pours.drop(scale)
                    out += self._left(scale)
                    out.append(WeighingRemoved(round(signal.mass_kg, 9), None, scale.name))
                case Tared():
                    out += self._tared(scale, signal.t_us)
                case Ended():
                    out += self._ended(scale, signal.piece)
                case Extended():
                    self._take_selection(signal.piece)
                    self._use_up_selection(signal.piece)
                    if self.ledger.renew(signal.piece, self._scales.blurs):
                        out += self._speaker.say_left()
                    if signal.piece.line is not None:
                        out += self._speaker.speak(signal.piece.line, t_us - signal.piece.ended_us)
                case Vanished():
                    self._pours.drop(scale)
        return out

    def _left(self, scale: Scale) -> list[Body]:
        """The container of a scale came or went: the line filled there is left, no other."""
        current = self.ledger.current
        pieces = [] if current is None else self.ledger.of(current)
        if pieces and pieces[-1].scale != scale.name:
            return []
        return self._speaker.leave_current()

    def _scale_to_use(self) -> list[Body]:
        """Where there are several scales: which one to use for the line that comes next."""
        ledger = self.ledger
        index = ledger.awaited[0] if ledger.awaited else ledger.upcoming(self._scales.blurs)
        line = None if index is None else ledger.line(index)
        if index is None or line is None:
            return []
        choice = self._scales.choose(line)
        if choice is None or self._scale_said == (index, choice.scale):
            return []
        self._scale_said = (index, choice.scale)
        return [WeighingScale(line.key, choice.scale, choice.decides)]

    def _tared(self, scale: Scale, t_us: int) -> list[Body]:
        """A tare right after something was put down that fits no line: it was a container.

        What was said of a line already is withdrawn only where the pan was empty under it: a dish
        that is heavier than the pinch to be weighed in it looks like too much of that.
        """
        ledger = self.ledger
        before = scale.name in self._keyed
        self._keyed.add(scale.name)
        if before or not ledger.pieces or ledger.lines is None:
            return []  # what follows a tare in its container is an addition
        piece = ledger.pieces[-1]
        index = piece.line
        on_empty_pan = scale.bench.empty_kg is None  # else the pan is known apart from the bowl
        if (
            index is None
            or piece.selected is not None
            or not piece.sudden
            or piece.contiguous
            or piece.scale != scale.name
            or piece.mass_kg < 0.015
            or t_us - piece.ended_us > RECENT_US
            or (ledger.slot(index).said is not None and not on_empty_pan)
            or len(ledger.of(index)) > 1
        ):
            return []
        target = ledger.lines[index].target_kg
        if target is None or 0.75 * target <= piece.mass_kg <= 1.3 * target:
            return []
        ledger.remove(piece)
        scale.take_as_container(piece)
        out: list[Body] = [WeighingContainer(round(piece.mass_kg, 9), scale.name)]
        return [*out, *self._mending.withdraw(index)]

    def _ended(self, scale: Scale, piece: Piece) -> list[Body]:
        self._take_selection(piece)
        self._pours.end(scale, piece)
        self.ledger.add(piece, self._scales.blurs)
        self._use_up_selection(piece)
        out: list[Body] = []
        if piece.mass_kg < 0:
            line = None if piece.line is None else self.ledger.line(piece.line)
            out.append(
                WeighingRemoved(round(-piece.mass_kg, 9), line.key if line else None, scale.name)
            )
        if self.ledger.lines is not None:
            out += self._speaker.say_left()
        if piece.line is not None:
            out += self._speaker.speak(piece.line, 0)
        return out

    def _take_selection(self, piece: Piece) -> None:
        selected = self.ledger.awaited
        if selected is not None and piece.selected not in (None, selected[0]):
            selected = None  # a mark that came while it already was another line's
        if selected is not None and piece.mass_kg < 0 and not self.ledger.of(selected[0]):
            selected = None  # nothing of it is there to be taken back
        if selected is not None and self._begins_after(piece, selected[1]):
            piece.selected = selected[0]
            if piece.after is not None and not piece.is_trifle:
                # A trifle may be drift; the mark still waits for its rise.
                self.ledger.awaited = None
        if piece.after is not None and piece.mass_kg < 0 and self._mending.taking is not None:
            piece.selected = self._mending.taking

    def _begins_after(self, piece: Piece, mark_us: int) -> bool:
        """Whether a rise begins after a mark.

        Noise and a hand on its way often make it seem to begin a moment before anything is added.
        """
        if piece.start_us >= mark_us:
            return True
        near = mark_us - piece.start_us <= HASTY_US
        return near and self._unrisen.get(piece.scale) is piece.before

    def _use_up_selection(self, piece: Piece) -> None:
        """Several trifles together are what the mark was for."""
        if self.ledger.awaited is not None and piece.line == self.ledger.awaited[0]:
            begun = [p for p in self.ledger.of(piece.line) if p.start_us >= self.ledger.awaited[1]]
            if sum(p.mass_kg for p in begun) > max(1.5 * piece.before.division_kg, 2 * TRIFLE_KG):
                self.ledger.awaited = None

    def _confirm(self, index: int, mass_g: float | None) -> list[Body]:
        ledger = self.ledger
        moving = any(self._pours.line(scale) == index for scale in self._scales)
        slot = ledger.slot(index)
        slot.told_kg = None if mass_g is None else mass_g / 1000
        out: list[Body] = []
        if slot.told_kg is not None:
            out += self._poured_as_another(index, slot.told_kg)
        if ledger.current is not None and ledger.current != index:
            out += self._speaker.leave(ledger.current)
        ledger.confirm(index)
        return out + self._speaker.say(index, moving and slot.told_kg is None)

    def _poured_as_another(self, index: int, told_kg: float) -> list[Body]:
        """A person tells a mass that a line has not: did others get just that last?"""
        ledger, blurs = self.ledger, self._scales.blurs
        found = told_of(ledger, index, told_kg, blurs)
        if not found:
            return []
        others = dict.fromkeys(p.line for p in found if p.line not in (None, index))
        ledger.move(found, index)
        out: list[Body] = []
        for other in others:
            assert other is not None
            out += self._speaker.leave(other)
        return out
