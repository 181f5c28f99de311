"""A milestone's crossing in the readings, told from noise, glitches, gaps and moved probes."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from logger.plan import Milestone

CONFIRM_S = 20.0
CONFIRM_AFTER_BREAK_S = 60.0
SHARE = 0.6  # of the readings within the window that must lie beyond
REACH_S = 4.0  # readings must reach so near to the end of the window
SPARSE_S = 15.0  # where readings come more slowly, a single one may confirm


@dataclass(slots=True)
class Crossing:
    """Watches one milestone.

    Attributes:
        milestone: what is watched.
        rising: crossing upward (the bake) or downward (cooling).
        armed: whether the reading has been on the near side, so that there is something to cross.
        reached: concluded, once and for all.
    """

    milestone: Milestone
    rising: bool
    armed: bool = False
    reached: bool = False
    _seen: deque[tuple[float, float, bool]] = field(default_factory=deque)
    _confirm_s: float = CONFIRM_S
    _spacing_s: float = 0.0
    _last_s: float | None = None

    @property
    def pending_since_s(self) -> float | None:
        """When the crossing that is being confirmed began."""
        return self._seen[0][0] if self._seen else None

    @property
    def nearly(self) -> bool:
        """Whether a crossing is being confirmed that needs no holding."""
        return bool(self._seen) and self.milestone.hold_s == 0

    def interrupt(self, confirm_s: float = CONFIRM_AFTER_BREAK_S) -> None:
        """A gap, a glitch or a moved probe: what was pending is no crossing.

        What lies beyond afterwards must do so for `confirm_s` to count.
        """
        self._seen.clear()
        self._confirm_s = max(confirm_s, self._confirm_s)

    def feed(self, t_s: float, value: float, limit: float) -> tuple[float, float] | None:
        """A sound reading; (time, temperature) of the crossing once it is certain."""
        if self.reached:
            return None
        if self._last_s is not None:
            self._spacing_s = t_s - self._last_s
        self._last_s = t_s
        beyond = value >= limit if self.rising else value <= limit
        if not beyond and not self.armed:
            self.armed = True
        if not self.armed:
            return None
        if beyond or self._seen:
            self._seen.append((t_s, value, beyond))
        if not beyond and self._seen:
            # The start of the stretch moves on until enough of it lies beyond.
            while self._seen and not (self._seen[0][2] and self._mostly()):
                self._seen.popleft()
        if not beyond and not self._seen:
            self._confirm_s = CONFIRM_S
        return self.look(t_s)

    def look(self, now_s: float) -> tuple[float, float] | None:
        """Whether time alone has made the pending crossing certain."""
        if self.reached or not self._seen:
            return None
        start_s, value, _ = self._seen[0]
        need = max(self._confirm_s, self.milestone.hold_s)
        if now_s - start_s < need or not self._seen[-1][2]:
            return None
        covered = self._seen[-1][0] - start_s
        if len(self._seen) < 2 and (self._spacing_s < SPARSE_S or self._confirm_s > CONFIRM_S):
            return None
        # Silence proves nothing: the readings themselves must reach far enough.
        if covered < need - max(REACH_S, 1.5 * self._spacing_s):
            return None
        self.reached = True
        hold_s = self.milestone.hold_s
        if hold_s:
            at_end = [v for t, v, _ in self._seen if t - start_s <= hold_s]
            return start_s + hold_s, at_end[-1]
        return start_s, value

    def _mostly(self) -> bool:
        count = sum(1 for _, _, beyond in self._seen if beyond)
        return count >= SHARE * len(self._seen)
