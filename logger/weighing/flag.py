"""A scale's own flag of rest: what it is worth is learnt from when it changes."""

from __future__ import annotations

LATE_US = 800_000  # after the readings rest; the numbers alone tell sooner than such a flag


class Flag:
    """Evidence, not truth.

    A flag that never changes says nothing, and one that always comes late says nothing while it
    still tells of motion.
    """

    def __init__(self) -> None:
        self._seen: set[bool] = set()
        self._last: bool | None = None
        self._soonest_us: int | None = None  # after the beginning of a rest

    def see(self, stable: bool | None, t_us: int, rests_since_us: int | None) -> bool | None:
        """Take the flag of a reading; what it tells of the load, None where nothing.

        Args:
            stable: as the scale says, None where it says nothing.
            t_us: time of the reading.
            rests_since_us: since when the readings are known to rest; None in motion.
        """
        if stable is None:
            return None
        self._seen.add(stable)
        if stable and self._last is False and rests_since_us is not None:
            lag_us = t_us - rests_since_us
            self._soonest_us = min(lag_us, self._soonest_us or lag_us)
        self._last = stable
        if len(self._seen) < 2:
            return None
        late = self._soonest_us is not None and self._soonest_us > LATE_US
        return None if late and not stable else stable
