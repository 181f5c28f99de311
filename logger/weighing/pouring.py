"""While something is added: what is there, what is missing, when to stop."""

from __future__ import annotations

from dataclasses import dataclass

from logger.events import WeighingPouring
from logger.plan import Line
from logger.weighing.advice import Stream
from logger.weighing.ledger import Ledger
from logger.weighing.pieces import Blurs, Piece
from logger.weighing.scale import Scale
from logger.weighing.settling import S

POURING_US = S // 4


@dataclass(slots=True)
class _Live:
    """A piece in progress: what was last said of it."""

    piece: Piece
    line: int | None
    judged_kg: float
    said_us: int = 0
    said_kg: float | None = None
    advice: str | None = None


class Pours:
    """The pieces that go on, one a scale, and what was learnt of each scale's streams.

    Args:
        ledger: what the lines have.
    """

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._live: dict[str, _Live] = {}
        self._streams: dict[str, Stream] = {}
        self._taken_us = 0  # when a take-back was last said

    def is_new(self, scale: Scale, piece: Piece) -> bool:
        """Whether nothing is known of this piece yet."""
        live = self._live.get(scale.name)
        return live is None or live.piece is not piece

    def line(self, scale: Scale) -> int | None:
        """The line that what is being added seems to belong to; None at rest too."""
        live = self._live.get(scale.name)
        return None if live is None else live.line

    def drop(self, scale: Scale) -> None:
        """What looked like a piece was none."""
        self._live.pop(scale.name, None)

    def end(self, scale: Scale, piece: Piece) -> None:
        """The piece came to rest: learn how long its stream went on after it was stopped."""
        if self._live.pop(scale.name, None) is not None:
            self._stream(scale).end(piece.mass_kg)

    def _stream(self, scale: Scale) -> Stream:
        return self._streams.setdefault(scale.name, Stream())

    def take(self, scale: Scale, index: int, t_us: int) -> list[WeighingPouring]:
        """While something is taken back from a line: what of it is still too much."""
        line, base = self._ledger.line(index), scale.base
        taken_kg = 0.0 if base is None else scale.now_kg() - base.level_kg
        # A hand in the bowl weighs more than nothing; what it takes shows when it lets go.
        if line is None or line.target_kg is None or taken_kg > -scale.division_kg:
            return []
        if t_us - self._taken_us < POURING_US or not scale.bench.present:
            return []
        self._taken_us = t_us
        net = self._ledger.total_kg(index) + taken_kg
        too_much = net - line.target_kg
        tolerance = line.tolerance_kg or 0.0
        advice = "stop" if too_much <= 0.3 * tolerance else None
        if advice is None and too_much <= 2 * tolerance:
            advice = "ease off"
        return [self._body(scale, line, net, -too_much, advice)]

    @staticmethod
    def _body(
        scale: Scale, line: Line | None, net: float, missing: float | None, advice: str | None
    ) -> WeighingPouring:
        last = scale.continuity.last
        return WeighingPouring(
            line=line.key if line else None,
            mass_kg=round(net, 9),
            missing_kg=None if missing is None else round(missing, 9),
            zero_kg=round((last.value_kg if last else 0.0) - net, 9),
            advice=advice,
            scale=scale.name,
        )

    def say(self, scale: Scale, piece: Piece, t_us: int, blurs: Blurs) -> list[WeighingPouring]:
        """What is to be said of a piece that goes on, at most every quarter of a second."""
        ledger = self._ledger
        live = self._live.get(scale.name)
        if live is None or live.piece is not piece:
            line = ledger.provisional(piece, blurs)
            live = self._live[scale.name] = _Live(piece, line, piece.mass_kg)
            self._stream(scale).begin()
        mass = piece.mass_kg
        rate = scale.settler.slope_kg_s()
        stream = self._stream(scale)
        stream.see(t_us, mass, rate)
        if t_us - live.said_us < POURING_US:
            return []
        if abs(mass) > 1.4 * abs(live.judged_kg) + scale.division_kg:
            live.line = ledger.provisional(piece, blurs)
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
        return [self._body(scale, line_of, net, missing, advice)]
