"""The demo without a page, from nothing to a closed batch, and the same conclusions again."""

import json
import subprocess
import sys

import pytest


def coolcrumb(*arguments, timeout_s=60):
    done = subprocess.run(
        [sys.executable, "-m", "api.command", *arguments],
        capture_output=True, text=True, timeout=timeout_s, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


@pytest.mark.timeout(600)
def test_a_whole_bake_runs_through_and_replays_to_the_same_events(tmp_path):
    folder, session = tmp_path / "data", tmp_path / "session.jsonl"

    told = coolcrumb("demo", "--headless", "--data", str(folder), timeout_s=560)
    coolcrumb("export", "--data", str(folder), "--output", str(session))
    live = coolcrumb("export", "--data", str(folder), "--events")
    again = coolcrumb("replay", str(session), "--json")

    assert "20 earlier bakes" in told
    assert [json.loads(x) for x in again.splitlines()] == [json.loads(x) for x in live.splitlines()]
    events = [json.loads(line) for line in live.splitlines()]
    verdicts = {e["line"]: e["verdict"] for e in events if e["kind"] == "weighing.addition"}
    assert verdicts["granulated sugar"] == "over"
    assert len(verdicts) == 14
    reached = {e["milestone"] for e in events if e["kind"].endswith(".reached")}
    assert reached == {"done", "unmould", "frost"}
    kinds = {e["kind"] for e in events}
    assert {"oven.preheated", "oven.drift", "oven.door", "bake.in", "batch.closed"} <= kinds
    assert not [e for e in events if e["kind"] == "alert"]
