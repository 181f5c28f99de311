"""Household measures → masses, from published weights and never by a guess.

A measure that has no published weight, or an ingredient that is not in the pantry, is an error
that names what is near. Every mass says which portion of which record it comes from, and how far
such a measure scatters: that is why one weighs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from logger.formula.pantry import SIZES, Found, Pantry
from logger.formula.portions import (
    METRIC,
    PACKAGES,
    Measure,
    choose_piece,
    choose_volume,
    known_measures,
    measures_of,
    spoken,
)
from logger.formula.preparation import NEUTRAL, PREPARATIONS
from logger.formula.spread import Spread, spread_of
from logger.formula.written import Part, parts_of
from logger.ingredient import Ingredient
from logger.quantity import VOLUME, AmountError, exact

# More pieces than this without a word are grams forgotten ("240" of eggs), not a count.
MOST_PIECES = 60


@dataclass(frozen=True, slots=True)
class Weight:
    """What an amount weighs.

    Attributes:
        mass_kg: None for ``to taste``.
        by: ``mass``, ``measure`` or ``count``, as `logger.plan.Line` has it.
        spread_kg: one standard deviation of the conversion; None for a mass.
        source: record, portion and where the spread comes from; None for a mass.
    """

    mass_kg: float | None
    by: str = "mass"
    spread_kg: float | None = None
    source: str | None = None


@dataclass(frozen=True, slots=True)
class _Piece:
    """One part converted; `origin`, `unit` and `spread` are what `Weight.source` is made of."""

    mass_kg: Fraction
    by: str = "mass"
    spread_kg: float = 0.0
    origin: str = ""
    unit: str = ""
    spread: str = ""


def weigh(written: str, name: str, pantry: Pantry) -> Weight:
    """Mass of an amount as written of the ingredient of this name.

    Args:
        written: ``240 g``, ``2 1/3 cups``, ``1 tbsp + 1 tsp``, ``3 large``, ``to taste`` …
        name: as the formula has it.
        pantry: asked only where the amount is no mass.

    Raises:
        AmountError: with what is wrong and what to write.

    >>> from logger.formula.pantry import Pantry
    >>> weigh("8 oz", "anything", Pantry([])).mass_kg
    0.226796185
    """
    parts = parts_of(written)
    if not parts:
        return Weight(None, by="measure")
    read = [_weigh(part, name, pantry) for part in parts]
    mass_kg = float(sum(piece.mass_kg for piece in read))
    household = [piece for piece in read if piece.by != "mass"]
    if not household:
        return Weight(mass_kg)
    return Weight(
        mass_kg,
        by=household[0].by,
        # The same hand fills both: their errors add.
        spread_kg=sum(piece.spread_kg for piece in read),
        source=_source(household),
    )


def _source(pieces: list[_Piece]) -> str:
    """Record, portion, units and spread; said once where several parts have them in common."""
    units: dict[tuple[str, str], list[str]] = {}
    for piece in pieces:
        units.setdefault((piece.origin, piece.spread), []).append(piece.unit)
    return " + ".join(
        "; ".join(
            text
            for text in (origin, ", ".join(dict.fromkeys(u for u in named if u)), spread)
            if text
        )
        for (origin, spread), named in units.items()
    )


def _weigh(part: Part, name: str, pantry: Pantry) -> _Piece:
    if part.mass_kg is not None:
        _understood(part, pantry.look(name), name)
        return _Piece(part.mass_kg)
    if (question := pantry.ask(name)) is not None:
        raise AmountError(f"{part.text!r} of {name!r}", question)
    found = pantry.look(name)
    if found is None:
        raise _unknown(part, name, pantry)
    if part.volume is not None:
        return _volume(part, found, name)
    other = pantry.find(" ".join(w for w in part.words if w not in SIZES))
    if other is not None and other.name != found.ingredient.name:
        raise AmountError(
            f"{part.text!r} of {name!r}: {' '.join(part.words)} are another ingredient",
            f'write  ingredient = "{" ".join(part.words)}"',
        )
    return _count(part, found, name)


def _unknown(part: Part, name: str, pantry: Pantry) -> AmountError:
    near = pantry.near(name)
    meant = f"did you mean {' or '.join(repr(n) for n in near)}? Else weigh" if near else "weigh"
    return AmountError(
        f"{part.text!r}: {name!r} is not among the ingredients, so a measure of it has no weight",
        f'{meant} it and write grams ("240 g"), or add it to an *.ingredients.toml',
    )


def _understood(part: Part, found: Found | None, name: str) -> frozenset[str]:
    """The preparation among the part's words; every other word must be one of the name's."""
    own = _name_words(found, name)
    words = frozenset(part.words) - NEUTRAL
    strange = [w for w in part.words if w not in PREPARATIONS | NEUTRAL and w not in own]
    if strange:
        what = " ".join(strange)
        raise AmountError(
            f"{part.text!r}: {what!r} is not understood",
            "write a number, a unit and at most how it was prepared; the rest into the note",
        )
    return words & PREPARATIONS


def _name_words(found: Found | None, name: str) -> frozenset[str]:
    texts = [name] if found is None else [name, found.ingredient.name, *found.ingredient.aliases]
    return frozenset(w for text in texts for w in text.casefold().replace(",", " ").split())


def _volume(part: Part, found: Found, name: str) -> _Piece:
    ingredient = found.ingredient
    words = _understood(part, found, name)
    published = {w for m in measures_of(ingredient) for option in m.preparations for w in option}
    # "2 cups whole" of milk repeats the name: nothing was done to it.
    words -= _name_words(found, name) - published - found.words
    # What the name itself says (ground almonds) holds where a measure of it is published so;
    # the measures of ground ginger are plain, for it is never anything else.
    measure = choose_volume(part, ingredient, name, words | found.words | found.hints)
    if measure is None and found.hints:
        measure = choose_volume(part, ingredient, name, words | found.words)
    assert part.volume is not None
    assert part.volume_ml is not None
    metric = part.volume in METRIC
    spread = spread_of(ingredient, measure, part.volume_ml if metric else VOLUME[part.volume])
    if measure is not None:
        grams = part.volume_ml * measure.grams_per_ml
        origin = f"{ingredient.source}: {measure}"
    elif ingredient.density_g_ml is not None and not words | found.words:
        grams = part.volume_ml * exact(ingredient.density_g_ml)
        origin = f"{ingredient.source}: {ingredient.density_g_ml:g} g/mL"
    else:
        prepared = " ".join(sorted(words | found.words)).replace("loose", "lightly packed")
        raise AmountError(
            f"{part.text!r} of {name!r}: no weight of it is published"
            + (f" as measured {prepared}" if prepared else " for a measure of volume"),
            known_measures(ingredient),
        )
    spread_kg = float(grams / 1000) * spread.share
    unit = "" if metric else _unit_words(part.volume)
    if measure is not None and measure.unit != part.volume:
        unit = f"scaled by volume to {unit or part.volume}"
    return _Piece(grams / 1000, "measure", spread_kg, origin, unit, spread.words)


def _unit_words(name: str) -> str:
    country = "" if name.split()[0] in ("metric", "imperial", "Australian") else "US "
    return f"{country}{name} of {float(VOLUME[name]):.4g} mL"


def _count(part: Part, found: Found, name: str) -> _Piece:
    ingredient = found.ingredient
    if not part.words and not found.hints and not _may_be_bare(part, ingredient):
        raise AmountError(f"{part.text!r} of {name!r} has no unit", known_measures(ingredient))
    written = {w for w in part.words if w in SIZES}
    if written and found.hints & SIZES and written != found.hints & SIZES:
        raise AmountError(f"{part.text!r} of {name!r}: two sizes", "write one of them")
    measure = choose_piece(part, ingredient, name, found.hints | found.words)
    measured = bool(measure.piece & (PACKAGES | {"dash"}))
    grams = part.number * exact(measure.portion.mass_g) / measure.amount
    spread = spread_of(ingredient, measure, None)
    # Pieces differ one by one, packages are filled alike.
    share = spread.share if measured else spread.share / math.sqrt(max(1.0, float(part.number)))
    size = ""
    if ingredient.kind == "egg":
        taken = not written and not found.hints & SIZES
        size = ", United States size"
        size += f"; no size is written, {measure.portion.words} is taken" if taken else ""
    return _Piece(
        grams / 1000,
        "measure" if measured else "count",
        float(grams / 1000) * share,
        f"{ingredient.source}: {measure}{size}",
        spread=spread.words if measured else spread.words.replace("deviation", "deviation each"),
    )


def _may_be_bare(part: Part, ingredient: Ingredient) -> bool:
    """Whether a number alone says what is meant: ``3`` of eggs."""
    pieces = any(m.unit is None for m in measures_of(ingredient))
    if not pieces or ingredient.kind != "egg":
        return False
    if part.number > MOST_PIECES:
        raise AmountError(
            f"{part.text!r} has no unit; {spoken(part.number)} pieces?",
            f'write "{spoken(part.number)} g" or "{spoken(part.number)} large"',
        )
    return True


__all__ = ["Measure", "Spread", "Weight", "weigh"]
