"""Random weighings with everything that happens at a bench, for statistics."""

from __future__ import annotations

import random
from dataclasses import dataclass

from weighing_bench import Bench, Physics, line, run, standing

from logger.events import Event
from logger.plan import Formula, Line

NAMES = (
    ("cake flour", 120, 420, 0.01),
    ("granulated sugar", 80, 320, 0.01),
    ("butter", 60, 260, 0.01),
    ("milk", 80, 300, 0.02),
    ("eggs", 90, 220, 0.02),
    ("pear purée", 60, 200, 0.02),
    ("brown sugar", 40, 180, 0.01),
    ("baking powder", 8, 16, 0.05),
    ("salt", 3, 8, 0.05),
    ("ginger", 4, 12, 0.05),
)
MISHAPS = (
    "none", "no tare", "tare mid-pour", "lift", "lift untared", "auto-off", "auto-off zeroed",
    "unplugged", "mixer", "hand", "overload", "take back", "unit switch", "zero tracking",
    "taps", "emptied bowl",
)  # fmt: skip


@dataclass
class Day:
    """One generated weighing."""

    draw: int
    mishap: str
    bench: Bench
    formula: Formula
    marked: str

    def events(self, tail_s: int = 40) -> list[Event]:
        return run(self.bench.entries, self.formula, tail_s=tail_s)


def physics(r: random.Random, mishap: str) -> Physics:
    """A random scale."""
    division = r.choice([0.1, 0.5, 1.0, 1.0, 1.0, 2.0, 5.0])
    shape = r.choice(["sma", "value-unit", "described", "hid-scale"])
    return Physics(
        division_g=division,
        rate_hz=r.choice([5.0, 8.0, 10.0, 10.0, 20.0]),
        lag_s=r.uniform(0.1, 1.2) if r.random() < 0.5 else r.uniform(0.1, 0.4),
        filter_kind=r.choice(["first", "second", "mean"]),
        noise_g=r.uniform(0.05, 0.45) * division,
        noise_kind=r.choice(["white", "slow", "heavy"]),
        creep=r.choice([0.0, 0.0, 0.0002]),
        zero_tracking=mishap == "zero tracking",
        stable_flag=shape in ("sma", "hid-scale") or (shape == "described" and r.random() < 0.5),
        net_flag=shape == "sma" or (shape == "described" and r.random() < 0.5),
        says_division=shape != "value-unit" or r.random() < 0.5,
        jitter_s=0.01,
    )


def aim(r: random.Random, target: float, tolerance: float, division: float, parted: bool) -> float:
    """What a person really pours: mostly right, now and then clearly not.

    A line is left clearly under only where a mark or a tare parts it from the next: without either
    the next rise is, by the rules, a top-up.
    """
    u = r.random()
    if u < 0.78:
        return target + r.uniform(-0.4, 0.4) * tolerance
    away = tolerance + max(tolerance, 2.5 * division) * r.uniform(1.0, 3.0)
    if away > 0.25 * target:
        return target  # nobody misses a spoonful by half
    return target + (away if u < 0.9 or not parted else -away)


def day(draw: int) -> Day:
    """Make one: mishap and shape follow from the draw."""
    r = random.Random(draw)
    mishap = MISHAPS[draw % len(MISHAPS)]
    p = physics(r, mishap)
    bench = Bench(p, r)
    lines: list[Line] = []
    count = r.randint(4, 8)
    for name, low, high, part in r.sample(NAMES, count):
        if p.division_g >= 2 and high < 20:
            continue
        target = round(r.uniform(low, high))
        lines.append(line(name, target, max(0.1, part * target)))
    formula = Formula("weighing", tuple(lines))
    marked = r.choice(["all", "none", "none", "half"])
    tares = mishap not in ("no tare", "lift untared") and r.random() < 0.8
    bowl = r.uniform(180, 1200)
    bench.pass_s(r.uniform(0.5, 3))
    bench.put(bowl)
    bench.pass_s(r.uniform(1.5, 3) + 7 * p.lag_s)
    if mishap not in ("no tare", "lift untared"):
        bench.tare(r.choice([0.0, 0.0, 20.0]))
        bench.pass_s(r.uniform(1.5, 3) + 7 * p.lag_s)
    if mishap == "mixer":
        bench.mixer_g = r.uniform(1, 5) * p.division_g
    hit = r.randrange(len(lines))
    for index, one in enumerate(lines):
        _weigh(bench, r, one, index, index == hit, mishap, marked, tares, bowl)
    bench.pass_s(8)
    return Day(draw, mishap, bench, formula, marked)


def _weigh(
    bench: Bench,
    r: random.Random,
    one: Line,
    index: int,
    hit: bool,
    mishap: str,
    marked: str,
    tares: bool,
    bowl: float,
) -> None:
    p = bench.physics
    pause = r.uniform(2.0, 3.5) + 5 * p.lag_s  # a person waits until the number stands
    assert one.target_kg is not None
    assert one.tolerance_kg is not None
    target, tolerance = one.target_kg * 1000, one.tolerance_kg * 1000
    parts = tares and r.random() < 0.7
    mass = aim(r, target, tolerance, p.division_g, parts or marked == "all")
    if marked == "all" or (marked == "half" and index % 2 == 0):
        bench.mark(one.key)
        bench.pass_s(0.4)
    if hit and mishap == "unit switch":
        bench.division_g = 2.835
        bench.pass_s(1)
    if hit and mishap == "tare mid-pour" and mass > 40:
        bench.pour(one.key, mass, r.uniform(15, 50), tare_after=r.uniform(0.3, 0.7))
    elif hit and mishap == "unplugged" and mass > 40:
        bench.pour(one.key, 0.5 * mass, 40)
        bench.load_g += 8
        bench.add_truth(one.key, 8)
        bench.truth[one.key].decidable = False
        bench.sleep(r.uniform(4, 10), True)
        bench.pass_s(1)
        bench.pour(one.key, 0.5 * mass - 8, 30)
    elif hit and mishap == "taps":
        bench.pour(one.key, 0.92 * mass, r.uniform(20, 50))
        bench.pass_s(2)
        bench.spoon(one.key, 0.08 * mass, 3)
    elif hit and mishap == "take back":
        extra = tolerance + 8 * p.division_g + 5
        bench.pour(one.key, target + extra, r.uniform(20, 50))
        bench.pass_s(pause)
        bench.take_back(one.key, target + extra - mass)
    elif mass < 25:
        bench.spoon(one.key, mass, r.choice([1, 2, 3]))
    else:
        bench.pour(one.key, mass, r.uniform(15, 70))
    bench.pass_s(pause)
    if hit:
        _afterwards(bench, r, mishap, bowl, pause)
    if bench.division_g and hit is False:
        bench.division_g = None
        bench.pass_s(1)
    if parts:
        bench.tare(r.choice([0.0, 0.0, 15.0]))
        bench.pass_s(pause)


def _afterwards(bench: Bench, r: random.Random, mishap: str, bowl: float, pause: float) -> None:
    if mishap in ("lift", "lift untared"):
        mass = bench.lift()
        bench.pass_s(r.uniform(3, 60))
        bench.put_back(mass)
        bench.pass_s(pause)
    elif mishap == "emptied bowl":
        bench.lift()
        bench.pass_s(r.uniform(5, 30))
        bench.put_back(bowl + r.uniform(0, 6))
        bench.pass_s(pause)
    elif mishap in ("auto-off", "auto-off zeroed"):
        bench.sleep(r.uniform(20, 90), mishap == "auto-off zeroed")
        bench.pass_s(2)
    elif mishap == "hand":
        bench.hand(r.uniform(1, 4))
        bench.pass_s(pause)
    elif mishap == "overload":
        bench.extra_g = 6000
        bench.overloaded = True
        bench.pass_s(1.5)
        bench.extra_g = 0
        bench.pass_s(0.3)
        bench.overloaded = False
        bench.pass_s(pause)


@dataclass
class Score:
    """Counts over days."""

    additions: int = 0
    clear: int = 0
    right: int = 0
    false_within: int = 0
    missing: int = 0
    invented: int = 0
    close: int = 0
    massed: int = 0
    wrong: int = 0

    def add(self, one: Day) -> list[str]:
        """Score a day; gives what went wrong."""
        found = standing(one.events())
        notes: list[str] = []
        self.invented += sum(key not in one.bench.truth for key in found)
        d = one.bench.physics.division_g
        for item in one.formula.lines:
            truth = one.bench.truth[item.key]
            self.additions += 1
            body = found.get(item.key)
            if body is None:
                self.missing += 1
                notes.append(f"missing {item.key} {truth.mass_g:.1f}")
                continue
            d_here = max(d, 2.9 if one.mishap == "unit switch" else 0.0)
            if truth.decidable and body.mass_kg is not None:
                self.massed += 1
                off = body.mass_kg * 1000 - truth.mass_g
                self.close += abs(off) <= d_here
                if abs(off) > max(3 * d_here, 2.0):
                    self.wrong += 1
                if abs(off) > d_here:
                    notes.append(f"{item.key} {truth.mass_g:.2f} read {body.mass_kg * 1000:.2f}")
            assert item.target_kg is not None
            assert item.tolerance_kg is not None
            miss = abs(truth.mass_g - item.target_kg * 1000) - item.tolerance_kg * 1000
            expected = "within"
            if miss > 0:
                expected = "over" if truth.mass_g > item.target_kg * 1000 else "under"
            if not truth.decidable and not (expected == "over" and body.verdict == "over"):
                expected = "undecidable"  # what was seen of it may already be too much
            # Clear: no honest budget of two roundings and a little noise could doubt it.
            if not truth.decidable or abs(miss) > 1.6 * d_here:
                self.clear += 1
                self.right += body.verdict == expected
                if body.verdict != expected:
                    notes.append(f"{item.key} is {expected}, said {body.verdict}")
            if miss > 1.6 * d_here and body.verdict == "within":
                self.false_within += 1
        return notes
