"""The milestones of bake and cooling: which are watched, and what they are compared with."""

from __future__ import annotations

from dataclasses import dataclass

from logger.plan import Milestone, Plan
from logger.thermal import ensemble as rows
from logger.thermal.crossing import CONFIRM_AFTER_BREAK_S, Crossing
from logger.thermal.follower import Follower
from logger.thermal.surroundings import Surroundings

SURE = 1.645  # standard deviations below which 1 cake in 20 lies


@dataclass(frozen=True, slots=True)
class Hit:
    """A milestone reached; time in seconds from the room's origin."""

    milestone: str
    rising: bool
    at_s: float
    celsius: float


class Milestones:
    """Crossings of all milestones.

    Attributes:
        bake, cooling: in the plan's order.
        baked: whether an oven was seen, so that milestones of the bake are open.
    """

    def __init__(self, plan: Plan, air: Surroundings, follower: Follower) -> None:
        self._air, self._follower = air, follower
        self.bake = [Crossing(m, rising=True) for m in plan.bake_milestones]
        self.cooling = [Crossing(m, rising=False) for m in plan.cooling_milestones]
        self._watched: list[Crossing] = []
        self.baked = False

    def enter(self, in_oven: bool, was_in_oven: bool) -> None:
        """Watch what the stage can reach: carry-over reaches milestones of the bake after it."""
        if in_oven:
            self._watched = self.bake
        else:
            self._watched = self.bake + self.cooling if was_in_oven else self.cooling
        self.baked = in_oven or was_in_oven

    @property
    def is_confirming(self) -> bool:
        """Whether a crossing is being confirmed at this moment."""
        return any(c.nearly and not c.reached for c in self._watched)

    def interrupt(self, confirm_s: float = CONFIRM_AFTER_BREAK_S) -> None:
        """A gap, or a probe that moved: what was pending is no crossing."""
        for crossing in self.bake + self.cooling:
            crossing.interrupt(confirm_s)

    def feed_core(self, t_s: float, celsius: float) -> list[Hit]:
        """A sound reading of the core."""
        hits = []
        for crossing in self._watched:
            if crossing.reached:
                continue
            limit = self.limit(crossing.milestone, t_s)
            if limit is not None and (hit := crossing.feed(t_s, celsius, limit)) is not None:
                hits.append(_hit(crossing, hit))
        return hits

    def feed_surface(self, t_s: float, celsius: float) -> list[Hit]:
        """A reading of the surface."""
        hits = []
        for crossing in self._watched:
            limit = crossing.milestone.surface_c
            if limit is not None and (hit := crossing.feed(t_s, celsius, limit)) is not None:
                hits.append(_hit(crossing, hit))
        return hits

    def look(self, now_s: float) -> list[Hit]:
        """What time alone has made certain."""
        return [
            _hit(crossing, hit)
            for crossing in self._watched
            if (hit := crossing.look(now_s)) is not None
        ]

    def limit(self, milestone: Milestone, t_s: float) -> float | None:
        """The core temperature a milestone is compared with, None where there is none."""
        if milestone.core_c is not None:
            return milestone.core_c
        if milestone.core_above_room_k is None:
            return None
        if self._air.room_is_known():
            return self._air.room_c(t_s) + milestone.core_above_room_k
        # Nobody said how warm the room is: at least as warm as 19 cakes in 20 say.
        e = self._follower.ensemble
        if e is None or self._air.is_cold:
            return None
        air = e.x[rows.AIR]
        sure = float(air.mean()) - SURE * float(air.std())
        return self._air.room_c(t_s) + sure + milestone.core_above_room_k

    def is_ahead(self, crossing: Crossing, now_s: float) -> bool:
        """Whether the core is still on the near side of a milestone of the cooling."""
        last = self._follower.last
        limit = self.limit(crossing.milestone, now_s)
        if crossing.armed or last is None or limit is None:
            return True
        return last[1] > limit or self._follower.astray


def _hit(crossing: Crossing, hit: tuple[float, float]) -> Hit:
    return Hit(crossing.milestone.name, crossing.rising, *hit)
