"""When the oven is preheated: by its mean, never by a peak.

The rule, in order:

1. *A cycling oven* is judged at the end of each full cycle, from fall to fall or from rise to
   rise, that began after the first peak (the first one overshoots), by its mean. It is preheated
   when the mean is within 2 °C of the set point; or when the mean has stopped rising, wherever
   that is: an oven whose mean settles 15 °C below its dial will not get any hotter by waiting.
   Stopped means: it changes by less than 0.13 °C a minute against a cycle at least 8 minutes
   before (walls that take a quarter of an hour then have less than 2 °C to go). Above the set
   point a change of less than 3 °C between cycles is enough.
2. *An oven without cycles* is judged by the means of whole minutes: five of them within 1.5 °C and
   their mean within 2 °C of the set point; or two times five minutes whose means differ by less
   than the same 0.13 °C a minute.
3. *A session that begins hot*: the first reading lies within the first full swing, and the set
   point, too; then it is preheated as soon as that swing is seen, from the first reading on.

Nothing is preheated that is cold (below 60 °C, or 40 °C under its set point). Cycles and minutes
with a door in them are not asked. The figures are first values, without a source.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from logger.oven.air import Trace
from logger.oven.cycles import Cycle
from logger.oven.turns import Turn

WITHIN_C = 2.0
STOPPED_C_PER_S = 0.13 / 60
STOPPED_OVER_S = 480.0
ABOVE_C = 3.0
FLAT_MINUTES, FLAT_C = 5, 1.5
COLDEST_C, COLDEST_BELOW_C = 60.0, 40.0
MINUTE_S = 60.0


@dataclass(frozen=True, slots=True)
class Preheated:
    """When the mean held the set point, and that mean."""

    reached_s: float
    mean_c: float


@dataclass(slots=True)
class Minutes:
    """Means of whole minutes; a minute that was disturbed begins the row anew."""

    trace: Trace
    means: list[float] = field(default_factory=list)
    _end_s: float = MINUTE_S

    @property
    def end_s(self) -> float:
        """When the last whole minute ended."""
        return self._end_s - MINUTE_S

    def add(self, t_s: float) -> bool:
        """Whether a minute became whole at this time."""
        if t_s < self._end_s:
            return False
        while self._end_s <= t_s:
            from_s, to_s = self._end_s - MINUTE_S, self._end_s
            self._end_s += MINUTE_S
            missing = self.trace.missing_s(from_s, to_s) > 0
            if missing or not self.trace.between(from_s, to_s):
                self.means.clear()
            else:
                self.means.append(self.trace.mean(from_s, to_s))
        del self.means[:-30]
        return True

    def restart(self, t_s: float) -> None:
        """Begin anew with the minute from `t_s` on: a door, a turn."""
        self.means.clear()
        self._end_s = max(self._end_s, t_s + MINUTE_S)


@dataclass(slots=True)
class Preheat:
    """Decides once; `set_point_c` None judges by the stopped mean alone."""

    set_point_c: float | None
    done: Preheated | None = None
    cycles: list[Cycle] = field(default_factory=list)

    def cycle(self, cycle: Cycle, first_peak_s: float | None) -> Preheated | None:
        """A full cycle without a door; `first_peak_s` is when the session's first peak was."""
        if self.done is not None or first_peak_s is None or cycle.from_s < first_peak_s:
            return None
        self.cycles.append(cycle)
        mean = cycle.mean_c
        if not self._is_hot(mean):
            return None
        if self._is_within(mean) or self._stopped(cycle):
            self.done = Preheated(cycle.to_s, mean)
        return self.done

    def _stopped(self, cycle: Cycle) -> bool:
        centre = (cycle.from_s + cycle.to_s) / 2
        for earlier in reversed(self.cycles[:-1]):
            apart = centre - (earlier.from_s + earlier.to_s) / 2
            change = abs(cycle.mean_c - earlier.mean_c)
            if self.set_point_c is not None and cycle.mean_c > self.set_point_c:
                return change <= ABOVE_C
            if apart >= STOPPED_OVER_S:
                return change <= STOPPED_C_PER_S * apart
        return False

    def minute(self, minutes: Minutes, t_s: float) -> Preheated | None:
        """A minute became whole; `minutes` holds those since the last turn or door."""
        if self.done is not None or len(minutes.means) < FLAT_MINUTES:
            return None
        last = minutes.means[-FLAT_MINUTES:]
        mean = sum(last) / len(last)
        if not self._is_hot(mean):
            return None
        flat = max(last) - min(last) <= FLAT_C
        if flat and self._is_within(mean):
            self.done = Preheated(t_s, mean)
        elif len(minutes.means) >= 2 * FLAT_MINUTES:
            before = minutes.means[-2 * FLAT_MINUTES : -FLAT_MINUTES]
            change = abs(mean - sum(before) / len(before))
            if change <= STOPPED_C_PER_S * FLAT_MINUTES * MINUTE_S:
                self.done = Preheated(t_s, mean)
        return self.done

    def began_hot(self, first_c: float, turns: list[Turn]) -> Preheated | None:
        """A turn became known; was the oven hot and cycling when the session began?"""
        real = [t for t in turns if not t.first]
        if self.done is not None or self.set_point_c is None or len(real) != 2:
            return None
        low, high = sorted(t.celsius for t in real)
        edge = 0.15 * (high - low)
        mean = (low + high) / 2
        reach = max(WITHIN_C, (high - low) / 2)
        if low - edge <= first_c <= high + edge and abs(mean - self.set_point_c) <= reach:
            self.done = Preheated(0.0, mean)
        return self.done

    def _is_within(self, mean_c: float) -> bool:
        return self.set_point_c is not None and abs(mean_c - self.set_point_c) <= WITHIN_C

    def _is_hot(self, mean_c: float) -> bool:
        under = COLDEST_C if self.set_point_c is None else self.set_point_c - COLDEST_BELOW_C
        return mean_c >= max(COLDEST_C, under)
