"""Allergens of a formula by the two best-known legal lists, and the lines that bring them.

* United States, 9 major food allergens: Food Allergen Labeling and Consumer Protection Act of 2004
  (21 U.S.C. 321(qq)) and FASTER Act of 2021 (sesame). Tree nuts as FDA lists them in *Questions and
  Answers Regarding Food Allergens*, edition 5, January 2025, appendix I (read as quoted by Penn
  State Extension): coconut and chestnut are no longer among them.
* European Union, 14 groups: Regulation (EU) No 1169/2011, Annex II (read in reproductions).

A line whose allergens nobody stated is unknown, never free of them. What its name speaks of is
said beside that, on the safe side.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from types import MappingProxyType

from logger.formula.kinds import Kinded, listed
from logger.ingredient import Ingredient

FDA_SOURCE = "FALCPA 2004 and FASTER Act 2021 (21 U.S.C. 321(qq)); FDA tree nut list January 2025"
EU_SOURCE = "Regulation (EU) No 1169/2011, Annex II"

FDA_9 = (
    "milk", "egg", "fish", "crustacean shellfish", "tree nuts", "wheat", "peanuts", "soybeans",
    "sesame",
)  # fmt: skip
EU_14 = (
    "cereals containing gluten", "crustaceans", "eggs", "fish", "peanuts", "soybeans", "milk",
    "nuts", "celery", "mustard", "sesame", "sulphur dioxide and sulphites", "lupin", "molluscs",
)  # fmt: skip

# FDA appendix I; those of the European list are the eight without a mark.
_NUTS_OF_BOTH = ("almond", "brazil nut", "cashew", "hazelnut", "macadamia", "pecan", "pistachio",
                 "walnut")  # fmt: skip
_NUTS_FDA_ONLY = ("pine nut", "heartnut")


def _groups() -> dict[str, tuple[str | None, str | None]]:
    """Plain word → its group in the list of FDA, and in that of the EU; None where in none."""
    gluten = "cereals containing gluten"
    out: dict[str, tuple[str | None, str | None]] = {
        # Wheat of any kind is wheat in both; rye, barley and oats are not wheat.
        **dict.fromkeys(("wheat", "spelt", "khorasan", "triticale"), ("wheat", gluten)),
        **dict.fromkeys(("rye", "barley", "oats"), (None, gluten)),
        # Of which cereal is not said: on the safe side, wheat.
        "gluten": ("wheat", gluten),
        "milk": ("milk", "milk"),
        "egg": ("egg", "eggs"),
        "fish": ("fish", "fish"),
        "crustaceans": ("crustacean shellfish", "crustaceans"),
        "molluscs": (None, "molluscs"),
        "peanut": ("peanuts", "peanuts"),
        "soy": ("soybeans", "soybeans"),
        "sesame": ("sesame", "sesame"),
        "celery": (None, "celery"),
        "mustard": (None, "mustard"),
        "lupin": (None, "lupin"),
        "sulphites": (None, "sulphur dioxide and sulphites"),
        **dict.fromkeys(_NUTS_OF_BOTH, ("tree nuts", "nuts")),
        **dict.fromkeys(_NUTS_FDA_ONLY, ("tree nuts", None)),
        "tree nuts": ("tree nuts", "nuts"),
        **dict.fromkeys(("coconut", "chestnut"), (None, None)),
    }
    return out


GROUPS = MappingProxyType(_groups())
SPELT = MappingProxyType({
    "eggs": "egg", "oat": "oats", "dairy": "milk", "lactose": "milk", "kamut": "khorasan",
    "soya": "soy", "soybean": "soy", "soybeans": "soy", "peanuts": "peanut", "nuts": "tree nuts",
    "nut": "tree nuts", "almonds": "almond", "walnuts": "walnut", "black walnut": "walnut",
    "pecans": "pecan", "hazelnuts": "hazelnut", "filbert": "hazelnut", "cashews": "cashew",
    "pistachios": "pistachio", "brazil nuts": "brazil nut", "macadamias": "macadamia",
    "macadamia nut": "macadamia", "queensland nut": "macadamia", "pine nuts": "pine nut",
    "sulfites": "sulphites", "sulphite": "sulphites", "sulfite": "sulphites",
    "sulphur dioxide": "sulphites", "sulfur dioxide": "sulphites", "crustacean": "crustaceans",
    "shellfish": "crustaceans", "shrimp": "crustaceans", "mollusc": "molluscs",
    "mollusks": "molluscs", "lupine": "lupin", "sesame seeds": "sesame",
})  # fmt: skip

# The word by which an ingredient states that it has none; without any word nothing is stated.
STATED_NONE = "none"
# Rows of the shipped table state their allergens; one without any states that it has none. A
# kitchen's own rows begin with the name of their file, whatever source they then quote.
SHIPPED = ("USDA SR 28, record ", "composition as USDA SR 28, record ")

SAFETY = (
    "Allergens are told from the ingredient table and from what the kitchen wrote: the label of "
    "the packet at hand and contact with other foods are for the kitchen to check, and the local "
    "food law decides."
)


@dataclass(frozen=True, slots=True)
class Group:
    """One group of a legal list that the formula holds.

    Attributes:
        name: as in `FDA_9` or `EU_14`.
        words: the plain words behind it, e.g. ``almond``, ``walnut``.
        lines: keys of the lines that bring it.
    """

    name: str
    words: tuple[str, ...]
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Allergens:
    """The allergens of a formula.

    Attributes:
        fda, eu: groups held, in the order of the lists.
        unknown: keys of lines whose allergens nobody stated.
        presumed: for those, key → plain words that their names speak of.
        in_no_list: plain words stated that are in neither list, with their lines.
        sentences: for the baker; the last one is `SAFETY`.
    """

    fda: tuple[Group, ...]
    eu: tuple[Group, ...]
    unknown: tuple[str, ...]
    presumed: dict[str, tuple[str, ...]]
    in_no_list: tuple[Group, ...]
    sentences: tuple[str, ...]


def stated(ingredient: Ingredient | None) -> tuple[str, ...] | None:
    """The plain words that an ingredient states; () where it states none, None where nothing."""
    if ingredient is None:
        return None
    if not ingredient.allergens:
        return () if ingredient.source.startswith(SHIPPED) else None
    words = (plain(word) for word in ingredient.allergens)
    return tuple(dict.fromkeys(word for word in words if word != STATED_NONE))


def plain(word: str) -> str:
    """A word as `GROUPS` has it.

    >>> plain("Soya"), plain("almonds"), plain("kiwi")
    ('soy', 'almond', 'kiwi')
    """
    lower = " ".join(word.lower().split())
    return SPELT.get(lower, lower)


_NO_MILK = re.compile(r"\b(?:coconut|almond|oat|soya?|rice|vegan|plant|cocoa|shea|apple|nut|"
                      r"peanut|cashew|hazelnut|pistachio)\b")  # fmt: skip
_NO_WHEAT = re.compile(
    r"\b(?:rice|corn|cornmeal|maize|rye|barley|oat|almond|hazelnut|coconut|chickpea|buckwheat|"
    r"potato|soya?|tapioca|gluten[- ]free)\b"
)
_NAMED = tuple(
    (word, re.compile(rf"\b{re.escape(spelt)}s?\b"))
    for spelt, word in [*((word, word) for word in GROUPS), *SPELT.items()]
    # "milk" is dealt with by kind, "nut" is part of too many names, gluten-free is the opposite.
    if spelt not in ("milk", "nut", "nuts", "egg", "eggs", "gluten", "oats")
    if word not in ("coconut", "chestnut")
)


def presumed(name: str, kind: str) -> tuple[str, ...]:
    """Plain words that a name of this kind speaks of; it may hold more.

    >>> presumed("brown butter", "fat"), presumed("coconut milk", "milk")
    (('milk',), ())
    """
    lower = name.lower()
    words = [word for word, pattern in _NAMED if pattern.search(lower)]
    dairy = kind in ("milk", "cheese") or (kind == "fat" and re.search(r"\b(?:butter|ghee)", lower))
    if dairy and not _NO_MILK.search(lower):
        words.append("milk")
    if kind == "egg":
        words.append("egg")
    if kind == "flour" and not words and not _NO_WHEAT.search(lower):
        words.append("wheat")
    return tuple(dict.fromkeys(words))


def allergens(items: Iterable[Kinded]) -> Allergens:
    """The allergens of the lines, whatever their masses: a trace counts."""
    known: list[tuple[str, str]] = []
    unknown: list[str] = []
    guessed: dict[str, tuple[str, ...]] = {}
    for item in items:
        key = item.line.key
        words = stated(item.ingredient)
        if words is not None:
            known += [(word, key) for word in words]
            continue
        unknown.append(key)
        if by_name := presumed(item.line.ingredient, item.kind):
            guessed[key] = by_name
    fda = _held(known, FDA_9, 0)
    eu = _held(known, EU_14, 1)
    strange = [(w, key) for w, key in known if GROUPS.get(w, (None, None)) == (None, None)]
    in_no_list = tuple(
        Group(word, (word,), tuple(dict.fromkeys(key for w, key in strange if w == word)))
        for word in dict.fromkeys(word for word, _ in strange)
    )
    return Allergens(
        fda, eu, tuple(unknown), guessed, in_no_list,
        _sentences(fda, eu, tuple(unknown), guessed, in_no_list),
    )  # fmt: skip


def _held(known: list[tuple[str, str]], groups: tuple[str, ...], which: int) -> tuple[Group, ...]:
    held: list[Group] = []
    for name in groups:
        pairs = [(w, key) for w, key in known if GROUPS.get(w, (None, None))[which] == name]
        if pairs:
            words = tuple(dict.fromkeys(word for word, _ in pairs))
            held.append(Group(name, words, tuple(dict.fromkeys(key for _, key in pairs))))
    return tuple(held)


def _sentences(
    fda: tuple[Group, ...],
    eu: tuple[Group, ...],
    unknown: tuple[str, ...],
    guessed: dict[str, tuple[str, ...]],
    in_no_list: tuple[Group, ...],
) -> tuple[str, ...]:
    out: list[str] = []
    for title, groups in (("Of the 9 of the United States", fda), ("Of the 14 of the EU", eu)):
        if groups:
            found = "; ".join(f"{group.name} ({listed(group.lines)})" for group in groups)
            out.append(f"{title}: {found}.")
        else:
            known = "the lines that are known" if unknown else "the table"
            out.append(f"{title}, {known} name{'' if unknown else 's'} none.")
    if unknown:
        out.append(f"Not known for {listed(unknown)}: read the label before anybody is told.")
    for key, words in guessed.items():
        out.append(f"The name of {key} speaks of {listed(words)}; it may hold more.")
    if in_no_list:
        out.append(f"In neither list, but stated: {listed(group.name for group in in_no_list)}.")
    if any(group.name == "sulphur dioxide and sulphites" for group in eu):
        out.append("Sulphites count in the EU above 10 mg in a kilogram or litre as eaten.")
    return (*out, SAFETY)
