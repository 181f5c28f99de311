"""The rules of cake balance: which ratio, in what range for which family, and what lies outside.

Four rules were read in a course hand-out, "Cake Balancing Guidelines"
(scribd.com/doc/29344241), which restates textbook rules; the textbooks themselves were not read.
The others are common practice quoted from memory and say so. They tell a baker where to look;
a cake that breaks one and comes out well is right.
"""

from __future__ import annotations

from dataclasses import dataclass

HANDOUT = 'course hand-out "Cake Balancing Guidelines", restating textbook rules'
MEMORY = "textbook rule quoted from memory, no page read"
PRACTICE = "common practice, from memory"

HIGH_RATIO = "high-ratio"
LOW_RATIO = "low-ratio"
FOAM = "foam"
FAMILY_WORDS = {
    HIGH_RATIO: "a high-ratio cake (more sugar than flour)",
    LOW_RATIO: "a low-ratio cake, of the creaming kind (no more sugar than flour)",
    FOAM: "a foam cake (raised by beaten egg)",
}

# "Equal" in the rules is read as within a tenth; no source gives a width.
EQUAL_WITHIN = 0.10
# A formula with at least as much egg as flour and at least twice as much egg as fat is raised by
# its eggs; the rules of the two families are not made for it (common practice, from memory).
FOAM_EGG_PER_FLOUR = 1.0
FOAM_EGG_PER_FAT = 2.0
# Hand-out: with cocoa or bitter chocolate, sugar up to 180 % of the flour in high-ratio cakes,
# and water of 75 to 100 % of the cocoa beside the other liquids; the lower figure is asked for.
SUGAR_WITH_COCOA = 1.80
WATER_FOR_COCOA = 0.75


@dataclass(frozen=True, slots=True)
class Range:
    """A classical range of a ratio; an end that no rule gives is None. Ends belong to it."""

    low: float | None
    high: float | None
    source: str

    def place(self, value: float) -> str:
        """``below``, ``inside`` or ``above``; rounding of the arithmetic is not a breach."""
        if self.low is not None and value < self.low - 1e-9:
            return "below"
        if self.high is not None and value > self.high + 1e-9:
            return "above"
        return "inside"

    @property
    def words(self) -> str:
        """As a baker says it.

        >>> Range(1.0, 1.6, "").words, Range(1.0, None, "").words, Range(None, 0.04, "").words
        ('100 to 160 %', 'at least 100 %', 'at most 4 %')
        """
        if self.low is None or self.high is None:
            if self.high is not None:
                return f"at most {per_cent(self.high)}"
            return "any" if self.low is None else f"at least {per_cent(self.low)}"
        return f"{per_cent(self.low).removesuffix(' %')} to {per_cent(self.high)}"


@dataclass(frozen=True, slots=True)
class Rule:
    """One ratio.

    Attributes:
        name: e.g. ``sugar : flour``.
        over, under: fields of `Amounts`.
        subject: how a sentence begins, e.g. ``Sugar is``.
        of: what it is a per cent of, e.g. ``the flour``.
        high_ratio, low_ratio: the classical ranges; None where the family has no such rule.
        below, above: what happens outside.
    """

    name: str
    over: str
    under: str
    subject: str
    of: str
    high_ratio: Range | None
    low_ratio: Range | None
    below: str
    above: str


RULES: tuple[Rule, ...] = (
    Rule(
        "sugar : flour", "sugar_kg", "flour_kg", "Sugar is", "the flour",
        Range(1.00, 1.60, HANDOUT),
        # The hand-out gives the upper end; the lower one is common practice, from memory.
        Range(0.50, 1.00, f"upper end: {HANDOUT}; lower end: {PRACTICE}"),
        below="the crumb is firm, dry and bread-like, and stales soon",
        above="the crumb sets late and may sink in the middle, and the crust turns sticky",
    ),
    Rule(
        "egg : fat", "egg_kg", "fat_kg", "Egg is", "the fat",
        Range(1.00, 2.00, f"lower end: {HANDOUT} (more egg than fat); upper end: {PRACTICE}"),
        Range(1 - EQUAL_WITHIN, 1 + EQUAL_WITHIN, f"{HANDOUT} (egg equals fat)"),
        below="the egg cannot hold the fat, so the crumb is greasy and fragile and may fall",
        above="the fat cannot keep so much egg tender, so the crumb turns tough and rubbery",
    ),
    Rule(
        "liquids : sugar", "liquids_kg", "sugar_kg", "Eggs and liquids are", "the sugar",
        Range(1.00, 1.50, f"lower end: {HANDOUT}; upper end: {MEMORY}"),
        None,
        below="the sugar does not dissolve, so the crust is hard and speckled, the crumb tight",
        above="it is too wet for its sugar and may shrink, with a gummy layer at the bottom",
    ),
    Rule(
        "liquids : flour", "liquids_kg", "flour_kg", "Eggs and liquids are", "the flour",
        None,
        Range(1 - EQUAL_WITHIN, 1 + EQUAL_WITHIN, f"{HANDOUT} (eggs and liquids equal flour)"),
        below="the batter is stiff, the crumb dry, the top peaked and cracked",
        above="it is too wet for its flour and may sink, with a gummy layer at the bottom",
    ),
    Rule(
        "leavening : flour", "leavening_kg", "flour_kg", "Leavening, as baking powder, is",
        "the flour",
        Range(0.02, 0.06, PRACTICE),
        Range(0.00, 0.05, PRACTICE),
        below="it rises little and stays tight, unless air was beaten in",
        above="it rises fast and falls, with coarse holes, a sunken middle and a chemical taste",
    ),
    Rule(
        "salt : flour", "salt_kg", "flour_kg", "Salt is", "the flour",
        Range(0.01, 0.03, PRACTICE),
        Range(0.01, 0.03, PRACTICE),
        below="the cake tastes flat",
        above="the cake tastes of salt",
    ),
    Rule(
        "water : flour", "water_kg", "flour_kg", "Water, in all the lines, is", "the flour",
        None, None, below="", above="",
    ),
)  # fmt: skip


def per_cent(value: float) -> str:
    """A ratio as a per cent: whole from 10 %, tenths below.

    >>> per_cent(1.108), per_cent(0.037), per_cent(0.05)
    ('111 %', '3.7 %', '5 %')
    """
    number = value * 100
    text = f"{number:.0f}" if number >= 9.95 else f"{number:.1f}".removesuffix(".0")
    return f"{text} %"
