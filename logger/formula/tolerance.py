"""Tolerances by class of ingredient, where a line gives none of its own.

Leaveners, salt, spices and extracts ±5 %; flour, sugar, fats, cocoa and chocolate ±1 %; eggs,
liquids and everything else ±2 %; never less than ±0.1 g. Common practice of the trade, no source.
"""

from __future__ import annotations

import re

FLOOR_KG = 0.0001

FINE = 0.05
STRUCTURE = 0.01
OTHER = 0.02

# Whole words, first match decides; the order resolves names that mention two things
# (baking powder is no milk powder, buttermilk no butter, cream cheese no cream of tartar).
_CLASSES: tuple[tuple[float, str], ...] = (
    (FINE, r"baking (?:powder|soda)|bicarbonate|bicarb|cream of tartar|leavening agents?|leavener|"
           r"yeast|ammonium|soda"),
    (FINE, r"(?:vanilla|almond|lemon|orange|peppermint|rum) (?:extract|essence|paste|flavou?ring)|"
           r"extract|essence|vanilla(?! sugar)"),
    (OTHER, r"(?:candied|crystallised|crystallized|fresh|stem|grated|preserved) ginger|"
            r"peanut butter|almond butter|nut butter|apple butter|butterscotch|buttermilk|"
            r"cream cheese|milk|sour cream|cream|syrup|honey|molasses|treacle"),
    (STRUCTURE, r"butter|shortening|lard|margarine|oil|ghee|fat|suet"),
    (FINE, r"salt|spices?|cinnamon|ginger|nutmeg|mace|cloves?|cardamom|allspice|pepper|anise|"
           r"cumin|turmeric|saffron|coriander|caraway|fennel|chilli|cayenne|zest|espresso powder|"
           r"xanthan|guar|gelatine?|agar|pectin"),
    (STRUCTURE, r"flours?|starch|cornstarch|cornflour|semolina|sugars?|dextrose|glucose|fructose|"
                r"cocoa|chocolate|couverture"),
)  # fmt: skip
_COMPILED = tuple((share, re.compile(rf"\b(?:{words})\b")) for share, words in _CLASSES)


def default_share(ingredient: str) -> float:
    """± share of the target for an ingredient of this name.

    >>> default_share("unsalted butter"), default_share("fine salt"), default_share("buttermilk")
    (0.01, 0.05, 0.02)
    """
    name = ingredient.lower()
    for share, pattern in _COMPILED:
        if pattern.search(name):
            return share
    return OTHER


# The same classes by what the table says of an ingredient; the other kinds are OTHER.
KINDS: dict[str, float] = {
    **dict.fromkeys(("leavening", "acid", "salt", "flavour"), FINE),
    **dict.fromkeys(("flour", "starch", "sugar", "fat", "cocoa", "chocolate"), STRUCTURE),
}


def default_tolerance_kg(ingredient: str, target_kg: float, kind: str | None = None) -> float:
    """± tolerance in kilograms for a line without one of its own.

    Args:
        ingredient: its name, from whose words the class is told where the kind is not known.
        target_kg: the line's target.
        kind: as `logger.ingredient.Ingredient.kind`, where the ingredient is known.

    >>> round(default_tolerance_kg("cake flour", 0.27), 6)
    0.0027
    >>> default_tolerance_kg("saffron", 0.0005)
    0.0001
    """
    share = default_share(ingredient) if kind is None else KINDS.get(kind, OTHER)
    return max(FLOOR_KG, share * target_kg)
