"""Amounts as people write them → parts: a number, a mass or a volume or a piece, and the words."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction

from logger.formula.preparation import words_of
from logger.quantity import MASS, SPELT, VOLUME, AmountError, amount, volume_unit

TO_TASTE = re.compile(r"^(?:(?:as )?(?:to taste|needed|required)|as desired)\.?$", re.IGNORECASE)

_ARTICLE = re.compile(r"^\s*(?:an?|one)\s+(?=[^\W\d_])", re.IGNORECASE)
_HALF = re.compile(r"^\s*(?:an? )?half (?:an? )?(?=[^\W\d_])", re.IGNORECASE)
_STARTS = r"(?:[-−]?[\d½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞]|an?\s+[^\W\d_]|half\s)"
_AND = re.compile(rf"(?:\s*\+\s*|\s+plus\s+|\s+and\s+|\s*&\s*)(?={_STARTS})", re.IGNORECASE)
# ``1 and 1/2 cups`` is one number.
_ONE_AND = re.compile(r"^\s*\d+\s*(?:and|&|-)\s*(?:\d+\s*[/⁄]\s*\d+|[½⅓⅔¼¾⅛⅜⅝⅞])")
_PARENTHESIS = re.compile(r"\(([^()]*)\)")
_EACH = re.compile(r"^(?:[x×]\s*)?(\d+(?:\.\d+)?[\s-]?[^\W\d_]+\.?)(?:\s+|$)", re.IGNORECASE)
_SPOON_LETTER = re.compile(r"^[Tt]\.?(?:\s|$)")
_NO_WEIGHT = {
    word + end: word
    for word, ends in (
        ("pinch", ("", "es")), ("drop", ("", "s")), ("handful", ("", "s")), ("knob", ("", "s")),
        ("smidgen", ("", "s")), ("splash", ("", "es")),
    )
    for end in ends
}  # fmt: skip
_NO_LEVEL = frozenset(("heaped", "heaping", "rounded", "scant", "generous"))


@dataclass(frozen=True, slots=True)
class Part:
    """One part of an amount; exactly one of mass, volume and piece.

    Attributes:
        text: as written.
        number: how many.
        mass_kg: the whole part's mass, where it is written.
        volume: name of the unit in `logger.quantity.VOLUME`.
        words: the other words: preparation, size, kind of piece; the ingredient's own name too.
    """

    text: str
    number: Fraction
    mass_kg: Fraction | None = None
    volume: str | None = None
    words: tuple[str, ...] = ()

    @property
    def volume_ml(self) -> Fraction | None:
        return None if self.volume is None else self.number * VOLUME[self.volume]


def parts_of(written: str) -> tuple[Part, ...]:
    """The parts of an amount: ``1 tbsp + 1 tsp`` has two, ``to taste`` has none.

    Raises:
        AmountError: no number, a range, nothing or less, a unit that leaves open what is meant.
    """
    if TO_TASTE.match(written.strip()):
        return ()
    return tuple(_part(text) for text in _split(written))


def _split(written: str) -> list[str]:
    joined = _ONE_AND.match(written)
    start = joined.end() if joined else 0
    first = _AND.search(written, start)
    if first is None:
        return [written]
    return [written[: first.start()], *_split(written[first.end() :])]


def _part(text: str) -> Part:
    plain = _HALF.sub("1/2 ", text)
    plain = _ARTICLE.sub("1 ", plain)
    words = re.findall(r"[^\W\d_]+", plain.casefold())
    if vague := [_NO_WEIGHT[word] for word in words if word in _NO_WEIGHT]:
        raise AmountError(
            f"{text.strip()!r}: a {vague[0]} has no published weight",
            'weigh it, write a spoon ("1/8 tsp"), or "to taste"',
        )
    if found := _NO_LEVEL.intersection(words):
        raise AmountError(
            f"{text.strip()!r}: no weight is published for a {sorted(found)[0]} measure",
            "write a level one, or weigh it",
        )
    read = amount(plain)
    if read.number <= 0:
        raise AmountError(f"{text.strip()!r} is not more than nothing", "write a positive amount")
    return _unit(text.strip(), read.number, read.unit)


def _unit(text: str, number: Fraction, rest: str) -> Part:
    """The part of a number and what stands after it."""
    if _SPOON_LETTER.match(rest):
        raise AmountError(
            f"{text!r}: a single t is unclear", 'write "tbsp" or "tsp" (or tonnes, if those)'
        )
    each = _EACH.match(rest.lstrip("(").replace(")", " ", 1))
    if each is not None and (mass := _mass(each.group(1))) is not None:
        return Part(text, number, mass_kg=number * mass)
    inside, bare = _parenthesis(rest)
    if (given := _mass(inside)) is not None:
        return _as_given(text, number, bare, Part(text, Fraction(1), mass_kg=given))
    if (volume := _volume(inside)) is not None:
        return _as_given(text, number, bare, Part(text, volume[0], volume=volume[1]))
    head = bare.replace(",", " ").split()
    if head and (unit := _mass_unit(head[0])) is not None:
        # What stands in parentheses after a mass is a remark: ``240 g (2 cups)``.
        mass = number * MASS[unit]
        if (more := _mass(" ".join(head[1:]))) is not None:  # 1 lb 4 oz
            return Part(text, number, mass_kg=mass + more)
        return Part(text, number, mass_kg=mass, words=_words(text, head[1:]))
    words = f"{bare} {inside}".replace(",", " ").replace(";", " ").split()
    for length in (3, 2, 1):
        for start in range(len(words) - length + 1):
            name = volume_unit(" ".join(words[start : start + length]))
            if name is not None:
                other = words[:start] + words[start + length :]
                return Part(text, number, volume=name, words=_words(text, other))
    return Part(text, number, words=_words(text, words))


def _as_given(text: str, number: Fraction, bare: str, given: Part) -> Part:
    """``2 cups (240 g)``, ``1 cup (250 ml)``, ``1 can (400 g)``: what is written beside counts."""
    read = _unit(text, number, bare)
    if read.mass_kg is not None:
        return read
    if read.volume is not None:
        return replace(given, words=() if given.mass_kg is not None else read.words)
    if number == 1:
        return given
    raise AmountError(
        f"{text!r}: is that the weight of each or of all?", 'write for example "2 x 400 g"'
    )


def _parenthesis(rest: str) -> tuple[str, str]:
    """What stands in parentheses, and the rest without it."""
    found = _PARENTHESIS.search(rest)
    if found is None:
        return "", rest.strip()
    return found.group(1).strip(), f"{rest[: found.start()]} {rest[found.end() :]}".strip()


def _mass(text: str) -> Fraction | None:
    if not text[:1].isdigit():
        return None
    try:
        read = amount(re.sub(r"(?<=\d)-(?=[^\W\d_])", " ", text))
    except AmountError:
        return None
    unit = _mass_unit(read.unit)
    return None if unit is None else read.number * MASS[unit]


def _volume(text: str) -> tuple[Fraction, str] | None:
    if not text[:1].isdigit():
        return None
    try:
        read = amount(text)
    except AmountError:
        return None
    unit = volume_unit(read.unit)
    return None if unit is None else (read.number, unit)


def _mass_unit(word: str) -> str | None:
    bare = word.strip().rstrip(".")
    unit = SPELT.get(bare.lower(), bare)
    return unit if unit in MASS else unit.lower() if unit.lower() in MASS else None


def _words(text: str, words: list[str]) -> tuple[str, ...]:
    if any(char.isdigit() for word in words for char in word):
        raise AmountError(
            f"{text!r}: a second number is not understood",
            'write one number and one unit, or join two with a plus: "1 cup + 2 tbsp"',
        )
    return tuple(word for word in words_of(" ".join(words)) if word not in ("of", "the"))


__all__ = ["TO_TASTE", "Part", "parts_of"]
