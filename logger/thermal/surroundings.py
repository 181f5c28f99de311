"""The air around the cake: which channel or assumption it is, now and in the time to come."""

from __future__ import annotations

from logger.plan import Plan
from logger.thermal.priors import COLD_AIR, room_prior
from logger.thermal.track import Track

ROOM_MEAN_S = 300.0
OVEN_UNKNOWN_C = 175.0
# The oven's air recovers from loading within minutes; its mean is learnt after that.
RECOVERY_S, OVEN_MEAN_S = 300.0, 900.0


class Surroundings:
    """Oven, room and refrigerator as the cake meets them."""

    def __init__(self, plan: Plan, unmoulded: float | None = None) -> None:
        """`unmoulded`: how the loss out of the pan compares with that in it."""
        self._plan = plan
        self.unmoulded = unmoulded
        self.oven = Track(0.0, 400.0)
        self.room = Track(-20.0, 60.0)
        self.cold = Track(-40.0, 40.0)
        self.place: str | None = None

    @property
    def is_cold(self) -> bool:
        """Whether the cake stands in a refrigerator, freezer or ice bath."""
        return self.place in COLD_AIR

    def room_c(self, t_s: float) -> float:
        """The room at a time: measured, else assumed."""
        measured = self.room.mean(t_s - ROOM_MEAN_S, t_s)
        return room_prior(self._plan)[0] if measured is None else measured

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
                return now
            set_point = self._plan.oven.set_point_c
            return OVEN_UNKNOWN_C if set_point is None else set_point
        if place in COLD_AIR:
            if place == "refrigerator" and self.cold:
                measured = self.cold.mean(t_s - ROOM_MEAN_S, t_s)
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
        return 0.5 if self.room else room_prior(self._plan)[1]

    def air_to_come_c(self, t_s: float, in_oven: bool, in_at_s: float) -> float:
        """The air from now on: the oven's mean over its last cycles, else as now."""
        if not in_oven:
            return self.air_c(t_s, False)
        set_point = self._plan.oven.set_point_c
        start = max(in_at_s + RECOVERY_S, t_s - OVEN_MEAN_S)
        if self.oven and t_s - start >= RECOVERY_S:
            mean = self.oven.mean(start, t_s)
            if mean is not None:
                return mean
        return self.air_c(t_s, True) if set_point is None else set_point
