"""The smallest whole-batch rescale that brings every line back within its tolerance.

Numbers only; `logger.weighing.ways` puts them into words.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace

from logger.plan import Line
from logger.weighing.verdict import judge

# Factors are rounded up to this step, so that an event can state the factor it was done with.
FACTOR_STEP = 1e-6
_ONE = round(1 / FACTOR_STEP)


@dataclass(frozen=True, slots=True)
class Amount:
    """What a line has.

    Attributes:
        line: with the target that stands now.
        mass_kg: what is in; None where nothing is yet.
        expanded_kg: its expanded uncertainty (k = 2).
        assumed: counted in and not weighed: taken to be on target.
        filling: it is still being filled, so no top-up need be asked for.
    """

    line: Line
    mass_kg: float | None
    expanded_kg: float = 0.0
    assumed: bool = False
    filling: bool = False

    def word(self, factor: float = 1.0) -> str | None:
        """The verdict on it at `factor` times its target and tolerance; None without either."""
        line = scaled(self.line, factor)
        if self.mass_kg is None or line.lower_kg is None or line.upper_kg is None:
            return None
        return judge(self.mass_kg, self.expanded_kg / 2, line.lower_kg, line.upper_kg).word


@dataclass(frozen=True, slots=True)
class TopUp:
    """What must be added to a line that was already weighed; `assumed` as in `Amount`."""

    line: Line
    mass_kg: float
    assumed: bool


@dataclass(frozen=True, slots=True)
class Rescale:
    """A whole batch made larger.

    Attributes:
        factor: at least 1.
        lines: all lines with their new targets and tolerances, in order.
        top_ups: what is to be added to lines that are in already.
        short: lines whose stock does not suffice.
    """

    factor: float
    lines: tuple[Line, ...]
    top_ups: tuple[TopUp, ...]
    short: tuple[Line, ...]


def scaled(line: Line, factor: float) -> Line:
    """The line at `factor` times its target; its tolerance grows with it.

    >>> scaled(Line("salt", "salt", "4 g", 0.004, 0.0002), 1.5).target_kg
    0.006
    """
    if line.target_kg is None:
        return line
    tolerance = line.tolerance_kg
    return replace(
        line,
        target_kg=round(line.target_kg * factor, 12),
        tolerance_kg=None if tolerance is None else round(tolerance * factor, 12),
    )


def least_factor(amounts: Sequence[Amount]) -> float:
    """The smallest factor, 1 or more, at which no line that is in is too much.

    A line is no longer too much where its verdict would be ``within``: its mass below the upper
    limit by its uncertainty. Where the scale can decide the line at no target, its mass becomes
    the target.

    >>> flour = Line("flour", "flour", "300 g", 0.3, 0.003)
    >>> least_factor([Amount(flour, 0.318)])  # 318 g / 303 g, rounded up
    1.049505
    >>> least_factor([Amount(flour, 0.301)])
    1.0
    """
    return round(max((_least_steps(amount) for amount in amounts), default=_ONE) * FACTOR_STEP, 6)


def _least_steps(amount: Amount) -> int:
    """The least factor of one line, in whole steps: the verdict is asked at stated factors only."""
    mass, target, upper = amount.mass_kg, amount.line.target_kg, amount.line.upper_kg
    if mass is None or target is None or upper is None or target <= 0 or mass <= target:
        return _ONE
    if amount.word() == "within":
        return _ONE
    most = math.ceil(mass / target / FACTOR_STEP - 1e-9)
    steps = range(max(_ONE, math.floor(mass / upper / FACTOR_STEP)), most)
    found = bisect_left(
        steps, True, key=lambda n: amount.word(round(n * FACTOR_STEP, 6)) == "within"
    )
    return steps[found] if found < len(steps) else most


def rescale(amounts: Sequence[Amount], factor: float | None = None) -> Rescale:
    """The batch at `factor`, or at the least factor: new targets, top-ups, and what is short."""
    factor = least_factor(amounts) if factor is None else factor
    lines: list[Line] = []
    top_ups: list[TopUp] = []
    short: list[Line] = []
    for amount in amounts:
        line = scaled(amount.line, factor)
        lines.append(line)
        if line.target_kg is None:
            continue
        needed = max(line.target_kg, amount.mass_kg or 0.0)
        if line.stock_kg is not None and needed > line.stock_kg * (1 + 1e-9):
            short.append(line)
        if amount.mass_kg is not None and not amount.filling and _lacks(amount, line, factor):
            top_ups.append(TopUp(line, line.target_kg - amount.mass_kg, amount.assumed))
    return Rescale(factor, tuple(lines), tuple(top_ups), tuple(short))


def _lacks(amount: Amount, line: Line, factor: float) -> bool:
    assert amount.mass_kg is not None
    assert line.target_kg is not None
    if line.lower_kg is None or amount.mass_kg >= line.target_kg:
        return False
    if amount.mass_kg < line.lower_kg:
        return True
    # Between the limits, a top-up helps only where the scale could say so afterwards.
    on_target = replace(amount, mass_kg=amount.line.target_kg)
    return amount.word(factor) != "within" and on_target.word() == "within"
