"""Tables: ruled on a wide terminal, else plain aligned text."""

from __future__ import annotations

import io
import os

import pytest

from api.aligned import Column, plain, say_table

COLUMNS = [Column("line"), Column("g", number=True), Column("note")]
ROWS = [["flour", "270.0", "[bold]sieved"], ["pâte", "4.0", ""]]


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def shown(monkeypatch, columns):
    terminal = Terminal()
    monkeypatch.setattr("sys.stdout", terminal)
    monkeypatch.setattr("shutil.get_terminal_size", lambda *_: os.terminal_size((columns, 24)))
    monkeypatch.setenv("COLUMNS", str(columns))
    say_table(COLUMNS, ROWS)
    return terminal.getvalue()


def test_numbers_are_flush_right_and_words_flush_left():
    assert plain(COLUMNS, ROWS) == [
        "line       g  note",
        "flour  270.0  [bold]sieved",
        "pâte     4.0",
    ]


def test_a_column_that_is_empty_throughout_is_left_out():
    assert plain([*COLUMNS, Column("cost", number=True)], [[*row, ""] for row in ROWS]) == plain(
        COLUMNS, ROWS
    )


def test_what_is_no_terminal_gets_plain_text(capsys):
    say_table(COLUMNS, ROWS)

    assert capsys.readouterr().out.splitlines()[0] == "  line       g  note"


def test_a_wide_terminal_gets_a_rule_and_the_text_as_it_is(monkeypatch):
    said = shown(monkeypatch, 80)

    assert "───" in said
    assert "[bold]sieved" in said


@pytest.mark.parametrize("columns", [10, 26])
def test_a_narrow_terminal_gets_plain_text(monkeypatch, columns):
    said = shown(monkeypatch, columns)

    assert "───" not in said
    assert "flour  270.0  [bold]sieved" in said
