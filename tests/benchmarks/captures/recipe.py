"""Formulas to weigh, what the baker is going to put in, and what a scale can decide about it.

The rule of the verdict is written here from its published ground (JCGM 106:2012, guard band
w = U, k = 2) and the product's own words: resolution twice, each uniform, and the class of the
scale where the plan names one. Masses in grams.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import erf, sqrt

import numpy as np

# name, default tolerance, least and most in grams, how it is added
PANTRY: tuple[tuple[str, float, float, float, str], ...] = (
    ("cake flour", 0.01, 120, 520, "powder"),
    ("granulated sugar", 0.01, 90, 480, "granules"),
    ("brown sugar", 0.01, 60, 320, "powder"),
    ("unsalted butter", 0.01, 60, 340, "pieces"),
    ("cocoa powder", 0.01, 25, 95, "powder"),
    ("dark chocolate", 0.01, 60, 240, "pieces"),
    ("whole milk", 0.02, 80, 380, "liquid"),
    ("buttermilk", 0.02, 90, 320, "liquid"),
    ("eggs", 0.02, 100, 300, "eggs"),
    ("cream cheese", 0.02, 150, 450, "pieces"),
    ("pears, diced", 0.02, 120, 420, "pieces"),
    ("water", 0.02, 40, 260, "liquid"),
    ("honey", 0.02, 20, 140, "liquid"),
    ("baking powder", 0.05, 5, 18, "spoons"),
    ("baking soda", 0.05, 3, 9, "spoons"),
    ("salt", 0.05, 3, 10, "spoons"),
    ("ground ginger", 0.05, 3, 12, "spoons"),
)
LEAVENERS = frozenset({"baking powder", "baking soda", "salt", "ground ginger"})


@dataclass
class Line:
    """A line of the formula as the judge knows it."""

    key: str
    target: float
    tolerance: float
    tolerance_text: str | None
    style: str
    bowl: int


@dataclass
class Means:
    """What the scale and the plan allow to decide."""

    division: float
    accuracy_class: str | None
    jumps: int = 1
    """Separate pairs of readings that a line's total is made of."""

    def largest_error(self, load: float) -> float:
        """Class error at a load on first verification: 0.5, 1, 1.5 e (OIML R 76-1, table 6)."""
        steps = load / self.division
        first, second = (500, 2000) if self.accuracy_class == "III" else (5000, 20000)
        return self.division * (0.5 if steps <= first else 1.0 if steps <= second else 1.5)

    def spread(self, load: float) -> tuple[float, float]:
        """Least and largest expanded uncertainty that an honest budget comes to."""
        resolution = self.division**2 / 6
        least, most = resolution, resolution * self.jumps + (0.2 * self.division) ** 2
        if self.accuracy_class is not None:
            error = self.largest_error(load)
            least += (0.5 * self.division) ** 2 / 3
            most += 2 * error**2 / 3
        return 2 * sqrt(least), 2 * sqrt(most)


def verdict(mass: float, target: float, tolerance: float, expanded: float) -> str:
    """The verdict on a measured mass by the guarded rule."""
    u = expanded / 2
    below = 0.5 * (1 + erf((target - tolerance - mass) / (u * sqrt(2))))
    above = 0.5 * (1 + erf((mass - target - tolerance) / (u * sqrt(2))))
    if below >= 0.975:
        return "under"
    if above >= 0.975:
        return "over"
    return "within" if 1 - below - above >= 0.975 else "undecidable"


def allowed(mass: float, line: Line, means: Means, load: float, reach_d: float) -> frozenset[str]:
    """Every verdict that a fair reading of ``mass`` may lead to, off by up to ``reach_d`` steps."""
    return frozenset(
        verdict(mass + e * means.division, line.target, line.tolerance, expanded)
        for e in np.linspace(-reach_d, reach_d, 101)
        for expanded in means.spread(load)
    )


def draw_lines(rng: np.random.Generator, division: float, bowls: int) -> list[Line]:
    """Five to nine lines that this scale can at least see."""
    least = 3.2 * division
    wanted = int(rng.integers(5, 10))
    order = rng.permutation(len(PANTRY))
    chosen = [PANTRY[i] for i in order if PANTRY[i][3] > 1.6 * least][:wanted]
    lines = []
    for n, (name, share, low, high, style) in enumerate(chosen):
        target = float(np.exp(rng.uniform(np.log(max(low, least)), np.log(max(high, 2 * least)))))
        target = round(target, 1) if target < 12 and division < 1 else float(round(target))
        if target >= 60 and rng.random() < 0.6:
            target = float(5 * round(target / 5))
        text, tolerance = None, max(0.1, share * target)
        kind = rng.random()
        if kind < 0.25 and target > 25:
            tolerance = float(rng.choice([2.0, 3.0, 4.0, 5.0]) * max(1.0, division / 2))
            text = f"{tolerance:g} g"
        elif kind < 0.4:
            percent = float(rng.choice([1.0, 2.0, 3.0, 5.0]))
            tolerance, text = target * percent / 100, f"{percent:g} %"
            if tolerance < 0.1:
                text, tolerance = "0.1 g", 0.1
        lines.append(Line(name, target, tolerance, text, style, n * bowls // len(chosen)))
    return lines


def draw_mass(
    rng: np.random.Generator, line: Line, means: Means, load: float, low_too: bool
) -> float:
    """What will truly be put in: a hit, a clear miss, or near a limit.

    Args:
        low_too: whether this line may be left too light and a rise after it still be told apart.
    """
    d = means.division
    _, most = means.spread(load)
    what = rng.random()
    if what < 0.6:
        slack = line.tolerance - most - 1.05 * d
        deviation = (
            rng.uniform(-slack, slack) if slack > 0 else rng.uniform(-0.2, 0.2) * line.tolerance
        )
    elif what < 0.9:
        deviation = line.tolerance + most + rng.uniform(1.3, 4.0) * d
        deviation += rng.uniform(0, 0.08) * line.target
        if (
            low_too
            and rng.random() < 0.5
            and line.target - deviation > max(3 * d, 0.4 * line.target)
        ):
            deviation = -deviation
    else:
        deviation = line.tolerance + rng.uniform(-1.0, 1.0) * most
        if low_too and rng.random() < 0.5 and line.target - deviation > 3 * d:
            deviation = -deviation
    return float(max(2.5 * d, line.target + deviation))
