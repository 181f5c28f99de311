"""The balance of a batter: its ratios, the family it is in, its leavening, the flour it asks for.

`balance` may be asked with other masses than the targets, so that what an over-pour does can be
said before anything is done about it. Masses in kilograms; ratios are plain numbers (1.1 = 110 %).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from math import fsum
from typing import Any

from logger.formula.amounts import Amounts, count
from logger.formula.kinds import Kinded, Table, kinded, listed
from logger.formula.leavening import Leavening, leavening
from logger.formula.rules import (
    FAMILY_WORDS,
    FOAM,
    FOAM_EGG_PER_FAT,
    FOAM_EGG_PER_FLOUR,
    HIGH_RATIO,
    LOW_RATIO,
    RULES,
    SUGAR_WITH_COCOA,
    WATER_FOR_COCOA,
    Range,
    Rule,
    per_cent,
)
from logger.plan import Line

# A ratio that moves by less than this share of itself is not worth a word beside a changed batter
# (half of the 2 % that two lines within a tolerance of ±1 % may differ by; ours).
WORTH_A_WORD = 0.01

ACID_OF_FOAM = "In a foam cake the acid is there to steady the beaten egg."

SOFT_FLOURS = ("cake", "chlorinated", "high-ratio", "heat-treated")


@dataclass(frozen=True, slots=True)
class Ratio:
    """One ratio of the balance.

    Attributes:
        name: e.g. ``sugar : flour``.
        value: e.g. 1.11; None where there is nothing to divide by.
        stands: ``below``, ``inside`` or ``above`` the range of the formula's family; None where
            there is no value or the family has no such rule.
        usual: that range; None where there is none.
        high_ratio, low_ratio: the ranges of the two families, whichever the formula is in.
        sentence: the value in words, and what happens where it lies outside.
    """

    name: str
    value: float | None
    stands: str | None
    usual: Range | None
    high_ratio: Range | None
    low_ratio: Range | None
    sentence: str


@dataclass(frozen=True, slots=True)
class FlourAsked:
    """The kind of flour that more sugar than flour asks for.

    Attributes:
        given: kinds of the flours in the formula; empty where none is said.
        soft_enough: None where no kind is said.
        sentence: for the baker.
    """

    given: tuple[str, ...]
    soft_enough: bool | None
    sentence: str


@dataclass(frozen=True, slots=True)
class Balance:
    """The balance of a batter.

    Attributes:
        family: ``high-ratio``, ``low-ratio``, ``foam``, or None where there is no flour.
        amounts: what was counted.
        ratios: in a fixed order, one for each rule.
        leavening: baking powder, soda and acids.
        flour_asked: None unless sugar exceeds flour.
        water_unknown: keys of lines whose water is not known; the water is then at least that.
        uncounted: keys of lines in no ratio (but water's, where known).
        assumed: sentences about lines whose kind was told from their name.
    """

    family: str | None
    amounts: Amounts
    ratios: tuple[Ratio, ...]
    leavening: Leavening
    flour_asked: FlourAsked | None
    water_unknown: tuple[str, ...]
    uncounted: tuple[str, ...]
    assumed: tuple[str, ...]

    @property
    def outside(self) -> tuple[Ratio, ...]:
        """The ratios outside the range of the formula's family."""
        return tuple(ratio for ratio in self.ratios if ratio.stands in ("below", "above"))

    def ratio(self, name: str) -> Ratio:
        """The ratio of this name, e.g. ``sugar : flour``."""
        return next(ratio for ratio in self.ratios if ratio.name == name)

    def to_json(self) -> dict[str, Any]:
        return asdict(self)


def balance(
    masses_kg: Mapping[str, float],
    lines: Iterable[Line],
    table: Table,
    *,
    flour_kind: str | None = None,
    family: str | None = None,
) -> Balance:
    """The balance of the lines at these masses.

    Args:
        masses_kg: mass by line key; a line that is not in it counts with its target, one without
            either with nothing.
        lines: of one formula (several make no one batter).
        table: where ingredients are found.
        flour_kind: what the formula says of its flour.
        family: judge by the rules of this family, whatever the sugar now is; so a batter with a
            little too much sugar is still measured as the cake it was meant to be.
    """
    items = tuple((item, _mass(item.line, masses_kg)) for item in kinded(lines, table))
    flour_kg = fsum(mass for item, mass in items if item.kind == "flour")
    raised = leavening(items, flour_kg)
    amounts, water_unknown, uncounted = count(items, flour_kg, raised)
    own = family or _family(amounts)
    if own == FOAM and raised.soda_kg == 0 and raised.stands == "acid left":
        raised = replace(raised, stands="none", sentence=ACID_OF_FOAM)
    return Balance(
        own,
        amounts,
        tuple(_ratio(rule, amounts, own, bool(water_unknown)) for rule in RULES),
        raised,
        _flour_asked(items, amounts, flour_kind),
        water_unknown,
        uncounted,
        tuple(
            f"{item.line.ingredient} is not in the ingredient table; counted as {item.kind} "
            "from its name."
            for item, _ in items
            if item.assumed
        ),
    )


def changes(before: Balance, after: Balance) -> tuple[str, ...]:
    """What another set of masses does to the balance, in sentences, the gravest first.

    Give `balance` the family of `before` when asking for `after`.
    """
    grave: list[str] = []
    slight: list[str] = []
    for rule, old, new in zip(RULES, before.ratios, after.ratios, strict=True):
        if old.value is None or new.value is None or new.stands is None:
            continue
        if abs(new.value - old.value) <= WORTH_A_WORD * old.value:
            continue
        moved = (
            f"{rule.subject.removesuffix(' is').removesuffix(' are')} "
            f"from {per_cent(old.value)} to {per_cent(new.value)} of {rule.of}"
        )
        if new.stands == "inside":
            slight.append(f"{moved}: still usual.")
            continue
        if new.usual is not None:
            grave.append(f"{moved}, {_risk(rule, new.usual, new.value)}.")
    if after.leavening.stands != before.leavening.stands:
        grave.append(after.leavening.sentence)
    return (*grave, *slight) or ("The balance hardly changes.",)


def _mass(line: Line, masses_kg: Mapping[str, float]) -> float:
    return masses_kg.get(line.key, line.target_kg or 0.0)


def _family(amounts: Amounts) -> str | None:
    if amounts.flour_kg <= 0:
        return None
    if amounts.egg_kg >= max(
        FOAM_EGG_PER_FLOUR * amounts.flour_kg, FOAM_EGG_PER_FAT * amounts.fat_kg
    ):
        return FOAM
    # Equal weights of sugar and flour keep both families' rule for sugar; the cake made so for
    # three centuries, pound cake, is one of the creaming kind.
    return HIGH_RATIO if amounts.sugar_kg > amounts.flour_kg * (1 + 1e-9) else LOW_RATIO


def _ratio(rule: Rule, amounts: Amounts, family: str | None, water_unknown: bool) -> Ratio:
    over, under = getattr(amounts, rule.over), getattr(amounts, rule.under)
    high_ratio = _with_cocoa(rule, amounts)
    usual = {HIGH_RATIO: high_ratio, LOW_RATIO: rule.low_ratio}.get(family or "")
    if family is None:
        sentence = "Not asked of a formula without flour."
        value = over / under if under > 0 else None
        return Ratio(rule.name, value, None, None, high_ratio, rule.low_ratio, sentence)
    if under <= 0:
        what = rule.under.removesuffix("_kg")
        sentence = f"There is no {what} to hold the {rule.over.removesuffix('_kg')} against."
        return Ratio(rule.name, None, None, usual, high_ratio, rule.low_ratio, sentence)
    value = over / under
    stands = None if usual is None else usual.place(value)
    at_least = "at least " if rule.over == "water_kg" and water_unknown else ""
    said = f"{rule.subject} {at_least}{per_cent(value)} of {rule.of}"
    if usual is None:
        why = "no classical range" if family != FOAM else "the two families' rules do not ask"
        sentence = f"{said}; {why}."
    elif stands == "inside":
        sentence = f"{said}; usual is {usual.words}."
    elif _fruit_helps(rule, usual, amounts, value):
        stands = "inside"
        sentence = (
            f"{said}, {per_cent((over + amounts.fruit_water_kg) / under)} with the water in its "
            f"fruit; usual is {usual.words}."
        )
    else:
        sentence = f"{said}, {_risk(rule, usual, value)}."
    return Ratio(rule.name, value, stands, usual, high_ratio, rule.low_ratio, sentence)


def _fruit_helps(rule: Rule, usual: Range, amounts: Amounts, value: float) -> bool:
    """Whether liquid only seems to be missing, because fruit brings the water."""
    if rule.over != "liquids_kg" or usual.place(value) != "below":
        return False
    with_fruit = (amounts.liquids_kg + amounts.fruit_water_kg) / getattr(amounts, rule.under)
    return usual.place(with_fruit) != "below"


def _risk(rule: Rule, usual: Range, value: float) -> str:
    """How a value lies outside its range, and what is risked."""
    risk = rule.below if usual.place(value) == "below" else rule.above
    return f"{usual.outside(value)}; the risk is {risk}"


def _with_cocoa(rule: Rule, amounts: Amounts) -> Range | None:
    """The high-ratio range, with what cocoa does to it."""
    usual = rule.high_ratio
    if usual is None or amounts.cocoa_kg <= 0:
        return usual
    if rule.name == "sugar : flour":
        return Range(usual.low, SUGAR_WITH_COCOA, f"{usual.source}; with cocoa")
    if rule.name == "liquids : sugar" and amounts.sugar_kg > 0:
        more = WATER_FOR_COCOA * amounts.cocoa_kg / amounts.sugar_kg
        low = None if usual.low is None else usual.low + more
        high = None if usual.high is None else usual.high + more
        return Range(low, high, f"{usual.source}; with water for the cocoa")
    return usual


def _flour_asked(
    items: tuple[tuple[Kinded, float], ...], amounts: Amounts, flour_kind: str | None
) -> FlourAsked | None:
    if amounts.flour_kg <= 0 or amounts.sugar_kg <= amounts.flour_kg * (1 + 1e-9):
        return None
    told = [flour_kind] if flour_kind else []
    told += [
        item.ingredient.flour_kind
        for item, mass in items
        if not flour_kind and mass > 0 and item.kind == "flour"
        if item.ingredient is not None and item.ingredient.flour_kind
    ]
    given = tuple(dict.fromkeys(told))
    asked = (
        "There is more sugar than flour: that asks for a soft, fine flour, cake flour best "
        "(chlorinated or heat-treated where it is allowed)"
    )
    if not given:
        return FlourAsked((), None, f"{asked}. The formula does not say what kind it has.")
    soft = all(any(word in kind.lower() for word in SOFT_FLOURS) for kind in given)
    have = f"{listed(given)} flour"
    if soft:
        return FlourAsked(given, True, f"{asked}; {have} is right.")
    return FlourAsked(
        given, False, f"{asked}. With {have} the cake may peak, then sink, and chew like bread."
    )


def family_words(family: str | None) -> str:
    """A family in words, for a sentence that begins ``This is …``."""
    return FAMILY_WORDS.get(family or "", "no batter with flour")
