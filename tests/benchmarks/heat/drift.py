"""Judge of an oven's drift over bakes: series of cycle summaries for `coolcrumb oven-drift`."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

BASELINE = 12
_DAY = 86_400.0


@dataclass(frozen=True)
class Series:
    """Bakes of one oven. `shift_c[i]` is the true departure of bake i from the oven's own habit."""

    name: str
    kind: str  # steady, step, creep
    begins: int  # first bake that differs
    rows: list[dict[str, Any]]
    true_offset_c: list[float]


def draw_series(kind: str, draw: int) -> Series:
    """Steady, a step of 3 °C, or a creep of 0.3 °C a bake; mixed formulas, noise as measured ovens
    show it (bake-to-bake standard deviation 0.5–1.0 °C, common practice)."""
    rng = np.random.default_rng([90213, {"steady": 0, "step": 1, "creep": 2}[kind], draw])
    habit = float(np.clip(rng.normal(0, 6), -15, 15))
    noise = rng.uniform(0.5, 1.0)
    one_formula = rng.random() < 0.5
    gain = float(rng.normal(0, 0.02))
    swing, period = rng.uniform(5, 18), rng.uniform(150, 600)
    usual = float(rng.choice([165, 170, 175, 180]))
    steady_before = int(rng.integers(0, 15))
    begins = BASELINE + steady_before if kind != "steady" else 10**6
    count = BASELINE + (30 if kind == "steady" else steady_before + 40)
    sign = float(rng.choice([-1.0, 1.0]))
    at = 1_790_000_000.0
    rows: list[dict[str, Any]] = []
    offsets = []
    for index in range(count):
        at += _DAY * float(rng.choice([0.08, 0.5, 1, 1, 2, 5]))
        set_point = (
            usual
            if one_formula or rng.random() < 0.6
            else usual + float(rng.choice([-15, -5, 5, 10]))
        )
        shift = 0.0
        if index >= begins:
            shift = sign * (3.0 if kind == "step" else 0.3 * (index - begins + 1))
        offset = habit + gain * (set_point - usual) + shift
        offsets.append(offset)
        mean = set_point + offset + rng.normal(0, noise)
        said_swing = swing * float(np.exp(rng.normal(0, 0.08)))
        no_cycle = rng.random() < 0.03
        rows.append({
            "batch": f"b{index + 1:03d}", "at": round(at, 1), "set_point_c": set_point,
            "mean_c": round(float(mean), 2), "swing_c": round(said_swing, 2),
            "period_s": None if no_cycle else round(period * float(np.exp(rng.normal(0, 0.08))), 1),
        })  # fmt: skip
    return Series(f"{kind}-{draw:03d}", kind, begins, rows, offsets)


def _command() -> list[str]:
    return [str(Path(sys.executable).with_name("coolcrumb")), "oven-drift"]


def _found(series: Series, folder: Path) -> list[dict[str, Any]]:
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / f"drift-{series.name}.jsonl"
    file.write_text("".join(json.dumps(row) + "\n" for row in series.rows), encoding="utf-8")
    done = subprocess.run(
        [*_command(), str(file), "--json"], capture_output=True, text=True, check=False, timeout=60
    )
    if done.returncode:
        raise RuntimeError((done.stderr.strip() or "failed without a word").splitlines()[-1])
    events = [json.loads(line) for line in done.stdout.splitlines() if line.strip()]
    return [e for e in events if e["kind"] == "oven.drift"]


def say(folder: Path, show: int, steady: int = 30, changed: int = 24) -> None:
    """Run all series and print the totals."""
    try:
        _found(draw_series("steady", 0), folder)
    except RuntimeError as failed:
        print(f"drift: the command does not answer: {failed}")
        return
    false, watched = 0, 0
    for draw in range(steady):
        series = draw_series("steady", draw)
        events = _found(series, folder)
        false += len(events)
        watched += len(series.rows) - BASELINE
        if events and show:
            print(f"   false alarm in {series.name}: {events[0]['batch']} {events[0]['statistic']}")
    print(
        f"drift, steady: {false} false alarms in {watched} bakes ({300 * false / watched:.2f} in 300)"
    )
    for kind in ("step", "creep"):
        delays: list[float] = []
        advice: list[float] = []
        early = 0
        for draw in range(changed):
            series = draw_series(kind, draw)
            number = {row["batch"]: i for i, row in enumerate(series.rows)}
            events = _found(series, folder)
            before = [e for e in events if number[e["batch"]] < series.begins]
            early += len(before)
            after = [e for e in events if number[e["batch"]] >= series.begins]
            if not after:
                delays.append(float("inf"))
                if show:
                    print(
                        f"   not found: {series.name}"
                        + (" (said before it began)" if before else "")
                    )
                continue
            at = number[after[0]["batch"]]
            delays.append(at - series.begins + 1.0)
            if after[0]["dial_advice_c"] is not None:
                want = series.rows[at]["set_point_c"] - series.true_offset_c[at]
                advice.append(abs(after[0]["dial_advice_c"] - want))
        line = f"drift, {kind}: found after {np.median(delays):.0f} bakes (median), 90th percentile {np.percentile(delays, 90):.0f}"
        if advice:
            line += f"; dial advice off by {np.median(advice):.2f} °C (median), 90th percentile {np.percentile(advice, 90):.2f}"
        print(f"{line}; said before it began: {early}; advice given in {len(advice)} of {changed}")
