"""`Pantry`: the ingredients that a formula can name, found by exact names, never by likeness.

Pure; `logger.pantry` reads the shipped table and a kitchen's own files into one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from logger.formula.preparation import NEUTRAL, OF_NAMES, ROOM, words_of
from logger.ingredient import Ingredient

# Sizes in a name count as written: 3 of `medium eggs`.
SIZES = frozenset(("large", "medium", "small", "jumbo", "extra", "mini"))
# Likeness (0 to 100) below which a name is no suggestion worth reading: of the letters, which
# finds a slip of the finger, and then of the words in common.
ALIKE = 75.0
LIKE = 70.0


@dataclass(frozen=True, slots=True)
class Found:
    """An ingredient under the name it was asked for.

    Attributes:
        ingredient: the row.
        words: preparations before or after the name proper: ``chopped walnuts`` → ``chopped``.
        hints: preparation or size in the name proper: ``ground ginger``, ``medium eggs``.
    """

    ingredient: Ingredient
    words: frozenset[str] = frozenset()
    hints: frozenset[str] = frozenset()


class Pantry:
    """Ingredients by name and alias.

    Args:
        ingredients: rows; where two bear a name, the later one has it.
        asks: names that leave open what is meant → the sentence that asks. Such a name is found
            where a row bears it, but no household measure of it is converted.
    """

    def __init__(
        self, ingredients: Iterable[Ingredient], asks: Mapping[str, str] | None = None
    ) -> None:
        self._rows = tuple(ingredients)
        self._asks = {_key(name): text for name, text in (asks or {}).items()}
        self._names: dict[str, Ingredient] = {}
        for row in self._rows:
            for name in (row.name, *row.aliases):
                self._names[_key(name)] = row
        # What people say: a description of a table is suggested only where it has no other name.
        self._said = {_key(n): n for row in self._rows for n in (row.aliases or (row.name,))}

    def __iter__(self) -> Iterator[Ingredient]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)

    def find(self, name: str) -> Ingredient | None:
        """The ingredient of this name or alias: exact but for capitals, hyphens and spaces.

        Words for a preparation or a state before or after a name are no part of it:
        ``chopped walnuts`` are walnuts, ``softened butter`` is butter.
        """
        found = self.look(name)
        return None if found is None else found.ingredient

    def look(self, name: str) -> Found | None:
        """As `find`, with the preparation that the name speaks of."""
        key = _key(name)
        if (row := self._names.get(key)) is not None:
            hints = frozenset(words_of(key)) & (OF_NAMES | SIZES)
            return Found(row, hints=hints if key != _key(row.name) else frozenset())
        words = _key(ROOM.sub(" ", key)).split()
        for start, end in _without_preparation(words):
            if (row := self._names.get(" ".join(words[start:end]))) is not None:
                off = words_of(" ".join(words[:start] + words[end:]))
                inner = self.look(" ".join(words[start:end]))
                hints = frozenset() if inner is None else inner.hints
                return Found(row, frozenset(w for w in off if w not in NEUTRAL), hints)
        return None

    def ask(self, name: str) -> str | None:
        """What to ask where the name leaves open which ingredient is meant; else None."""
        key = _key(name)
        if key in self._asks:
            return self._asks[key]
        words = _key(ROOM.sub(" ", key)).split()
        for start, end in _without_preparation(words):
            part = " ".join(words[start:end])
            if part in self._names or part in self._asks:
                return self._asks.get(part)
        return None

    def near(self, name: str, n: int = 3) -> list[str]:
        """Up to `n` names that look like this one, each of another ingredient, nearest first."""
        # Not needed where every name is known, and a replay is to start fast.
        from rapidfuzz import fuzz, process

        key, names = _key(name), list(self._said)
        found = [
            *process.extract(key, names, scorer=fuzz.ratio, limit=4 * n, score_cutoff=ALIKE),
            *process.extract(key, names, scorer=fuzz.token_set_ratio, limit=4 * n,
                             score_cutoff=LIKE),
        ]  # fmt: skip
        rows: dict[str, str] = {}
        for match, _score, _ in found:
            rows.setdefault(self._names[match].name, self._said[match])
        return list(rows.values())[:n]

    def rows_for(self, names: Iterable[str]) -> list[dict[str, Any]]:
        """The rows that these names use, as a plan freezes them in; unknown names have none."""
        used = {row.name for name in names if (row := self.find(name)) is not None}
        return [row.to_json() for row in self._rows if row.name in used]

    @classmethod
    def of_rows(cls, rows: Iterable[Mapping[str, Any]]) -> Pantry:
        """The pantry of rows that were frozen in."""
        return cls(Ingredient.from_json(row) for row in rows)

    def plus(self, own: Iterable[Ingredient]) -> Pantry:
        """With a kitchen's own ingredients, which win over rows of the same name."""
        added = tuple(own)
        names = {_key(name) for row in added for name in (row.name, *row.aliases)}
        replaced = {_key(row.name) for row in added}
        kept = tuple(row for row in self._rows if _key(row.name) not in replaced)
        asks = {name: text for name, text in self._asks.items() if name not in names}
        return Pantry((*kept, *added), asks)


def _without_preparation(words: list[str]) -> Iterator[tuple[int, int]]:
    """Slices of the words with preparations and states taken off, longest first."""
    off = OF_NAMES | NEUTRAL
    skippable = [all(w in off for w in words_of(word)) for word in words]
    for length in range(len(words), 0, -1):
        for start in range(len(words) - length + 1):
            end = start + length
            if all(skippable[:start]) and all(skippable[end:]):
                yield start, end


def _key(name: str) -> str:
    plain = name.casefold().replace("’", "'").replace("-", " ").replace(",", " ")
    return " ".join(plain.split())
