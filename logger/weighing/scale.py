"""One scale: readings in; containers, lifts, tares and pieces out."""

from __future__ import annotations

from collections.abc import Callable

from drivers.reading import Reading
from logger.weighing.continuity import Zeroing
from logger.weighing.glitch import Glitches
from logger.weighing.loaded import settled
from logger.weighing.pieces import Piece
from logger.weighing.rest import Rest
from logger.weighing.signals import Signal, Tared
from logger.weighing.standing import FINGER_KG, Awaited, Plausible, Standing
from logger.weighing.waking import wake

KEY_PRESS_US = 700_000
UNDO_US = 350_000
WAKING_US = 450_000
SLOW_SCALE_US = 400_000  # between its readings: it wakes with one


class Scale(Standing):
    """Follows one scale; arguments and attributes as `Standing`."""

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
        super().__init__(
            name, planned_division_kg, plausible, awaited, unfinished, takeable_kg, addable_kg
        )
        self._glitches = Glitches()
        self._waking: list[Reading] = []
        self._broken = False

    def interrupt(self) -> None:
        """Readings are known to be missing before the next one."""
        self._broken = self.last_us > 0

    def feed(self, reading: Reading) -> list[Signal]:
        """Take one reading of this scale."""
        self.signals = []
        for believed in self._glitches.feed(reading, self.division_kg):
            self._take(believed)
        return self.signals

    def _take(self, reading: Reading) -> None:
        value = reading.value
        if value is None:
            # Overloaded, or in trouble: whatever it is, it is not rest.
            self.settler.interrupt(reading.t_us)
            self.continuity.forget()
            return
        silent = self._broken or self.continuity.is_silence(reading.t_us, self.settler.period_us)
        if silent and not self._waking and self.base is not None:
            rate = 0.0 if self.at_rest else self.settler.slope_kg_s()
            self.moving_rate_kg_s = rate if rate > 2 * self.division_kg else 0.0
            self._broken = False
            self._waking = [reading]
            if self.settler.period_us < SLOW_SCALE_US:
                return
        elif self._waking:
            self._waking.append(reading)
        if self._waking:
            held = self._waking
            held_us = held[-1].t_us - held[0].t_us
            if len(held) < 3 and held_us < WAKING_US and self.settler.period_us < SLOW_SCALE_US:
                return
            self._waking = []
            wake(self, held)
            for one in held:
                self._follow(one)
            return
        self._follow(reading)

    def _follow(self, reading: Reading) -> None:
        value, t_us = reading.value, reading.t_us
        assert value is not None
        self.last_us = t_us
        d = self.resolution.see(value, reading.division)
        if self.base is None:
            self._first(reading, value, d)
        base = self.base
        assert base is not None
        if self.resolution.learnt_finer:
            base.division_kg = d  # it was that fine before anybody knew
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
            t_us,
            value,
            reading.net,
            d,
            settler.noise_kg,
            rest_kg,
            bench.empty_kg,
            bench.present and not self._is_off(rest),
            base.level_kg,
        )
        if zeroing is not None:
            self._zeroed(zeroing)
        elif self.undo is not None:
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
            settled(self, found, reading.net)

    def _is_off(self, rest: Rest | None) -> bool:
        """Whether the container was lifted since the last rest: it is far below itself."""
        fell_kg = self.bench.bowl_kg - self.motion.low_kg
        return rest is None and fell_kg > max(FINGER_KG, 8 * self.division_kg)

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
        self.zeroing = self.undo = zeroing
        self.same_zero = False
        bench = self.bench
        if not bench.present and not zeroing.at_rest:
            # A container was put on and tared before it had quite come to rest.
            t_us, level = zeroing.t_us, zeroing.before_kg
            rest = Rest(level, t_us, t_us, 0.0, 1, self.division_kg, t_us)
            empty = bench.empty_kg if bench.empty_kg is not None else 0.0
            self.put_on(rest, level - empty)
            self.signals.append(Tared(t_us))
        elif zeroing.at_rest:
            if self.bench.present:
                self.tared = True
                self.signals.append(Tared(zeroing.t_us))
        elif self.piece is not None:
            self.piece.splice_kg = (self.piece.splice_kg**2 + zeroing.splice_kg**2) ** 0.5
        else:
            self.pending_splice_kg = zeroing.splice_kg

    def _check_undo(self, t_us: int, value: float) -> None:
        """A load on its way down, or a knock, may pass zero at a reading: no tare key then."""
        zeroing = self.undo
        assert zeroing is not None
        shift, d = zeroing.shift_kg, self.division_kg
        if t_us - zeroing.t_us > UNDO_US:
            self.undo = None
            return
        # A knock is back where it was; a key that was pressed stays pressed.
        knocked = zeroing.at_rest and abs(value - shift) <= 1.1 * d
        if value < -max(FINGER_KG, 8 * d) or (knocked and shift > 2 * d):
            self.undo = self.zeroing = None
            self.continuity.offset_kg -= shift
            self.settler.interrupt(t_us)
            self.tared = False

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
        self.piece = self.new_piece(base, self.settler.moving_since_us)
        self.piece.now_kg = y
