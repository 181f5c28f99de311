"""The air around the cake: which channel or assumption it is, now and in the time to come."""

from __future__ import annotations

import math
from statistics import median

from logger.plan import Plan
from logger.thermal.bake_priors import RADIATION, moved_air
from logger.thermal.idle_probes import WARMEST_C, room_by
from logger.thermal.priors import COLD_AIR, room_prior
from logger.thermal.track import Track

ROOM_S = 300.0  # the room, and the refrigerator, are what is read of them in so long
OVEN_UNKNOWN_C = 175.0
# Before the bake so long is looked back to where the core's probe lay, if it lay there a while.
LAY_S, LEAST_S = 3600.0, 300.0
# The oven's air recovers from loading within minutes; its mean is learnt after that.
RECOVERY_S, OVEN_MEAN_S = 300.0, 900.0
# Most of the heat comes from the walls, which follow the air in about ten minutes: an open door
# hardly cools them, and an oven just preheated is not hot through (common practice, no source).
WALLS_S = 600.0


class Surroundings:
    """Oven, room and refrigerator as the cake meets them."""

    def __init__(self, plan: Plan, unmoulded: float | None = None) -> None:
        """`unmoulded`: how the loss out of the pan compares with that in it."""
        self._plan = plan
        self.unmoulded = unmoulded
        self.oven = Track(0.0, 400.0)
        self._walls = Track(0.0, 400.0)
        self._walls_c = 0.0
        self._heard_s: float | None = None
        self._radiated = RADIATION / (RADIATION + moved_air(plan.oven.fan))
        self.room = Track(-20.0, 60.0)
        self.cold = Track(-40.0, 40.0)
        self.place: str | None = None
        self._assumed = room_prior(plan)

    def bake_begins(self, core: Track, in_s: float) -> None:
        """What the core's probe and the oven's have read tells of a room not measured."""
        seen = [(t, c) for t, c in core.since(in_s - LAY_S) if t <= in_s]
        lay = [c for _, c in seen if c <= WARMEST_C]
        lay_long = bool(seen) and in_s - seen[0][0] >= LEAST_S
        self._assumed = room_by(
            room_prior(self._plan),
            median(lay) if lay and lay_long else None,
            self.oven.at(-math.inf),
        )

    def hear_oven(self, t_s: float, celsius: float) -> None:
        """A reading of the oven's air; the walls follow it."""
        if not self.oven.add(t_s, celsius):
            return
        if self._heard_s is None:
            self._walls_c = celsius
        else:
            self._walls_c += (celsius - self._walls_c) * -math.expm1(
                (self._heard_s - t_s) / WALLS_S
            )
        self._heard_s = t_s
        self._walls.add(t_s, self._walls_c)

    def _felt_c(self, air_c: float, walls_c: float | None) -> float:
        """What a cake in the oven feels of the air and of walls (as hot, if nothing is known)."""
        return air_c if walls_c is None else air_c + self._radiated * (walls_c - air_c)

    @property
    def is_cold(self) -> bool:
        """Whether the cake stands in a refrigerator, freezer or ice bath."""
        return self.place in COLD_AIR

    def room_c(self, t_s: float) -> float:
        """The room at a time: measured, else assumed, by the plan and by probes that lay in it."""
        measured = self.room.middle(t_s - ROOM_S, t_s)
        return self._assumed[0] if measured is None else measured

    def room_is_known(self) -> bool:
        """Whether the room is measured or the plan says it."""
        return bool(self.room) or self._plan.room is not None

    def air_c(self, t_s: float, in_oven: bool) -> float:
        """The air around the cake at a time."""
        return self.air_at_c(t_s, in_oven, self.place)

    def air_at_c(self, t_s: float, in_oven: bool, place: str | None) -> float:
        """The air in the oven, or at a place."""
        if in_oven:
            now = self.oven.at(t_s)
            if now is not None:
                return self._felt_c(now, self._walls.at(t_s))
            set_point = self._plan.oven.set_point_c
            return OVEN_UNKNOWN_C if set_point is None else set_point
        if place in COLD_AIR:
            if place == "refrigerator" and self.cold:
                measured = self.cold.middle(t_s - ROOM_S, t_s)
                if measured is not None:
                    return measured
            return COLD_AIR[place][0]
        return self.room_c(t_s)

    def air_spread_k(self) -> float:
        """How far the air at the cake may be from `air_c`, as a standard deviation."""
        return self.spread_at_k(self.place)

    def spread_at_k(self, place: str | None) -> float:
        """How far the air at a place may be from `air_at_c`, as a standard deviation."""
        if place in COLD_AIR:
            if place == "refrigerator" and self.cold:
                return 1.0
            return COLD_AIR[place][1]
        return 0.5 if self.room else self._assumed[1]

    def air_to_come_c(self, t_s: float, in_oven: bool, in_at_s: float) -> float:
        """The air from now on: the oven's mean over its last cycles, else as now."""
        if not in_oven:
            return self.air_c(t_s, False)
        to_come_c = self._mean_to_come_c(t_s, in_at_s)
        walls_c = self._walls.at(t_s)
        # In the quarter of an hour to come walls make up half of what they lack.
        return self._felt_c(to_come_c, None if walls_c is None else 0.5 * (walls_c + to_come_c))

    def _mean_to_come_c(self, t_s: float, in_at_s: float) -> float:
        set_point = self._plan.oven.set_point_c
        start = max(in_at_s + RECOVERY_S, t_s - OVEN_MEAN_S)
        if self.oven and t_s - start >= RECOVERY_S:
            mean = self.oven.mean(start, t_s)
            if mean is not None:
                return mean
        if set_point is not None:
            return set_point
        now = self.oven.at(t_s)
        return OVEN_UNKNOWN_C if now is None else now
