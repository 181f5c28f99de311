"""The command over a file of bakes."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from api.command import main


def _line(i: int, **facts: Any) -> str:
    mean_c = 172 + 0.2 * (i % 3) + (5 if i > 13 else 0)
    bake = {"batch": f"day {i}", "at": 1_800_000_000 + 86_400 * i, "set_point_c": 175,
            "mean_c": mean_c, "swing_c": 20.0, "period_s": 480.0, **facts}  # fmt: skip
    return json.dumps(bake)


def test_json_lines_are_drift_events_and_nothing_else(tmp_path: Path) -> None:
    file = tmp_path / "bakes.jsonl"
    lines = [_line(i) for i in range(25)]
    lines[5:5] = ["no JSON", "", _line(99, set_point_c=None)]
    file.write_text("\n".join(lines))

    result = CliRunner().invoke(main, ["oven-drift", str(file), "--json"])

    assert result.exit_code == 0
    events = [json.loads(line) for line in result.stdout.splitlines()]
    assert [e["kind"] for e in events] == ["oven.drift"]
    assert events[0]["batch"] in ("day 15", "day 16", "day 17")
    assert events[0]["since_batch"] == "day 14"
    complaints = result.stderr.splitlines()
    assert len(complaints) == 2
    assert complaints[0].startswith("bakes.jsonl, line 6: not JSON")
    assert complaints[1].startswith("bakes.jsonl, line 8: 'set_point_c'")


def test_plain_words_say_the_dial(tmp_path: Path) -> None:
    file = tmp_path / "bakes.jsonl.gz"
    file.write_bytes(gzip.compress("\n".join(_line(i) for i in range(25)).encode()))

    result = CliRunner().invoke(main, ["oven-drift", str(file)])

    assert result.exit_code == 0
    (line,) = result.stdout.splitlines()
    assert "hotter since day 14; set the dial to 173 to get 175, ±1 °C." in line


def test_a_damaged_file_is_named(tmp_path: Path) -> None:
    file = tmp_path / "bakes.jsonl.gz"
    file.write_bytes(gzip.compress(b"x" * 100)[:20])

    result = CliRunner().invoke(main, ["oven-drift", str(file)])

    assert result.exit_code == 3
    assert "damaged" in result.stderr
