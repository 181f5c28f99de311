"""A bench for tests: a load, a scale with its vices, and a person; gives readings and the truth.

Written for these tests alone. Nothing in it is shared with the room: the load moves in steps of
10 ms, a filter and a quantiser show it.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

from drivers.reading import Reading
from logger.engine import BatchState, advance
from logger.entries import Entry, Mark, Tick
from logger.events import Event, WeighingAddition
from logger.plan import Formula, Line, Plan, ScaleFacts
from logger.weighing import Weighing

START_US = 1_800_000_000_000_000
STEP_S = 0.01
NAME = "bench-scale/mass"


@dataclass
class Physics:
    """One scale's nature."""

    division_g: float = 1.0
    rate_hz: float = 10.0
    lag_s: float = 0.2
    filter_kind: str = "first"  # first | second | mean
    noise_g: float = 0.1
    noise_kind: str = "white"  # white | slow | heavy
    creep: float = 0.0  # fraction of the load that comes late
    zero_tracking: bool = False
    stable_flag: bool = False
    net_flag: bool = False
    says_division: bool = True
    tare_before_filter: bool = False
    jitter_s: float = 0.0


@dataclass
class Added:
    """What was truly added to a line."""

    line: str
    mass_g: float
    decidable: bool = True


@dataclass
class Bench:
    """Acts at the bench; every act lets time pass."""

    physics: Physics
    random: random.Random
    entries: list[Entry] = field(default_factory=list)
    truth: dict[str, Added] = field(default_factory=dict)
    t_s: float = 0.0
    load_g: float = 0.0
    extra_g: float = 0.0
    mixer_g: float = 0.0
    silent: bool = False
    overloaded: bool = False
    tare_g: float = 0.0
    net: bool = False
    division_g: float | None = None

    def __post_init__(self) -> None:
        self._f1 = self._f2 = self._late = self._slow = 0.0
        self._queue: list[float] = [0.0] * max(1, round(self.physics.lag_s / STEP_S))
        self._next_s = 0.0
        self._shown: list[float] = []
        self._mixer_hz = self.random.uniform(3.0, 14.0)
        self._tare_now = False
        self._track = 0.0

    # time -----------------------------------------------------------------------------------

    def pass_s(self, seconds: float) -> None:
        for _ in range(max(1, round(seconds / STEP_S))):
            self._tick()

    def _tick(self) -> None:
        p = self.physics
        self.t_s += STEP_S
        force = self.load_g + self.extra_g
        if self.mixer_g:
            force += self.mixer_g * math.sin(2 * math.pi * self._mixer_hz * self.t_s)
        self._late += (self.load_g * p.creep - self._late) * STEP_S / 25.0
        force += self._late
        if p.tare_before_filter:
            force -= self.tare_g
        k = STEP_S / max(p.lag_s, STEP_S)
        if p.filter_kind == "first":
            self._f1 += (force - self._f1) * k
            self._f2 = self._f1
        elif p.filter_kind == "second":
            self._f1 += (force - self._f1) * min(1.0, 1.6 * k)
            self._f2 += (self._f1 - self._f2) * min(1.0, 1.6 * k)
        else:
            self._queue.append(force)
            self._f2 += (force - self._queue.pop(0)) / len(self._queue)
        if self.t_s >= self._next_s:
            self._next_s += 1 / p.rate_hz
            self._read()

    def _read(self) -> None:
        p, r = self.physics, self.random
        d = self.division_g or p.division_g
        if p.noise_kind == "white":
            noise = r.gauss(0, p.noise_g)
        elif p.noise_kind == "heavy":
            noise = r.gauss(0, p.noise_g) * (3.0 if r.random() < 0.05 else 0.8)
        else:
            self._slow = 0.8 * self._slow + r.gauss(0, 0.6 * p.noise_g)
            noise = self._slow
        value = self._f2 + noise - (0.0 if p.tare_before_filter else self.tare_g)
        if self._tare_now:
            self._tare_now = False
            if p.tare_before_filter:
                self.tare_g += value
            else:
                self.tare_g += value
                value = 0.0
            self.net = True
        if p.zero_tracking:
            value -= self._track
            if abs(value) < 0.5 * d:
                self._track += 0.1 * value
        shown = round(value / d) * d
        self._shown = [*self._shown[-4:], shown]
        stable = None
        if p.stable_flag:
            stable = len(self._shown) == 5 and max(self._shown) - min(self._shown) <= d
        if self.silent:
            return
        t_us = START_US + round((self.t_s + r.uniform(0, p.jitter_s)) * 1e6)
        instrument, channel = NAME.split("/")
        if self.overloaded:
            self.entries.append(Reading(instrument, channel, t_us, None, "kg", state="overload"))
            return
        self.entries.append(
            Reading(
                instrument,
                channel,
                t_us,
                round(shown / 1000, 9),
                "kg",
                stable=stable,
                net=self.net if p.net_flag else None,
                division=d / 1000 if p.says_division else None,
            )
        )

    # acts -----------------------------------------------------------------------------------

    def mark(self, line: str) -> None:
        self._mark("line", {"line": line})

    def confirm(self, line: str, mass_g: float | None = None) -> None:
        document: dict[str, object] = {"line": line}
        if mass_g is not None:
            document["mass_g"] = mass_g
        self._mark("confirm", document)

    def _mark(self, kind: str, document: dict[str, object]) -> None:
        t_us = START_US + round(self.t_s * 1e6) + 1
        self.entries.append(Mark(kind, t_us, document=document))

    def put(self, mass_g: float) -> None:
        """Put a container down: a hand's bump, then its weight."""
        for i in range(8):
            self.extra_g = mass_g * (i / 8) * self.random.uniform(0.8, 1.2)
            self._tick()
        self.load_g += mass_g
        self.extra_g = self.random.uniform(0.0, 0.3) * mass_g
        self.pass_s(self.random.uniform(0.05, 0.25))
        self.extra_g = 0.0

    def lift(self) -> float:
        """Lift all that stands on the pan; gives its mass."""
        mass = self.load_g
        self.extra_g = self.random.uniform(0, 0.1) * mass
        self.pass_s(0.1)
        self.extra_g = 0.0
        for i in range(10):
            self.load_g = mass * (1 - (i + 1) / 10)
            self._tick()
        self.load_g = 0.0
        return mass

    def put_back(self, mass_g: float) -> None:
        self.put(mass_g)

    def tare(self, finger_g: float = 0.0) -> None:
        self.extra_g = finger_g
        self.pass_s(0.08)
        self.extra_g = 0.0
        self.pass_s(self.random.uniform(0.0, 0.1))
        self._tare_now = True
        self.pass_s(1.2 / self.physics.rate_hz)

    def pour(
        self, line: str, mass_g: float, rate_g_s: float, tare_after: float | None = None
    ) -> None:
        """Pour: uneven, slower towards the end; the stream's impact weighs too."""
        poured = 0.0
        tared = False
        self.add_truth(line, mass_g)
        while poured < mass_g:
            rest = mass_g - poured
            rate = min(rate_g_s, max(rest * 1.2, 0.15 * rate_g_s))
            drop = min(rest, rate * STEP_S * max(0.0, self.random.gauss(1.0, 0.5)))
            poured += drop
            self.load_g += drop
            self.extra_g = 0.02 * rate * abs(self.random.gauss(1, 0.6))
            self._tick()
            if tare_after is not None and not tared and poured >= tare_after * mass_g:
                self._tare_now = tared = True
        self.extra_g = 0.0

    def spoon(self, line: str, mass_g: float, spoons: int) -> None:
        self.add_truth(line, mass_g)
        for _ in range(spoons):
            self.extra_g = self.random.uniform(0, 6)
            self.pass_s(0.1)
            self.load_g += mass_g / spoons
            self.extra_g = 0.0
            self.pass_s(self.random.uniform(0.7, 2.0))

    def take_back(self, line: str, mass_g: float) -> None:
        self.add_truth(line, -mass_g)
        self.extra_g = self.random.uniform(5, 30)
        self.pass_s(0.4)
        self.load_g -= mass_g
        self.extra_g = 0.0

    def hand(self, seconds: float, force_g: float = 250.0) -> None:
        """A hand rests on the bowl: it wanders and trembles."""
        until = self.t_s + seconds
        wander = 0.0
        while self.t_s < until:
            wander = 0.97 * wander + self.random.gauss(0, 0.06 * force_g * 0.25)
            tremble = 0.03 * force_g * math.sin(2 * math.pi * 8 * self.t_s)
            self.extra_g = max(0.0, force_g + wander * 4 + tremble)
            self._tick()
        self.extra_g = 0.0

    def sleep(self, seconds: float, zero_at_waking: bool) -> None:
        self.silent = True
        self.pass_s(seconds)
        if zero_at_waking:
            self.tare_g = self._f2
            self.net = False
        self.silent = False

    def add_truth(self, line: str, mass_g: float) -> None:
        at = self.truth.setdefault(line, Added(line, 0.0))
        at.mass_g += mass_g


def line(
    key: str,
    target_g: float | None,
    tolerance_g: float | None,
    by: str = "mass",
    formula: str = "",
    bowl: str | None = None,
) -> Line:
    return Line(
        key,
        key,
        f"{target_g} g",
        None if target_g is None else target_g / 1000,
        None if tolerance_g is None else tolerance_g / 1000,
        bowl=bowl,
        by=by,
        formula=formula,
    )


def run(
    entries: list[Entry],
    formula: Formula | tuple[Formula, ...] | None,
    facts: ScaleFacts | None = None,
    tail_s: int = 0,
) -> list[Event]:
    """Through the engine; `tail_s` lets so much time pass after the last entry."""
    channels = {NAME: "scale"}
    facts = facts or ScaleFacts()
    formulas = formula if isinstance(formula, tuple) else (formula,) if formula else ()
    plan = Plan(channels=channels, formulas=formulas, scales={"scale": facts})
    state = BatchState("b", plan, [Weighing(plan)])
    events: list[Event] = []
    for entry in entries:
        state, new = advance(state, entry)
        events += new
    if tail_s and entries:
        state, new = advance(state, Tick(entries[-1].t_us + tail_s * 1_000_000))
        events += new
    return events


def standing(events: list[Event]) -> dict[str | None, WeighingAddition]:
    """The last addition of each line."""
    out: dict[str | None, WeighingAddition] = {}
    for event in events:
        if isinstance(event.body, WeighingAddition):
            out[event.body.line] = event.body
    return out
