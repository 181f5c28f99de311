"""Readings that no load made: a damaged frame that the line let through, a knock on the pan.

A load cell behind a filter cannot jump for a reading or two and come straight back; a frame that
lost a digit, or half of one joined to the next, does just that. A reading that leaves the way of
those before is held until the next ones tell; at rest, and in an even stream, none is held.
"""

from __future__ import annotations

from drivers.reading import Reading

HELD = 2  # readings; more in a row are a load
LONGEST_US = 1_000_000
LEAST_JUMPS = 4.0  # divisions; smaller ones do no harm
USUAL = 0.15  # share of a new step in what is usual
BACK = 0.35  # of the jump: as near as this to where it came from, or was going to, is back


class Glitches:
    """Passes readings on, without those that jump away and come straight back."""

    def __init__(self) -> None:
        self._held: list[Reading] = []
        self._last: float | None = None
        self._step = 0.0
        self._usual = 0.0

    def feed(self, reading: Reading, d_kg: float) -> list[Reading]:
        """Take a reading; the readings that can be believed with it, in their order.

        Args:
            reading: of one scale, with or without a value.
            d_kg: the scale's division.
        """
        value = reading.value
        if value is None or self._last is None:
            out = [*self._held, reading]
            self._held = []
            self._last, self._step = value, 0.0
            return out
        held = self._held
        if not held:
            step = value - self._last
            # What shakes jumps at every reading; only a jump out of the ordinary is held.
            most = max(LEAST_JUMPS * d_kg, LEAST_JUMPS * self._usual, abs(self._step))
            if abs(step - self._step) <= most:
                return self._pass([reading])
            held.append(reading)
            return []
        first = held[0].value
        assert first is not None
        jump = first - self._last
        if self._is_back(first, value, len(held) + 1):
            held.clear()
            return self._pass([reading])
        late = reading.t_us - held[0].t_us > LONGEST_US
        if len(held) < HELD and not late and abs(value - first) <= BACK * abs(jump):
            held.append(reading)
            return []
        self._held = []
        return [*self._pass(held), *self.feed(reading, d_kg)]

    def _is_back(self, first: float, value: float, steps: int) -> bool:
        """Whether a reading after a jump is where the jump came from, or was going to."""
        assert self._last is not None
        near = BACK * abs(first - self._last)
        if abs(value - self._last) <= near:
            return True
        between = min(self._last, value) <= first <= max(self._last, value)
        return not between and abs(value - self._last - steps * self._step) <= near

    def _pass(self, readings: list[Reading]) -> list[Reading]:
        for reading in readings:
            assert reading.value is not None
            assert self._last is not None
            step = reading.value - self._last
            self._usual += USUAL * (abs(step - self._step) - self._usual)
            self._step, self._last = step, reading.value
        return readings
