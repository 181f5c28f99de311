"""What changed between two formulas, in grams and in baker's per cent."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from difflib import SequenceMatcher
from fractions import Fraction
from typing import Any

from logger.formula.kinds import Table, kinded
from logger.formula.pans import describe
from logger.formula.percent import percentages
from logger.plan import Formula, Line, Makes, MixingStep
from logger.quantity import exact

# Of a line that was neither added nor removed.
_WORDS: dict[str, Callable[[Line], object]] = {
    "key": lambda line: line.key,
    "amount": lambda line: line.amount,
    "bowl": lambda line: line.bowl,
    "lot": lambda line: line.lot,
    "note": lambda line: line.note,
}


@dataclass(frozen=True, slots=True)
class Side:
    """A line on one side; masses in kilograms, `percent` of the flour, None without flour."""

    key: str
    ingredient: str
    amount: str
    target_kg: float | None
    tolerance_kg: float | None
    bowl: str | None
    percent: float | None


@dataclass(frozen=True, slots=True)
class LineChange:
    """One line of either formula.

    Attributes:
        change: ``added``, ``removed``, ``changed`` or ``same``.
        was, now: the line on either side; None where it is not there.
        difference_kg: now − was; the whole line where it was added (or, negative, removed).
        difference_percent: of baker's per cent, likewise; None where one side has no flour.
        what: the names of what changed: ``mass``, ``per cent``, ``key``, ``amount``,
            ``tolerance``, ``bowl``, ``lot``, ``note``.
    """

    change: str
    was: Side | None
    now: Side | None
    difference_kg: float | None
    difference_percent: float | None
    what: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Other:
    """Something besides the lines that changed: its name, and what it said on either side."""

    name: str
    was: str | None
    now: str | None


@dataclass(frozen=True, slots=True)
class Diff:
    """All of it.

    Attributes:
        lines: in the order of the new formula, removed lines where they stood.
        others: name, version, flour, pans, steps …
        flour_kg, total_kg: (was, now).
    """

    lines: tuple[LineChange, ...]
    others: tuple[Other, ...]
    flour_kg: tuple[float, float]
    total_kg: tuple[float, float]

    @property
    def is_same(self) -> bool:
        """Nothing changed."""
        return not self.others and all(line.change == "same" for line in self.lines)

    def to_json(self) -> dict[str, Any]:
        """A JSON object."""
        return {**asdict(self), "same": self.is_same}


def diff(was: Formula, now: Formula, table: Table) -> Diff:
    """What changed from one formula to another.

    Lines are matched by key, then by ingredient in their order; what finds no partner was added
    or removed. The other way round gives the same with both sides exchanged.

    Args:
        was, now: the formulas.
        table: of ingredients, for what is flour.
    """
    sides_was, flour_was, total_was = _sides(was, table)
    sides_now, flour_now, total_now = _sides(now, table)
    partner = _match(was.lines, now.lines, table)
    taken = set(partner.values())
    changes: list[LineChange] = []
    gone = iter([i for i in range(len(was.lines)) if i not in taken])
    next_gone = next(gone, None)
    for j in range(len(now.lines)):
        i = partner.get(j)
        while next_gone is not None and i is not None and next_gone < i:
            changes.append(_change(None, sides_was[next_gone], None, None))
            next_gone = next(gone, None)
        if i is None:
            changes.append(_change(None, None, None, sides_now[j]))
        else:
            changes.append(_change(was.lines[i], sides_was[i], now.lines[j], sides_now[j]))
    while next_gone is not None:
        changes.append(_change(None, sides_was[next_gone], None, None))
        next_gone = next(gone, None)
    others = [*_others(was, now), *_steps(was.steps, now.steps)]
    order = [partner[j] for j in sorted(partner)]
    if order != sorted(order):
        keys_was = [was.lines[i].key for i in sorted(order)]
        keys_now = [now.lines[j].key for j in sorted(partner)]
        others.append(Other("order of lines", ", ".join(keys_was), ", ".join(keys_now)))
    return Diff(tuple(changes), tuple(others), (flour_was, flour_now), (total_was, total_now))


def _sides(formula: Formula, table: Table) -> tuple[list[Side], float, float]:
    items = kinded(formula.lines, table)
    masses = {x.line.key: exact(x.line.target_kg) for x in items if x.line.target_kg is not None}
    shares = percentages(masses, {x.line.key for x in items if x.kind == "flour"})
    sides = [
        Side(
            line.key,
            line.ingredient,
            line.amount,
            line.target_kg,
            line.tolerance_kg,
            line.bowl,
            None
            if shares.of_flour is None or line.key not in masses
            else float(shares.of_flour[line.key]),
        )
        for line in formula.lines
    ]
    return sides, float(shares.flour_kg), float(shares.total_kg)


def _match(was: Sequence[Line], now: Sequence[Line], table: Table) -> dict[int, int]:
    """Index of the new line → index of its old one."""
    by_key = {line.key: i for i, line in enumerate(was)}
    partner = {
        j: by_key[line.key]
        for j, line in enumerate(now)
        if line.key in by_key and _name(line, table) == _name(was[by_key[line.key]], table)
    }
    for same in (_name, lambda line, _table: line.key):
        for j, line in enumerate(now):
            if j in partner:
                continue
            left = (i for i in range(len(was)) if i not in partner.values())
            found = next((i for i in left if same(was[i], table) == same(line, table)), None)
            if found is not None:
                partner[j] = found
    return partner


def _name(line: Line, table: Table) -> str:
    row = table.find(line.ingredient)
    return (row.name if row is not None else line.ingredient).casefold()


def _change(
    line_was: Line | None, was: Side | None, line_now: Line | None, now: Side | None
) -> LineChange:
    mass = _minus(0.0 if now is None else now.target_kg, 0.0 if was is None else was.target_kg)
    sides = [side for side in (was, now) if side is not None]
    percent = (
        None
        if any(side.percent is None for side in sides)
        else _minus(0.0 if now is None else now.percent, 0.0 if was is None else was.percent)
    )
    if line_was is None or line_now is None or was is None or now is None:
        return LineChange("added" if was is None else "removed", was, now, mass, percent)
    what = [name for name, of in _WORDS.items() if of(line_was) != of(line_now)]
    if _looser_or_tighter(was, now):
        what.append("tolerance")
    if line_was.ingredient != line_now.ingredient:
        what.insert(0, "ingredient")
    if percent:
        what.insert(0, "per cent")
    if was.target_kg != now.target_kg:
        what.insert(0, "mass")
    return LineChange("changed" if what else "same", was, now, mass, percent, tuple(what))


def _looser_or_tighter(was: Side, now: Side) -> bool:
    """Neither the same ± nor the same share of the target: 240 ± 2.4 g and 300 ± 3 g are alike."""
    if was.tolerance_kg == now.tolerance_kg:
        return False
    if not (was.tolerance_kg and now.tolerance_kg and was.target_kg and now.target_kg):
        return True
    shares = (was.tolerance_kg / was.target_kg, now.tolerance_kg / now.target_kg)
    return not math.isclose(*shares, rel_tol=1e-6)


def _minus(now: float | None, was: float | None) -> float | None:
    """Exact, so that 0.3 − 0.1 is 0.2.

    >>> _minus(0.3, 0.1)
    0.2
    """
    if now is None or was is None:
        return None
    return float(exact(now) - exact(was)) + 0.0


def _others(was: Formula, now: Formula) -> list[Other]:
    told_was = {**_of(was), **_of_makes(was.makes)}
    told_now = {**_of(now), **_of_makes(now.makes)}
    return [
        Other(name, told_was[name], told_now[name])
        for name in told_was
        if told_was[name] != told_now[name]
    ]


def _of(formula: Formula) -> dict[str, str | None]:
    return {"name": formula.name, "version": formula.version, "flour": formula.flour_kind}


def _of_makes(makes: Makes) -> dict[str, str | None]:
    batter = makes.batter_per_pan_kg
    return {
        "pans": None if makes.pan is None else f"{makes.pans} × {describe(makes.pan)}",
        "batter per pan": None if batter is None else f"{batter * 1e3:.6g} g",
        "portions": None if makes.portions is None else str(makes.portions),
    }


def _steps(was: Sequence[MixingStep], now: Sequence[MixingStep]) -> list[Other]:
    out: list[Other] = []
    matcher = SequenceMatcher(None, was, now, autojunk=False)
    for tag, i1, i2, j1, j2 in matcher.get_opcodes():
        if tag == "equal":
            continue
        for k in range(max(i2 - i1, j2 - j1)):
            before = was[i1 + k] if i1 + k < i2 else None
            after = now[j1 + k] if j1 + k < j2 else None
            number = (i1 if before is not None else j1) + k + 1
            out.append(
                Other(
                    f"step {number}",
                    None if before is None else step_text(before),
                    None if after is None else step_text(after),
                )
            )
    return out


def step_text(step: MixingStep) -> str:
    """A step in one line.

    >>> step_text(MixingStep("mix", "cream butter and sugar", "medium", 180, scrape_down=True))
    'mix: cream butter and sugar, medium, 3 min, scrape down'
    """
    parts = [step.text] if step.text else []
    if step.set_point_c is not None:
        parts.append(f"{step.set_point_c:.0f} °C")
    if step.speed:
        parts.append(step.speed)
    if step.duration_s is not None:
        longest = f" to {_minutes(step.longest_s)}" if step.longest_s is not None else ""
        parts.append(f"{_minutes(step.duration_s)}{longest}")
    if step.scrape_down:
        parts.append("scrape down")
    return f"{step.kind}: {', '.join(parts)}" if parts else step.kind


def _minutes(seconds: float) -> str:
    """
    >>> _minutes(30), _minutes(180), _minutes(5400)
    ('30 s', '3 min', '90 min')
    """
    minutes = Fraction(seconds) / 60
    return f"{float(minutes):.6g} min" if minutes >= 1 else f"{seconds:.6g} s"
