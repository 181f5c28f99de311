"""The room `Thermal`: stages of bake and cooling, milestones, forecasts."""

from __future__ import annotations

from drivers.reading import MICROSECOND, Reading
from logger import events as ev
from logger.entries import Gap, Mark
from logger.events import Body, Event
from logger.plan import Milestone, Plan
from logger.thermal import ensemble as rows
from logger.thermal.crossing import Crossing
from logger.thermal.design_points import Array
from logger.thermal.ensemble import Ensemble
from logger.thermal.follower import Follower, Note
from logger.thermal.forecast import Course, run
from logger.thermal.notice import Doors, cooling_since, way_in, way_out
from logger.thermal.places import move
from logger.thermal.priors import priors
from logger.thermal.safety import SlowCooling
from logger.thermal.surroundings import Surroundings
from logger.thermal.teller import (
    bake_forecast,
    cooling_after_bake,
    cooling_forecast,
    goal,
    way_out_of_members,
)

# Forecasts are said this often; where a crossing is being confirmed they wait up to the longest,
# so that none is said after what it foretells.
EVERY_S, LONGEST_S = 40.0, 60.0
LOOK_EVERY_S = 10.0
DURATIONS_KEEP_S = 300.0
BEFORE, OVEN, COOLING = "before", "oven", "cooling"
# A core this warm at the first record, without an oven about it, is a cake that is cooling.
WARM_K, WARM_C = 8.0, 35.0
GAP_S = 5.0
CRUMB_ABOVE_BOILING_K = 6.0  # syrup boils a little higher, and probes are a little wrong
NEW_PLACE_CONFIRM_S = 600.0


def last_core(plan: Plan) -> str:
    """The role of the last core: ``core``, or the highest of ``core 2`` …"""
    cores = [role for role in plan.channels.values() if role.split(" ")[0] == "core"]

    def number(role: str) -> int:
        rest = role.removeprefix("core").strip()
        return int(rest) if rest.isdigit() else 1

    return max(cores, key=number, default="core")


class Thermal:
    """Doneness and cooling of one batch; implements `logger.room.Room`."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._priors = priors(plan)
        self._core_role = last_core(plan)
        self._origin_us: int | None = None
        self._air = Surroundings(plan)
        self._follower = Follower(self._air)
        self._doors = Doors()
        self._stage = BEFORE
        self._started = False  # cooling.started was said
        self._in_s = 0.0
        self._out_how: str | None = None
        self._bake = [Crossing(m, rising=True) for m in plan.bake_milestones]
        self._cool = [Crossing(m, rising=False) for m in plan.cooling_milestones]
        self._due_s: float | None = None
        self._said_s = 0.0
        self._looked_s = 0.0
        self._first_s: float | None = None
        self._safety = SlowCooling(plan)
        self._durations: tuple[float, Course] | None = None

    # Time inside is seconds from the first record: shifting all times changes nothing else.

    def _time(self, t_us: int) -> float:
        if self._origin_us is None:
            self._origin_us = t_us - t_us % MICROSECOND
        return (t_us - self._origin_us) / MICROSECOND

    @property
    def _origin_s(self) -> float:
        return (self._origin_us or 0) / MICROSECOND

    def _epoch(self, t_s: float) -> float:
        return round(self._origin_s + t_s, 6)

    def on_reading(self, reading: Reading, role: str) -> list[Body]:
        """A reading of the last core, the oven, the room, the refrigerator or the surface."""
        t_s = self._time(reading.t_us)
        celsius = reading.value
        if celsius is None or reading.unit != "Cel":
            return []
        if role == self._core_role:
            return self._core(t_s, celsius)
        if role == "surface":
            return self._surface(t_s, celsius)
        tracks = {"oven": self._air.oven, "room": self._air.room, "refrigerator": self._air.cold}
        track = tracks.get(role)
        if track is not None:
            track.add(t_s, celsius)
        return []

    def on_gap(self, gap: Gap) -> list[Body]:
        """Missing readings: nothing pending is a crossing."""
        self._time(gap.from_us)
        if gap.to_us - gap.from_us >= GAP_S * MICROSECOND and self._reads(gap.instrument):
            self._interrupt()
        return []

    def on_event(self, event: Event) -> list[Body]:
        """The oven's door is heard, to date the way in and out."""
        if isinstance(event.body, ev.OvenDoor) and self._origin_us is not None:
            start, end = event.body.start_at - self._origin_s, event.body.end_at - self._origin_s
            self._doors.spans.append((start, end))
        return []

    def on_mark(self, mark: Mark) -> list[Body]:
        """Marks about the cake and its probe."""
        t_s = self._time(mark.t_us)
        match mark.kind:
            case "into oven":
                return self._into_oven(t_s, "marked", 1.0)
            case "out of oven":
                return self._out_of_oven(t_s, "marked", 1.0)
            case "moved":
                return self._moved(t_s, mark.text("place"))
            case "probe moved":
                return self._probe_moved(t_s, mark)
            case "spot reading":
                self._spot(t_s, mark)
        return []

    def on_second(self, t_us: int) -> list[Body]:
        """Confirms crossings, notices, and says what is due."""
        now_s = self._time(t_us)
        out: list[Body] = []
        if self._stage == BEFORE:
            self._presume_cooling(now_s)
        for crossing in self._watched():
            if (hit := crossing.look(now_s)) is not None:
                out.append(self._reached(crossing, hit))
        if self._stage == COOLING and (caution := self._safety.look(now_s, self._origin_s)):
            out.append(caution)
        if self._due_s is None or now_s < self._due_s or self._stage == BEFORE:
            return out
        if now_s - self._said_s < LONGEST_S and any(c.nearly for c in self._watched()):
            return out
        out += self._forecasts(now_s)
        self._said_s, self._due_s = now_s, now_s + EVERY_S
        return out

    # The core

    def _core(self, t_s: float, celsius: float) -> list[Body]:
        if self._first_s is None:
            self._first_s = t_s
        out: list[Body] = []
        last = self._follower.last
        is_sound, notes = self._follower.feed(t_s, celsius)
        for note in notes:
            out += self._noted(t_s, note)
        if not is_sound:
            return out
        if last is not None and t_s - last[0] > GAP_S and t_s - last[0] > 4 * self._spacing(last):
            self._interrupt()
        self._last_gap_s = t_s - last[0] if last is not None else 0.0
        if self._stage == COOLING:
            self._safety.feed(t_s, celsius)
        if t_s - self._looked_s >= LOOK_EVERY_S:
            self._looked_s = t_s
            out += self._look(t_s)
        for crossing in self._watched():
            limit = self._limit(crossing.milestone, t_s)
            if limit is not None and (hit := crossing.feed(t_s, celsius, limit)) is not None:
                out.append(self._reached(crossing, hit))
        return out

    _last_gap_s = 0.0

    def _spacing(self, last: tuple[float, float]) -> float:
        """What the readings' spacing was before the last one."""
        return self._last_gap_s if self._last_gap_s > 0 else GAP_S

    def _limit(self, milestone: Milestone, t_s: float) -> float | None:
        """The core temperature a milestone is compared with, None where it is not the core's."""
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
        sure = float(air.mean()) - 1.645 * float(air.std())
        return self._air.room_c(t_s) + sure + milestone.core_above_room_k

    def _surface(self, t_s: float, celsius: float) -> list[Body]:
        out: list[Body] = []
        for crossing in self._watched():
            limit = crossing.milestone.surface_c
            if limit is not None and (hit := crossing.feed(t_s, celsius, limit)) is not None:
                out.append(self._reached(crossing, hit))
        return out

    def _watched(self) -> list[Crossing]:
        """Crossings that may be concluded in the present stage."""
        if self._stage == BEFORE:
            return []
        bake = [c for c in self._bake if not c.reached]
        if self._stage == OVEN:
            return bake
        cool = [c for c in self._cool if not c.reached]
        return bake + cool if self._out_how is not None else cool

    def _reached(self, crossing: Crossing, hit: tuple[float, float]) -> Body:
        at, celsius = self._epoch(hit[0]), round(hit[1], 3)
        if crossing.rising:
            return ev.BakeReached(crossing.milestone.name, at, celsius)
        return ev.CoolingReached(crossing.milestone.name, at, celsius)

    def _interrupt(self, confirm_s: float | None = None) -> None:
        for crossing in self._bake + self._cool:
            if confirm_s is None:
                crossing.interrupt()
            else:
                crossing.interrupt(confirm_s)

    def _noted(self, t_s: float, note: Note) -> list[Body]:
        if note is Note.BROKEN:
            self._interrupt()
            return []
        if note is Note.NEW_PLACE:
            self._interrupt(NEW_PLACE_CONFIRM_S)
        self._due_s = min(self._due_s or t_s, t_s)
        if self._stage != COOLING:
            return []
        return [ev.CoolingChanged(self._epoch(t_s), None, note.value, "noticed")]

    def _reads(self, instrument: str) -> bool:
        wanted = (self._core_role, "surface")
        return any(
            name.split("/")[0] == instrument and role in wanted
            for name, role in self._plan.channels.items()
        )

    # Stages

    def _look(self, t_s: float) -> list[Body]:
        """Notice the way in, the way out, or a cake that is cooling."""
        f = self._follower
        if f.astray:
            return []
        if self._stage == OVEN:
            found = way_out(f.track, self._doors, t_s, max(f.level_since_s, self._in_s))
            if found is not None:
                return self._out_of_oven(found.at_s, "noticed", found.confidence, t_s)
            return []
        if not self._started:
            found = way_in(f.track, self._air.oven, self._doors, t_s, f.level_since_s)
            if found is not None:
                return self._into_oven(found.at_s, "noticed", found.confidence)
            since_s = cooling_since(
                f.track,
                t_s,
                f.level_since_s,
                self._air.room_c(t_s),
                self._priors.boiling_c + CRUMB_ABOVE_BOILING_K,
            )
            if since_s is not None and self._may_be_cooling(t_s):
                return self._start_cooling(since_s)
        return []

    def _may_be_cooling(self, t_s: float) -> bool:
        last = self._follower.last
        if last is None or last[1] < max(self._air.room_c(t_s) + WARM_K, WARM_C):
            # Cool batter comes to the room's temperature too; a late session has fallen for long.
            return not self._plan.bake_milestones and self._stage == COOLING
        return True

    def _presume_cooling(self, now_s: float) -> None:
        """A warm core at the first record with no bake to come: forecast at once."""
        last, f = self._follower.last, self._follower
        if last is None or self._plan.bake_milestones or self._air.oven:
            return
        if last[1] < self._air.room_c(now_s) + 2.0 or now_s - last[0] > 120.0:
            return
        self._stage = COOLING
        self._follow_cooling(self._first_s if self._first_s is not None else last[0])
        self._due_s = now_s
        for t_s, celsius in f.track.since(-1.0):
            for crossing in self._cool:
                limit = self._limit(crossing.milestone, t_s)
                if limit is not None:
                    crossing.feed(t_s, celsius, limit)

    def _follow_cooling(self, since_s: float) -> None:
        first = self._follower.track.at(since_s)
        e = Ensemble(self._priors, since_s)
        air_c = self._air.air_c(since_s, False)
        e.spread_air(self._air.air_spread_k())
        e.start_cooling(first if first is not None else air_c, air_c)
        self._follower.start(e)

    def _start_cooling(self, since_s: float) -> list[Body]:
        if self._stage == BEFORE:
            self._stage = COOLING
            self._follow_cooling(since_s)
            self._due_s = since_s
        self._started = True
        return [self._cooling_started(since_s)]

    def _into_oven(self, in_s: float, how: str, confidence: float) -> list[Body]:
        f = self._follower
        if self._stage == OVEN:
            return []
        e = f.ensemble if self._stage == COOLING and self._out_how is not None else None
        self._stage, self._in_s, self._started, self._durations = OVEN, in_s, False, None
        if e is not None:
            f.flush()
            e.advance(in_s, self._air.air_c(in_s, False))
            e.in_oven, e.changed_s = True, in_s
        else:
            e = Ensemble(self._priors, in_s)
            e.in_oven = True
            batter = f.track.at(in_s) if f.track else None
            if batter is not None and batter < 45.0:
                e.start_uniform(batter, 0.8)
            else:
                e.start_uniform(*self._priors.batter_c)
            f.start(e)
        self._due_s = in_s
        return [ev.BakeIn(self._epoch(in_s), how, confidence)]

    def _out_of_oven(
        self, out_s: float, how: str, confidence: float, now_s: float | None = None
    ) -> list[Body]:
        f = self._follower
        said: list[Body] = [ev.BakeOut(self._epoch(out_s), how, confidence)]
        if self._stage == COOLING and self._out_how is not None:
            # The mark after it was noticed stands beside it; a second mark says nothing new.
            if how == "marked" and self._out_how == "noticed":
                self._out_how = how
                return said
            return []
        f.flush()
        self._out_how = how
        e = f.ensemble
        core = f.track.at(out_s)
        if e is None or self._stage != OVEN:
            e = Ensemble(self._priors, out_s)
            e.start_hot(core if core is not None else self._priors.plateau_c[0] - 2.0)
            f.start(e)
        else:
            e.advance(out_s, self._air.air_c(out_s, True))
            if now_s is not None:
                # Noticed late: meanwhile the outside has been cooling.
                e.loosen(rows.OUTER, 5.0, -8.0)
                e.loosen(rows.MIDDLE, 2.0, -2.0)
        e.in_oven, e.changed_s = False, out_s
        e.loosen(rows.EXCHANGE, 0.25)
        e.spread_air(self._air.air_spread_k())
        f.course = None
        self._stage, self._started, self._due_s = COOLING, True, out_s
        return [*said, self._cooling_started(out_s)]

    def _cooling_started(self, since_s: float) -> Body:
        core = self._follower.track.at(since_s)
        return ev.CoolingStarted(self._epoch(since_s), None if core is None else round(core, 2))

    # Places and probes

    def _moved(self, t_s: float, place: str | None) -> list[Body]:
        out = self._out_of_oven(t_s, "marked", 1.0) if self._stage == OVEN else []
        if self._stage != COOLING:
            self._air.place = place
            return out
        self._follower.flush()
        before_s = self._air.air_c(t_s, False)
        e = self._follower.ensemble
        if e is not None:
            e.advance(t_s, before_s)
            move(e, self._air, place, t_s)
        self._air.place = place
        self._follower.course = None
        self._due_s = t_s
        return [*out, ev.CoolingChanged(self._epoch(t_s), place, "moved", "marked")]

    def _probe_moved(self, t_s: float, mark: Mark) -> list[Body]:
        if mark.probe is not None and self._plan.role(mark.probe) not in (self._core_role, None):
            return []
        self._follower.flush()
        self._follower.probe_moves(t_s)
        self._interrupt(NEW_PLACE_CONFIRM_S)
        if self._stage != COOLING:
            return []
        return [ev.CoolingChanged(self._epoch(t_s), None, "probe moved", "marked")]

    def _spot(self, t_s: float, mark: Mark) -> None:
        """A thermometer held in by hand; its own error is that of hand and place."""
        celsius, place = mark.number("temperature_c"), mark.text("place") or "core"
        e = self._follower.ensemble
        if celsius is None or not -30.0 <= celsius <= 130.0:
            return
        if place == "room":
            self._air.room.add(t_s, celsius)
        elif e is not None and place in ("core", "centre", "center", "middle", "surface"):
            self._follower.flush()
            e.advance(t_s, self._air.air_c(t_s, e.in_oven))
            e.assimilate(celsius, rows.OUTER if place == "surface" else rows.CORE, 1.5)

    # Forecasts

    def _forecasts(self, now_s: float) -> list[Body]:
        f = self._follower
        out: list[Body] = []
        for note in f.flush():
            out += self._noted(now_s, note)
        e = f.at_now(now_s)
        if e is None:
            return out
        in_oven = self._stage == OVEN
        air_c = self._air.air_to_come_c(now_s, in_oven, self._in_s)
        room_c = self._air.room_c(now_s)
        bake = [c for c in self._bake if not c.reached and (in_oven or self._out_how)]
        cool = [c for c in self._cool if not c.reached and (in_oven or self._is_ahead(c, now_s))]
        bake_goals = [goal(c.milestone, True) for c in bake]
        cool_goals = [goal(c.milestone, False) for c in cool]
        if in_oven:
            f.course = course = run(e, air_c, room_c, bake_goals)
        else:
            f.course = course = run(e, air_c, room_c, bake_goals + cool_goals)
        for i, crossing in enumerate(bake):
            out.append(
                bake_forecast(
                    crossing.milestone,
                    course.crossings[i],
                    course.settles[i],
                    now_s,
                    self._origin_s,
                    self._priors.boiling_c,
                    not in_oven,
                )
            )
        way_out_s: Array | float = 0.0
        later, start = course, len(bake)
        if in_oven and cool:
            later, start = self._cooling_to_come(e, now_s, room_c), 0
            way_out_s = way_out_of_members(course, len(bake), bool(self._bake), now_s)
        for i, crossing in enumerate(cool, start):
            times, settles = later.crossings[i] + way_out_s, later.settles[i]
            out.append(cooling_forecast(crossing.milestone, times, settles, now_s, self._origin_s))
        return out

    def _is_ahead(self, crossing: Crossing, now_s: float) -> bool:
        """Whether the core is still on the near side of a milestone of the cooling."""
        last = self._follower.last
        limit = self._limit(crossing.milestone, now_s)
        if crossing.armed or last is None or limit is None:
            return True
        return last[1] > limit or self._follower.astray

    def _cooling_to_come(self, e: Ensemble, now_s: float, room_c: float) -> Course:
        """Durations after the way out; they change slowly, so they are kept for a while."""
        if self._durations is None or now_s - self._durations[0] >= DURATIONS_KEEP_S:
            goals = [goal(c.milestone, False) for c in self._cool]
            spread = self._air.air_spread_k()
            self._durations = (now_s, cooling_after_bake(e, room_c, spread, room_c, goals))
        return self._durations[1]
