"""What people send as TOML text or as JSON: read, and made fit for the log."""

from __future__ import annotations

import json
from datetime import date, datetime, time
from typing import Any

from logger.document import Document, FileError


def given(sent: str | dict[str, Any], name: str) -> Document:
    """The document in `sent`, TOML text or parsed JSON; `name` stands for it in complaints.

    Raises:
        FileError: not TOML, or it holds what JSON has no word for.
    """
    try:
        if isinstance(sent, str):
            return fit(Document.parse(sent.encode("utf-8", "surrogatepass"), name))
        return fit(Document(sent, name))
    except RecursionError as error:
        raise FileError(
            name, None, "its tables lie too deep in one another", "write a flatter document"
        ) from error


def fit(document: Document) -> Document:
    """The document with nothing in it that JSON has no word for: TOML's dates become texts.

    Raises:
        FileError: a number that is none (``nan``, ``inf``).
    """
    try:
        body = json.dumps(document.content, allow_nan=False, ensure_ascii=False, default=_text)
        body.encode()
    except UnicodeEncodeError as error:
        raise FileError(
            document.file, None, "it holds half a character", "write it as UTF-8"
        ) from error
    except ValueError as error:
        raise FileError(
            document.file, None, "it holds nan or inf, which is no number", "write a number"
        ) from error
    return Document(json.loads(body), document.file, document.text)


def _text(value: object) -> str:
    if isinstance(value, date | datetime | time):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} does not come out of TOML")
