"""Session files: recordings as JSON Lines, optionally gzipped, read a line at a time."""

from __future__ import annotations

import gzip
import io
import json
import zlib
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

from logger.document import FileError
from logger.entries import Entry, EntryRefused, from_json

Complaint = Callable[[int, str], None]


def _no_constant(text: str) -> float:
    raise EntryRefused(f"{text} is not a number in JSON")


def entries(lines: Iterable[str], complain: Complaint) -> Iterator[Entry]:
    """The entries of a session in its order.

    Args:
        lines: the file's lines; one is taken only when its entries are asked for.
        complain: called with line number and reason for each bad line, which is then skipped.
    """
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            found = from_json(json.loads(line, parse_constant=_no_constant))
        except json.JSONDecodeError as error:
            complain(number, f"not JSON: {error.msg} at character {error.pos + 1}")
        except RecursionError:
            complain(number, "nested too deeply")
        except EntryRefused as refused:
            complain(number, refused.reason)
        else:
            yield from found


def lines_of(path: Path) -> Iterator[str]:
    """Lines of a text file, gzipped or not (told by its first bytes, not its name).

    Bytes that are not UTF-8 become replacement characters, so that one damaged line is named and
    skipped and the rest is read.

    Raises:
        FileError: the file cannot be opened, or is a damaged gzip file.
    """
    try:
        with path.open("rb") as raw:
            packed = raw.read(2) == b"\x1f\x8b"
            raw.seek(0)
            stream: Any = gzip.GzipFile(fileobj=raw) if packed else raw
            with io.TextIOWrapper(stream, "utf-8", errors="replace", newline="\n") as text:
                yield from text
    except (EOFError, zlib.error, gzip.BadGzipFile) as error:
        raise FileError(
            str(path), None, f"the gzip file is damaged ({error})", "what came before it was read"
        ) from error
    except OSError as error:
        raise FileError(
            str(path), None, f"cannot be read: {error.strerror or error}", "check the name"
        ) from error
