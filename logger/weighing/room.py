"""`Weighing`: the room that answers the engine."""

from __future__ import annotations

from dataclasses import dataclass

from drivers.reading import Reading
from logger.entries import Gap, Mark
from logger.events import (
    Body,
    Event,
    WeighingAddition,
    WeighingContainer,
    WeighingPouring,
    WeighingRemoved,
)
from logger.plan import Plan
from logger.weighing.advice import Stream
from logger.weighing.ledger import Ledger
from logger.weighing.pieces import TRIFLE_KG, Piece
from logger.weighing.scale import Scale
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

LEFT_ALONE_US = 30 * S  # an under line is decided after so long a rest
DOUBT_US = 2 * S  # and one that may already be inside after so long
POURING_US = S // 4
RECENT_US = 15 * S
ENDING_MARKS = frozenset({"close batch", "into oven"})


@dataclass(slots=True)
class _Live:
    """A piece in progress: what was last said of it."""

    piece: Piece
    line: int | None
    judged_kg: float
    said_us: int = 0
    said_kg: float | None = None
    advice: str | None = None


class Weighing:
    """Follows the scales and says what each line of the formula has.

    Args:
        plan: its lines in their order (None: every rest after a rise is an addition of its own),
            what it says of the scale, and its channels, of which those whose role starts with
            ``scale`` are followed.
    """

    def __init__(self, plan: Plan) -> None:
        self.ledger = Ledger(plan.lines, plan.scale.accuracy_class)
        self._facts = plan.scale
        self._scales: dict[str, Scale] = {
            name: self._new_scale(name, role)
            for name, role in plan.channels.items()
            if role.startswith("scale")
        }
        self._streams: dict[str, Stream] = {}
        self._live: dict[str, _Live] = {}
        self._selected: tuple[int, int] | None = None  # line, time of the mark
        self._waiting: list[tuple[WeighingAddition, int]] = []
        self._fresh_order = False
        self._last_us = 0

    def _new_scale(self, name: str, role: str) -> Scale:
        # [scale] of the plan speaks for the role "scale"; others are learnt.
        planned = self._facts.resolution_kg if role == "scale" else None
        return Scale(name, planned, self._plausible, self._unfinished)

    @property
    def _blur_kg(self) -> float:
        return max((s.division_kg for s in self._scales.values() if s.last_us), default=0.001)

    # The engine's questions -------------------------------------------------------------------

    def on_reading(self, reading: Reading, role: str) -> list[Body]:
        """A reading; only those of scales matter here."""
        if not role.startswith("scale") or reading.unit != "kg":
            return []
        scale = self._scales.get(reading.name)
        if scale is None:
            scale = self._scales[reading.name] = self._new_scale(reading.name, role)
        self._last_us = reading.t_us
        signals = scale.feed(reading)
        if signals:
            return self._heard(scale, signals, reading.t_us)
        if scale.piece is not None:
            return self._pouring(scale, scale.piece, reading.t_us)
        return []

    def on_mark(self, mark: Mark) -> list[Body]:
        """`line`, `confirm`, and the marks after which nothing is weighed any more."""
        if mark.kind in ENDING_MARKS:
            return self._leave_all()
        index = self._index(mark.text("line"))
        if index is None:
            return []
        if mark.kind == "line":
            self._selected = (index, mark.t_us)
            current = self.ledger.current
            moving = any(s.piece is not None for s in self._scales.values())
            if current is not None and current != index and not moving:
                return self._leave(current)
        elif mark.kind == "confirm":
            return self._confirm(index, mark.number("mass_g"))
        return []

    def on_gap(self, gap: Gap) -> list[Body]:
        """Readings of a scale are missing: the next one may be at another zero."""
        for name, scale in self._scales.items():
            if name.startswith(gap.instrument + "/") and gap.to_us >= scale.last_us - S:
                scale.interrupt()
        return []

    def on_second(self, t_us: int) -> list[Body]:
        """Rests that last decide lines that were left alone."""
        current = self.ledger.current
        if current is None:
            return []
        pieces = self.ledger.of(current)
        if not pieces:
            return []
        scale = self._scales[pieces[-1].scale]
        if scale.piece is not None or not (scale.at_rest or not scale.bench.present):
            return []
        resting_us = t_us - pieces[-1].ended_us
        return list(self._speak(current, resting_us))

    def on_event(self, event: Event) -> list[Body]:
        """Learn the ids of what this room said."""
        if isinstance(event.body, WeighingAddition):
            for entry in self._waiting:
                if entry[0] == event.body:
                    self.ledger.slot(entry[1]).event_id = event.id
                    self._waiting.remove(entry)
                    break
        return []

    # What the scales tell ---------------------------------------------------------------------

    def _heard(self, scale: Scale, signals: list[Signal], t_us: int) -> list[Body]:
        out: list[Body] = []
        for signal in signals:
            match signal:
                case ContainerOn():
                    out.append(WeighingContainer(round(signal.mass_kg, 9), scale.name))
                    out += self._leave_current()
                case Lifted():
                    self._live.pop(scale.name, None)
                    out += self._leave_current()
                    out.append(WeighingRemoved(round(signal.mass_kg, 9), None, scale.name))
                case Tared():
                    out += self._tared(scale, signal.t_us)
                case Ended():
                    out += self._ended(scale, signal.piece)
                case Extended():
                    self._take_selection(signal.piece)
                    self._use_up_selection(signal.piece)
                    out += self._grown(signal.piece)
                    if signal.piece.line is not None:
                        out += self._speak(signal.piece.line, t_us - signal.piece.ended_us)
                case Vanished():
                    self._live.pop(scale.name, None)
        return out

    def _tared(self, scale: Scale, t_us: int) -> list[Body]:
        """A tare right after something was put down that fits no line: it was a container."""
        ledger = self.ledger
        if not ledger.pieces or ledger.lines is None:
            return []
        piece = ledger.pieces[-1]
        index = piece.line
        if (
            index is None
            or not piece.sudden
            or piece.scale != scale.name
            or piece.mass_kg < 0.015
            or t_us - piece.ended_us > RECENT_US
            or ledger.slot(index).said is not None
            or len(ledger.of(index)) > 1
        ):
            return []
        target = ledger.lines[index].target_kg
        if target is None or 0.75 * target <= piece.mass_kg <= 1.3 * target:
            return []
        ledger.remove(piece)
        scale.take_as_container(piece)
        if piece.selected is not None and self._selected is None:
            self._selected = (piece.selected, piece.start_us)
        return [WeighingContainer(round(piece.mass_kg, 9), scale.name)]

    def _ended(self, scale: Scale, piece: Piece) -> list[Body]:
        self._take_selection(piece)
        live = self._live.pop(scale.name, None)
        if live is not None:
            self._stream(scale).end(piece.mass_kg)
        before = self.ledger.current
        self.ledger.add(piece, self._blur_kg)
        self._use_up_selection(piece)
        self._fresh_order = False
        out: list[Body] = []
        if piece.line is None:
            return out
        if piece.mass_kg < 0:
            line = self.ledger.line(piece.line)
            out.append(
                WeighingRemoved(round(-piece.mass_kg, 9), line.key if line else None, scale.name)
            )
        if self.ledger.lines is not None:
            out += self._say_left(before)
        out += self._speak(piece.line, 0)
        return out

    def _grown(self, piece: Piece) -> list[Body]:
        """A trifle that grew may be the first of the next line after all."""
        ledger = self.ledger
        before = piece.line
        if piece.is_trifle or before is None or piece is not ledger.pieces[-1]:
            return []
        if ledger.slot(before).left or ledger.current != before:
            return []  # what was left stays so
        ledger.renew(self._blur_kg)
        if piece.line == before:
            return []
        return self._say_left(before)

    def _say_left(self, before: int | None) -> list[Body]:
        """Say the lines that another one has followed."""
        out: list[Body] = []
        for index in sorted(self.ledger.slots):
            if self.ledger.slot(index).left and self.ledger.of(index):
                out += self._say(index)
        if before is not None and before != self.ledger.current and not self.ledger.of(before):
            out += self._say(before)
        return out

    def _take_selection(self, piece: Piece) -> None:
        selected = self._selected
        if selected is not None and piece.selected not in (None, selected[0]):
            selected = None  # a mark that came while it already was another line's
        if selected is not None and piece.start_us >= selected[1]:
            piece.selected = selected[0]
            if piece.after is not None and not piece.is_trifle:
                self._selected = None  # a trifle may be drift; the mark still waits for its rise
        if self._fresh_order:
            piece.tared = True

    def _use_up_selection(self, piece: Piece) -> None:
        """Several trifles together are what the mark was for."""
        if self._selected is not None and piece.line == self._selected[0]:
            begun = [p for p in self.ledger.of(piece.line) if p.start_us >= self._selected[1]]
            if sum(p.mass_kg for p in begun) > max(1.5 * piece.before.division_kg, 2 * TRIFLE_KG):
                self._selected = None

    def _pouring(self, scale: Scale, piece: Piece, t_us: int) -> list[Body]:
        live = self._live.get(scale.name)
        ledger = self.ledger
        if live is None or live.piece is not piece:
            self._take_selection(piece)
            line = ledger.provisional(piece, self._blur_kg)
            live = self._live[scale.name] = _Live(piece, line, piece.mass_kg)
            self._stream(scale).begin()
        mass = piece.mass_kg
        rate = scale.settler.slope_kg_s()
        stream = self._stream(scale)
        stream.see(t_us, mass, rate)
        if t_us - live.said_us < POURING_US:
            return []
        if abs(mass) > 1.4 * abs(live.judged_kg) + scale.division_kg:
            live.line = ledger.provisional(piece, self._blur_kg)
            live.judged_kg = mass
        line_of = None if live.line is None else ledger.line(live.line)
        net = mass + (ledger.total_kg(live.line) if live.line is not None else 0.0)
        target = line_of.target_kg if line_of else None
        missing = None if target is None else target - net
        tolerance = (line_of.tolerance_kg or 0.0) if line_of else 0.0
        advice = stream.advice(missing, tolerance, rate)
        if (
            live.said_kg is not None
            and abs(net - live.said_kg) < 0.9 * scale.division_kg
            and advice == live.advice
        ):
            return []
        live.said_us, live.said_kg, live.advice = t_us, net, advice
        last = scale.continuity.last
        return [
            WeighingPouring(
                line=line_of.key if line_of else None,
                mass_kg=round(net, 9),
                missing_kg=None if missing is None else round(missing, 9),
                zero_kg=round((last.value_kg if last else 0.0) - net, 9),
                advice=advice,
                scale=scale.name,
            )
        ]

    def _stream(self, scale: Scale) -> Stream:
        return self._streams.setdefault(scale.name, Stream())

    # What can be said -------------------------------------------------------------------------

    def _say(self, index: int, moving: bool = False) -> list[Body]:
        out: list[Body] = []
        for body in self.ledger.say(index, self._blur_kg, moving):
            self._waiting.append((body, index))
            out.append(body)
        return out

    def _speak(self, index: int, resting_us: int) -> list[Body]:
        """Say the line being filled, if what it has can be said already."""
        slot, body = self.ledger.slot(index), self.ledger.body(index)
        if body is None:
            return []
        if not slot.left and slot.said is None:
            if body.verdict == "under" and resting_us < LEFT_ALONE_US:
                return []
            if body.verdict == "undecidable" and resting_us < DOUBT_US:
                return []
        elif slot.said is not None and body.verdict == "under" and not slot.left:
            # Taken back too far, or said before it was complete: the last word stands.
            pass
        return self._say(index)

    def _leave(self, index: int) -> list[Body]:
        self.ledger.slot(index).left = True
        return self._say(index)

    def _leave_current(self) -> list[Body]:
        current = self.ledger.current
        return [] if current is None else self._leave(current)

    def _leave_all(self) -> list[Body]:
        out: list[Body] = []
        for index in sorted({p.line for p in self.ledger.pieces if p.line is not None}):
            out += self._leave(index)
        return out

    def _confirm(self, index: int, mass_g: float | None) -> list[Body]:
        ledger = self.ledger
        moving = False
        for scale in self._scales.values():
            live = self._live.get(scale.name)
            if live is not None and live.line == index:
                moving = True
        slot = ledger.slot(index)
        slot.confirmed = slot.left = True
        slot.told_kg = None if mass_g is None else mass_g / 1000
        ledger.freeze(index)
        self._fresh_order = True
        out: list[Body] = []
        if ledger.current is not None and ledger.current != index:
            out += self._leave(ledger.current)
        ledger.current = index
        return out + self._say(index, moving and slot.told_kg is None)

    def _index(self, key: str | None) -> int | None:
        if key is None or self.ledger.lines is None:
            return None
        for index, line in enumerate(self.ledger.lines):
            if line.key == key:
                return index
        return None

    def _unfinished(self, piece: Piece) -> bool:
        """Whether more was to come to the line of a piece."""
        if self.ledger.lines is None or piece.line is None:
            return True
        lower = self.ledger.lines[piece.line].lower_kg
        return lower is not None and self.ledger.total_kg(piece.line) < lower

    def _plausible(self, change_kg: float) -> bool:
        """Whether a sudden change could be an addition, or a take-back, of some line."""
        ledger = self.ledger
        if ledger.lines is None:
            return change_kg > 0
        current = ledger.current
        blur = 2 * self._blur_kg
        if current is not None:
            line = ledger.lines[current]
            if line.target_kg is not None:
                missing = line.target_kg - ledger.total_kg(current)
                if change_kg < 0:
                    return missing < 0 and change_kg >= 1.5 * missing - blur
                if 0 < change_kg <= 1.2 * missing + blur:
                    return True
        if change_kg <= 0:
            return False
        taken = ledger.taken(blur)
        return any(
            line.target_kg is not None and change_kg <= 1.35 * line.target_kg + blur
            for index, line in enumerate(ledger.lines)
            if index not in taken
        )
