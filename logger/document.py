"""TOML a person wrote: read it so that every complaint can name file, line and remedy."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

_HEADER = re.compile(r"^\s*(\[\[?)\s*(.+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*(?:"([^"]*)"|'([^']*)'|([\w.-]+))\s*=""")

Where = tuple[str | int, ...]


class FileError(ValueError):
    """A file that a person wrote cannot be used.

    Attributes:
        file: its name.
        line: line number from 1, None where it is not one line's fault.
        what: what is wrong.
        remedy: what to write or do.
    """

    def __init__(self, file: str, line: int | None, what: str, remedy: str) -> None:
        place = f"{file}, line {line}" if line is not None else file
        super().__init__(f"{place}: {what}; {remedy}" if remedy else f"{place}: {what}")
        self.file = file
        self.line = line
        self.what = what
        self.remedy = remedy

    def __reduce__(self) -> tuple[type[FileError], tuple[str, int | None, str, str]]:
        return (type(self), (self.file, self.line, self.what, self.remedy))


class Document:
    """A parsed TOML (or JSON) document that remembers where its keys stand.

    Args:
        content: tables and keys.
        file: name for messages.
        text: the TOML text, '' where there is none (a document out of the log).
    """

    def __init__(self, content: dict[str, Any], file: str, text: str = "") -> None:
        self.content = content
        self.file = file
        self._text = text

    @property
    def text(self) -> str:
        """The TOML text it was read from, '' where there was none."""
        return self._text

    @classmethod
    def parse(cls, raw: bytes, file: str) -> Document:
        """Raises FileError: not UTF-8, or not TOML (a key given twice included)."""
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            line = raw[: error.start].count(b"\n") + 1
            raise FileError(
                file, line, f"byte {error.start} is not UTF-8 text", "save the file as UTF-8"
            ) from error
        try:
            return cls(tomllib.loads(text), file, text)
        except tomllib.TOMLDecodeError as error:
            found = re.search(r"at line (\d+)", str(error))
            what = re.sub(r" \(at .*\)$", "", str(error))
            raise FileError(
                file,
                int(found.group(1)) if found else None,
                f"not TOML: {what}",
                'write lines such as  amount = "240 g"  and give each key once',
            ) from error

    @classmethod
    def load(cls, path: Path) -> Document:
        """Read the file at `path`; raises FileError also where it cannot be read."""
        try:
            raw = path.read_bytes()
        except OSError as error:
            reason = error.strerror or str(error)
            raise FileError(
                str(path), None, f"cannot be read: {reason}", "check the name"
            ) from error
        return cls.parse(raw, path.name)

    def error(self, where: Where, what: str, remedy: str) -> FileError:
        """A complaint about the key at `where`, e.g. ``("line", 2, "amount")``."""
        return FileError(self.file, self.line_of(where), what, remedy)

    def line_of(self, where: Where) -> int | None:
        """Line on which the key or table at `where` stands; the nearest table's if it has none."""
        counts: dict[str, int] = {}
        table: Where = ()
        best: tuple[int, int | None] = (-1, None)
        for number, text in enumerate(self._text.splitlines(), 1):
            if header := _HEADER.match(text):
                name = header.group(2).replace('"', "")
                if header.group(1) == "[[":
                    counts[name] = counts.get(name, -1) + 1
                    table = (*name.split("."), counts[name])
                else:
                    table = tuple(name.split("."))
                here = table
            elif key := _KEY.match(text):
                bare = key.group(3)
                quoted = key.group(1) if key.group(1) is not None else key.group(2)
                here = table + (tuple(bare.split(".")) if bare is not None else (quoted,))
            else:
                continue
            if here == where[: len(here)] and len(here) > best[0]:
                best = (len(here), number)
        return best[1]
