"""The published household measures of an ingredient, and which of them an amount means."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from logger.formula.pantry import SIZES
from logger.formula.preparation import NEUTRAL, PREPARATIONS, words_of
from logger.formula.written import Part
from logger.ingredient import Ingredient, Portion
from logger.quantity import MASS, VOLUME, AmountError, amount, exact, volume_unit

PACKAGES = frozenset(
    ("stick", "pat", "envelope", "packet", "package", "can", "container", "bar", "box", "cake",
     "loaf", "square", "cube", "carton", "jar", "tub", "block", "serving")
)  # fmt: skip
METRIC = frozenset(("ml", "cl", "dl", "l"))
_ASIDE = frozenset(("oz", "serving", "yield"))
_SERVING = re.compile(r"^serving\s+(?=[\d.])")
_FIRST = re.compile(r"^([^\W\d_]+(?: oz| ounce| pint| cup| tablespoon| teaspoon)?)\b[\s,]*")
_BESIDE = re.compile(r"^(\d*\.?\d+) ([^\W\d_][^\d]*)$")
_PARENTHESIS = re.compile(r"\(([^()]*)\)")


@dataclass(frozen=True, slots=True)
class Measure:
    """A portion with its words understood.

    Attributes:
        portion: as published.
        unit: name in `logger.quantity.VOLUME`; None for pieces and packages.
        amount: how many of `unit`, or of the pieces, weigh `portion.mass_g`.
        preparations: for volumes, each a set of words that the measure is good for.
        piece: for pieces and packages, their words.
    """

    portion: Portion
    unit: str | None
    amount: Fraction
    preparations: tuple[frozenset[str], ...] = (frozenset(),)
    piece: frozenset[str] = frozenset()

    @property
    def volume_ml(self) -> Fraction | None:
        """Of the whole portion."""
        return None if self.unit is None else self.amount * VOLUME[self.unit]

    @property
    def grams_per_ml(self) -> Fraction:
        """Bulk density in the measure; only for volumes."""
        assert self.volume_ml is not None
        return exact(self.portion.mass_g) / self.volume_ml

    def __str__(self) -> str:
        return f"{spoken(self.portion.amount)} {self.portion.words} = {self.portion.mass_g:g} g"


def spoken(number: float | Fraction) -> str:
    return f"{float(number):g}"


def measures_of(ingredient: Ingredient) -> tuple[Measure, ...]:
    """All measures of an ingredient that people can name; ounces are masses and none of them."""
    return tuple(m for portion in ingredient.portions for m in _read(portion))


def _read(portion: Portion) -> Iterable[Measure]:
    words, number = portion.words, exact(portion.amount)
    if served := _SERVING.match(words):
        read = amount(words[served.end() :])
        words, number = read.unit, number * read.number
    inside = " ".join(_PARENTHESIS.findall(words))
    bare = " ".join(_PARENTHESIS.sub(" ", words).split())
    first = _FIRST.match(bare)
    unit = volume_unit(first.group(1)) if first else None
    if first and unit is None:  # "cup unsifted": one word, no more
        word, _, rest = bare.partition(" ")
        unit, tail = volume_unit(word.rstrip(",")), rest
    else:
        tail = bare[first.end() :] if first else bare
    if unit is not None:
        kept = frozenset(words_of(inside))
        remark = kept if kept and kept <= PREPARATIONS else frozenset()
        yield Measure(portion, unit, number, _preparations(tail, remark))
        return
    if bare.split()[:1] and bare.split()[0] in MASS and len(bare.split()) == 1:
        return
    yield Measure(portion, None, number, piece=_pieces(bare.partition(" (")[0]))
    # "envelope (1 tbsp)" weighs what a tablespoon does.
    if (beside := _BESIDE.match(inside)) and (name := volume_unit(beside.group(2))) is not None:
        yield Measure(portion, name, number * Fraction(beside.group(1)))


def _preparations(tail: str, remark: frozenset[str]) -> tuple[frozenset[str], ...]:
    if " or " in f" {tail} ":
        chunks = [c for c in re.split(r",|\bor\b", tail) if c.strip()]
        return tuple(frozenset(words_of(chunk)) | remark for chunk in chunks)
    return (frozenset(words_of(tail)) | remark,)


def _pieces(text: str) -> frozenset[str]:
    return frozenset(singular(word) for word in words_of(text))


def singular(word: str) -> str:
    """A word without the ending of the plural; good enough to compare two of them.

    >>> singular("berries"), singular("boxes"), singular("halves"), singular("eggs")
    ('berry', 'box', 'halve', 'egg')
    """
    if word.endswith("ies") and len(word) > 4:
        return word[:-3] + "y"
    if re.search(r"(?:x|ch|sh|ss)es$", word):
        return word[:-2]
    return word[:-1] if word.endswith("s") and not word.endswith("ss") else word


def own_words(ingredient: Ingredient, name: str) -> frozenset[str]:
    """Words of the ingredient's names, which an amount may repeat: ``3 egg yolks``."""
    texts = (name, ingredient.name, *ingredient.aliases)
    words = {singular(w) for text in texts for w in re.findall(r"[^\W\d_]+", text.casefold())}
    return frozenset(words) - SIZES


def choose_volume(
    part: Part, ingredient: Ingredient, name: str, words: frozenset[str]
) -> Measure | None:
    """The published volume nearest to the part's, of the same preparation.

    Args:
        part: with a volume.
        words: its preparation; none means the ingredient's plain one.

    Returns:
        None where no volume of that preparation is published.

    Raises:
        AmountError: no preparation is written, and there are several.
    """
    plain = frozenset(words_of(ingredient.plain or ""))
    volumes = [m for m in measures_of(ingredient) if m.unit is not None]
    options = {option for m in volumes for option in m.preparations}
    alike = {frozenset[str](), plain} if words in (frozenset(), plain) else {words}
    if not options & alike:
        wider = sorted((o for o in options if o >= words), key=len)
        # Without a word every preparation could be meant; with one, the nearest that has it.
        alike = {o for o in wider if not words or len(o) == len(wider[0])}
        if len(alike) > 1:
            raise AmountError(
                f"{part.text!r} of {name!r} leaves open how it is prepared",
                f"write one of: {'; '.join(str(m) for m in volumes)}",
            )
    same = [m for m in volumes if alike & set(m.preparations)]
    return min(same, key=lambda m: _distance(m, part), default=None)


def _distance(measure: Measure, part: Part) -> tuple[bool, bool, Fraction, bool]:
    """The same unit first, then the same system, then the nearest in size."""
    ours, theirs = measure.volume_ml, part.volume_ml
    assert ours is not None
    assert theirs is not None
    system = (measure.unit in METRIC) != (part.volume in METRIC)
    return measure.unit != part.volume, system, max(ours / theirs, theirs / ours), theirs < ours


def choose_piece(part: Part, ingredient: Ingredient, name: str, hints: frozenset[str]) -> Measure:
    """The published piece or package of the part's words.

    Raises:
        AmountError: there is none of these words, or there are several.
    """
    pieces = [m for m in measures_of(ingredient) if m.unit is None]
    written = frozenset(singular(w) for w in part.words) - NEUTRAL
    rest = written - own_words(ingredient, name)
    plain = frozenset(singular(w) for w in (ingredient.plain or "").split())
    sizes = frozenset(singular(h) for h in hints)
    for wanted in (written, written | sizes, rest | sizes, rest or plain):
        if not wanted:
            continue
        # "1 square" is the table's "oz square"; "1 package" is not its "package, small".
        fit = [m for m in pieces if wanted == m.piece]
        fit = fit or [m for m in pieces if wanted < m.piece and m.piece - wanted <= _ASIDE]
        if len({exact(m.portion.mass_g) / m.amount for m in fit}) > 1:
            raise AmountError(
                f"{part.text!r} of {ingredient.name!r} fits several",
                f"weigh it, or write the weight: {'; '.join(map(str, fit))}",
            )
        if fit:
            return fit[0]
    raise AmountError(
        f"{part.text!r} is no published measure of {name!r}", known_measures(ingredient)
    )


def known_measures(ingredient: Ingredient) -> str:
    """A remedy that names the measures an ingredient has."""
    known = list(dict.fromkeys(str(m) for m in measures_of(ingredient)))
    if not known:
        return "weigh it, for no measure of it is published"
    return f"weigh it, or write one of: {'; '.join(known)}"


__all__ = ["Measure", "choose_piece", "choose_volume", "known_measures", "measures_of"]
