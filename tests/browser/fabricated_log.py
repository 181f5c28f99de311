"""A small log made by hand: the pear and ginger cake up to a chosen stage, in a real store.

The numbers are invented for looks and for counting; nothing is concluded from them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from drivers.reading import MICROSECOND, Reading, microseconds
from logger import events as ev
from logger.entries import Gap, InstrumentState, Mark, PlanEntry
from logger.events import Body, Event
from logger.pantry import shipped
from logger.planfile import plan_from_document
from logger.store import Store

STAGES = ("weighing", "pouring", "preheating", "baking", "cooling", "ready", "closed")
FORMULA: dict[str, Any] = {
    "name": "Pear and ginger layer cake",
    "line": [
        {"ingredient": "cake flour", "amount": "270 g", "tolerance": "2.7 g", "bowl": "dry"},
        {"ingredient": "baking powder", "amount": "9 g", "bowl": "dry"},
        {"ingredient": "ground ginger", "amount": "6 g", "bowl": "dry"},
        {"ingredient": "salt", "amount": "4 g", "bowl": "dry"},
        {"ingredient": "butter", "amount": "170 g", "bowl": "mixer"},
        {"ingredient": "granulated sugar", "amount": "300 g", "bowl": "mixer"},
        {"ingredient": "egg", "amount": "150 g", "bowl": "mixer"},
        {"ingredient": "whole milk", "amount": "180 g", "bowl": "jug"},
        {"ingredient": "pear", "amount": "220 g", "bowl": "jug"},
    ],
}
PLAN: dict[str, Any] = {
    "kitchen": {"room": "23 ± 2 °C", "time_zone": "Europe/Lisbon"},
    "channels": {
        "oven-probe/air": "oven",
        "cake-probe/core": "core",
        "wall/air": "room",
        "bench-scale/mass": "scale",
    },
    "formula": {"file": "pear-ginger.formula.toml"},
    "oven": {"set_point": "175 °C"},
    "cake": {"kind": "layer", "pans": 2},
    "bake": {"milestones": {"done": {"core": "97 °C"}}},
    "cooling": {"milestones": {"unmould": {"core": "60 °C"}, "frost": {"core": "24 °C"}}},
}
# Mass, expanded uncertainty (g) and verdict of each line.
WEIGHED = {
    "cake flour": (270.6, 1.1, "within"),
    "baking powder": (9.0, 1.1, "undecidable"),
    "ground ginger": (6.1, 1.1, "undecidable"),
    "salt": (4.0, 1.1, "undecidable"),
    "butter": (170.4, 1.1, "within"),
    "granulated sugar": (306.2, 1.1, "over"),
    "egg": (149.2, 1.1, "within"),
    "whole milk": (179.4, 1.1, "within"),
    "pear": (221.0, 1.1, "within"),
}
# Standard uncertainties whose doubled sum is the 1.1 g above.
BUDGET = {
    "resolution_kg": 0.000408, "repeatability_kg": 0.0001, "class_error_kg": 0.000355,
    "drift_kg": None, "splice_kg": None,
}  # fmt: skip
# Seconds from the opening.
LINE_S = 45
PREHEAT_S, IN_S, DONE_S, OUT_S, UNMOULD_S, FROST_S, CLOSE_S = 600, 780, 2480, 2540, 3300, 7000, 7300
LENGTH_S = {
    "weighing": 320,
    "pouring": 250,
    "preheating": 640,
    "baking": 1700,
    "cooling": 4300,
    "ready": 7060,
    "closed": 7400,
}


def oven_c(s: float) -> float:
    """The oven's air: heating, then a thermostat's saw, with two doors."""
    saw = 175.5 + 6.5 * math.sin(s / 38)
    value = 176 - 152 * math.exp(-s / 150) if s < 500 else saw
    for door in (IN_S, OUT_S):
        if door <= s < door + 200:
            value -= 45 * math.exp(-(s - door) / 60)
    return value


def core_c(s: float) -> float:
    """The cake's core: up in the oven, down on the rack."""
    if s < IN_S:
        return 21.0
    if s < OUT_S:
        x = (s - IN_S) / (DONE_S - IN_S)
        return 21 + 76 * x * x * (3 - 2 * x) if x < 1 else 97 + 1.2 * (1 - math.exp(-(x - 1) * 40))
    rate = math.log((98.2 - 21.6) / (24.0 - 21.6)) / (FROST_S - OUT_S)
    return 21.6 + (98.2 - 21.6) * math.exp(-rate * (s - OUT_S))


@dataclass
class Fabricated:
    """Writes the log; `t0` is the opening, µs since the epoch.

    Attributes:
        formulas: what the batch follows.
        batch: id of its batch.
        count: events written so far.
    """

    store: Store
    t0: int
    formulas: list[dict[str, Any]] = field(default_factory=lambda: [FORMULA])
    batch: str = "b-pear"
    count: int = 0

    def us(self, s: float) -> int:
        return self.t0 + int(s * MICROSECOND)

    def at(self, s: float) -> float:
        return self.us(s) / MICROSECOND

    def open(self) -> None:
        """The plan's record and the opening event."""
        names = [line["ingredient"] for formula in self.formulas for line in formula["line"]]
        frozen = {"ingredients": shipped().rows_for(names)}
        document = {"plan": PLAN, "formulas": self.formulas, "frozen": frozen}
        opening, _ = self.store.add(
            Mark("open batch", self.t0, id=f"open-{self.batch}", batch=self.batch), self.t0
        )
        pos, _ = self.store.add(PlanEntry(self.t0, self.batch, document), self.t0)
        self.store.open_batch(
            self.batch, self.formulas[0]["name"], "oven-probe/air", opening, pos, self.t0
        )
        self.say(0, ev.BatchOpened(self.formulas[0]["name"], 175.0), pos=pos)
        for name in ("bench-scale", "oven-probe", "cake-probe", "wall"):
            self.store.add(InstrumentState(name, self.t0, "online"), self.t0)

    def say(self, s: float, *bodies: Body, pos: int | None = None) -> None:
        """Events at a time, caused by a tick-like mark of ours unless `pos` names the record."""
        if pos is None:
            pos, _ = self.store.add(Mark("note", self.us(s)), self.us(s))
        events = []
        for body in bodies:
            self.count += 1
            events.append(Event(self.count, self.us(s), self.batch, body))
        self.store.add_events(pos, events)

    def reading(self, channel: str, s: float, value: float, unit: str = "Cel") -> None:
        instrument, name = channel.split("/")
        division = 0.001 if unit == "kg" else None
        stored = Reading(instrument, name, self.us(s), round(value, 4), unit, division=division)
        self.store.add(stored, self.us(s))

    def until(self, stage: str) -> None:
        """Everything from the opening to this stage."""
        length = LENGTH_S[stage]
        self.open()
        lines = plan_from_document({"plan": PLAN, "formulas": [FORMULA], "frozen": {}}).lines
        assert lines is not None
        happenings: list[tuple[float, list[Body]]] = [(5, [ev.BatchStage("weighing")])]
        happenings += [(4, [ev.WeighingContainer(0.412, "bench-scale/mass")])]
        for i, line in enumerate(lines):
            grams, uncertainty, verdict = WEIGHED[line.key]
            s = 30 + i * LINE_S
            addition = ev.WeighingAddition(
                line=line.key, mass_kg=grams / 1000, expanded_uncertainty_kg=uncertainty / 1000,
                target_kg=line.target_kg, lower_kg=line.lower_kg, upper_kg=line.upper_kg,
                probability_within=0.99 if verdict == "within" else 0.4, verdict=verdict,
                scale="bench-scale/mass", start_at=self.at(s - 20), budget=BUDGET,
            )  # fmt: skip
            happenings.append((s, [addition]))
        happenings += self._oven(length) + self._forecasts(length)
        happenings += [
            (IN_S, [ev.BakeIn(self.at(IN_S), "marked", 1.0), ev.BatchStage("baking")]),
            (DONE_S, [ev.BakeReached("done", self.at(DONE_S), 97.0)]),
            (OUT_S, [ev.BakeOut(self.at(OUT_S), "marked", 1.0)]),
            (OUT_S, [ev.CoolingStarted(self.at(OUT_S), 98.2), ev.BatchStage("cooling")]),
            (OUT_S + 20, [self._moved(OUT_S + 20, "in pan, on rack")]),
            (UNMOULD_S, [ev.CoolingReached("unmould", self.at(UNMOULD_S), 60.0)]),
            (UNMOULD_S + 60, [self._moved(UNMOULD_S + 60, "out of pan, on rack")]),
            (FROST_S, [ev.CoolingReached("frost", self.at(FROST_S), 24.0), ev.BatchStage("ready")]),
        ]  # fmt: skip
        if stage == "closed":
            happenings.append((CLOSE_S, [ev.BatchClosed()]))
        if stage == "pouring":
            happenings.append((248, [ev.WeighingPouring(
                "granulated sugar", 0.262, 0.038, 0.412, None, "bench-scale/mass")]))  # fmt: skip
        happenings.sort(key=lambda pair: pair[0])
        for s in range(0, length, 5):
            while happenings and happenings[0][0] <= s:
                at, bodies = happenings.pop(0)
                self.say(at, *bodies)
            self.readings(s)
        for at, bodies in happenings:
            if at <= length:
                self.say(at, *bodies)
        self.readings(length)
        if stage == "closed":
            self.store.close_batch(self.batch, self.store.pos, self.us(CLOSE_S))
        self.store.commit()

    def _moved(self, s: float, place: str) -> Body:
        return ev.CoolingChanged(self.at(s), place, "moved", "marked")

    def readings(self, s: float) -> None:
        if not 4800 < s < 5000:  # a probe that fell silent, declared below
            self.reading("cake-probe/core", s, core_c(s) + 0.1 * math.sin(s * 1.7))
        self.reading("oven-probe/air", s, oven_c(s) + 0.8 * math.sin(s * 2.3))
        self.reading("wall/air", s, 21.4 + 0.2 * math.sin(s / 900))
        self.reading("bench-scale/mass", s, 0.412 + (0.262 if s >= 248 else 0.0), "kg")
        if s == 5000:
            gap = Gap("cake-probe", "boot", 1, 1, 40, self.us(4800), self.us(5000), "cable out")
            self.store.add(gap, self.us(s))

    def _oven(self, length: int) -> list[tuple[float, list[Body]]]:
        out: list[tuple[float, list[Body]]] = [
            (PREHEAT_S, [ev.OvenPreheated(self.at(PREHEAT_S), 176.0, 175.0)])
        ]
        for s in range(PREHEAT_S + 240, min(length, OUT_S), 240):
            cycle = ev.OvenCycle(self.at(s - 240), self.at(s), 176.2, 13.0, 240.0, 175.0, 1.2)
            out.append((s, [cycle]))
        for s in (IN_S, OUT_S):
            out.append((s + 25, [ev.OvenDoor(self.at(s), self.at(s + 22), 45.0)]))
        return out

    def _forecasts(self, length: int) -> list[tuple[float, list[Body]]]:
        """Forecasts that wander at first and narrow as the milestone comes near."""
        out: list[tuple[float, list[Body]]] = []
        ways = [
            (ev.BakeForecast, "done", IN_S, DONE_S),
            (ev.CoolingForecast, "unmould", OUT_S, UNMOULD_S),
            (ev.CoolingForecast, "frost", OUT_S, FROST_S),
        ]
        for kind, name, begin, end in ways:
            for s in range(begin + 60, min(length, end), 60):
                left = (end - s) / (end - begin)
                middle = end + (end - begin) * 0.09 * left * math.sin(s / 500 + len(name))
                half = (end - begin) * 0.1 * left + 20
                span = [self.at(max(s, middle + half * side)) for side in (0, -1, 1.1)]
                out.append((s, [kind(name, self.at(s), *span, True)]))
        return out


def fabricate(
    folder: Path, stage: str, now_s: float, formulas: list[dict[str, Any]] | None = None
) -> Fabricated:
    """A store in `folder` whose batch stands at `stage` at `now_s` (seconds since the epoch).

    With other `formulas` the batch is open, its bowl stands on the scale, and nothing is in it.
    """
    store = Store(folder)
    t0 = microseconds(now_s) - LENGTH_S[stage] * MICROSECOND
    if formulas is None:
        made = Fabricated(store, t0)
        made.until(stage)
        return made
    made = Fabricated(store, t0, formulas)
    made.open()
    made.say(4, ev.WeighingContainer(0.412, "bench-scale/mass"))
    made.say(5, ev.BatchStage("weighing"))
    for s in range(0, LENGTH_S[stage], 5):
        made.readings(s)
    store.commit()
    return made
