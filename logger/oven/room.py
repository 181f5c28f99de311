"""The oven's room: readings, marks and gaps of the channel with the role ``oven``, conclusions out.

``oven.cycle`` is said for full cycles (or, without cycling, ten-minute stretches) after preheating
that have no door in them: these are the steady ones, and the offset rests on them alone. The room
looks at nothing but readings, so silence and ticks conclude nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from drivers.reading import MICROSECOND, Reading, seconds
from logger.entries import Gap, Mark
from logger.events import (
    BakeOut,
    BatchClosed,
    Body,
    Event,
    OvenBaseline,
    OvenCycle,
    OvenDoor,
    OvenForecast,
    OvenPreheated,
    OvenRecovered,
    OvenSpots,
)
from logger.oven.ahead import EVERY_S, ahead
from logger.oven.air import Trace
from logger.oven.cycles import Cycle, Cycles, swing_c
from logger.oven.dip import Dip
from logger.oven.door import Door
from logger.oven.lag import RETURN_S, ProbeLag
from logger.oven.preheat import Minutes, Preheat, Preheated
from logger.oven.spots import Spots
from logger.oven.this_bake import ThisBake
from logger.oven.turns import Turns
from logger.plan import Plan

ROLE = "oven"
# The air needs this long after a door before a cycle may begin.
DISTURBED_S = 90.0
# A turn this long after the lowest reading ends the rise that the door itself made.
TURNED_S = 20.0
# Ten minutes without a turn, and minutes that differ by no more than this: no cycling.
STRETCH_MINUTES, STRETCH_C = 10, 4.0
# So far below what it held, and still falling, an oven is switched off (common practice: nobody
# turns a dial down by that much while something bakes).
SWITCHED_OFF_C = 50.0
# Cycles that differ from the usual period by more hide something (a missed door, a knob turned).
# Four alike in a row (rise to rise, fall to fall, and again) are the new usual.
USUAL_PERIOD = 0.45
ODD_IN_A_ROW = 4
# An oven that held still cycles only when it is seen doing so twice (both kinds overlap by half):
# a regulator that overshoots after a door makes one.
CYCLES_IN_A_ROW = 3
# Cycles from rise to rise and from fall to fall overlap by half: only one kind is told.
OVERLAP = 0.1
# Back at the mean: this close to it, or this share of the swing.
BACK_C, BACK_SHARE = 1.0, 0.1
LONGEST_RECOVERY_S = 1800.0


@dataclass(slots=True)
class _Recovery:
    end_s: float


@dataclass(slots=True)
class Oven:
    """Domain room of the oven; see `logger.room.Room`."""

    plan: Plan
    _origin_us: int | None = None
    _trace: Trace = field(default_factory=Trace)
    _turns: Turns = field(default_factory=Turns)
    _lag: ProbeLag = field(init=False)
    _cycles: Cycles = field(init=False)
    _door: Door = field(init=False)
    _minutes: Minutes = field(init=False)
    _stretch: Minutes = field(init=False)
    _preheat: Preheat = field(init=False)
    _first_c: float = 0.0
    _first_peak_s: float | None = None
    _dips: list[Dip] = field(default_factory=list)
    _returning: list[Dip] = field(default_factory=list)
    _recovery: _Recovery | None = None
    _told_s: float = -1e9
    _holds_still: bool = False
    _in_a_row: int = 0
    _mean_c: float | None = None
    _swing_c: float = 0.0
    _odd: list[float] = field(default_factory=list)
    _bake: ThisBake = field(init=False)
    _spots: Spots = field(default_factory=Spots)
    _forecast_s: float = -1e9
    _early_marks_us: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._cycles = Cycles(self._trace, self._turns)
        self._door = Door(self._trace, self.plan.oven.set_point_c)
        self._minutes = Minutes(self._trace)
        self._stretch = Minutes(self._trace)
        self._preheat = Preheat(self.plan.oven.set_point_c)
        self._lag = ProbeLag(self.plan.oven.probe_lag_s)
        self._bake = ThisBake(self.plan)

    def on_reading(self, reading: Reading, role: str) -> list[Body]:
        if reading.value is None or reading.unit != "Cel":
            return []
        if role.startswith(f"{ROLE} ") and self._origin_us is not None:
            self._spots.add(role, self._relative(reading.t_us), reading.value)
        if role != ROLE:
            return []
        out: list[Body] = []
        if self._origin_us is None:
            self._origin_us = reading.t_us
            for t_us in self._early_marks_us:
                self._door.marked(self._relative(t_us))
            out += self._bake.began()
        before = len(self._trace.samples)
        done = self._trace.add(self._relative(reading.t_us), reading.value)
        if not before and done:
            self._first_c = self._trace.samples[0].celsius
        if done:
            out += self._sample()
        return out

    def on_mark(self, mark: Mark) -> list[Body]:
        if mark.kind == "oven baseline":
            self._bake.confirms = True
            return [OvenBaseline(seconds(mark.t_us))]
        if mark.kind in ("into oven", "out of oven"):
            if self._origin_us is None:
                self._early_marks_us.append(mark.t_us)
            else:
                found = self._door.marked(self._relative(mark.t_us))
                return [body for dip in found for body in self._dip(dip)]
        return []

    def on_gap(self, gap: Gap) -> list[Body]:
        # What is missing shows in the readings' own times; a gap may be declared long after it.
        return []

    def on_second(self, t_us: int) -> list[Body]:
        return []

    def on_event(self, event: Event) -> list[Body]:
        if isinstance(event.body, BakeOut | BatchClosed):
            return [*self._bake.ended(event)]
        return []

    def _relative(self, t_us: int) -> float:
        return (t_us - (self._origin_us or 0)) / MICROSECOND

    def _at(self, t_s: float) -> float:
        return ((self._origin_us or 0) + round(t_s * MICROSECOND)) / MICROSECOND

    def _sample(self) -> list[Body]:
        """Ask every part about the trace's newest sample, in a fixed order."""
        out: list[Body] = []
        now, smooth = self._trace.samples[-1], self._trace.smooth[-1]
        if self._returning and now.t_s > self._returning[0].end_s + RETURN_S:
            back = self._returning.pop(0)
            self._lag.door(self._trace, back.start_s, back.end_s, back.depth_c)
        for dip in self._door.add(self._lag.seconds):
            out += self._dip(dip)
        turn = self._turns.add(smooth)
        if turn is not None:
            self._cycles.turned(turn)
            if turn.is_peak and self._first_peak_s is None:
                self._first_peak_s = turn.t_s
            self._minutes.restart(now.t_s)
            self._stretch.restart(now.t_s)
            out += self._preheated(self._preheat.began_hot(self._first_c, self._turns.found))
        for cycle in self._cycles.add(smooth):
            out += self._cycle(cycle)
        if self._door.opened_s() is not None:
            self._minutes.restart(now.t_s)
            self._stretch.restart(now.t_s)
        if self._minutes.add(now.t_s):
            flat = self._preheat.minute(self._minutes, now.t_s)
            self._holds_still = self._holds_still or flat is not None
            out += self._preheated(flat)
        if self._stretch.add(now.t_s):
            out += self._still()
        out += self._ahead(now.t_s)
        out += self._recovered(smooth.t_s, smooth.celsius)
        return out

    def _dip(self, dip: Dip) -> list[Body]:
        self._dips.append(dip)
        del self._dips[:-20]
        is_fresh = self._trace.samples[-1].t_s <= dip.known_s
        is_seen = dip.depth_c > 0
        if is_fresh and is_seen:
            self._returning.append(dip)
        if is_fresh:
            self._minutes.restart(dip.known_s)
            self._stretch.restart(dip.known_s)
        if self._mean_c is not None and is_fresh and is_seen:
            self._recovery = _Recovery(dip.end_s)
        return [OvenDoor(self._at(dip.start_s), self._at(dip.end_s), dip.depth_c)]

    def _preheated(self, reached: Preheated | None) -> list[Body]:
        if reached is None:
            return []
        self._mean_c = reached.mean_c
        self._stretch.restart(self._trace.samples[-1].t_s)
        if self.plan.oven.set_point_c is None:
            return []
        return [
            OvenPreheated(self._at(reached.reached_s), reached.mean_c, self.plan.oven.set_point_c)
        ]

    def _ahead(self, now_s: float) -> list[Body]:
        """At least once a minute until then: when the oven will be preheated."""
        dial_c = self.plan.oven.set_point_c
        if self._preheat.done is not None or dial_c is None or now_s < self._forecast_s + EVERY_S:
            return []
        found = ahead(self._trace, self._turns.found, self._preheat.cycles, dial_c)
        if found is None:
            return []
        self._forecast_s = now_s

        def at(after_s: float | None) -> float | None:
            return None if after_s is None else self._at(now_s + after_s)

        return [
            OvenForecast(
                milestone="preheated",
                made_at=self._at(now_s),
                expected_at=at(found.expected_s),
                low_at=at(found.low_s),
                high_at=at(found.high_s),
                reachable=found.expected_s is not None,
                settles_c=found.settles_c,
                proposal=None if found.settles_c is None else "switch the oven on",
            )
        ]

    def _is_disturbed(self, from_s: float, to_s: float) -> bool:
        """Whether a door, or the rise after one, lies in this time."""
        opened_s = self._door.opened_s()
        if opened_s is not None and opened_s <= to_s:
            return True
        for dip in self._dips:
            if dip.start_s > to_s:
                continue
            if from_s <= dip.end_s + DISTURBED_S:
                return True
            after_s = dip.lowest_s + TURNED_S
            if not any(after_s < turn.t_s <= from_s for turn in self._turns.found):
                return True
        return False

    def _cycle(self, cycle: Cycle) -> list[Body]:
        if self._is_disturbed(cycle.from_s, cycle.to_s) or not self._is_usual(cycle):
            return []
        self._turns.cycled(cycle.shown_swing_c, self._trace.noise.sigma_c)
        self._lag.half(self._trace, cycle.first_s, cycle.second_s)
        out: list[Body] = []
        for dip in self._door.ordinary(cycle.from_s, cycle.to_s, True):
            out += self._dip(dip)
        if out:
            return out
        before = self._preheat.done
        out += self._preheated(self._preheat.cycle(cycle, self._first_peak_s))
        if self._preheat.done is not None:
            self._mean_c, self._swing_c = cycle.mean_c, cycle.shown_swing_c
        overlap_s = OVERLAP * cycle.period_s
        self._in_a_row += 1
        if self._in_a_row >= CYCLES_IN_A_ROW:
            self._holds_still = False
        if before is None or self._holds_still:
            return out
        if cycle.from_s < max(before.reached_s, self._told_s) - overlap_s:
            return out
        self._told_s = cycle.to_s
        return out + self._say(
            cycle.from_s,
            cycle.to_s,
            cycle.mean_c,
            swing_c(cycle, self._lag),
            cycle.period_s,
            self._lag.delay_s(cycle.period_s),
        )

    def _is_usual(self, cycle: Cycle) -> bool:
        """Whether the period is like the others, or like other odd ones."""
        periods = sorted(c.period_s for c in self._cycles.last[:-1])
        if self._preheat.done is None or len(periods) < 2:
            return True
        usual = periods[len(periods) // 2]
        if abs(cycle.period_s - usual) <= USUAL_PERIOD * usual:
            self._odd.clear()
            return True
        self._odd.append(cycle.period_s)
        last = self._odd[-ODD_IN_A_ROW:]
        return len(last) == ODD_IN_A_ROW and max(last) - min(last) <= USUAL_PERIOD * usual

    def _still(self) -> list[Body]:
        """Ten whole minutes without a turn or a door after preheating: no cycling."""
        means = self._stretch.means
        if self._preheat.done is None or len(means) < STRETCH_MINUTES:
            return []
        last = means[-STRETCH_MINUTES:]
        if max(last) - min(last) > STRETCH_C:
            del means[: -STRETCH_MINUTES + 1]
            return []
        half = STRETCH_MINUTES // 2
        falls_c = (sum(last[:half]) - sum(last[-half:])) / half
        if self._mean_c is not None and last[-1] < self._mean_c - SWITCHED_OFF_C and falls_c > 0:
            del means[: -STRETCH_MINUTES + 1]
            return []  # switched off: it cools slowly, it holds nothing
        to_s = self._stretch.end_s
        from_s = to_s - 60.0 * STRETCH_MINUTES
        means.clear()
        self._holds_still, self._in_a_row = True, 0
        out: list[Body] = []
        for dip in self._door.ordinary(from_s, to_s, False):
            out += self._dip(dip)
        self._mean_c, self._swing_c = sum(last) / len(last), 0.0
        return out + self._say(from_s, to_s, self._mean_c, max(last) - min(last), None)

    def _say(
        self,
        from_s: float,
        to_s: float,
        mean_c: float,
        swing: float,
        period_s: float | None,
        delay_s: float = 0.0,
    ) -> list[Body]:
        """A cycle or a still stretch, as shown; the air itself was `delay_s` earlier."""
        dial = self.plan.oven.set_point_c
        said = OvenCycle(
            from_at=self._at(from_s - delay_s),
            to_at=self._at(to_s - delay_s),
            mean_c=mean_c,
            swing_c=swing,
            period_s=period_s,
            set_point_c=dial,
            offset_c=None if dial is None else mean_c - dial,
        )
        self._bake.cycles.append(said)
        offsets = self._spots.offsets(from_s, to_s, mean_c)
        return [said, OvenSpots(said.from_at, said.to_at, offsets)] if offsets else [said]

    def _recovered(self, t_s: float, celsius: float) -> list[Body]:
        pending = self._recovery
        if pending is None or self._mean_c is None or self._door.opened_s() is not None:
            return []
        if t_s - pending.end_s > LONGEST_RECOVERY_S:
            self._recovery = None
            return []
        if t_s < pending.end_s or celsius < self._mean_c - max(BACK_C, BACK_SHARE * self._swing_c):
            return []
        self._recovery = None
        self._bake.recoveries_s.append(t_s - pending.end_s)
        return [OvenRecovered(self._at(t_s), t_s - pending.end_s)]
