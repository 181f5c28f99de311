"""Before the batch: can a scale decide the tolerance of a line, and what can where it cannot?

A line is decided by a scale when the nearest reading to its target would be judged ``within``:
the same verdict as at the bench, with an uncertainty that is known beforehand.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from logger.formula.kinds import Table, weighed
from logger.plan import Line, ScaleFacts
from logger.weighing.budget import Budget, budget
from logger.weighing.remedies import NO_TABLE, Remedy, premix, spoon
from logger.weighing.verdict import judge

# R 76-1, 3.5.2: in service the limits are twice those of initial verification.
IN_SERVICE = 2.0
# Standard deviation of a filtered scale at rest in its divisions (common practice: it does not
# flicker, so its noise is well below a division).
REPEATABILITY_D = 0.1
# A mixing bowl where nobody says (common practice); it counts towards the capacity only: the
# limits of R 76-1 hold for the net load whatever was tared (3.5.3.3, from memory).
BOWL_KG = 0.5
# Smallest load in e below which relative errors are large: R 76-1, 3.2, Table 3, second-hand.
SMALLEST_LOAD_E = {"I": 100, "III": 20, "IIII": 10}
SMALLEST_LOAD_II_E = ((0.00005, 20), (math.inf, 50))  # class II: e up to 0.05 g, above
ROUNDING = 1 + 1e-9  # sums of decimal masses are a hair off in binary
# Divisions of scales that a kitchen may buy, in kilograms.
DIVISIONS_KG = tuple(n * 10.0**k for k in (-3, -4, -5, -6) for n in (5, 2, 1))


@dataclass(frozen=True, slots=True)
class ScaleFit:
    """What one scale can say of one line.

    Attributes:
        scale: its role in the plan.
        decides: None where its resolution is not known.
        expanded_kg: expanded uncertainty (k = 2) of an amount on target.
        reads_from_kg, reads_to_kg: the readings that it would judge ``within``.
        reason: a sentence.
        tolerance_kg: the narrowest tolerance on this target that it decides.
    """

    scale: str
    decides: bool | None
    expanded_kg: float | None
    reads_from_kg: float | None
    reads_to_kg: float | None
    reason: str
    tolerance_kg: float | None = None


@dataclass(frozen=True, slots=True)
class Fit:
    """The answer for one line.

    Attributes:
        key: of the line.
        answer: ``decides``, ``cannot``, ``unknown`` (no scale, or its resolution is not known),
            ``no target``.
        scale: the one to use: the first that decides; None where none does.
        scales: what each scale present can say.
        remedies: where the first scale cannot: the best first.
        sentence: for the person at the bench.
    """

    key: str
    answer: str
    scale: str | None
    scales: tuple[ScaleFit, ...]
    remedies: tuple[Remedy, ...]
    sentence: str

    def to_json(self) -> dict[str, Any]:
        """A JSON object."""
        return asdict(self)


def expected_budget(net_kg: float, facts: ScaleFacts) -> Budget:
    """The budget of an amount before it is weighed, on a scale in service.

    Args:
        net_kg: the amount.
        facts: with its resolution.

    Raises:
        ValueError: the resolution is not known.

    >>> round(expected_budget(0.24, ScaleFacts(0.001)).expanded_kg * 1e3, 2)
    0.84
    >>> round(expected_budget(0.24, ScaleFacts(0.001, "III")).expanded_kg * 1e3, 2)
    1.43
    """
    d_kg = facts.resolution_kg
    if d_kg is None:
        raise ValueError("the scale's resolution is not known")
    found = budget(
        net_kg,
        d_kg,
        repeatability_kg=REPEATABILITY_D * d_kg,
        accuracy_class=facts.accuracy_class,
        interval_kg=facts.interval_kg,
    )
    return replace(found, class_error_kg=IN_SERVICE * found.class_error_kg)


def smallest_load_kg(facts: ScaleFacts) -> float | None:
    """Least load of the scale's class; None where class or interval is not known.

    >>> smallest_load_kg(ScaleFacts(0.001, "III"))
    0.02
    """
    e_kg = facts.interval_kg or facts.resolution_kg
    if e_kg is None or facts.accuracy_class is None:
        return None
    if facts.accuracy_class == "II":
        return next(n for top, n in SMALLEST_LOAD_II_E if e_kg <= top * (1 + 1e-9)) * e_kg
    return SMALLEST_LOAD_E[facts.accuracy_class] * e_kg


def readings_within(
    standard_kg: float, division_kg: float, target_kg: float, lower_kg: float, upper_kg: float
) -> tuple[float, float] | None:
    """Least and largest reading that would be judged ``within``; None where none would.

    >>> readings_within(0.00042, 0.001, 0.240, 0.2376, 0.2424)
    (0.239, 0.241)
    >>> readings_within(0.00042, 0.001, 0.004, 0.0038, 0.0042) is None
    True
    """

    def accepts(n: int) -> bool:
        return judge(n * division_kg, standard_kg, lower_kg, upper_kg).word == "within"

    middle = round(target_kg / division_kg)
    if not accepts(middle):
        return None

    def last(step: int) -> int:
        # The acceptance interval is symmetric and has one piece: bisection finds its end.
        span = math.ceil((upper_kg - lower_kg) / division_kg) + 1
        near, far = 0, span
        while far - near > 1:
            half = (near + far) // 2
            near, far = (half, far) if accepts(middle + step * half) else (near, half)
        return middle + step * near

    return round(last(-1) * division_kg, 9), round(last(+1) * division_kg, 9)


def narrowest_tolerance_kg(standard_kg: float, division_kg: float, target_kg: float) -> float:
    """The narrowest ± around a target that readings of this uncertainty can be judged by.

    >>> round(narrowest_tolerance_kg(0.00042, 0.001, 0.240) * 1e3, 2)
    0.94
    >>> round(narrowest_tolerance_kg(0.00042, 0.001, 0.2405) * 1e3, 2)
    1.32
    """
    low, high = 0.0, 10 * standard_kg + division_kg
    for _ in range(50):
        middle = (low + high) / 2
        limits = target_kg - middle, target_kg + middle
        within = readings_within(standard_kg, division_kg, target_kg, *limits)
        low, high = (middle, high) if within is None else (low, middle)
    return high


def scale_fit(name: str, facts: ScaleFacts, line: Line, load_kg: float = 0.0) -> ScaleFit:
    """What one scale can say of one line.

    Args:
        name: the scale's role.
        facts: what is known of it.
        line: with a target.
        load_kg: what is on the scale before, bowl included.
    """
    target, lower, upper = line.target_kg, line.lower_kg, line.upper_kg
    if target is None or lower is None or upper is None:
        raise ValueError(f"line {line.key!r} has no target")
    if facts.resolution_kg is None:
        reason = f"The resolution of {called(name)} is not told."
        return ScaleFit(name, None, None, None, None, reason)
    found = expected_budget(target, facts)
    u_kg, d_kg = found.expanded_kg, facts.resolution_kg
    if facts.capacity_kg is not None and load_kg + target > facts.capacity_kg * ROUNDING:
        reason = (
            f"{called(name).capitalize()} weighs {weighed(facts.capacity_kg)} at most; "
            f"with the bowl it would be {weighed(load_kg + target)}."
        )
        return ScaleFit(name, False, u_kg, None, None, reason)
    narrowest = narrowest_tolerance_kg(found.standard_kg, d_kg, target)
    span = readings_within(found.standard_kg, d_kg, target, lower, upper)
    if span is not None:
        low, high = grams(span[0], d_kg), grams(span[1], d_kg)
        readings = f"from {low} to {high} g" if low != high else f"at {low} g only"
        reason = f"{called(name).capitalize()} says within {readings}."
        least = smallest_load_kg(facts)
        if least is not None and target < least * (1 - 1e-9):
            reason += f" It is below the least load of class {facts.accuracy_class}."
        return ScaleFit(name, True, u_kg, span[0], span[1], reason, narrowest)
    tolerance = (upper - lower) / 2
    reason = (
        f"{called(name).capitalize()} reads {grams(d_kg)} g and is sure to "
        f"±{two_figures(u_kg)} g; the tolerance is ±{two_figures(tolerance)} g, "
        f"it decides ±{two_figures(narrowest, up=True)} g or wider."
    )
    fresh = replace(found, class_error_kg=found.class_error_kg / IN_SERVICE)
    if found.class_error_kg and readings_within(fresh.standard_kg, d_kg, target, lower, upper):
        reason += " Freshly verified it could."
    elif judge(target, found.standard_kg, lower, upper).word == "within":
        reason += " No reading of it falls near enough to the target."
    return ScaleFit(name, False, u_kg, None, None, reason, narrowest)


def called(role: str) -> str:
    """A scale by its role.

    >>> called("scale"), called("scale 2")
    ('the scale', 'scale 2')
    """
    return "the scale" if role == "scale" else role


def grams(mass_kg: float, division_kg: float | None = None) -> str:
    """Grams with as many decimals as the division has; without one, as few as it takes.

    >>> grams(0.24, 0.001), grams(0.0041, 0.0001), grams(0.0005)
    ('240', '4.1', '0.5')
    """
    if division_kg is None:
        return f"{mass_kg * 1e3:.6g}"
    # A step such as 0.0002835 kg (0.01 oz) is no decimal one; a hundredth of a gram shows it.
    decimals = min(4, max(0, math.ceil(-math.log10(division_kg * 1e3) - 1e-9)))
    return f"{mass_kg * 1e3:.{decimals}f}"


def two_figures(mass_kg: float, *, up: bool = False) -> str:
    """Grams to two figures, as an uncertainty is told; rounded up where it is a least.

    >>> two_figures(0.00084), two_figures(0.0135), two_figures(0.135)
    ('0.84', '14', '135')
    >>> two_figures(0.000942, up=True)
    '0.95'
    """
    g = mass_kg * 1e3
    if g <= 0:
        return "0"
    decimals = max(0, 1 - math.floor(math.log10(g)))
    if up:
        g = math.ceil(g * 10**decimals - 1e-9) / 10**decimals
    return f"{g:.{decimals}f}"


def finer_division_kg(line: Line, than_kg: float) -> float | None:
    """The coarsest usual division below `than_kg` that decides the line; None where none does."""
    target, lower, upper = line.target_kg, line.lower_kg, line.upper_kg
    if target is None or lower is None or upper is None:
        return None
    for d_kg in DIVISIONS_KG:
        if d_kg >= than_kg * (1 - 1e-9):
            continue
        standard = expected_budget(target, ScaleFacts(d_kg)).standard_kg
        if readings_within(standard, d_kg, target, lower, upper):
            return d_kg
    return None


def fit(
    lines: Iterable[Line],
    scales: Mapping[str, ScaleFacts],
    table: Table = NO_TABLE,
    bowl_kg: float = BOWL_KG,
) -> list[Fit]:
    """For each line: which scale can decide its tolerance, and what to do where none can.

    Args:
        lines: of a formula or a plan, in order.
        scales: role → facts, as `Plan.scales`; the first is the bench scale.
        table: of ingredients, for the weight of a spoon.
        bowl_kg: the empty bowl.
    """
    given = list(lines)
    in_bowl: dict[str | None, float] = {}
    out: list[Fit] = []
    for line in given:
        load = bowl_kg + in_bowl.get(line.bowl, 0.0)
        in_bowl[line.bowl] = load - bowl_kg + (line.target_kg or 0.0)
        out.append(_fit(line, given, scales, table, load, bowl_kg))
    return out


def _fit(
    line: Line,
    lines: list[Line],
    scales: Mapping[str, ScaleFacts],
    table: Table,
    load_kg: float,
    bowl_kg: float,
) -> Fit:
    if line.target_kg is None or line.lower_kg is None:
        return Fit(line.key, "no target", None, (), (), f"{line.amount}: there is no target.")
    found = tuple(scale_fit(name, facts, line, load_kg) for name, facts in scales.items())
    able = [one.scale for one in found if one.decides]
    first = found[0] if found else None
    if first is None or (first.decides is None and not able):
        sentence = 'No scale is told: write [scale] and below it  resolution = "1 g"  in the plan.'
        return Fit(line.key, "unknown", None, found, (), sentence)
    if first.decides:
        return Fit(line.key, "decides", first.scale, found, (), first.reason)
    if able:
        one = next(x for x in found if x.scale == able[0])
        remedy = Remedy("other scale", f"Use {called(one.scale)}.", scale=one.scale)
        return Fit(line.key, "decides", one.scale, found, (remedy,), f"{first.reason} {one.reason}")
    remedies = _remedies(line, lines, scales, table, load_kg, bowl_kg)
    sentence = " ".join((first.reason, *(f"{r.text}" for r in remedies[:2])))
    return Fit(line.key, "cannot", None, found, remedies, sentence)


def _remedies(
    line: Line,
    lines: list[Line],
    scales: Mapping[str, ScaleFacts],
    table: Table,
    load_kg: float,
    bowl_kg: float,
) -> tuple[Remedy, ...]:
    assert line.target_kg is not None
    out: list[Remedy] = []
    finest = min(
        (f for f in scales.values() if f.resolution_kg is not None),
        key=lambda f: f.resolution_kg or 0.0,
    )
    d_kg = finest.resolution_kg
    assert d_kg is not None
    room = [f.capacity_kg for f in scales.values() if f.capacity_kg is not None]
    if room and load_kg + line.target_kg > max(room) * ROUNDING:
        if bowl_kg + line.target_kg <= max(room) * ROUNDING:
            return (Remedy("another bowl", "Empty the bowl first, or take another."),)
        parts = math.ceil(line.target_kg / max(max(room) - bowl_kg, max(room) / 10))
        return (Remedy("parts", f"Weigh it in {parts} parts."),)
    if line.by == "count":
        out.append(Remedy("count", f"Count them: {line.amount}."))
    if by_spoon := spoon(line, table, expected_budget(line.target_kg, finest).expanded_kg):
        out.append(by_spoon)
    if mixed := premix(
        line, lines, finest, lambda kg: expected_budget(kg, finest).standard_kg, table
    ):
        out.append(mixed)
    if (finer := finer_division_kg(line, d_kg)) is not None:
        text = f"Use a scale that reads {grams(finer)} g or finer."
        out.append(Remedy("finer scale", text, division_kg=finer))
    return tuple(out)
