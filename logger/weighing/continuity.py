"""One continuous coordinate of load out of readings whose zero jumps.

A tare key, a scale that wakes up at another zero, a tare that is lost: the indication changes, the
load does not. `Continuity` finds these and keeps `offset_kg` such that value + offset changes only
with the load.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from itertools import pairwise

from logger.weighing.settling import S

SILENCE_US = 2_500_000
SILENCE_PERIODS = 6
LIGHTEST_KG = 0.01  # no container tared in a hurry is lighter
FASTEST_STEP_KG = 0.02  # what a pour adds between two readings, at most
KNOCK_US = 1_200_000  # what rises from zero and is back so soon was a knock, not the tare key
QUICK_US = 260_000  # a bowl put back takes longer, where one may have been away
SLOW_US = 600_000  # between the readings of a slow scale on which a bowl stands
UNEVEN = 0.2  # how far a pour's rate over one reading strays from that over the last few


@dataclass(slots=True)
class Zeroing:
    """The indication jumped to about zero while the load (probably) stayed.

    Attributes:
        t_us: when.
        shift_kg: by how much the offset grew.
        at_rest: at rest before it; else in the middle of a pour.
        certain: the scale's own net flag or the way of the jump leaves no other explanation;
            else the load may have been lifted at that moment.
        splice_kg: standard uncertainty of carrying a moving reading over the jump.
        before_kg: the coordinate before.
    """

    t_us: int
    shift_kg: float
    at_rest: bool
    certain: bool
    splice_kg: float
    before_kg: float


@dataclass(slots=True)
class Seen:
    """What the last two readings were."""

    t_us: int
    value_kg: float
    net: bool | None


class Continuity:
    """Offset of one scale."""

    def __init__(self) -> None:
        self.offset_kg = 0.0
        self.last: Seen | None = None
        self.before: Seen | None = None
        self._earlier: deque[Seen] = deque(maxlen=4)
        self._zero_us: int | None = None  # when the indication was last about zero

    def is_silence(self, t_us: int, period_us: float) -> bool:
        """Whether readings are missing between the last one and now."""
        if self.last is None:
            return False
        limit = max(SILENCE_US, SILENCE_PERIODS * min(period_us, S))
        return t_us - self.last.t_us > limit

    def forget(self) -> None:
        """Readings are missing: jumps across them are no tare key."""
        self.last = self.before = None

    def zeroing(
        self,
        t_us: int,
        value_kg: float,
        net: bool | None,
        d_kg: float,
        noise_kg: float,
        rest_kg: float | None,
        empty_kg: float | None,
        loaded: bool,
        base_kg: float,
    ) -> Zeroing | None:
        """Whether the zero was set between the last reading and this one; applies it.

        Args:
            rest_kg: coordinate of the present or just left rest, None in motion.
            empty_kg: coordinate of the empty pan where known: a load that jumps there may have
                been lifted.
            loaded: a container stands on the pan.
            base_kg: coordinate of the last rest.
        """
        last, before, zero_us = self.last, self.before, self._zero_us
        self.before, self.last = last, Seen(t_us, value_kg, net)
        if abs(value_kg) <= max(1.1 * d_kg, 2.5 * noise_kg):
            self._zero_us = t_us
        if last is None:
            self._earlier.clear()
            return None
        self._earlier.append(last)
        jump = value_kg - last.value_kg
        flagged = net is True and last.net is False
        cleared = net is False and last.net is True
        # Most readings end here.
        if not flagged and not cleared and abs(jump) < 1.6 * d_kg:
            return None
        trend = 0.0
        if before is not None and last.t_us > before.t_us:
            trend = (last.value_kg - before.value_kg) / (last.t_us - before.t_us)
        first = self._earlier[0]
        longer = trend
        if trend > 0 and last.t_us > first.t_us and last.value_kg > first.value_kg:
            longer = (last.value_kg - first.value_kg) / (last.t_us - first.t_us)
        step = max(0.0, longer) * (t_us - last.t_us) if rest_kg is None else 0.0
        near = max(0.6 * d_kg, 2.5 * noise_kg, min(1.5 * step, FASTEST_STEP_KG))
        if rest_kg is not None and noise_kg < 0.3 * d_kg:
            near = 0.6 * d_kg
        if cleared:
            if rest_kg is None or jump < 0:
                return None
            return self._apply(t_us, rest_kg - (value_kg + self.offset_kg), rest_kg, True, True, 0)
        if abs(value_kg) > (max(near, 3 * d_kg) if flagged else near):
            return None
        if not flagged and abs(last.value_kg) - abs(value_kg) < max(1.6 * d_kg, near - 0.6 * d_kg):
            return None  # it was about zero before
        if net is False and last.net is False:
            return None  # a scale that says so when it is tared was not
        knocked = zero_us is not None and t_us - zero_us <= KNOCK_US
        if rest_kg is None and loaded and knocked and not flagged:
            return None
        before_kg = rest_kg
        if before_kg is None:
            before_kg = last.value_kg + self.offset_kg + step
        shift = before_kg - (value_kg + self.offset_kg)
        if rest_kg is not None and not flagged and abs(shift) < 0.6 * d_kg:
            return None  # a knock at zero
        lifted = empty_kg is not None and abs(value_kg + self.offset_kg - empty_kg) < max(
            3 * d_kg, 0.02 * abs(shift)
        )
        pressed = rest_kg is not None and jump < 0 and (net is True or not lifted)
        if not flagged and not pressed and not self._instant(jump, trend, t_us, d_kg):
            return None
        certain = flagged or net is True or not lifted
        if rest_kg is None and not loaded:
            # A bowl on its way, not a pour; unless it has all but come to rest.
            flat = before is not None and abs(last.value_kg - before.value_kg) <= max(
                2 * d_kg, 0.005 * abs(last.value_kg)
            )
            if not flat or jump > 0 or abs(last.value_kg) < max(8 * d_kg, LIGHTEST_KG):
                return None
            near = 0.6 * d_kg
            if abs(value_kg) > near:
                return None
        if loaded and rest_kg is None and jump < 0 and not flagged:
            fell_back = value_kg > base_kg - self.offset_kg - max(0.6 * d_kg, near)
            if fell_back and not self._is_stream(d_kg):
                return None  # an impact and its end: no lower than before it
        if jump > 0 and not flagged:
            # A bowl put back, or a pour passing zero, rather than a key pressed?
            far = jump > max(20 * d_kg, 0.03)
            late = t_us - last.t_us > (SLOW_US if loaded else QUICK_US)
            if late or rest_kg is None or (loaded and not far):
                return None
        self._earlier.clear()
        splice = UNEVEN * step
        return self._apply(t_us, shift, before_kg, rest_kg is not None, certain, splice)

    def _instant(self, jump: float, trend: float, t_us: int, d_kg: float) -> bool:
        """In one sample, from a reading that was not itself on its way there."""
        if self.before is None:
            return False
        earlier = trend * (t_us - self.before.t_us) / 2
        if jump < 0:
            return -earlier < max(2 * d_kg, 0.12 * -jump)
        return abs(earlier) < max(1.1 * d_kg, 0.02 * jump)

    def _is_stream(self, d_kg: float) -> bool:
        """Whether the last readings rose evenly, as under a stream, and not by one impact."""
        steps = [b.value_kg - a.value_kg for a, b in pairwise(self._earlier)]
        if len(steps) < 3 or min(steps) <= -d_kg:
            return False
        return max(steps) <= 0.6 * sum(steps)

    def _apply(
        self,
        t_us: int,
        shift_kg: float,
        before_kg: float,
        at_rest: bool,
        certain: bool,
        splice_kg: float,
    ) -> Zeroing:
        self.offset_kg += shift_kg
        return Zeroing(t_us, shift_kg, at_rest, certain, splice_kg, before_kg)
