"""What each line of a formula is: its row of the table, and what it does in a batter.

Where the table has no row, the kind may be told from words in the name; that is then said as
assumed. Composition and allergens are never told from a name alone.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

from logger.ingredient import Ingredient
from logger.plan import Line


class Table(Protocol):
    """Anything that finds an ingredient by its exact name or alias, such as a `Pantry`."""

    def find(self, name: str) -> Ingredient | None: ...


@dataclass(frozen=True, slots=True)
class Kinded:
    """A line with what is known of it.

    Attributes:
        line: the line.
        ingredient: its row of the table; None where the table has none.
        kind: as `Ingredient.kind`; ``other`` where neither table nor name tells it.
        assumed: True where the kind was told from the name only.
    """

    line: Line
    ingredient: Ingredient | None
    kind: str
    assumed: bool

    @property
    def names(self) -> str:
        """Lower-case text to look for words in: the name as written and the table's."""
        table = "" if self.ingredient is None else f" | {self.ingredient.name}"
        return f"{self.line.ingredient}{table}".lower()

    def says(self, pattern: re.Pattern[str]) -> bool:
        return pattern.search(self.names) is not None


# Whole words, first match decides; the order resolves names that mention two things (buttermilk
# is no butter, cream of tartar no cream, cocoa butter a fat, almond flour a nut).
_WORDS: tuple[tuple[str, str], ...] = (
    ("acid", r"cream of tartar|tartaric|citric|vinegar|(?:lemon|lime) juice"),
    ("leavening", r"baking (?:powder|soda)|bicarbonate|bicarb|ammonium|hartshorn|yeast|leavener"),
    ("fat", r"cocoa butter|butter oil"),
    ("nut", r"(?:peanut|almond|hazelnut|pistachio|cashew|nut) (?:butter|paste|flour|meal)|"
            r"ground (?:almonds?|hazelnuts?|walnuts?)|marzipan|praline|tahini|sesame|"
            r"(?:almond|walnut|pecan|hazelnut|pistachio|cashew|peanut|macadamia|pine ?nut)s?$"),
    ("fruit", r"(?:candied|crystalli[sz]ed|fresh|stem|preserved) ginger|apple butter"),
    ("flavour", r"extract|essence|vanilla(?! sugar)|spices?|cinnamon|ginger|nutmeg|mace|cloves?|"
                r"cardamom|allspice|anise|saffron|zest|peel|espresso powder|flavou?ring"),
    ("cocoa", r"cocoa|cacao powder"),
    ("chocolate", r"chocolate|couverture"),
    ("cheese", r"cheese|mascarpone|ricotta|quark"),
    ("milk", r"buttermilk|milk|yogh?urt|cream|cr[eè]me fra[iî]che|kefir|whey"),
    ("fat", r"butter|shortening|lard|margarine|oil|ghee|suet"),
    ("egg", r"eggs?|yolks?|egg whites?|whites"),
    ("starch", r"starch|corn ?starch|cornflour|arrowroot|tapioca"),
    ("flour", r"flours?|semolina|cornmeal"),
    ("syrup", r"syrup|honey|molasses|treacle|glucose|agave"),
    ("sugar", r"sugar|dextrose|fructose|muscovado|demerara|turbinado"),
    ("salt", r"salt"),
    ("fruit", r"apples?|applesauce|pears?|bananas?|berr(?:y|ies)|\w+berr(?:y|ies)|carrots?|"
              r"pumpkin|raisins?|currants?|dates?|pineapple|cherr(?:y|ies)|courgettes?|zucchini"),
    ("liquid", r"water|coffee|tea|juice|wine|rum|brandy|beer|stout"),
)  # fmt: skip
_COMPILED = tuple((kind, re.compile(rf"\b(?:{words})\b")) for kind, words in _WORDS)


def kind_by_name(name: str) -> str | None:
    """The kind that words in a name tell; None where none does.

    >>> kind_by_name("brown butter"), kind_by_name("buttermilk"), kind_by_name("grated pear")
    ('fat', 'milk', 'fruit')
    >>> kind_by_name("sparkle dust") is None
    True
    """
    lower = name.lower()
    for kind, pattern in _COMPILED:
        if pattern.search(lower):
            return kind
    return None


def kinded(lines: Iterable[Line], table: Table) -> tuple[Kinded, ...]:
    """Each line with its row and kind, in the lines' order."""
    found: list[Kinded] = []
    for line in lines:
        ingredient = table.find(line.ingredient)
        if ingredient is not None and ingredient.kind != "other":
            found.append(Kinded(line, ingredient, ingredient.kind, assumed=False))
            continue
        told = kind_by_name(line.ingredient) if ingredient is None else None
        found.append(Kinded(line, ingredient, told or "other", assumed=told is not None))
    return tuple(found)


def listed(words: Iterable[str]) -> str:
    """Words as people list them.

    >>> listed(["butter"]), listed(["butter", "eggs", "salt"])
    ('butter', 'butter, eggs and salt')
    """
    all_words = list(words)
    if len(all_words) < 2:
        return "".join(all_words)
    return f"{', '.join(all_words[:-1])} and {all_words[-1]}"


def weighed(mass_kg: float) -> str:
    """A mass as a baker says it: tenths of a gram below 10 g, kilograms from 10 kg.

    >>> weighed(0.0023), weighed(0.2436), weighed(12.3456)
    ('2.3 g', '244 g', '12.35 kg')
    """
    if mass_kg >= 10.0:
        return f"{mass_kg:.2f} kg"
    return f"{mass_kg * 1000:.1f} g" if mass_kg < 0.00995 else f"{mass_kg * 1000:.0f} g"
