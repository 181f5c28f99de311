"""Words for what was done to an ingredient before it was measured: packed, sifted, chopped …"""

from __future__ import annotations

import re

# Words that change how much goes into a cup; each is a preparation of some published measure, or
# one that people write and that has none (then the conversion is refused, not guessed).
PREPARATIONS = frozenset((
    "packed", "unpacked", "sifted", "unsifted", "dipped", "spooned", "stirred", "chopped",
    "sliced", "slivered", "ground", "whole", "halves", "halved", "quartered", "grated",
    "shredded", "mashed", "pureed", "crushed", "cubed", "diced", "minced", "melted", "whipped",
    "fluid", "pieces", "chips", "chunks", "kernels", "strips", "large", "small", "mini",
    "shelled", "loose", "heaped", "scant", "rounded", "toasted", "browned", "juiced", "peeled",
    "creamy", "crumbled",
))  # fmt: skip
# Those that may stand before or after an ingredient's name; `ground ginger` is a name of its own
# and is found as such before the words are taken off.
OF_NAMES = PREPARATIONS - frozenset((
    "browned", "toasted", "large", "small", "mini", "fluid", "creamy",
))  # fmt: skip
# Words that change nothing about the weight of a measure.
NEUTRAL = frozenset((
    "level", "softened", "cold", "chilled", "warm", "lukewarm", "beaten", "well", "lightly",
    "separated", "divided",
))  # fmt: skip
ROOM = re.compile(r"\b(?:at )?room[ -]temperature\b")
_SAME = {
    "slice": "sliced", "slices": "sliced", "flaked": "sliced", "halved": "halves", "half": "halves",
    "piece": "pieces", "chip": "chips", "chunk": "chunks", "cubes": "cubed", "cube": "cubed",
    "diced": "cubed", "puréed": "pureed", "kernel": "kernels", "strip": "strips",
    "heaping": "heaped", "purée": "pureed", "puree": "pureed",
}  # fmt: skip
_PHRASES = (
    (re.compile(r"\b(?:not|un)[ -]?packed\b|\bloosely packed\b"), "unpacked"),
    (re.compile(r"\b(?:firmly|tightly|well)[ -]packed\b"), "packed"),
    # Neither packed nor not: no published weight, and not to be taken for one of the two.
    (re.compile(r"\blightly packed\b"), "loose"),
    (re.compile(r"\b(?:not|un)[ -]?sifted\b"), "unsifted"),
    (re.compile(r"\bdip(?:ped)?(?: and| &) (?:sweep|swept|level(?:led)?)\b"), "dipped"),
    (re.compile(r"\bspooned(?: and| &) level(?:l?ed)?\b"), "spooned"),
)


def words_of(text: str) -> list[str]:
    """Lower-case words of a text in the spelling of the tables.

    >>> words_of("firmly packed"), words_of("(not packed)"), words_of("Slices, halved")
    (['packed'], ['unpacked'], ['sliced', 'halves'])
    """
    plain = text.casefold().replace("’", "'")
    plain = ROOM.sub(" ", plain)
    for pattern, word in _PHRASES:
        plain = pattern.sub(word, plain)
    return [_SAME.get(word, word) for word in re.findall(r"[^\W\d_]+(?:'[^\W\d_]+)?", plain)]
