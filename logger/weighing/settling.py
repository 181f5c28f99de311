"""Is the load at rest? Answered from the bare numbers; a scale's own flag is evidence, not truth.

Three kinds of rest are told from motion:

- quiet: for half a second no reading differs from another by more than a division, and this has
  lasted longer than the pace of the change before would explain (a trickle also pauses between
  two divisions);
- noisy: zero-mean vibration, by means of blocks that agree where a hand's wander does not;
- shifted: at rest, then at rest a division further, without visible motion between.
"""

from __future__ import annotations

import math
from collections import deque

from logger.weighing.flag import Flag
from logger.weighing.rest import Rest
from logger.weighing.vibration import FEWEST, WINDOWS_US, agree_by_chance, only_shakes

S = 1_000_000
QUIET_US = S // 2 - 30_000  # six readings at 10 Hz, with some jitter of their times
FEWEST_PERIODS = 3.4  # four readings, however slow the scale
LATE_US = 2 * S  # a level between two divisions is the mean of so long
REFINE_US = 4 * S  # a rest's level is refined this long; what moves later is creep
SHAKEN_US = 2 * S  # shaking so shortly before counts
KEEP_US = 4 * S
KEEP_READINGS = 200
LONGEST_PACE_US = 1_600_000


class Settler:
    """Rest and motion of one stream of readings."""

    def __init__(self) -> None:
        self.rest: Rest | None = None
        self.moving_since_us = 0
        self._recent: deque[tuple[int, float]] = deque(maxlen=KEEP_READINGS)
        self._period_us = 100_000.0
        self._typical_noise = 0.0
        self._suspects = 0
        self._mean = self._found_kg = 0.0
        self._limit = self._refine_limit = 0.0
        self._seen = (0.0, 0.0)  # least and most that this rest, and those it shifted from, showed
        self._skip = 0
        self._flag = Flag()

    @property
    def noise_kg(self) -> float:
        """Noise seen at earlier rests."""
        return self._typical_noise

    @property
    def period_us(self) -> float:
        """Usual time between readings."""
        return self._period_us

    def interrupt(self, t_us: int) -> None:
        """Readings are missing: what was seen before says nothing about what comes."""
        self._recent.clear()
        self.rest = None
        self.moving_since_us = t_us
        self._suspects = 0

    def shift(self, by_kg: float) -> None:
        """The coordinate moved, not the load."""
        moved = [(t, y + by_kg) for t, y in self._recent]
        self._recent.clear()
        self._recent.extend(moved)
        if self.rest is not None:
            self.rest.level_kg += by_kg
        self._seen = (self._seen[0] + by_kg, self._seen[1] + by_kg)
        self._mean += by_kg
        self._found_kg += by_kg

    def slope_kg_s(self, window_us: int = 600_000) -> float:
        """Present rate of change over the last moments, kg/s."""
        if len(self._recent) < 2:
            return 0.0
        t1, y1 = self._recent[-1]
        t0, y0 = self._recent[-2]
        for t, y in reversed(self._recent):
            if t1 - t > window_us:
                break
            t0, y0 = t, y
        return (y1 - y0) / (t1 - t0) * S if t1 > t0 else 0.0

    def feed(self, t_us: int, y_kg: float, d_kg: float, stable: bool | None) -> Rest | None:
        """Take a reading; a new rest where one was found with it."""
        recent = self._recent
        if recent:
            period = t_us - recent[-1][0]
            if period < 3 * S:
                self._period_us += 0.1 * (period - self._period_us)
        recent.append((t_us, y_kg))
        while t_us - recent[0][0] > KEEP_US:
            recent.popleft()
        told = self._flag.see(stable, t_us, None if self.rest is None else self.rest.start_us)
        if self.rest is not None:
            return self._at_rest(self.rest, t_us, y_kg, d_kg)
        return self._in_motion(t_us, d_kg, told)

    def _at_rest(self, rest: Rest, t_us: int, y_kg: float, d_kg: float) -> Rest | None:
        away = y_kg - rest.level_kg
        size = abs(away)
        limit = self._limit
        if size > limit:
            self._suspects += 1
            # One wild reading may be a glitch of the line; two are a load.
            if self._suspects >= 2 or size > 3 * limit:
                self._leave(t_us)
            return None
        self._suspects = 0
        rest.last_us = t_us
        self._mean += 0.2 * (y_kg - self._mean)
        near = abs(self._mean - rest.level_kg) < max(0.45 * d_kg, 0.5 * rest.noise_kg)
        if near and t_us - rest.settled_us <= REFINE_US and size <= self._refine_limit:
            self._refine(rest, y_kg)
        if abs(self._mean - rest.level_kg) < 0.55 * d_kg and rest.noise_kg <= 0.8 * d_kg:
            return None
        return self._shifted(rest, t_us, d_kg)

    def _refine(self, rest: Rest, y_kg: float) -> None:
        rest.count += 1
        # The first readings of a rest may hold the tail of the scale's filter: forget slowly.
        weight = max(1.0 / rest.count, 0.12)
        before = y_kg - rest.level_kg
        # Towards the recent mean, not the reading: a tap must stand out against the level.
        level = rest.level_kg + weight * (self._mean - rest.level_kg)
        # Further than this it is another rest, and `_shifted` says so.
        if abs(level - self._found_kg) <= max(0.6 * rest.division_kg, 0.3 * rest.noise_kg):
            rest.level_kg = level
        variance = (1 - weight) * (rest.noise_kg**2 + weight * before * before)
        rest.noise_kg = math.sqrt(variance)

    def _shifted(self, rest: Rest, t_us: int, d_kg: float) -> Rest | None:
        noisy = rest.noise_kg > 0.8 * d_kg
        quiet_us = max(QUIET_US, round(FEWEST_PERIODS * self._period_us))
        if noisy and t_us - rest.settled_us >= QUIET_US:
            newest = self._since(t_us - quiet_us)
            if len(newest) >= 4 and max(newest) - min(newest) <= 1.05 * d_kg:
                return self._found(newest, t_us, d_kg, shifted=True)  # what shook has stopped
        values = self._since(t_us - (max(1_500_000, quiet_us) if noisy else quiet_us))
        half = len(values) // 2
        if half < 2 or t_us - rest.settled_us < QUIET_US:
            return None
        mean = sum(values) / len(values)
        away = abs(mean - rest.level_kg)
        error = 4.0 * rest.noise_kg / math.sqrt(len(values))
        if away < (max(0.75 * d_kg, error) if noisy else 0.6 * d_kg):
            return None
        if not noisy and away <= 1.1 * d_kg and self._is_seen(mean, d_kg):
            # Between two divisions it shows now the one, now the other: their share tells more.
            late = self._since(max(rest.start_us, t_us - LATE_US))
            rest.level_kg = sum(late) / len(late)
            return None
        apart = abs(sum(values[:half]) - sum(values[-half:])) / half
        calm = apart <= (0.6 * d_kg + 2 * rest.noise_kg if noisy else 0.55 * d_kg)
        if calm and (noisy or max(values) - min(values) <= 1.05 * d_kg):
            return self._found(values, t_us, d_kg, shifted=True)
        if away > 1.5 * d_kg and not noisy:
            self._leave(t_us)  # it goes on and on: a slow beginning
        return None

    def _is_seen(self, level_kg: float, d_kg: float) -> bool:
        low, high = self._seen
        return low - 0.1 * d_kg <= level_kg <= high + 0.1 * d_kg

    def _leave(self, t_us: int) -> None:
        if self.rest is not None:
            self._learn_noise(self.rest)
            self.moving_since_us = self.rest.last_us
        self.rest = None
        self._suspects = 0

    def _learn_noise(self, rest: Rest) -> None:
        if rest.count >= 8:
            self._typical_noise += 0.3 * (rest.noise_kg - self._typical_noise)

    def _since(self, from_us: int) -> list[float]:
        values = []
        for t, y in reversed(self._recent):
            if t < from_us:
                break
            values.append(y)
        return values

    def _in_motion(self, t_us: int, d_kg: float, stable: bool | None) -> Rest | None:
        recent = self._recent
        low = high = recent[-1][1]
        band = 1.05 * d_kg
        start_us, count, before = t_us, 0, None
        # The longest run of agreeing readings up to now, and what came before it.
        for t, y in reversed(recent):
            new_low, new_high = min(low, y), max(high, y)
            if new_high - new_low > band:
                before = (t, y)
                break
            low, high, start_us = new_low, new_high, t
            count += 1
        need = 4 if self._period_us < 300_000 else 3
        quiet = t_us - start_us >= QUIET_US * (0.8 if stable else 1.0)
        if count >= need and quiet and not self._by_chance(start_us, t_us, count, band):
            if before is None or t_us - start_us >= self._pace_us(start_us, d_kg, stable):
                values = self._since(start_us)
                if self._no_trend(values, d_kg):
                    return self._found(values, t_us, d_kg)
            return None
        self._skip += 1
        if self._skip >= 3:
            self._skip = 0
            return self._noisy(t_us, d_kg)
        return None

    def _by_chance(self, start_us: int, t_us: int, count: int, band: float) -> bool:
        """Whether so few readings may agree by chance, as the load shook before."""
        if t_us - start_us > LONGEST_PACE_US:
            return False
        before = [y for t, y in self._recent if start_us - SHAKEN_US <= t <= start_us]
        return agree_by_chance(before, count, band)

    def _pace_us(self, start_us: int, d_kg: float, stable: bool | None) -> float:
        """How long a pause a stream as slow as the one before would make by itself."""
        level = self._recent[-1][1]
        oldest_t, oldest_y = start_us, level
        for t, y in reversed(self._recent):
            if t >= start_us:
                continue
            if start_us - t > S:
                break
            oldest_t, oldest_y = t, y
        span_us = start_us - oldest_t
        change = abs(level - oldest_y)
        if span_us <= 0 or change <= 0:
            return QUIET_US
        # A run of readings within a division is up to two divisions of a trickle long.
        pace = 2.6 * d_kg / change * span_us
        if stable is False:
            pace = max(pace, 2.0 * QUIET_US)
        return min(max(pace, QUIET_US * (0.8 if stable else 1.0)), LONGEST_PACE_US)

    def _no_trend(self, newest_first: list[float], d_kg: float) -> bool:
        half = len(newest_first) // 2
        late = sum(newest_first[:half]) / half
        early = sum(newest_first[-half:]) / half
        # Within one division only steps of a division are seen: more than half a division
        # between the halves is a step in the middle, and a step is not rest yet.
        return abs(late - early) <= 0.7 * d_kg

    def _noisy(self, t_us: int, d_kg: float) -> Rest | None:
        for window_us in WINDOWS_US:
            # Readings of the rest before are not evidence for this one.
            first_us = max(self._recent[0][0], self.moving_since_us)
            if t_us - first_us < window_us - self._period_us:
                return None
            values = self._since(t_us - window_us)
            if len(values) < FEWEST:
                return None
            if only_shakes(values, d_kg, self._typical_noise, window_us == WINDOWS_US[-1]):
                return self._found(values, t_us, d_kg)
        return None

    def _found(
        self, newest_first: list[float], t_us: int, d_kg: float, shifted: bool = False
    ) -> Rest:
        n = len(newest_first)
        mean = sum(newest_first) / n
        noise = math.sqrt(sum((y - mean) ** 2 for y in newest_first) / n)
        if noise < 0.6 * d_kg:
            # Quiet: what trend there is left is the filter's tail, and the newest know best.
            newest = newest_first[: (n + 1) // 2]
            mean = sum(newest) / len(newest)
        start_us = self._recent[-n][0]
        low, high = min(newest_first), max(newest_first)
        if shifted:
            near = 1.1 * d_kg
            low = min(low, max(self._seen[0], mean - near))
            high = max(high, min(self._seen[1], mean + near))
        self._seen = (low, high)
        self._mean = self._found_kg = mean
        # Frozen: a limit that grew with what it lets in would swallow slow additions.
        usual = min(max(noise, self._typical_noise), 2.0 * noise + 0.3 * d_kg)
        self._limit = max(1.3 * d_kg, 4.0 * usual)
        self._refine_limit = max(1.05 * d_kg, 3.0 * usual)
        self.rest = Rest(mean, start_us, t_us, noise, n, d_kg, t_us, shifted)
        self._suspects = 0
        return self.rest
