"""Follows the core probe: screens it, feeds the ensemble, knows when the probe is astray."""

from __future__ import annotations

from enum import Enum
from statistics import median

import numpy as np

from logger.thermal import ensemble as rows
from logger.thermal.ensemble import Ensemble
from logger.thermal.forecast import Course
from logger.thermal.oven_probe import OvenProbe
from logger.thermal.rivals import Rivals
from logger.thermal.screen import Screen, Verdict
from logger.thermal.surroundings import Surroundings
from logger.thermal.track import Track

# Readings are gathered for so long before the ensemble learns from them: soon after a change it
# matters, later a minute is short against all that happens.
WINDOW_S, LATER_WINDOW_S, LATER_S = 30.0, 60.0, 1800.0
# A level that is so far from what the ensemble expects is not the crumb it followed.
ASTRAY_K, ASTRAY_SD = 5.0, 4.0
LIES_K, STEADY_K = 3.0, 2.5  # from a room that may be assumed; room air comes and goes
BACK_K, BACK_SD, BACK_S = 3.0, 3.0, 20.0
# A new place is believed after so long, if it changes the way the cake does.
NEW_PLACE_S, NEW_PLACE_K, NEW_PLACE_RANGE_K = 240.0, 0.2, 12.0
SETTLE_AFTER_MARK_S = 45.0
STUCK_K = 0.5
# Within one cake no two places are further apart once the outside has cooled a little.
OTHER_CRUMB_K = 25.0
COARSE_K = 0.3  # steps of a probe from which it matters where within a step the core is


class Note(Enum):
    """What the follower noticed."""

    OUT = "probe out"
    BACK = "probe back"
    NEW_PLACE = "probe moved"
    CHANGED = "moved"
    BROKEN = "interrupted"


class Follower:
    """Attributes are read by the room; `ensemble` is None while there is nothing to follow."""

    def __init__(self, air: Surroundings) -> None:
        self.air = air
        self.screen = Screen()
        self.in_oven = OvenProbe()
        self.track = Track(-60.0, 320.0)
        self.rivals = Rivals(air)
        self.course: Course | None = None
        self.last: tuple[float, float] | None = None
        self.level_since_s = 0.0
        self.step_k = 1.0
        self.astray = False
        self.left_s = 0.0  # when it last went astray
        self._resettle_s: float | None = None
        self._window: list[tuple[float, float]] = []
        self._off: list[tuple[float, float]] = []
        self._near_since_s: float | None = None

    @property
    def ensemble(self) -> Ensemble | None:
        """The likeliest explanation of what is read."""
        return self.rivals.lead

    @property
    def _is_cooling(self) -> bool:
        e = self.ensemble
        return e is not None and not e.in_oven

    def start(self, ensemble: Ensemble) -> None:
        """Follow a new ensemble from its time on, catching up with what was read since."""
        self.rivals.begin(ensemble)
        self.course = None
        self._window.clear()
        self._off.clear()
        self.astray, self._near_since_s, self._resettle_s = False, None, None
        from_s = max(ensemble.t_s, self.level_since_s)
        self.in_oven.begin(self.track.at(ensemble.t_s) if ensemble.in_oven else None)
        for t_s, celsius in self.track.since(from_s):
            if self._window and t_s - self._window[0][0] >= WINDOW_S:
                self.flush()
            if not ensemble.in_oven or self.in_oven.may_teach(t_s, celsius):
                self._window.append((t_s, celsius))
        self.flush()

    def feed(self, t_s: float, celsius: float) -> tuple[bool, list[Note]]:
        """A reading; whether it is the crumb's, and what was noticed."""
        notes: list[Note] = []
        if self._window and t_s - self._window[0][0] >= self._window_s():
            notes += self.flush()
        baking = self.ensemble if self.ensemble is not None and self.ensemble.in_oven else None
        if baking is not None:
            if not self._window and t_s - baking.t_s >= WINDOW_S:
                # It bakes on in the oven's air of each moment, whether its reading teaches or not.
                baking.advance(t_s, self.air.air_c(t_s, True))
            was_in_air = self.in_oven.is_in_air
            if self.in_oven.is_air(t_s, celsius, baking):
                if self.in_oven.is_in_air:
                    self._window.clear()
                    self.astray, self.level_since_s = False, t_s
                return False, notes
            if was_in_air:
                self.screen.expect_anything()
                self.level_since_s = t_s
                notes.append(Note.BROKEN)
        verdict = self.screen.judge(t_s, celsius)
        if verdict is Verdict.HELD:
            return False, notes
        if verdict is Verdict.MOVED:
            self.level_since_s = t_s
            self._window.clear()
            notes.append(Note.BROKEN)
            if baking is not None and self.in_oven.is_waiting:
                self.in_oven.pushed_in(baking)
            elif self.ensemble is not None and not self.astray and not self._fits(t_s, celsius):
                notes += self._go_astray()
        if verdict is Verdict.BACK and self._is_cooling and not self.astray:
            self.probe_moves(t_s)
            notes += [Note.NEW_PLACE, Note.BROKEN]
        if self.last is not None and (step := abs(celsius - self.last[1])) > 0.009:
            self.step_k = min(self.step_k, step)
        self.last = (t_s, celsius)
        self.track.add(t_s, celsius)
        if self.ensemble is None:
            return True, notes
        if self._resettle_s is not None:
            self._off.append((t_s, celsius))
            if t_s - self._resettle_s >= SETTLE_AFTER_MARK_S and len(self._off) >= 2:
                self._settle(t_s, celsius)
            return False, notes
        if self.astray:
            notes += self._astray(t_s, celsius)
            return not self.astray and Note.NEW_PLACE not in notes, notes
        if baking is None or self.in_oven.may_teach(t_s, celsius):
            self._window.append((t_s, celsius))
        elif self.in_oven.is_settling:
            self.level_since_s = t_s
        return True, notes

    def _window_s(self) -> float:
        e = self.ensemble
        if e is None or e.in_oven or self.rivals.marked_s + LATER_S > e.t_s:
            return WINDOW_S
        return LATER_WINDOW_S

    def within_step(self, t_s: float, celsius: float) -> float:
        """The reading of a cooling core as fine as all that was read before makes it.

        A probe that reads in whole degrees says 24 from 24.5 °C on; where within its step the
        core is, the course of the cake tells better.
        """
        e = self.ensemble
        if e is None or e.in_oven or self.course is None or self.step_k < COARSE_K:
            return celsius
        half = 0.5 * self.step_k
        return min(max(self._expected(t_s)[0], celsius - half), celsius + half)

    def probe_moves(self, t_s: float) -> None:
        """A person said, or its readings show, that the probe was moved."""
        self.screen.expect_anything()
        self._window.clear()
        self._off.clear()
        self.level_since_s = t_s
        self.astray = False
        self._resettle_s = t_s

    def flush(self) -> list[Note]:
        """Let the ensemble learn from what was read since it last did."""
        window, self._window = self._window, []
        e = self.ensemble
        if e is None or not window:
            return []
        t_s = sum(t for t, _ in window) / len(window)
        celsius = median(v for _, v in window)
        if t_s < e.t_s - WINDOW_S:
            return []
        e.advance(t_s, self.air.air_c(t_s, e.in_oven))
        mean, sd = e.core()
        if abs(celsius - mean) > 2 * ASTRAY_K + ASTRAY_SD * sd:
            self._off = list(window)
            return self._go_astray()
        return [Note.CHANGED] if self.rivals.learn(t_s, celsius, self.step_k) else []

    def at_now(self, now_s: float) -> Ensemble | None:
        """All explanations as of now: a copy carried over what has not been read."""
        return self.rivals.at(now_s)

    def _expected(self, t_s: float) -> tuple[float, float]:
        e = self.ensemble
        if self.course is not None:
            times = self.course.times_s
            mean = float(np.interp(t_s, times, self.course.core_mean))
            sd = float(np.interp(t_s, times, self.course.core_sd))
            return mean, sd
        return e.core() if e is not None else (0.0, 1e3)

    def _fits(self, t_s: float, celsius: float) -> bool:
        mean, sd = self._expected(t_s)
        return abs(celsius - mean) <= ASTRAY_K + ASTRAY_SD * sd

    def _go_astray(self) -> list[Note]:
        self.astray = True
        self.left_s = self.last[0] if self.last is not None else 0.0
        self._near_since_s = None
        self._off = []
        return [Note.OUT, Note.BROKEN]

    def _astray(self, t_s: float, celsius: float) -> list[Note]:
        self._off.append((t_s, celsius))
        start = max(self.level_since_s, t_s - NEW_PLACE_S)
        self._off = [(t, v) for t, v in self._off if t >= start]
        mean, sd = self._expected(t_s)
        near = abs(celsius - mean) <= BACK_K + BACK_SD * sd
        if near and not self._is_stuck() and not self._lies_in_room(t_s, celsius):
            if self._near_since_s is None:
                self._near_since_s = t_s
            if t_s - self._near_since_s >= BACK_S:
                if self._is_cooling:
                    # A step of some kelvins between two places is nothing that the cake did.
                    self._settle(t_s, celsius)
                self.astray = False
                self._off.clear()
                return [Note.BACK, Note.BROKEN]
        else:
            self._near_since_s = None
        if self._is_new_place():
            self._settle(t_s, celsius)
            return [Note.NEW_PLACE, Note.BROKEN]
        return []

    def _lies_in_room(self, t_s: float, celsius: float) -> bool:
        """Whether a probe that left a cooling cake still reads the room's air, steadily.

        The cake comes down to it in time; that does not put the probe back into it. Pushed in
        again, a probe changes its reading.
        """
        e = self.ensemble
        if e is None or e.in_oven or abs(celsius - self.air.room_c(t_s)) > LIES_K:
            return False
        values = [v for _, v in self._off]
        return max(values) - min(values) < STEADY_K

    def _is_stuck(self) -> bool:
        """Whether the reading stands still while the cake, by all that is known, does not."""
        values = [v for _, v in self._off]
        if len(values) < 5 or max(values) - min(values) > 0.05:
            return False
        (first_s, _), (last_s, _) = self._off[0], self._off[-1]
        # The course begins at the last forecast, so the span is judged by the slope from now on.
        slope = (self._expected(last_s + 60.0)[0] - self._expected(last_s)[0]) / 60.0
        return abs(slope) * (last_s - first_s) > STUCK_K

    def _is_new_place(self) -> bool:
        """Whether what is read elsewhere is like crumb: between air and plateau, on its way."""
        e = self.ensemble
        if e is None or len(self._off) < 4:
            return False
        (first_s, first), (last_s, last) = self._off[0], self._off[-1]
        values = [v for _, v in self._off]
        if last_s - first_s < 0.9 * NEW_PLACE_S or max(values) - min(values) > NEW_PLACE_RANGE_K:
            return False
        top = float(e.x[rows.PLATEAU].mean()) + 3.0
        air = self.air.air_c(last_s, e.in_oven)
        if e.in_oven:
            return last <= top and last - first >= NEW_PLACE_K
        return air + 2.0 < last <= top and first - last >= NEW_PLACE_K

    def _settle(self, t_s: float, celsius: float) -> None:
        e = self.ensemble
        if e is not None:
            air_c = self.air.air_c(t_s, e.in_oven)
            e.advance(t_s, air_c)
            if not e.in_oven and abs(celsius - e.core()[0]) > OTHER_CRUMB_K:
                e.start_over(celsius, air_c)
                self.rivals.begin(e)
            else:
                self.rivals.settle(t_s, celsius)
        self.astray, self._resettle_s, self.course = False, None, None
        self._off.clear()
        self.level_since_s = t_s
