"""Several pans with a probe each: the batch is done, or ready, when the last of them is.

Each core has a `Thermal` of its own; they know nothing of one another. Here what they say is made
one: a milestone is reached when the last pan has reached it, and its forecast is the latest one.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from drivers.reading import MICROSECOND, Reading
from logger import events as ev
from logger.entries import Gap, Mark
from logger.events import Body, Event
from logger.plan import Plan
from logger.room import Room
from logger.thermal.thermal import Thermal, cores

# A core that has not been read for so long, or whose probe is out of its cake, holds nothing up.
SILENT_S = 600.0
# Pans are moved together: the same, noticed in another pan within so long, is no news.
TOGETHER_S = 900.0


@dataclass(slots=True)
class _Pan:
    """One pan.

    Attributes:
        room: follows its core.
        read_us: when its core was last read, None while it never was.
        begun: whether it has been in the oven or cooling, so that it counts.
        forecasts, reached: what it said last of each milestone.
    """

    room: Thermal
    read_us: int | None = None
    begun: bool = False
    forecasts: dict[str, ev.BakeForecast | ev.CoolingForecast] = field(default_factory=dict)
    reached: dict[str, ev.BakeReached | ev.CoolingReached] = field(default_factory=dict)


def thermal(plan: Plan) -> Room:
    """The thermal room of a plan: of its one core, or of several."""
    return Pans(plan) if len(cores(plan)) > 1 else Thermal(plan)


class Pans:
    """Doneness and cooling of several pans; implements `logger.room.Room`."""

    def __init__(self, plan: Plan) -> None:
        self._pans = {role: _Pan(Thermal(plan, role)) for role in cores(plan)}
        self._open: set[str] = set()  # milestones that some pan has reached, and not all
        self._done: set[str] = set()
        self._speaks: dict[str, str] = {}  # whose forecast of a milestone stands
        self._said: list[Body] = []  # of stages and places, so that none is said twice
        self._now_us = 0

    def on_reading(self, reading: Reading, role: str) -> list[Body]:
        """A core goes to its own pan, all else to every pan."""
        self._now_us = max(self._now_us, reading.t_us)
        pan = self._pans.get(role)
        if pan is not None:
            if reading.value is not None:
                pan.read_us = reading.t_us
            return self._one(role, pan.room.on_reading(reading, role))
        return self._all({key: p.room.on_reading(reading, role) for key, p in self._pans.items()})

    def on_mark(self, mark: Mark) -> list[Body]:
        """To every pan; each knows which marks name another probe."""
        return self._all({key: pan.room.on_mark(mark) for key, pan in self._pans.items()})

    def on_gap(self, gap: Gap) -> list[Body]:
        """To every pan."""
        return self._all({key: pan.room.on_gap(gap) for key, pan in self._pans.items()})

    def on_second(self, t_us: int) -> list[Body]:
        """To every pan; then whether what was waited for is still to be waited for."""
        self._now_us = max(self._now_us, t_us)
        out = self._all({key: pan.room.on_second(t_us) for key, pan in self._pans.items()})
        return out + [body for name in sorted(self._open) for body in self._completed(name)]

    def on_event(self, event: Event) -> list[Body]:
        """To every pan."""
        return self._all({key: pan.room.on_event(event) for key, pan in self._pans.items()})

    def _all(self, said: dict[str, list[Body]]) -> list[Body]:
        return [body for role, bodies in said.items() for body in self._one(role, bodies)]

    def _one(self, role: str, bodies: list[Body]) -> list[Body]:
        """What becomes of what one pan says."""
        pan = self._pans[role]
        out: list[Body] = []
        for body in bodies:
            match body:
                case ev.BakeForecast() | ev.CoolingForecast():
                    pan.begun = True
                    pan.forecasts[body.milestone] = body
                    out += self._forecast(role, body)
                case ev.BakeReached() | ev.CoolingReached():
                    pan.begun = True
                    pan.reached[body.milestone] = body
                    self._open.add(body.milestone)
                    out += self._completed(body.milestone)
                case _ if not self._is_known(body):
                    self._said.append(body)
                    out.append(body)
        return out

    def _waited_for(self, milestone: str) -> list[str]:
        """The pans that a milestone still waits for."""
        return [
            role
            for role, pan in self._pans.items()
            if pan.begun
            and milestone not in pan.reached
            and pan.read_us is not None
            and self._now_us - pan.read_us <= SILENT_S * MICROSECOND
            and not pan.room.is_astray
        ]

    def _completed(self, milestone: str) -> list[Body]:
        if milestone in self._done or self._waited_for(milestone):
            return []
        self._open.discard(milestone)
        self._done.add(milestone)
        last = max(
            (role for role, pan in self._pans.items() if milestone in pan.reached),
            key=lambda role: self._pans[role].reached[milestone].reached_at,
        )
        return [replace(self._pans[last].reached[milestone], core=last)]

    def _forecast(
        self, role: str, body: ev.BakeForecast | ev.CoolingForecast
    ) -> list[ev.BakeForecast | ev.CoolingForecast]:
        """The latest of all pans, said when that pan says it or when it is another one."""
        name = body.milestone
        if name in self._done:
            return []
        waiting = [one for one in self._waited_for(name) if name in self._pans[one].forecasts]
        standing = {one: self._pans[one].forecasts[name] for one in waiting} or {role: body}
        last = max(standing, key=lambda one: _order(standing[one]))
        if role != last and self._speaks.get(name) == last:
            return []
        self._speaks[name] = last
        told = standing[last]
        if told.expected_at is None:
            return [replace(told, made_at=body.made_at, core=last)]
        lows = [f.low_at for f in standing.values() if f.low_at is not None]
        highs = [f.high_at for f in standing.values()]
        return [
            replace(
                told,
                made_at=body.made_at,
                low_at=max(lows, default=None),
                high_at=None if None in highs else max(h for h in highs if h is not None),
                core=last,
            )
        ]

    def _is_known(self, body: Body) -> bool:
        """Whether another pan has said as much."""
        match body:
            case ev.BakeIn() | ev.BakeOut():
                for said in reversed(self._said):
                    if isinstance(said, ev.BakeIn | ev.BakeOut):
                        return type(said) is type(body) and said.how in (body.how, "marked")
                return False
            case ev.CoolingStarted():
                for said in reversed(self._said):
                    if isinstance(said, ev.BakeIn | ev.CoolingStarted):
                        return isinstance(said, ev.CoolingStarted)
                return False
            case ev.CoolingChanged():
                return any(
                    isinstance(said, ev.CoolingChanged)
                    and (said.what, said.how, said.place) == (body.what, body.how, body.place)
                    and abs(said.changed_at - body.changed_at)
                    < (1.0 if body.how == "marked" else TOGETHER_S)
                    for said in self._said
                )
        return body in self._said


def _order(forecast: ev.Forecast) -> tuple[bool, float]:
    return forecast.expected_at is None, forecast.expected_at or 0.0
