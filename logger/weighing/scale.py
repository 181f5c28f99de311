"""One scale: readings in; containers, lifts, tares and pieces out."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from drivers.reading import Reading
from logger.weighing.continuity import Continuity, Zeroing, waking
from logger.weighing.motion import Motion
from logger.weighing.pieces import Piece
from logger.weighing.resolution import Resolution
from logger.weighing.settling import Rest, S, Settler
from logger.weighing.signals import (
    Bench,
    ContainerOn,
    Ended,
    Extended,
    Lifted,
    Signal,
    Tared,
    Vanished,
)

KEY_PRESS_US = 700_000
FINGER_KG = 0.03  # what a finger on the tare key may weigh
SLOW_PUT_US = 2_200_000  # on a pan believed empty, little is poured as quickly as that
NESTED_KG = 0.03  # the least a container put into another weighs
AT_WORK_US = 5 * S
UNDO_US = 350_000
WAKING_US = 450_000
CREEP_KG = 0.000_25  # an ingredient is not added in smaller steps; loaded cells creep by that much
LONG_REST_US = 20 * S
TAIL_US = 3_500_000
TARE_TAIL_US = 4 * S


Plausible = Callable[[float], bool]


class Scale:
    """Follows one scale.

    Args:
        name: SenML name of its channel.
        planned_division_kg: of the plan, None where it is learnt.
        plausible: whether a change by so much could be an addition to some line (or, negative, a
            take-back).
        unfinished: whether the line of a piece still lacks something.
    """

    def __init__(
        self,
        name: str,
        planned_division_kg: float | None,
        plausible: Plausible,
        unfinished: Callable[[Piece], bool],
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
        self.same_zero = False  # since the last piece ended
        self.drift_kg = 0.0
        self.last_us = 0
        self._plausible = plausible
        self._unfinished = unfinished
        self._zeroing: Zeroing | None = None
        self._undo: Zeroing | None = None
        self._last_piece: Piece | None = None
        self._contained_us = 0  # when a container was put on or came back
        self._pending_splice = 0.0
        self._waking: list[Reading] = []
        self._broken = False
        self._moving_rate = 0.0
        self._signals: list[Signal] = []

    @property
    def division_kg(self) -> float:
        """The division in force."""
        return self.resolution.division_kg

    @property
    def at_rest(self) -> bool:
        """Whether the load rests now."""
        return self.settler.rest is not None

    def now_kg(self) -> float:
        """The coordinate of the last reading."""
        last = self.continuity.last
        return self.continuity.offset_kg + (last.value_kg if last else 0.0)

    def interrupt(self) -> None:
        """Readings are known to be missing before the next one."""
        self._broken = self.last_us > 0

    def feed(self, reading: Reading) -> list[Signal]:
        """Take one reading of this scale."""
        self._signals = []
        value = reading.value
        if value is None:
            # Overloaded, or in trouble: whatever it is, it is not rest.
            self.settler.interrupt(reading.t_us)
            self.continuity.forget()
            return self._signals
        silent = self._broken or self.continuity.is_silence(reading.t_us, self.settler.period_us)
        if silent and not self._waking and self.base is not None:
            rate = 0.0 if self.at_rest else self.settler.slope_kg_s()
            self._moving_rate = rate if rate > 2 * self.division_kg else 0.0
            self._broken = False
            self._waking = [reading]
            if self.settler.period_us < 400_000:
                return self._signals
        elif self._waking:
            self._waking.append(reading)
        if self._waking:
            held = self._waking
            if (
                len(held) < 3
                and held[-1].t_us - held[0].t_us < WAKING_US
                and (self.settler.period_us < 400_000)
            ):
                return self._signals
            self._waking = []
            self._wake(held)
            for one in held:
                self._follow(one)
            return self._signals
        self._follow(reading)
        return self._signals

    def _wake(self, held: list[Reading]) -> None:
        base, last = self.base, self.continuity.last
        values = sorted(r.value for r in held if r.value is not None)
        d = self.division_kg
        level = values[len(values) // 2] if values[-1] - values[0] <= 2 * d else None
        value = level if level is not None else held[0].value
        assert value is not None
        assert base is not None
        before_kg = base.level_kg
        if last is not None and not self.at_rest:
            before_kg = last.value_kg + self.continuity.offset_kg
        silence_s = (held[0].t_us - self.last_us) / S
        found = waking(
            value,
            self.continuity.offset_kg,
            before_kg,
            self.bench.empty_kg if self.bench.present else None,
            self._moving_rate,
            silence_s,
            d,
        )
        was_resting = self.at_rest
        self.continuity.offset_kg += found.shift_kg
        self.continuity.forget()
        self.settler.interrupt(held[0].t_us)
        if found.kind in ("zeroed", "unknown", "tare lost"):
            self.same_zero = False
            self._doubt(base, was_resting)
            empty = self.bench.empty_kg
            certain = (
                empty is None
                or abs(value + self.continuity.offset_kg - found.shift_kg - empty) > 3 * d
            )
            if found.kind == "zeroed":
                self._zeroing = Zeroing(
                    held[0].t_us, found.shift_kg, was_resting, certain, 0.0, before_kg
                )
        if was_resting:
            self.motion.begin(held[0].t_us, base.level_kg)
            self.motion.interrupted = True

    def _doubt(self, base: Rest, was_resting: bool) -> None:
        """The zero was lost: was something being added meanwhile?"""
        if not self.bench.present:
            return
        moving = self.piece is not None or self._moving_rate > 0
        if not was_resting and moving:
            self.piece = self.piece or self._new_piece(base, self.last_us)
            self.piece.lost = True
            return
        last = self._last_piece
        # No scale switches itself off so soon after it moved: it was unplugged at work.
        if (
            last is not None
            and self.last_us - last.ended_us < AT_WORK_US
            and self._unfinished(last)
        ):
            last.lost = True
            self._signals.append(Extended(last))

    def _follow(self, reading: Reading) -> None:
        value, t_us = reading.value, reading.t_us
        assert value is not None
        self.last_us = t_us
        d = self.resolution.see(value, reading.division)
        if self.base is None:
            self._first(reading, value, d)
        base = self.base
        assert base is not None
        settler = self.settler
        rest = settler.rest
        rest_kg: float | None = None
        if rest is not None:
            rest_kg = rest.level_kg
        elif t_us - settler.moving_since_us < KEY_PRESS_US:
            off = abs(self.now_kg() - base.level_kg)
            rest_kg = base.level_kg if off <= max(3 * d, FINGER_KG) else None
        bench = self.bench
        zeroing = self.continuity.zeroing(
            t_us, value, reading.net, d, settler.noise_kg, rest_kg, bench.empty_kg, bench.present
        )
        if zeroing is not None:
            self._zeroed(zeroing)
        elif self._undo is not None:
            self._check_undo(t_us, value)
        y = value + self.continuity.offset_kg
        found = settler.feed(t_us, y, d, reading.stable)
        if settler.rest is None:
            if rest is not None:
                self.motion.begin(rest.last_us, rest.level_kg)
            self.motion.add(t_us, y)
            self._live(t_us, y, base, d)
        elif found is not None:
            if found.shifted and rest is not None:
                self.motion.begin(rest.last_us, rest.level_kg)
                self.motion.add(found.start_us, found.level_kg)
            else:
                self.motion.add(t_us, y)
            self._settled(found, value, reading.net)

    def _first(self, reading: Reading, value: float, d: float) -> None:
        self.base = Rest(value, reading.t_us, reading.t_us, 0.0, 1, d, reading.t_us)
        self.settler.moving_since_us = reading.t_us
        self.motion.begin(reading.t_us, value)
        bench = self.bench
        loaded = abs(value) > max(5 * d, 0.005)
        bench.present = loaded or reading.net is True
        bench.bowl_kg = value
        # A scale that starts tared does not tell where its empty pan is.
        bench.empty_kg = None if reading.net is True or value < -5 * d else 0.0
        if bench.empty_kg is not None and not loaded:
            bench.empty_kg = value

    def _zeroed(self, zeroing: Zeroing) -> None:
        self._zeroing = self._undo = zeroing
        self.same_zero = False
        bench = self.bench
        if not bench.present and not zeroing.at_rest:
            # A container was put on and tared before it had quite come to rest.
            t_us, level = zeroing.t_us, zeroing.before_kg
            rest = Rest(level, t_us, t_us, 0.0, 1, self.division_kg, t_us)
            empty = bench.empty_kg if bench.empty_kg is not None else 0.0
            self._put_on(rest, level - empty)
            self._signals.append(Tared(t_us))
        elif zeroing.at_rest:
            if self.bench.present:
                self.tared = True
                self._signals.append(Tared(zeroing.t_us))
        elif self.piece is not None:
            self.piece.splice_kg = (self.piece.splice_kg**2 + zeroing.splice_kg**2) ** 0.5
        else:
            self._pending_splice = zeroing.splice_kg

    def _check_undo(self, t_us: int, value: float) -> None:
        """A load on its way down may pass zero at a reading; it was not the tare key then."""
        zeroing = self._undo
        assert zeroing is not None
        if t_us - zeroing.t_us > UNDO_US:
            self._undo = None
        elif value < -max(FINGER_KG, 8 * self.division_kg):
            self._undo = self._zeroing = None
            self.continuity.offset_kg -= zeroing.shift_kg
            self.settler.interrupt(t_us)
            self.tared = False

    def _new_piece(self, base: Rest, start_us: int) -> Piece:
        piece = Piece(
            before=base,
            after=None,
            scale=self.name,
            start_us=start_us,
            now_kg=self.now_kg(),
            tared=self.tared,
            contiguous=self.same_zero,
            splice_kg=self._pending_splice,
            drift_kg=self.drift_kg,
        )
        self._pending_splice = 0.0
        return piece

    def _live(self, t_us: int, y: float, base: Rest, d: float) -> None:
        """Keep the piece that is going on, if one is."""
        if self.piece is not None:
            self.piece.now_kg = y
            return
        rise = y - base.level_kg
        if not self.bench.present or rise < max(2 * d, 5 * self.settler.noise_kg):
            return
        # What is put down in one go shows itself within this time; what still rises is poured.
        if t_us - self.settler.moving_since_us < 600_000 or self.settler.slope_kg_s(300_000) < d:
            return
        self.piece = self._new_piece(base, self.settler.moving_since_us)
        self.piece.now_kg = y

    # What a new rest means ------------------------------------------------------------------

    def _settled(self, rest: Rest, value: float, net: bool | None) -> None:
        base = self.base
        assert base is not None
        d = self.division_kg
        piece, self.piece = self.piece, None
        outcome = self._explain(rest, base, d, piece, net)
        if piece is not None and not outcome:
            self._signals.append(Vanished(piece))

    def _explain(
        self, rest: Rest, base: Rest, d: float, piece: Piece | None, net: bool | None
    ) -> bool:
        bench = self.bench
        if not bench.present:
            return self._explain_absent(rest, base, d, piece)
        step = rest.level_kg - base.level_kg
        zeroing = self._zeroing
        if zeroing is not None and zeroing.at_rest and rest.start_us - zeroing.t_us < TARE_TAIL_US:
            value = rest.level_kg - self.continuity.offset_kg
            finger = -FINGER_KG <= value <= 1.2 * d
            early = rest.start_us - zeroing.t_us < 2 * S or (rest.shifted and step < 0)
            if finger and early and rest.level_kg > bench.bowl_kg - 0.5 * abs(bench.bowl_kg):
                # The key was pressed with a heavy finger: what it left is zero error.
                self._realign(-step)
                self.base = rest
                return False
        if self._was_lifted_after_all(step, base, rest, d):
            return self._explain_absent(rest, self.base or base, d, piece)
        tol = max(0.75 * d, 2.5 * math.hypot(rest.mean_error_kg, base.mean_error_kg))
        gone = max(4 * d, 0.002)
        if bench.empty_kg is not None and bench.bowl_kg - bench.empty_kg < 2 * gone:
            gone = max(1.6 * d, 0.5 * (bench.bowl_kg - bench.empty_kg))
        small = abs(step) <= max(tol, 2.5 * d)
        if self._is_tail(rest, base, piece) and small and (rest.shifted or abs(step) <= tol):
            return self._extend(rest)
        if rest.shifted and small and rest.start_us - self._contained_us < TAIL_US:
            bench.bowl_kg += step
            self.base = rest
            return False
        if rest.shifted:
            gross = abs(rest.level_kg - (bench.empty_kg or 0.0))
            tol = max(tol, CREEP_KG, 0.0003 * gross)
            long_rest = rest.start_us - base.settled_us > LONG_REST_US
            if abs(step) <= tol or (long_rest and abs(step) <= 1.1 * d):
                self.drift_kg += abs(step)
                self.base = rest
                return False
        low = self.motion.low_kg
        if rest.level_kg < bench.bowl_kg - gone:
            return self._lift(rest, base, d, net)
        if low < bench.bowl_kg - max(2 * gone, 0.3 * abs(bench.bowl_kg - (bench.empty_kg or low))):
            # Lifted and put back without a rest between.
            bench.lifted_from, bench.present = base, False
            if bench.empty_kg is None:
                bench.empty_kg = low
            return self._explain_absent(rest, base, d, piece)
        if abs(step) <= tol:
            if piece is not None and piece.lost:
                return self._end(piece, rest, sudden=False)
            self.drift_kg += abs(step)
            self.base = rest
            return False
        if piece is None and self._is_second_tare(rest, base, step, d):
            self._realign(-step)
            self.base = rest
            self.tared, self.same_zero = True, False
            return False
        if step < 0:
            if self._is_slow_tare(rest, step, d, net):
                self._realign(-step)
                self.base = rest
                self.tared, self.same_zero = True, False
                self._signals.append(Tared(rest.settled_us))
                return False
            return self._end(piece or self._new_piece(base, self._started(base)), rest, False)
        sudden = self.motion.is_sudden(base.level_kg, rest.level_kg, self.settler.period_us)
        if sudden and piece is None and step > NESTED_KG and not self._plausible(step):
            bench.bowl_kg += step
            bench.known_kg.append(step)
            self._contained(rest, step)
            return False
        return self._end(piece or self._new_piece(base, self._started(base)), rest, sudden)

    def _is_tail(self, rest: Rest, base: Rest, piece: Piece | None) -> bool:
        """Whether what moved since is still the end of the last piece: drops, filter, creep."""
        last = self._last_piece
        return (
            last is not None
            and piece is None
            and last.after is base
            and self.same_zero
            and rest.start_us - last.ended_us < TAIL_US
        )

    def _extend(self, rest: Rest) -> bool:
        last = self._last_piece
        assert last is not None
        last.after, self.base = rest, rest
        self.tared = last.tared and last.is_trifle
        self._signals.append(Extended(last))
        return True

    def _started(self, base: Rest) -> int:
        return self.motion.path[0][0] if self.motion.path else base.last_us

    def _is_second_tare(self, rest: Rest, base: Rest, step: float, d: float) -> bool:
        """The key again, because the first press left a little below zero."""
        value = rest.level_kg - self.continuity.offset_kg
        before = base.level_kg - self.continuity.offset_kg
        if step <= 3 * d or before >= -3 * d or not -FINGER_KG <= value <= 0.6 * d:
            return False
        # A spoonful may end at zero by chance, but it shows itself on the way; a key jumps there.
        zero_kg = self.continuity.offset_kg
        return self.motion.jumps_to(zero_kg, 0.6 * d, 0.5 * -before)

    def _is_slow_tare(self, rest: Rest, step: float, d: float, net: bool | None) -> bool:
        """A tare that went through the scale's filter: down to an indication of zero."""
        value = rest.level_kg - self.continuity.offset_kg
        empty = self.bench.empty_kg
        if net is False or abs(value) > 1.2 * d or -step < max(4 * d, 0.004):
            return False
        return empty is None or abs(rest.level_kg - empty) > max(5 * d, 0.005)

    def _was_lifted_after_all(self, step: float, base: Rest, rest: Rest, d: float) -> bool:
        """A jump to zero was taken for the tare key; the bowl coming back tells otherwise."""
        zeroing = self._zeroing
        if zeroing is None or zeroing.certain or abs(step) <= 1.6 * d:
            return False
        self._zeroing = None  # one step is all the evidence there will be
        shift = zeroing.shift_kg
        if step < 0 or not self.motion.is_sudden(
            base.level_kg, rest.level_kg, self.settler.period_us
        ):
            return False
        masses = [shift, *self.bench.known_kg]
        if not any(abs(step - m) <= max(2.5 * d, 0.004 * m) for m in masses):
            return False
        if self._plausible(step) and abs(step - shift) > max(2.5 * d, 0.004 * shift):
            return False
        self._realign(-shift)
        self.bench.lifted_from = base
        self.bench.present = False
        self.tared = False
        return True

    def _realign(self, by_kg: float) -> None:
        """Move the coordinate of everything from the present rest on."""
        self.continuity.offset_kg += by_kg
        self.settler.shift(by_kg)
        self.motion.shift(by_kg)

    def _lift(self, rest: Rest, base: Rest, d: float, net: bool | None) -> bool:
        bench = self.bench
        value = rest.level_kg - self.continuity.offset_kg
        zeroing = self._zeroing
        # A lower level than any container leaves: the zero before was a tare, certainly.
        if zeroing is not None:
            self._zeroing = replace(zeroing, certain=True)
        self.motion.learn(base.level_kg, rest.level_kg)
        bench.present, bench.lifted_from = False, base
        bench.lifted_to_zero = abs(value) <= 1.6 * d and net is not False
        if bench.empty_kg is None or abs(bench.bowl_kg - bench.empty_kg) > 0:
            bowl = bench.bowl_kg - rest.level_kg
            if bowl > max(3 * d, 0.002) and not any(abs(bowl - k) <= 3 * d for k in bench.known_kg):
                bench.known_kg.append(bowl)
        bench.empty_kg = rest.level_kg
        self.base = rest
        self._signals.append(Lifted(base.level_kg - rest.level_kg))
        return False

    def _explain_absent(self, rest: Rest, base: Rest, d: float, piece: Piece | None) -> bool:
        bench = self.bench
        empty = bench.empty_kg if bench.empty_kg is not None else base.level_kg
        mass = rest.level_kg - empty
        if mass <= max(3 * d, 0.0015):
            lifted = bench.lifted_from
            value = rest.level_kg - self.continuity.offset_kg
            if lifted is not None and bench.lifted_to_zero and value < -max(5 * d, 0.005):
                # It reads less than an empty pan can: that had been a tare, now it is lifted.
                self._realign(lifted.level_kg - base.level_kg)
                bench.lifted_to_zero = False
                bench.empty_kg = rest.level_kg
            elif abs(mass) <= max(3 * d, 0.0015):
                bench.empty_kg = rest.level_kg
            self.base = rest
            return False
        sudden = self.motion.is_sudden(base.level_kg, rest.level_kg, self.settler.period_us)
        lifted = bench.lifted_from
        if lifted is not None:
            if not sudden and bench.lifted_to_zero:
                self._realign(lifted.level_kg - base.level_kg)
                bench.present, bench.lifted_to_zero = True, False
                self.base, self.tared, self.same_zero = lifted, True, False
                made = self._new_piece(lifted, self._started(base))
                return self._end(made, rest, sudden)
            return self._returned(rest, lifted, d, mass, sudden)
        slow_filter = self.motion.duration_us(base.level_kg, rest.level_kg) <= SLOW_PUT_US
        if sudden or slow_filter or not self._plausible(mass):
            self.motion.learn(base.level_kg, rest.level_kg)
            self._put_on(rest, mass)
            return False
        bench.present, bench.bowl_kg = True, base.level_kg
        bench.empty_kg = None
        return self._end(self._new_piece(base, self._started(base)), rest, sudden)

    def _returned(self, rest: Rest, lifted: Rest, d: float, mass: float, sudden: bool) -> bool:
        bench = self.bench
        change = rest.level_kg - lifted.level_kg
        same = max(1.6 * d, 3.0 * (rest.mean_error_kg + lifted.mean_error_kg), 0.0005 * abs(mass))
        bench.lifted_to_zero = False
        if abs(change) <= same:
            bench.present, self.base = True, rest
            self._contained_us = rest.settled_us
            bench.bowl_kg += change
            self.drift_kg += abs(change) if abs(change) > 0.6 * d else 0.0
            return False
        emptied = any(abs(mass - known) <= max(3 * d, 0.004 * known) for known in bench.known_kg)
        if self._plausible(change) and not emptied:
            bench.present = True
            # It may have come back some time before more was added.
            same_kg = lifted.level_kg + 2 * d
            made = self._new_piece(lifted, self.motion.last_below_us(same_kg, self._started(rest)))
            return self._end(made, rest, sudden)
        self._put_on(rest, mass)
        return False

    def _put_on(self, rest: Rest, mass: float) -> None:
        bench = self.bench
        bench.present, bench.bowl_kg = True, rest.level_kg
        if not any(abs(mass - known) <= 3 * rest.division_kg for known in bench.known_kg):
            bench.known_kg.append(mass)
        self._contained(rest, mass)

    def _contained(self, rest: Rest, mass: float) -> None:
        self.base = rest
        self._contained_us = rest.settled_us
        self.tared, self.same_zero = True, False
        self._signals.append(ContainerOn(mass, True))

    def take_as_container(self, piece: Piece) -> None:
        """What was taken for an addition was a container."""
        self.bench.bowl_kg += piece.mass_kg
        self.bench.known_kg.append(piece.mass_kg)

    def _end(self, piece: Piece, rest: Rest, sudden: bool) -> bool:
        piece.after, piece.sudden, piece.ended_us = rest, sudden, rest.settled_us
        piece.now_kg = rest.level_kg
        self.base = rest
        self.tared = piece.tared and piece.is_trifle
        self.same_zero = True
        self.drift_kg = 0.0
        self._last_piece = piece
        self._signals.append(Ended(piece))
        return True
