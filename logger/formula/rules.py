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
# Within this share of an end of its range a ratio lies "a little" outside (ours).
A_LITTLE = 0.05
# Hand-out: with cocoa or bitter chocolate, sugar up to 180 % of the flour in high-ratio cakes,
# and water of 75 to 100 % of the cocoa beside the other liquids; the lower figure is asked for.
# Hand-out: "if large quantities of moist ingredients are added, reduce the liquid": the water of
# fruit stands in for liquid that seems missing.
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

    def outside(self, value: float) -> str:
        """How a value outside lies, in words; '' inside.

        >>> Range(1.0, 1.6, "").outside(1.7), Range(1.0, 1.6, "").outside(0.97)
        ('over the usual 100 to 160 %', 'a little under the usual 100 to 160 %')
        """
        place = self.place(value)
        end = self.low if place == "below" else self.high
        if place == "inside" or end is None:
            return ""
        little = "a little " if abs(value - end) <= A_LITTLE * end else ""
        return f"{little}{'under' if place == 'below' else 'over'} the usual {self.words}"

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
        below, above: what is risked outside, so that it follows on "the risk is".
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
        below="a firm, dry, bread-like crumb that stales soon",
        above="a crumb that sets late and sinks in the middle, and a sticky crust",
    ),
    Rule(
        "egg : fat", "egg_kg", "fat_kg", "Egg is", "the fat",
        Range(1.00, 2.00, f"lower end: {HANDOUT} (more egg than fat); upper end: {PRACTICE}"),
        Range(1 - EQUAL_WITHIN, 1 + EQUAL_WITHIN, f"{HANDOUT} (egg equals fat)"),
        below="a greasy, fragile crumb, the egg unable to hold the fat",
        above="a tough, rubbery crumb, the fat unable to keep the egg tender",
    ),
    Rule(
        "liquids : sugar", "liquids_kg", "sugar_kg", "Eggs and liquids are", "the sugar",
        Range(1.00, 1.50, f"lower end: {HANDOUT}; upper end: {MEMORY}"),
        None,
        below="a hard, speckled crust and a tight crumb, the sugar undissolved",
        above="a wet cake that shrinks, gummy at the bottom",
    ),
    Rule(
        "liquids : flour", "liquids_kg", "flour_kg", "Eggs and liquids are", "the flour",
        None,
        Range(1 - EQUAL_WITHIN, 1 + EQUAL_WITHIN, f"{HANDOUT} (eggs and liquids equal flour)"),
        below="a stiff batter, a dry crumb, a peaked and cracked top",
        above="a wet cake that sinks, gummy at the bottom",
    ),
    Rule(
        "leavening : flour", "leavening_kg", "flour_kg", "Leavening, as baking powder, is",
        "the flour",
        # Soda with an acid counts as three and a half times its weight of powder, and a teaspoon of
        # each to two cups of flour is common: hence more than the 6 % of powder alone.
        Range(0.02, 0.08, PRACTICE),
        Range(0.00, 0.06, PRACTICE),
        below="little rise and a tight crumb, unless air was beaten in",
        above="a fast rise that falls, coarse holes and a chemical taste",
    ),
    Rule(
        "salt : flour", "salt_kg", "flour_kg", "Salt is", "the flour",
        Range(0.01, 0.03, PRACTICE),
        Range(0.01, 0.03, PRACTICE),
        below="a flat taste",
        above="a salty taste",
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
