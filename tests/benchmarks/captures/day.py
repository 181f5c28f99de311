"""A weighing from the first to the last line, with one kind of mishap at its heart."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from baker import Bench
from load_cell import OUNCE_DIVISION, OUNCE_G, Character, Key, Shown, draw_character, frames
from mishaps import after_line, before_line, in_line
from recipe import Line, Means, draw_lines, draw_mass
from wire import FAMILIES, Dress, dress

CATEGORIES = (
    "clean", "container", "no tare", "mixer", "hand", "spoon", "taps", "take back", "lifted",
    "containers", "any order", "wrong line", "unit", "sleep", "overload", "cable", "damage", "mixed",
)  # fmt: skip
START = 1_790_000_000.0


@dataclass
class Truth:
    """What really went in for one line."""

    key: str
    mass: float = 0.0
    means: Means | None = None
    load: float = 0.0
    rest_at: float = 0.0
    start_at: float = 0.0
    read_at: float = 0.0
    """Rest before anything else is done; a careful reader looks here and at ``start_at``."""
    left_at: float = 0.0
    unknowable: bool = False
    """Part of it cannot be known from the bytes: `undecidable` is fair, the mass is not judged."""
    loose: bool = False
    """The rule leaves open where it belongs: reported, not scored."""
    tags: list[str] = field(default_factory=list)


@dataclass
class Day:
    """A finished recording with its truth."""

    draw: int
    category: str
    scale: Character
    dress: Dress
    damage: float
    lines: list[Line]
    truths: dict[str, Truth]
    shown: list[Shown]
    marks: list[dict[str, object]]
    formula: str
    plan: str
    story: list[str]
    troubled: list[tuple[float, float]]
    marked: str
    tared: str
    keys: list[Key]


@dataclass
class Weighing:
    """The state of a day while it is told."""

    rng: np.random.Generator
    bench: Bench
    category: str
    scale: Character
    means: Means
    marked: str
    tared: str
    lines: list[Line]
    truths: dict[str, Truth] = field(default_factory=dict)
    marks: list[dict[str, object]] = field(default_factory=list)
    troubles: dict[int, str] = field(default_factory=dict)
    bowls: dict[int, float] = field(default_factory=dict)

    def mark(self, kind: str, **fields: object) -> None:
        """A person's mark, now."""
        self.marks.append({"mark": kind, "t": round(START + self.bench.now, 3), **fields})
        self.bench.tell(f"mark {kind} {' '.join(map(str, fields.values()))}")

    def settle(self, low: float, high: float) -> None:
        """A rest long enough for this scale to show it."""
        slow = self.scale.filter_s + 3 / self.scale.rate_hz
        self.bench.wait(slow + low, slow + high)

    def says_line(self, line: Line) -> bool:
        """Whether the person marks the line before this rise."""
        return self.marked == "all" or (self.marked == "some" and self.rng.random() < 0.5)


def _first_container(day: Weighing, bowl: int) -> None:
    rng, bench = day.rng, day.bench
    empty = day.bowls[bowl]
    how = rng.choice(["on at zero", "on and tared", "put on", "put on"])
    if how == "put on":
        bench.wait(1.5, 5)
        bench.tell(f"a bowl of {empty:.1f} g is put on")
        bench.set_down(empty)
    else:
        bench.put(empty, 0.0)
        if how == "on and tared":
            day.scale.off_at_start_g = empty
        bench.tell(f"a bowl of {empty:.1f} g stands there already, {how}")
    day.settle(1.2, 4)
    if how != "on and tared" and day.tared != "never":
        bench.press("tare")
        bench.wait(1.0, 3.0)


def _next_container(day: Weighing, bowl: int) -> None:
    bench = day.bench
    bench.tell("the bowl goes away")
    bench.lift()
    bench.wait(2, 8)
    bench.tell(f"a bowl of {day.bowls[bowl]:.1f} g is put on")
    bench.set_down(day.bowls[bowl])
    day.settle(1.2, 4)
    if day.tared != "never":
        bench.press("tare")
        bench.wait(1.0, 3.0)


def _weigh(day: Weighing, n: int, line: Line, fresh: bool) -> None:
    rng, bench = day.rng, day.bench
    trouble = day.troubles.get(n, "")
    bench.tell(
        f"line {line.key}: target {line.target:g} ± {line.tolerance:g} g, trouble: {trouble or 'none'}"
    )
    each = day.tared == "each line"
    before_line(day, trouble)
    if each and not fresh:
        bench.press("tare")
        bench.wait(0.9, 2.5)
    said = day.says_line(line)
    if said:
        day.mark("line", line=line.key)
        bench.wait(0.3, 2.5)
    truth = Truth(
        line.key, means=Means(day.means.division, day.means.accuracy_class), tags=[trouble]
    )
    day.truths[line.key] = truth
    truth.load, truth.start_at = bench.load(), bench.now
    told = day.marked == "all" or each
    truth.mass = draw_mass(rng, line, day.means, bench.load() + line.target, told)
    # By the rule a rise opens the next line once the open one is no longer too light: where
    # nobody marks, the last spoonful or piece is the one that makes it so.
    left = max(0.0, truth.mass - line.target) + line.tolerance + 3 * day.means.division
    bench.least = 0.0 if day.marked == "all" else left
    in_line(day, line, truth, trouble)
    truth.rest_at = max(at for at, _ in bench.deposits)
    bench.tell(f"rests with {truth.mass:.2f} g of {line.key}")
    day.settle(1.0, 5.0)
    truth.read_at = bench.now
    after_line(day, line, truth, trouble)
    truth.left_at = bench.now


def tell_day(draw: int, category: str | None = None) -> Day:
    """The recording of one draw; the same for the same draw."""
    rng = np.random.default_rng([77, draw])
    category = category or CATEGORIES[draw % len(CATEGORIES)]
    scale = draw_character(rng)
    if category == "unit" and scale.division_g == 5.0:
        scale.division_g = 1.0
    family = FAMILIES[int(rng.integers(4))]
    accuracy_class = str(rng.choice(["II", "III"])) if rng.random() < 0.2 else None
    bowls = (
        int(rng.choice([2, 3]))
        if category in ("containers", "mixed")
        else int(rng.choice([1, 1, 2]))
    )
    lines = draw_lines(rng, scale.division_g, bowls)
    day = Weighing(
        rng=rng,
        bench=Bench(rng),
        category=category,
        scale=scale,
        means=Means(scale.division_g, accuracy_class),
        marked=str(rng.choice(["all", "none", "some"], p=[0.45, 0.47, 0.08])),
        tared="never"
        if category == "no tare"
        else str(rng.choice(["each line", "container", "never"], p=[0.6, 0.25, 0.15])),
        lines=lines,
    )
    if category == "any order":
        day.marked = "all"
        lines = [
            lines[i] for i in sorted(range(len(lines)), key=lambda i: (lines[i].bowl, rng.random()))
        ]
    for bowl in range(bowls):
        day.bowls[bowl] = float(rng.uniform(90, 700))
    if bowls == 3 and rng.random() < 0.5:
        day.bowls[2] = day.bowls[0]
    kinds = [
        c
        for c in CATEGORIES
        if c not in ("clean", "no tare", "containers", "any order", "damage", "mixed", "wrong line")
    ]
    for n in range(len(lines)):
        if category == "mixed" and rng.random() < 0.45:
            day.troubles[n] = str(rng.choice(kinds))
        elif category in (*kinds, "wrong line") and rng.random() < 0.45:
            day.troubles[n] = category
        elif rng.random() < 0.06:
            day.troubles[n] = str(
                rng.choice(["hand", "taps", "take back", "lifted", "mixer", "spoon"])
            )
    poured = lines[:-1] if rng.random() < 0.15 else lines
    _tell(day, poured)
    mass, force = day.bench.loads()
    shown = frames(mass, force, day.bench.keys, scale, rng)
    dressed = dress(family, rng)
    damage = (
        float(rng.uniform(0.02, 0.06)) if category == "damage" else float(rng.choice([0.0, 0.003]))
    )
    return Day(
        draw, category, scale, dressed, damage, day.lines, day.truths, shown, day.marks,
        _formula_text(day.lines), _plan_text(rng, day), day.bench.story, day.bench.troubled,
        day.marked, day.tared, day.bench.keys,
    )  # fmt: skip


def _tell(day: Weighing, lines: list[Line]) -> None:
    bench, bowl = day.bench, -1
    n = 0
    while n < len(lines):
        line = lines[n]
        fresh = line.bowl != bowl
        if bowl < 0:
            _first_container(day, line.bowl)
        elif fresh:
            _next_container(day, line.bowl)
        bowl = line.bowl
        after = lines[n + 1] if n + 1 < len(lines) else None
        if day.troubles.get(n) == "wrong line" and after is not None and after.bowl == bowl:
            _swapped(day, n, line, after, fresh)
            n += 2
            continue
        _weigh(day, n, line, fresh)
        n += 1
    day.settle(1.5, 3)
    if day.rng.random() < 0.6:
        bench.tell("the bowl goes away")
        bench.lift()
        bench.wait(4, 8)
    else:
        bench.tell("left standing")
        bench.wait(33, 38)


def _swapped(day: Weighing, n: int, line: Line, after: Line, fresh: bool) -> None:
    """The amount of the following line goes in first; then this line's."""
    day.troubles[n] = ""
    bench = day.bench
    if day.marked == "none":
        bench.tell(f"{after.key} is poured before {line.key}, and nobody says so")
        _weigh(day, n, after, fresh)
        _weigh(day, n, line, False)
        apart = max(line.target, after.target) / min(line.target, after.target) > 1.6
        day.truths[line.key].loose = True
        day.truths[after.key].loose = not apart or after.target > line.target
        day.marked = "all"
        return
    day.mark("line", line=line.key)
    bench.wait(1, 2)
    bench.tell(f"but {after.key} is poured")
    marked, day.marked = day.marked, "none"
    _weigh(day, n, after, fresh)
    day.marked = marked
    mass = round(day.truths[after.key].mass / day.means.division) * day.means.division
    day.mark("confirm", line=after.key, mass_g=round(mass, 1))
    bench.wait(1, 3)
    day.marked = "all"
    _weigh(day, n, line, False)
    day.marked = marked
    day.truths[line.key].loose = day.truths[after.key].loose = True


def _formula_text(lines: list[Line]) -> str:
    rows = ['name = "Trial cake"\n']
    for line in lines:
        rows.append(f'[[line]]\ningredient = "{line.key}"\namount = "{line.target:g} g"')
        if line.tolerance_text:
            rows.append(f'tolerance = "{line.tolerance_text}"')
        rows.append(f'bowl = "{"abc"[line.bowl]}"\n')
    return "\n".join(rows)


def _plan_text(rng: np.random.Generator, day: Weighing) -> str:
    rows = ['[channels]\n"scale/mass" = "scale"\n', '[formula]\nfile = "trial.formula.toml"\n']
    said = [f'resolution = "{day.means.division:g} g"'] if rng.random() < 0.5 else []
    if day.means.accuracy_class:
        said = [f'resolution = "{day.means.division:g} g"', f'class = "{day.means.accuracy_class}"']
    if said:
        rows.append("[scale]\n" + "\n".join(said) + "\n")
    return "\n".join(rows)


def ounce_means(means: Means) -> Means:
    """The same scale while it shows ounces."""
    return Means(OUNCE_DIVISION[means.division] * OUNCE_G, means.accuracy_class, means.jumps)
