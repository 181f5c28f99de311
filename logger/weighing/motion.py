"""The way from one rest to the next: was something put down in one go, or poured?"""

from __future__ import annotations

from itertools import pairwise

KEPT = 600
SUDDEN_US = 750_000
SLOWEST_FILTER_US = 2_700_000
FILTER_SKEW = 1.8
LULL = 0.5  # of the pace before and after


class Motion:
    """Readings since the last rest, and the scale's own quickness as learnt."""

    def __init__(self) -> None:
        self.path: list[tuple[int, float]] = []
        self.low_kg = 0.0
        self.interrupted = False
        self._quickest_us: float | None = None

    def begin(self, t_us: int, level_kg: float) -> None:
        """A rest was left at this level."""
        self.path = [(t_us, level_kg)]
        self.low_kg = level_kg
        self.interrupted = False

    def add(self, t_us: int, y_kg: float) -> None:
        """A reading on the way."""
        if len(self.path) >= KEPT:
            del self.path[1::2]  # a long pour needs no more detail than that
        self.path.append((t_us, y_kg))
        self.low_kg = min(self.low_kg, y_kg)

    def shift(self, by_kg: float) -> None:
        """The coordinate moved, not the load."""
        self.path = [(t, y + by_kg) for t, y in self.path]
        self.low_kg += by_kg

    def _crossings(self, from_kg: float, to_kg: float) -> tuple[int, int, int] | None:
        step = to_kg - from_kg
        if not self.path or step == 0:
            return None
        at: list[int] = []
        for part in (0.1, 0.5, 0.9):
            t = next((t for t, y in self.path if (y - from_kg) / step >= part), None)
            if t is None:
                return None
            at.append(t)
        return at[0], at[1], at[2]

    def last_below_us(self, level_kg: float, otherwise_us: int) -> int:
        """When a reading was last at or below a level."""
        times = [t for t, y in self.path if y <= level_kg]
        return times[-1] if times else otherwise_us

    def jumps_to(self, level_kg: float, tolerance_kg: float, least_kg: float) -> bool:
        """Whether one reading brought it from at least so far below to a level."""
        return any(
            abs(y1 - level_kg) <= tolerance_kg and y1 - y0 >= least_kg
            for (_, y0), (_, y1) in pairwise(self.path)
        )

    def duration_us(self, from_kg: float, to_kg: float) -> float:
        """Time from a tenth to nine tenths of the step; infinite where that was not seen."""
        times = self._crossings(from_kg, to_kg)
        return float("inf") if times is None else float(times[2] - times[0])

    def is_sudden(self, from_kg: float, to_kg: float, period_us: float) -> bool:
        """Whether the step came as quickly as the scale can show one."""
        if self.interrupted:
            return True
        times = self._crossings(from_kg, to_kg)
        if times is None:
            return False
        t10, t50, t90 = times
        rise = t90 - t10
        quick = SUDDEN_US
        if self._quickest_us is not None:
            quick = max(quick, round(1.6 * self._quickest_us + 1.2 * period_us))
        if rise <= max(quick, 1.2 * period_us):
            return True
        # A filter's answer to a step starts steep and flattens; a pour does not.
        skew = (t90 - t50) / max(t50 - t10, period_us / 2)
        return rise <= SLOWEST_FILTER_US and skew >= FILTER_SKEW and self.is_smooth(from_kg, to_kg)

    def is_smooth(self, from_kg: float, to_kg: float) -> bool:
        """Whether the step grew without a lull, as a filter shows one that was made in one go.

        What is poured comes in clumps: its pace falls and rises again on the way.
        """
        step = to_kg - from_kg
        parts = [(t, (y - from_kg) / step) for t, y in self.path]
        way = [parts[0]] if parts else []
        for t, part in parts[1:]:
            way.append((t, part))
            if part >= 0.9:
                break
        paces = [(b - a) / max(t1 - t0, 1) for (t0, a), (t1, b) in pairwise(way)]
        if len(paces) < 4:
            return True
        # Over two readings each, so that the times of the frames and the display's steps even out.
        paces = [(a + b) / 2 for a, b in pairwise(paces)]
        for number, pace in enumerate(paces):
            around = min(max(paces[: number + 1]), max(paces[number:]))
            if pace < LULL * around:
                return False
        return True

    def learn(self, from_kg: float, to_kg: float) -> None:
        """A bowl was put on or lifted this way: so quick is the scale."""
        times = self._crossings(from_kg, to_kg)
        if times is None or self.interrupted:
            return
        rise = float(times[2] - times[0])
        if rise <= SLOWEST_FILTER_US:
            known = self._quickest_us
            self._quickest_us = rise if known is None else min(known, rise)
