"""Is an amount within its tolerance? Conformance probabilities after JCGM 106:2012."""

from __future__ import annotations

import math
from dataclasses import dataclass

SURE = 0.975  # one-sided; the guard band is then the expanded uncertainty (k = 2, nearly)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a weighed amount allows to say.

    Attributes:
        word: ``under``, ``within``, ``over`` or ``undecidable``.
        under, within, over: probabilities that the true amount lies there; their sum is 1.
    """

    word: str
    under: float
    within: float
    over: float


def normal_cdf(z: float) -> float:
    """Probability that a standard normal variable is at most z.

    >>> round(normal_cdf(1.40), 4)
    0.9192
    """
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def _below(limit: float, value: float, standard: float) -> float:
    if standard > 0:
        return normal_cdf((limit - value) / standard)
    return 1.0 if value < limit else 0.0


def conformance(
    value: float, standard: float, lower: float | None, upper: float | None
) -> tuple[float, float, float]:
    """Probabilities that the true value lies below, inside and above the limits.

    Args:
        value: best estimate, in any unit.
        standard: its standard uncertainty in the same unit, 0 or more; normal.
        lower, upper: limits, None where there is none. A value on a limit conforms.

    Raises:
        ValueError: a negative uncertainty, or limits in the wrong order.

    >>> [round(p, 4) for p in conformance(13.6, 1.8, 12.5, 16.3)]
    [0.2706, 0.6626, 0.0668]
    """
    if standard < 0 or (lower is not None and upper is not None and lower > upper):
        raise ValueError(f"no conformance for u = {standard:g}, limits {lower} to {upper}")
    under = 0.0 if lower is None else _below(lower, value, standard)
    # Symmetric on purpose: "above" is computed as "below" of the mirrored value.
    over = 0.0 if upper is None else _below(-upper, -value, standard)
    return under, max(0.0, 1.0 - under - over), over


def judge(mass_kg: float, standard_kg: float, lower_kg: float, upper_kg: float) -> Verdict:
    """The verdict on a mass with its standard uncertainty against two limits.

    >>> judge(0.240, 0.0004, 0.2376, 0.2424).word
    'within'
    """
    under, within, over = conformance(mass_kg, standard_kg, lower_kg, upper_kg)
    if within >= SURE:
        word = "within"
    elif under >= SURE:
        word = "under"
    elif over >= SURE:
        word = "over"
    else:
        word = "undecidable"
    return Verdict(word, under, within, over)


def judge_at_least(
    known_kg: float, standard_kg: float, lower_kg: float, upper_kg: float
) -> Verdict:
    """The verdict where only a part of the amount is known and the rest can only add to it.

    `over` is sure when the known part alone is; nothing else can be.
    """
    _, _, over = conformance(known_kg, standard_kg, lower_kg, upper_kg)
    if over >= SURE:
        return Verdict("over", 0.0, 1.0 - over, over)
    # How the rest is divided cannot be known; half and half says so without favouring either.
    rest = (1.0 - over) / 2
    return Verdict("undecidable", rest, rest, over)
