"""Whole eggs: a scaled formula asks for 4.4 of them; which change is the smaller one?

Two ways: change the factor until the eggs are whole, all ratios kept; or round the eggs and keep
the rest. Yolks and whites are pieces like eggs.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from logger.formula.kinds import Table, kinded, listed
from logger.formula.scaling import Scaled, cautions, counted, pieces_text, said_factor, scaled_line
from logger.plan import Formula, Line, Makes
from logger.quantity import exact

_EGG = re.compile(r"\b(?:eggs?|yolks?|whites?)\b", re.IGNORECASE)
# Of the published weights of an egg the one that a formula without a size means.
PIECE = "large"


@dataclass(frozen=True, slots=True)
class Pieces:
    """An egg line in pieces.

    Attributes:
        key: of the line.
        count: how many, before scaling; not always whole.
        word: ``large``, ``yolks`` …
        source: of the weight of a piece, where the line was written as a mass.
    """

    key: str
    count: Fraction
    word: str
    source: str | None = None


@dataclass(frozen=True, slots=True)
class EggWay:
    """One way to whole eggs.

    Attributes:
        name: ``all`` (the factor changes, all ratios are kept) or ``eggs`` (only they change).
        pieces: line key → whole number.
        off: change of the total (``all``) or the largest change of an egg line against the rest
            (``eggs``), as a share.
        scaled: the formula this way.
        sentence: what it means.
    """

    name: str
    pieces: Mapping[str, int]
    off: float
    scaled: Scaled
    sentence: str


@dataclass(frozen=True, slots=True)
class WholeEggs:
    """Both ways, the smaller change chosen."""

    ways: tuple[EggWay, EggWay]
    chosen: EggWay


def egg_pieces(formula: Formula, table: Table) -> tuple[Pieces, ...]:
    """The egg lines that can be counted: written in pieces, or of a known weight a piece."""
    out: list[Pieces] = []
    for item in kinded(formula.lines, table):
        line = item.line
        if not line.target_kg:
            continue
        if line.by == "count":
            told = item.kind == "other" and _EGG.search(f"{line.ingredient} {line.amount}")
            if (item.kind == "egg" or told) and (found := counted(line)) is not None:
                out.append(Pieces(line.key, *found))
            continue
        if item.kind != "egg" or item.ingredient is None:
            continue
        for portion in item.ingredient.portions:
            if portion.words.strip().lower().split(" ")[0].rstrip(",") == PIECE:
                piece_kg = exact(portion.mass_g) / exact(portion.amount) / 1000
                count = exact(line.target_kg) / piece_kg
                out.append(Pieces(line.key, count, PIECE, item.ingredient.source))
                break
    return tuple(out)


def whole_eggs(scaled: Scaled, table: Table) -> WholeEggs | None:
    """Both ways to whole eggs from a scaled formula; None where no line is eggs by the piece."""
    pieces = egg_pieces(scaled.was, table)
    if not pieces:
        return None
    ways = (_by_factor(scaled, pieces, table), _by_rounding(scaled, pieces, table))
    return WholeEggs(ways, min(ways, key=lambda way: abs(way.off)))


def _by_factor(scaled: Scaled, pieces: tuple[Pieces, ...], table: Table) -> EggWay:
    # All counts are whole at factors k / g, where g is the counts' greatest common divisor.
    step = pieces[0].count
    for one in pieces[1:]:
        step = _gcd(step, one.count)
    below = max(1, math.floor(scaled.factor * step))
    factor = min(
        (Fraction(k) / step for k in (below, below + 1)), key=lambda f: abs(f / scaled.factor - 1)
    )
    more = factor / scaled.factor
    off = float(more - 1)
    counts = {one.key: int(one.count * factor) for one in pieces}
    makes = scaled.formula.makes
    if makes.batter_per_pan_kg is not None:
        makes = replace(makes, batter_per_pan_kg=float(exact(makes.batter_per_pan_kg) * more))
    portions = scaled.was.makes.portions
    if portions is not None and not scaled.for_portions:
        makes = replace(makes, portions=max(1, round(portions * factor)))
    change = (
        f"× {said_factor(factor)} in place of × {said_factor(scaled.factor)}, all ratios kept, "
        f"the whole {percent(off)}."
        if off
        else "they are whole as it is."
    )
    sentence = f"To whole pieces ({_counted(counts, pieces)}): {change}"
    new = _made(scaled, factor, makes, counts, pieces, sentence, table)
    return EggWay("all", counts, off, new, sentence)


def _by_rounding(scaled: Scaled, pieces: tuple[Pieces, ...], table: Table) -> EggWay:
    counts: dict[str, int] = {}
    off = 0.0
    for one in pieces:
        wanted = one.count * scaled.factor
        # Half an egg more is safer to take than half an egg less: it can be weighed out.
        counts[one.key] = max(1, math.floor(wanted + Fraction(1, 2)))
        change = float(counts[one.key] / wanted - 1)
        off = change if abs(change) > abs(off) else off
    against = f"{percent(off)} of them against the rest." if off else "they are whole as it is."
    sentence = f"To whole pieces ({_counted(counts, pieces)}), the rest as scaled: {against}"
    makes = scaled.formula.makes
    new = _made(scaled, scaled.factor, makes, counts, pieces, sentence, table)
    return EggWay("eggs", counts, off, new, sentence)


def _made(
    scaled: Scaled,
    factor: Fraction,
    makes: Makes,
    counts: Mapping[str, int],
    pieces: tuple[Pieces, ...],
    sentence: str,
    table: Table,
) -> Scaled:
    was = scaled.was
    by_key = {one.key: one for one in pieces}
    lines = tuple(
        _counted_line(line, by_key[line.key], counts[line.key], table)
        if line.key in counts
        else scaled_line(line, factor, table)
        for line in was.lines
    )
    formula = replace(was, lines=lines, makes=makes)
    return Scaled(
        formula,
        was,
        factor,
        (*scaled.sentences, sentence),
        scaled.of_pans,
        cautions(was, formula, factor, table),
    )


def _counted_line(line: Line, piece: Pieces, count: int, table: Table) -> Line:
    new = scaled_line(line, count / piece.count, table)
    text = pieces_text(Fraction(count), piece.word)
    if line.by == "count":
        return replace(new, amount=text)
    return replace(new, amount=text, by="count", source=piece.source)


def _counted(counts: Mapping[str, int], pieces: tuple[Pieces, ...]) -> str:
    words = {one.key: one.word for one in pieces}
    return listed(f"{key}: {pieces_text(Fraction(n), words[key])}" for key, n in counts.items())


def percent(share: float) -> str:
    """A change in per cent.

    >>> percent(-0.0384), percent(0.05)
    ('−3.8 %', '+5.0 %')
    """
    return f"{share * 100:+.1f} %".replace("-", "−")


def _gcd(a: Fraction, b: Fraction) -> Fraction:
    """Greatest common divisor of two fractions.

    >>> _gcd(Fraction(3), Fraction(2)), _gcd(Fraction(9, 2), Fraction(3))
    (Fraction(1, 1), Fraction(3, 2))
    """
    return Fraction(
        math.gcd(a.numerator * b.denominator, b.numerator * a.denominator),
        a.denominator * b.denominator,
    )
