"""Keys of a document a person wrote, read with complaints that name file, line and remedy."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

from logger.document import Document, Where
from logger.quantity import AmountError

T = TypeVar("T")


class Keys:
    """Reads keys of one document and complains with file, line and remedy."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.warnings: list[str] = []

    def table(self, *where: str) -> Mapping[str, Any]:
        value: Any = self.document.content
        for key in where:
            value = value.get(key, {})
            if not isinstance(value, dict):
                raise self.document.error(
                    where, f"{key} is not a table", f"write [{'.'.join(where)}]"
                )
        assert isinstance(value, dict)
        return value

    def read(self, where: Where, value: Any, reader: Callable[[str], T], example: str) -> T:
        if isinstance(value, int | float) and not isinstance(value, bool):
            raise self.document.error(
                where, f"{where[-1]} = {value} has no unit", f'write  {where[-1]} = "{example}"'
            )
        if not isinstance(value, str):
            raise self.document.error(
                where, f"{where[-1]} is not a text", f'write  {where[-1]} = "{example}"'
            )
        try:
            return reader(value)
        except AmountError as error:
            raise self.document.error(
                where, f"{where[-1]}: {error.what}", f'write  {where[-1]} = "{example}"'
            ) from error

    def optional(
        self, where: Where, table: Mapping[str, Any], reader: Callable[[str], T], example: str
    ) -> T | None:
        value = table.get(str(where[-1]))
        return None if value is None else self.read(where, value, reader, example)

    def positive(
        self, where: Where, table: Mapping[str, Any], reader: Callable[[str], float], example: str
    ) -> float | None:
        value = self.optional(where, table, reader, example)
        if value is not None and value <= 0:
            raise self.document.error(
                where, f"{where[-1]} is not more than nothing", f'write  {where[-1]} = "{example}"'
            )
        return value

    def word(self, where: Where, table: Mapping[str, Any], known: tuple[str, ...]) -> str | None:
        """A word; an unknown one is a warning and the widest prior, not an error."""
        value = table.get(str(where[-1]))
        if value is None:
            return None
        if not isinstance(value, str):
            raise self.document.error(
                where, f"{where[-1]} is not a text", f"one of {', '.join(known)}"
            )
        if value not in known:
            self.warnings.append(
                f"{where[-1]} {value!r} is not known here; nothing is assumed of it "
                f"(known: {', '.join(known)})"
            )
        return value

    def count(self, where: Where, table: Mapping[str, Any], example: int) -> int | None:
        """A whole number from 1 on."""
        value = table.get(str(where[-1]))
        if value is not None and (
            isinstance(value, bool) or not isinstance(value, int) or value < 1
        ):
            raise self.document.error(
                where, f"{where[-1]} is {value!r}", f"write  {where[-1]} = {example}"
            )
        return value

    def text(self, where: Where, table: Mapping[str, Any]) -> str | None:
        """A text that is not empty; None where the key is not there."""
        value = table.get(str(where[-1]))
        if value is None:
            return None
        if not isinstance(value, str) or not value.strip():
            what = "empty" if isinstance(value, str) else f"{value!r}, not a text"
            raise self.document.error(where, f"{where[-1]} is {what}", f'write  {where[-1]} = "…"')
        return value.strip()

    def only(self, where: Where, table: Mapping[str, Any], known: Iterable[str]) -> None:
        """Complain about a key that is not known, naming the nearest one that is."""
        names = tuple(known)
        for key in table:
            if key in names:
                continue
            # Not needed where every key is known, and a replay is to start fast.
            from difflib import get_close_matches

            near = get_close_matches(key, names, n=1, cutoff=0.6)
            raise self.document.error(
                (*where, key),
                f"the key {key!r} is not known here",
                f"did you mean {near[0]!r}?" if near else f"known are {', '.join(names)}",
            )
