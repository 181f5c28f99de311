"""Tables for people: ruled where a terminal is wide enough, else plain aligned text."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from unicodedata import combining, east_asian_width

import click

GAP = 2


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its heading, and whether it holds numbers (then it is set flush right)."""

    title: str
    number: bool = False


def width(text: str) -> int:
    """Columns that a text takes on a terminal.

    >>> width("pâte"), width("e\\u0301"), width("小麦")
    (4, 1, 4)
    """
    return sum(
        0 if combining(sign) else 2 if east_asian_width(sign) in "WF" else 1 for sign in text
    )


def plain(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> list[str]:
    """Lines of aligned text, the headings first; columns that are empty throughout are left out.

    >>> plain([Column("line"), Column("g", number=True)], [["flour", "270.0"], ["salt", "4.0"]])
    ['line       g', 'flour  270.0', 'salt     4.0']
    """
    kept = [i for i in range(len(columns)) if any(row[i] for row in rows)]
    cells = [[columns[i].title for i in kept], *([row[i] for i in kept] for row in rows)]
    widths = [max(width(row[k]) for row in cells) for k in range(len(kept))]
    out = []
    for row in cells:
        parts = []
        for k, text in enumerate(row):
            pad = " " * (widths[k] - width(text))
            parts.append(pad + text if columns[kept[k]].number else text + pad)
        out.append((" " * GAP).join(parts).rstrip())
    return out


def say_table(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
    """Print a table on standard output, indented by two."""
    lines = [f"  {line}" for line in plain(columns, rows)]
    # Ruled tables take three columns between cells where plain ones take two.
    wide = max((width(line) for line in lines), default=0) + len(columns) + GAP
    if not sys.stdout.isatty() or shutil.get_terminal_size().columns < wide:
        for line in lines:
            click.echo(line)
        return
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=SIMPLE_HEAD, pad_edge=True, header_style="bold")
    kept = [i for i in range(len(columns)) if any(row[i] for row in rows)]
    for i in kept:
        side = "right" if columns[i].number else "left"
        table.add_column(columns[i].title, justify=side, no_wrap=True)  # type: ignore[arg-type]
    for row in rows:
        # Text, not markup: a note may hold square brackets.
        table.add_row(*(Text(row[i]) for i in kept))
    Console().print(table)
