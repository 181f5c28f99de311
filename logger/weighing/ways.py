"""Ways back from an over-pour, in numbers and words: leave it, take it back, rescale, re-assign.

Each way is a mapping as it stands in the event `weighing.recovery`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from logger.formula.balance import balance, changes
from logger.formula.kinds import Table, listed
from logger.formula.pans import FILL, KIND, PanError, fill
from logger.plan import CakePlan, Line
from logger.weighing.recovery import Amount, Rescale, TopUp, rescale

Way = Mapping[str, Any]
Ways = tuple[tuple[Way, ...], tuple[Way, ...]]  # open; and withheld, with the reason

# A batch half as large again is another batch: pans, mixer and oven are others too (common
# practice, no source).
LARGEST_FACTOR = 1.5
NAMED = 6  # more lines than this are not listed in a sentence


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """Another line that what was poured last fits.

    Attributes:
        line: that line, open.
        mass_kg: what fits it.
    """

    line: Line
    mass_kg: float


@dataclass(frozen=True, slots=True)
class Situation:
    """An over-pour and all that bears on it.

    Attributes:
        over: the line that is over.
        amounts: of all lines of its formula, `over` among them, in order.
        mixed: why nothing can be taken back, None where it can.
        elsewhere: another line that what was poured last fits.
        flour_kind: what the formula says of its flour.
        whole_factor: by what the formula was rescaled before.
        cake: the pans that this formula fills; None for one that fills none, such as a frosting.
    """

    over: Amount
    amounts: Sequence[Amount]
    mixed: str | None = None
    elsewhere: Elsewhere | None = None
    flour_kind: str | None = None
    whole_factor: float = 1.0
    cake: CakePlan | None = None


def grams(kg: float) -> str:
    """Grams as they are spoken of: tenths only below 20 g.

    >>> grams(0.2704), grams(0.0041)
    ('270 g', '4.1 g')
    """
    return f"{kg * 1e3:.1f} g" if abs(kg) < 0.0199 else f"{kg * 1e3:.0f} g"


def ways(situation: Situation, table: Table) -> Ways:
    """The ways that are open, and those that are not, with the reason in ``text``."""
    offered: list[Way] = []
    withheld: list[Way] = []
    if situation.elsewhere is not None:
        offered.append(_reassign(situation, situation.elsewhere))
    if situation.mixed is None:
        offered.append(_take_back(situation))
    else:
        withheld.append({"choice": "take back", "text": f"No taking back: {situation.mixed}."})
    found = rescale(situation.amounts)
    if found.factor > LARGEST_FACTOR:
        text = (
            f"No rescaling: the whole batch would become {100 * (found.factor - 1):.0f} % larger."
        )
        withheld.append({"choice": "rescale", "text": text})
    elif found.short:
        line = found.short[0]
        assert line.target_kg is not None
        assert line.stock_kg is not None
        text = (
            f"No rescaling: it takes {grams(line.target_kg)} of {line.ingredient}, "
            f"and there are only {grams(line.stock_kg)}."
        )
        withheld.append({"choice": "rescale", "text": text})
    else:
        offered.append(_rescale(situation, found))
    offered.append(_leave(situation, table))
    return tuple(offered), tuple(withheld)


def _off(over: Amount) -> tuple[float, float]:
    assert over.mass_kg is not None
    assert over.line.target_kg is not None
    deviation = over.mass_kg - over.line.target_kg
    return deviation, deviation / over.line.target_kg


def _leave(situation: Situation, table: Table) -> Way:
    over = situation.over
    deviation, share = _off(over)
    moved = _balance(situation, table)
    text = f"Leave it: {grams(deviation)} ({100 * share:.1f} %) too much of {over.line.ingredient}."
    return {
        "choice": "leave",
        "text": " ".join((text, *moved)),
        "deviation_kg": round(deviation, 9),
        "deviation_percent": round(100 * share, 3),
        "balance": list(moved),
    }


def _balance(situation: Situation, table: Table) -> tuple[str, ...]:
    """What leaving it does to the balance; nothing where the formula is no batter with flour."""
    lines = [amount.line for amount in situation.amounts]
    before = balance({}, lines, table, flour_kind=situation.flour_kind)
    if before.family is None:
        return ()
    masses = {
        amount.line.key: amount.mass_kg
        for amount in situation.amounts
        if amount.mass_kg is not None and not amount.filling
    }
    after = balance(masses, lines, table, flour_kind=situation.flour_kind, family=before.family)
    return changes(before, after)


def _take_back(situation: Situation) -> Way:
    deviation, _ = _off(situation.over)
    line = situation.over.line
    assert line.target_kg is not None
    return {
        "choice": "take back",
        "text": f"Take {grams(deviation)} of {line.ingredient} back out, "
        f"down to {grams(line.target_kg)}.",
        "take_kg": round(deviation, 9),
        "to_kg": line.target_kg,
    }


def _reassign(situation: Situation, other: Elsewhere) -> Way:
    return {
        "choice": "reassign",
        "text": f"It was {other.line.ingredient}: {grams(other.mass_kg)} fit that line and not "
        f"{situation.over.line.ingredient}.",
        "line": other.line.key,
        "mass_kg": round(other.mass_kg, 9),
    }


def _rescale(situation: Situation, found: Rescale) -> Way:
    cautions = [*_pan_cautions(situation, found.factor)]
    for amount, line in zip(situation.amounts, found.lines, strict=True):
        if (amount.mass_kg is None or amount.assumed) and (note := _pieces(line, found.factor)):
            cautions.append(note)
    return {
        "choice": "rescale",
        "text": " ".join((_rescale_text(situation, found), *cautions)),
        "factor": found.factor,
        "whole_factor": round(situation.whole_factor * found.factor, 6),
        "top_ups": [
            {"line": one.line.key, "mass_kg": round(one.mass_kg, 9)} for one in found.top_ups
        ],
        "targets": [
            {
                "line": line.key,
                "target_kg": line.target_kg,
                "lower_kg": None if line.lower_kg is None else round(line.lower_kg, 9),
                "upper_kg": None if line.upper_kg is None else round(line.upper_kg, 9),
            }
            for line in found.lines
            if line.target_kg is not None
        ],
        "cautions": cautions,
    }


def _rescale_text(situation: Situation, found: Rescale) -> str:
    parts = [f"Make everything {100 * (found.factor - 1):.1f} % larger"]
    if found.top_ups:
        parts.append(f"add {_listed(found.top_ups)}")
    rest = [
        (line.ingredient, line.target_kg)
        for amount, line in zip(situation.amounts, found.lines, strict=True)
        if (amount.mass_kg is None or amount.filling) and line.target_kg is not None
    ]
    if 0 < len(rest) <= NAMED:
        parts.append("then " + ", ".join(f"{name} {grams(kg)}" for name, kg in rest))
    elif rest:
        parts.append(f"then the other {len(rest)} lines by their new targets")
    return ": ".join((parts[0], "; ".join(parts[1:]))) + "." if parts[1:] else parts[0] + "."


def _listed(top_ups: Sequence[TopUp]) -> str:
    if len(top_ups) > NAMED:
        return f"a little of {len(top_ups)} lines that are in already"
    named = [f"{grams(one.mass_kg)} of {one.line.ingredient}" for one in top_ups]
    return listed(named)


def _pieces(line: Line, factor: float) -> str | None:
    """Whole eggs do not grow: what is to be weighed beyond them."""
    found = re.match(r"\s*(\d+)", line.amount)
    if line.by != "count" or found is None or line.target_kg is None:
        return None
    whole = int(found[1])
    if whole == 0:
        return None
    each_kg = line.target_kg / factor / whole
    more_kg = line.target_kg - whole * each_kg
    extra = int(more_kg / each_kg + 1e-9)
    rest_kg = more_kg - extra * each_kg
    if rest_kg < 0.0005:
        return None
    return (
        f"{line.ingredient.capitalize()}: {whole + extra} and {grams(rest_kg)} of one more, beaten."
    )


def _pan_cautions(situation: Situation, factor: float) -> list[str]:
    """Whether the pans will hold what the batch becomes (a fill of two thirds: common practice)."""
    cake = situation.cake
    if cake is None or cake.pan is None:
        return []
    whole = situation.whole_factor * factor
    most = FILL.get(cake.kind or KIND, FILL[KIND])[1]
    share: float | None = None
    if cake.batter_depth_m is not None and cake.pan.depth_m is not None:
        share = whole * cake.batter_depth_m / cake.pan.depth_m
    elif cake.batter_kg is not None:
        try:
            share = fill(cake.pan, whole * cake.batter_kg, kind=cake.kind).share
        except PanError:
            return []
    if share is None or share <= most:
        return []
    return [
        f"The pans would be {100 * share:.0f} % full, more than the usual {100 * most:.0f} %: "
        "bake what is too much in another."
    ]
