"""The guide to formulas on the command line prints what the command prints."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

from click.testing import CliRunner

from api.command import main

GUIDE = Path(__file__).resolve().parents[2] / "docs" / "formulas.md"


def test_every_output_in_the_guide_is_true(tmp_path, monkeypatch):
    text = GUIDE.read_text("utf-8")
    example = re.search(r"```toml\n(.*?)```", text, re.DOTALL)
    shown = re.findall(r"```console\n\$ coolcrumb (.*?)\n(.*?)```", text, re.DOTALL)
    assert example is not None
    assert len(shown) >= 4
    (tmp_path / "pear-ginger.formula.toml").write_text(example.group(1), "utf-8")
    monkeypatch.chdir(tmp_path)

    for words, output in shown:
        done = CliRunner().invoke(main, shlex.split(words))

        assert done.exit_code == 0, done.output
        assert done.stdout == output
