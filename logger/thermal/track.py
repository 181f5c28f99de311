"""The course of a slow channel (oven, room, refrigerator): its value at any time."""

from __future__ import annotations

from bisect import bisect_right
from statistics import median

BIN_S = 10.0


class Track:
    """Values of one channel, thinned to one every `BIN_S` seconds (the mean of the readings)."""

    def __init__(self, low_c: float, high_c: float) -> None:
        """Values outside `low_c` … `high_c` are glitches and left out."""
        self._low, self._high = low_c, high_c
        self._t: list[float] = []
        self._v: list[float] = []
        self._count = 0

    def __bool__(self) -> bool:
        return bool(self._t)

    def add(self, t_s: float, celsius: float) -> bool:
        """A reading, and whether it was taken for one; times strictly increase."""
        if not self._low <= celsius <= self._high:
            return False
        if self._t and t_s - self._t[-1] < BIN_S:
            self._count += 1
            self._v[-1] += (celsius - self._v[-1]) / self._count
            return True
        self._t.append(t_s)
        self._v.append(celsius)
        self._count = 1
        return True

    def at(self, t_s: float) -> float | None:
        """The last value at or before `t_s` (the first one where all are later)."""
        if not self._t:
            return None
        return self._v[max(bisect_right(self._t, t_s) - 1, 0)]

    def middle(self, from_s: float, to_s: float) -> float | None:
        """Median over a span, which a glitch does not move; the last value where it is empty."""
        a, b = bisect_right(self._t, from_s), bisect_right(self._t, to_s)
        return self.at(to_s) if a == b else median(self._v[a:b])

    def mean(self, from_s: float, to_s: float) -> float | None:
        """Mean over a span; the last value before it where the span is empty."""
        a, b = bisect_right(self._t, from_s), bisect_right(self._t, to_s)
        if a == b:
            return self.at(to_s)
        return sum(self._v[a:b]) / (b - a)

    def peak(self, from_s: float, to_s: float) -> tuple[float, float] | None:
        """Time and value of the last near-highest value (within 0.2 K) of a span."""
        a, b = bisect_right(self._t, from_s - BIN_S), bisect_right(self._t, to_s)
        if a >= b:
            return None
        highest = max(self._v[a:b])
        for i in range(b - 1, a - 1, -1):
            if self._v[i] >= highest - 0.2:
                return self._t[i], highest
        return None

    def last_below(self, now_s: float, from_s: float, margin: float) -> float:
        """The last time at which the value was within `margin` of its lowest in the span."""
        a, b = bisect_right(self._t, from_s - BIN_S), bisect_right(self._t, now_s)
        lowest = min(self._v[a:b])
        for i in range(b - 1, a - 1, -1):
            if self._v[i] <= lowest + margin:
                return self._t[i]
        return from_s

    def since(self, from_s: float) -> list[tuple[float, float]]:
        """Times and values after `from_s`."""
        a = bisect_right(self._t, from_s)
        return list(zip(self._t[a:], self._v[a:], strict=True))
