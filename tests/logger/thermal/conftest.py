"""The independent cakes, a recorded bake, and a way to put it through the engine."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from drivers.reading import Reading
from logger.engine import BatchState, advance
from logger.entries import Entry, Mark
from logger.events import Event
from logger.plan import CakePlan, Milestone, OvenPlan, Pan, Plan
from logger.thermal import thermal

START_S = 1_800_000_000
LEAD_S = 300.0


@pytest.fixture(scope="session")
def physics() -> ModuleType:
    """`layer_physics`, loaded by its path: the tests are no package."""
    path = Path(__file__).with_name("layer_physics.py")
    spec = importlib.util.spec_from_file_location("layer_physics", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["layer_physics"] = module
    spec.loader.exec_module(module)
    return module


def microseconds(t_s: float) -> int:
    return round((START_S + t_s) * 1e6)


@dataclass
class Kitchen:
    """One baked and cooled layer, and what its instruments would have said.

    Times are seconds from the way into the oven; `at` gives the epoch's.
    """

    t_s: np.ndarray
    core_c: np.ndarray
    room_c: np.ndarray
    out_s: float
    plan: Plan = field(default_factory=lambda: LAYER_PLAN)

    def at(self, t_s: float) -> float:
        return START_S + LEAD_S + t_s

    def since_in(self, epoch_s: float) -> float:
        return epoch_s - START_S - LEAD_S

    def falls_to(self, celsius: float) -> float:
        """When the core falls to a temperature, after the way out."""
        return float(self.t_s[(self.core_c <= celsius) & (self.t_s > self.out_s)][0])

    def rises_to(self, celsius: float) -> float:
        return float(self.t_s[self.core_c >= celsius][0])

    def mark(self, kind: str, t_s: float, **document: object) -> Mark:
        return Mark(kind, microseconds(LEAD_S + t_s), document=document)

    def readings(
        self,
        from_s: float = -LEAD_S,
        to_s: float | None = None,
        period_s: float = 2.0,
        change: Callable[[float, float], float | None] = lambda t, v: v,
        oven: bool = True,
        room: bool = True,
    ) -> list[Entry]:
        """Readings of core, oven and room; `change` alters or drops the core's (time, value)."""
        rng = np.random.default_rng(11)
        out: list[Entry] = []
        end = float(self.t_s[-1]) if to_s is None else to_s
        for i, t in enumerate(np.arange(from_s, end, period_s)):
            core = float(np.interp(t, self.t_s, self.core_c))
            value = change(float(t), round(core + rng.normal(0, 0.04), 1))
            if value is not None:
                out.append(reading("cake-probe", "core", LEAD_S + t, value))
            if oven and i % 2 == 0 and t < self.out_s + 900:
                air = 175 + 10 * np.sin(2 * np.pi * t / 540)
                out.append(reading("oven-probe", "air", LEAD_S + t + 0.1, round(float(air), 1)))
            if room and i % 10 == 0:
                air = float(np.interp(t, self.t_s, self.room_c))
                out.append(reading("wall", "air", LEAD_S + t + 0.2, round(air, 1)))
        return out


def reading(instrument: str, channel: str, t_s: float, celsius: float) -> Reading:
    return Reading(instrument, channel, microseconds(t_s), celsius, "Cel")


LAYER_PLAN = Plan(
    altitude_m=20.0,
    channels={"cake-probe/core": "core", "oven-probe/air": "oven", "wall/air": "room"},
    oven=OvenPlan(175.0),
    cake=CakePlan(
        "layer", 0.62, 0.02, 2, Pan("round", diameter_m=0.2, depth_m=0.05, material="aluminium")
    ),
    bake_milestones=(Milestone("done", core_c=96.5),),
    cooling_milestones=(
        Milestone("unmould", core_c=60.0),
        Milestone("frost", core_c=27.0),
    ),
)


@pytest.fixture(scope="session")
def kitchen(physics: ModuleType) -> Kitchen:
    curve = physics.bake_and_cool([physics.Case(cool_s=4.5 * 3600)])[0]
    return Kitchen(curve.t_s, curve.core_c, curve.room_c, curve.out_s)


@pytest.fixture(scope="session")
def put_through() -> Callable[[Plan, Iterable[Entry]], list[Event]]:
    """The engine with the thermal room alone: entries in, events out (sorted by time first)."""

    def run(plan: Plan, entries: Iterable[Entry]) -> list[Event]:
        state = BatchState(batch="", plan=plan, rooms=[thermal(plan)])
        events: list[Event] = []
        for entry in sorted(entries, key=lambda e: e.t_us):
            state, new = advance(state, entry)
            events += new
        return events

    return run
