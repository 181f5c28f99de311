"""The room `Thermal`: stages of bake and cooling, milestones, forecasts."""

from __future__ import annotations

from drivers.reading import MICROSECOND, Reading
from logger import events as ev
from logger.entries import Gap, Mark
from logger.events import Body, Event
from logger.plan import Plan
from logger.thermal import ensemble as rows
from logger.thermal.centre_tests import CentreTests
from logger.thermal.ensemble import Ensemble
from logger.thermal.follower import Follower, Note
from logger.thermal.milestones import Hit, Milestones
from logger.thermal.notice import (
    HOT_C,
    LONGEST_CARRY_OVER_S,
    Doors,
    cooling_since,
    hot_tip,
    way_in,
    way_out,
)
from logger.thermal.oven_probe import AIR_ABOVE_BOILING_K
from logger.thermal.places import move
from logger.thermal.priors import priors
from logger.thermal.safety import SlowCooling
from logger.thermal.surroundings import Surroundings
from logger.thermal.teller import Teller
from logger.thermal.window import Window

# Forecasts are said this often; where a crossing is being confirmed they wait up to the longest,
# so that none is said after what it foretells.
EVERY_S, LONGEST_S = 40.0, 60.0
LOOK_EVERY_S = 10.0
BEFORE, OVEN, COOLING = "before", "oven", "cooling"
# A core this warm at the first record, without an oven about it, is a cake that is cooling.
WARM_K, WARM_C = 8.0, 35.0
GAP_S = 5.0
FRESH_S = 60.0  # a core read no longer ago is the core at a centre test
CRUMB_ABOVE_BOILING_K = 6.0  # syrup boils a little higher, and probes are a little wrong
NEW_PLACE_CONFIRM_S = 600.0
# A core probe that is silent for longer is not waited for: what comes later teaches no more.
SILENT_CORE_S = 600.0
# What is out and falls rises no more: where it did before the mark, it was noticed wrongly.
BAKED_ON_K = 2.0


def cores(plan: Plan) -> list[str]:
    """The roles of the cores in their order: ``core``, ``core 2`` …; one pan may have none."""
    found = {role for role in plan.channels.values() if role.split(" ")[0] == "core"}

    def number(role: str) -> int:
        rest = role.removeprefix("core").strip()
        return int(rest) if rest.isdigit() else 1

    return sorted(found, key=number) or ["core"]


class Thermal:
    """Doneness and cooling of one pan; implements `logger.room.Room`."""

    def __init__(self, plan: Plan, core: str | None = None) -> None:
        """`core` is the role of its core; of the first one, if it is not told."""
        self._plan = plan
        self._priors = priors(plan)
        self._core_role = core or cores(plan)[0]
        self._origin_us: int | None = None
        self._air = Surroundings(plan, self._priors.unmoulded)
        self._follower = Follower(self._air)
        self._doors = Doors()
        self._stage = BEFORE
        self._started = False  # cooling.started was said
        self._in_s = 0.0
        self._out_how: str | None = None
        # A core that is out rises no more from then on: from when it was noticed, if it was.
        self._falls_from_s = 0.0
        self._bake_so_far: Ensemble | None = None  # until its way out was noticed
        self._milestones = Milestones(plan, self._air, self._follower)
        self._teller = Teller(self._air, self._follower, self._milestones, self._priors.boiling_c)
        self._due_s: float | None = None
        self._told_s = 0.0
        self._spacing_s = 0.0
        self._looked_s = 0.0
        self._first_s: float | None = None
        self._hot_since_s: float | None = None
        self._safety = SlowCooling(plan)
        self._window = Window(plan)
        self._tests = CentreTests(plan)
        self._batch = ""

    @property
    def is_astray(self) -> bool:
        """Whether the core's probe reads something other than this cake."""
        return self._follower.astray

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
        """A reading of its core, the oven, the room, the refrigerator or the surface."""
        t_s = self._time(reading.t_us)
        celsius = reading.value
        if celsius is None or reading.unit != "Cel":
            return []
        if role == self._core_role:
            return self._core(t_s, celsius)
        if role == "surface":
            return self._surface(t_s, celsius)
        if role == "oven":
            self._air.hear_oven(t_s, celsius)
        tracks = {"room": self._air.room, "refrigerator": self._air.cold}
        track = tracks.get(role)
        if track is not None:
            track.add(t_s, celsius)
        return []

    def on_gap(self, gap: Gap) -> list[Body]:
        """Missing readings: nothing pending is a crossing."""
        self._time(gap.from_us)
        if gap.to_us - gap.from_us >= GAP_S * MICROSECOND and self._reads(gap.instrument):
            self._milestones.interrupt()
        return []

    def on_event(self, event: Event) -> list[Body]:
        """The oven's door is heard, to date the way in and out; the formula's window is watched."""
        self._batch = event.batch
        if isinstance(event.body, ev.OvenDoor) and self._origin_us is not None:
            start, end = event.body.start_at - self._origin_s, event.body.end_at - self._origin_s
            self._doors.spans.append((start, end))
        return self._window.hear(event.body, event.at_us / MICROSECOND)

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
            case "centre test":
                return self._centre_test(t_s, mark)
        return []

    def _centre_test(self, t_s: float, mark: Mark) -> list[Body]:
        f = self._follower
        is_fresh = f.last is not None and f.last[0] > t_s - FRESH_S
        is_inside = self._stage == OVEN or self._out_how is not None
        core_c = None
        if is_fresh and is_inside and not (f.astray or f.in_oven.is_in_air):
            core_c = f.track.at(t_s)
        return self._tests.tested(
            mark.t_us,
            self._batch,
            mark.text("result"),
            None if core_c is None else round(core_c, 2),
            round(t_s - self._in_s, 3) if is_inside and self._in_s > 0 else None,
        )

    def on_second(self, t_us: int) -> list[Body]:
        """Confirms crossings, notices, and says what is due."""
        now_s = self._time(t_us)
        out: list[Body] = []
        if self._stage == BEFORE:
            self._presume_cooling(now_s)
        out += self._said(self._milestones.look(now_s))
        if self._stage == COOLING and (caution := self._safety.look(now_s, self._origin_s)):
            out.append(caution)
        if self._due_s is None or now_s < self._due_s or self._stage == BEFORE:
            return out
        self._go_on(now_s)
        if now_s - self._told_s < LONGEST_S and self._milestones.is_confirming:
            return out
        for note in self._follower.flush():
            out += self._noted(now_s, note)
        out += self._teller.tell(now_s, self._origin_s, self._in_s)
        self._told_s, self._due_s = now_s, now_s + EVERY_S
        return out

    def _go_on(self, now_s: float) -> None:
        """Let a cake that nobody reads go on, in the air of each time, up to lately."""
        e = self._follower.ensemble
        has_core = self._core_role in self._plan.channels.values()
        if e is None or (has_core and self._stage != OVEN):
            return
        lately_s = now_s - (SILENT_CORE_S if has_core else 0.0)
        while e.t_s < lately_s:
            t_s = min(e.t_s + EVERY_S, lately_s)
            e.advance(t_s, self._air.air_c(t_s, e.in_oven))

    # The core

    def _core(self, t_s: float, celsius: float) -> list[Body]:
        if self._first_s is None:
            self._first_s = t_s
        out: list[Body] = []
        if self._stage == BEFORE:
            out += self._hot_tip(t_s, celsius)
        last = self._follower.last
        is_sound, notes = self._follower.feed(t_s, celsius)
        for note in notes:
            out += self._noted(t_s, note)
        if not is_sound:
            # A probe pulled out and pushed in elsewhere is astray; crumb that cools falls anywhere.
            return out + (self._look(t_s) if self._stage == OVEN and self.is_astray else [])
        since_last_s = t_s - last[0] if last is not None else 0.0
        if since_last_s > max(GAP_S, 4 * (self._spacing_s or since_last_s)):
            self._milestones.interrupt()
        self._spacing_s = since_last_s
        if self._stage == COOLING:
            self._safety.feed(t_s, celsius)
        out += self._look(t_s)
        fine = self._follower.within_step(t_s, celsius)
        return out + self._said(self._milestones.feed_core(t_s, fine))

    def _hot_tip(self, t_s: float, celsius: float) -> list[Body]:
        """A probe above the batter reads the oven's air as soon as the cake is in."""
        if celsius <= self._priors.boiling_c + AIR_ABOVE_BOILING_K:
            self._hot_since_s = None
            return []
        if self._hot_since_s is None:
            self._hot_since_s = t_s
        found = hot_tip(self._follower.track, self._doors, self._hot_since_s, t_s)
        return [] if found is None else self._into_oven(found.at_s, "noticed", found.confidence)

    def _surface(self, t_s: float, celsius: float) -> list[Body]:
        return self._said(self._milestones.feed_surface(t_s, celsius))

    def _said(self, hits: list[Hit]) -> list[Body]:
        return [
            (ev.BakeReached if hit.rising else ev.CoolingReached)(
                hit.milestone, self._epoch(hit.at_s), round(hit.celsius, 3)
            )
            for hit in hits
        ]

    def _noted(self, t_s: float, note: Note) -> list[Body]:
        if note is Note.BROKEN:
            self._milestones.interrupt()
            return []
        if note is Note.NEW_PLACE:
            self._milestones.interrupt(NEW_PLACE_CONFIRM_S)
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

    def _enter(self, stage: str) -> None:
        self._stage = stage
        self._milestones.enter(stage == OVEN, self._out_how is not None)
        self._teller.enter(stage == OVEN)

    def _look(self, t_s: float) -> list[Body]:
        """Notice the way in, the way out, or a cake that is cooling."""
        f = self._follower
        if t_s - self._looked_s < LOOK_EVERY_S:
            return []
        self._looked_s = t_s
        if f.in_oven.is_in_air or f.in_oven.is_settling:
            return []
        if self._stage == OVEN:
            level_s = max(f.level_since_s, self._in_s)
            left_s = f.left_s if f.astray else None
            found = way_out(f.track, self._doors, t_s, level_s, f.in_oven.is_near_top, left_s)
            if found is not None:
                return self._out_of_oven(found.at_s, "noticed", found.confidence, t_s)
            return []
        if f.astray:
            return []
        if not self._started or self._out_how is not None:
            # Even where it was out: put back, or only thought to be out.
            level_s = max(f.level_since_s, self._falls_from_s)
            found = way_in(f.track, self._air.oven, self._doors, t_s, level_s)
            if found is not None:
                return self._into_oven(found.at_s, "noticed", found.confidence)
        if not self._started:
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
        self._enter(COOLING)
        self._follow_cooling(self._first_s if self._first_s is not None else last[0])
        self._due_s = now_s
        for t_s, celsius in f.track.since(-1.0):
            self._milestones.feed_core(t_s, celsius)

    def _follow_cooling(self, since_s: float) -> None:
        first = self._follower.track.at(since_s)
        e = Ensemble(self._priors, since_s)
        air_c = self._air.air_c(since_s, False)
        e.spread_air(self._air.air_spread_k())
        e.start_cooling(first if first is not None else air_c, air_c)
        self._follower.start(e)

    def _start_cooling(self, since_s: float) -> list[Body]:
        if self._stage == BEFORE:
            self._enter(COOLING)
            self._follow_cooling(since_s)
            self._due_s = since_s
        self._started = True
        return [self._cooling_started(since_s)]

    def _into_oven(self, in_s: float, how: str, confidence: float) -> list[Body]:
        f = self._follower
        if self._stage == OVEN:
            return []
        e = f.ensemble if self._stage == COOLING and self._out_how is not None else None
        # Seen to rise again it was never out: its bake goes on, and began when it did.
        so_far = self._bake_so_far if how == self._out_how == "noticed" else None
        self._in_s, self._started = in_s if so_far is None else self._in_s, False
        self._enter(OVEN)
        if so_far is not None:
            f.start(so_far)
        elif e is not None:
            f.flush()
            e.advance(in_s, self._air.air_c(in_s, False))
            e.back_into_oven()
            f.start(e)
        else:
            self._air.bake_begins(f.track, in_s)
            e = Ensemble(self._priors, in_s)
            batter = f.track.at(in_s) if f.track else None
            if batter is not None and batter < 45.0:
                e.enter_oven(batter, 0.8)
            else:
                e.enter_oven(*self._priors.batter_c)
            f.start(e)
        self._due_s = in_s
        return [ev.BakeIn(self._epoch(self._in_s), how, confidence)]

    def _out_of_oven(
        self, out_s: float, how: str, confidence: float, now_s: float | None = None
    ) -> list[Body]:
        f = self._follower
        said: list[Body] = [ev.BakeOut(self._epoch(out_s), how, confidence)]
        core = f.track.at(out_s)
        if self._stage == COOLING and self._out_how is not None:
            # The mark after it was noticed stands beside it; a second mark says nothing new.
            if how != "marked" or self._out_how != "noticed":
                return []
            noticed_c = f.track.at(self._falls_from_s)
            if core is None or noticed_c is None or core < noticed_c + BAKED_ON_K:
                self._out_how, self._falls_from_s = how, out_s + LONGEST_CARRY_OVER_S
                return said
        f.flush()
        self._out_how, self._falls_from_s = how, out_s + LONGEST_CARRY_OVER_S
        e = f.ensemble
        if now_s is not None:
            self._falls_from_s, self._bake_so_far = now_s, None if e is None else e.copy()
        if e is None or self._stage != OVEN:
            e = Ensemble(self._priors, out_s)
            in_crumb = core is not None and core > HOT_C
            e.start_hot(core if core is not None and in_crumb else self._priors.plateau_c[0] - 2.0)
            f.start(e)
        else:
            e.advance(out_s, self._air.air_c(out_s, True))
            if now_s is not None:
                e.has_been_outside()
        e.leave_oven()
        e.spread_air(self._air.air_spread_k())
        f.rivals.begin(e)
        f.course = None
        self._started, self._due_s = True, out_s
        self._enter(COOLING)
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
            self._follower.rivals.begin(e)
        self._air.place = place
        self._follower.course = None
        self._due_s = t_s
        return [*out, ev.CoolingChanged(self._epoch(t_s), place, "moved", "marked")]

    def _probe_moved(self, t_s: float, mark: Mark) -> list[Body]:
        if not self._is_mine(mark):
            return []
        self._follower.flush()
        self._follower.probe_moves(t_s)
        self._milestones.interrupt(NEW_PLACE_CONFIRM_S)
        if self._stage != COOLING:
            return []
        return [ev.CoolingChanged(self._epoch(t_s), None, "probe moved", "marked")]

    def _is_mine(self, mark: Mark) -> bool:
        """Whether a mark may be about this core; without a probe's name it is about every one."""
        return mark.probe is None or self._plan.role(mark.probe) in (self._core_role, None)

    def _spot(self, t_s: float, mark: Mark) -> None:
        """A thermometer held in by hand; its own error is that of hand and place."""
        celsius, place = mark.number("temperature_c"), mark.text("place") or "core"
        e = self._follower.ensemble
        if celsius is None or not -30.0 <= celsius <= 130.0 or not self._is_mine(mark):
            return
        if place == "room":
            self._air.room.add(t_s, celsius)
        elif e is not None and place in ("core", "centre", "center", "middle", "surface"):
            self._follower.flush()
            e.advance(t_s, self._air.air_c(t_s, e.in_oven))
            e.assimilate(celsius, rows.OUTER if place == "surface" else rows.CORE, 1.5)
