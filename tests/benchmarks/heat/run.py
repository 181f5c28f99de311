"""Judge of oven and heat forecasts: draws recordings from finer physics and scores what is said.

    .venv/bin/python tests/benchmarks/heat/run.py --draws 0-59 [--part cooling] [--show 8]

Draws 0–199 are for development; of 200–399 only the totals are to be looked at.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).absolute().parents[3]))

import drift
import facts
import judge
import ovenscore
import recording
import report


def _numbers(text: str) -> list[int]:
    out: list[int] = []
    for part in text.split(","):
        low, _, high = part.partition("-")
        out += range(int(low), int(high or low) + 1)
    return out


def _about(truth: dict[str, Any]) -> str:
    moves = ", ".join(what for _at, what in truth["changes"]) or "stays"
    return (
        f"{truth['kind']} {truth['pan']} {truth['depth_mm']:.0f} mm, {truth['altitude']:.0f} m, "
        f"{'room watched' if 'room' in truth['roles'] else 'room assumed'} {truth['room']:.1f} °C"
        f"{' warming %.1f K' % truth['warming'] if truth['warming'] else ''}, {truth['watch']} probe ({_faults(truth)}), "  # noqa: UP031
        f"{'' if 'oven' in truth['roles'] else 'no oven probe, '}"
        f"{'' if truth['told_in'] else 'in untold, '}{'' if truth['told_out'] else 'out untold, '}{truth['start_place']}; {moves}"
    )


def _groups(truth: dict[str, Any]) -> list[str]:
    moved = [what for _at, what in truth["changes"] if what not in ("draught", "probe moved")]
    told = "told" if all(truth["told_moves"]) else "untold"
    return [
        "room " + ("watched" if "room" in truth["roles"] else "assumed"),
        f"ends: {moved[-1]}, {told}" if moved else f"ends: {truth['start_place']}",
        "pan " + truth["pan"],
        "probe " + ("moved or pulled" if truth["moved_at"] or truth["pulled_s"] else "left alone"),
    ]


def _faults(truth: dict[str, Any]) -> str:
    core = truth["probes"]["core"]
    return f"step {core['step_k']:g}, offset {core['offset_k']:+.2f} K, each {truth['rates']['core']:g} s"


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--draws", default="0-59")
    ask.add_argument(
        "--part", choices=["cooling", "bake", "oven", "drift", "facts", "all"], default="all"
    )
    ask.add_argument("--show", type=int, default=0, metavar="N", help="the N worst of each row")
    ask.add_argument("--folder", type=Path, default=Path("/tmp/heat-recordings"))
    ask.add_argument("--kept", action="store_true", help="score the events of the last run again")
    ask.add_argument("--only-make", action="store_true", help="write recordings, replay nothing")
    given = ask.parse_args()
    os.nice(10)
    if given.part == "facts":
        facts.say(24)
        return
    if given.part == "drift":
        drift.say(given.folder, given.show)
        return
    draws = _numbers(given.draws)
    shots: list[judge.Shot] = []
    calls: list[judge.Call] = []
    never: list[tuple[int, str, float, bool]] = []
    ovens: list[ovenscore.OvenScore] = []
    took: list[tuple[float, float, int]] = []
    about: dict[int, str] = {}
    groups: dict[int, list[str]] = {}
    for draw in draws:
        found = recording.make(given.folder, draw)
        if given.only_make:
            continue
        truth, curves = judge.load(found)
        events, seconds, complaints = judge.cached_events(found, fresh=not given.kept)
        if complaints:
            print(f"draw {draw}: {len(complaints)} complaints, first: {complaints[0]}")
        for event in events:
            if event["kind"] == "alert":
                print(f"draw {draw}: alert {event['text']}")
        about[draw] = _about(truth)
        groups[draw] = _groups(truth)
        took.append((seconds, (truth["end"] - truth["first"]) / 3600, draw))
        shots += judge.shots(truth, curves["surroundings"], events)
        calls += judge.calls(truth, curves["point"], curves["valid"], events)
        never += judge.promises(truth, curves["point"], events)
        score = ovenscore.score(truth, curves["air"], events)
        if score is not None:
            ovens.append(score)
    if given.only_make:
        return
    whose = about.__getitem__
    for part in ("cooling", "bake"):
        if given.part in (part, "all"):
            report.forecasts(part, shots, given.show, whose)
            if part == "cooling":
                report.classes(shots, groups.__getitem__)
            report.called(part, calls, given.show, whose)
            report.never(never, part[0], whose)
    if given.part in ("oven", "all"):
        report.oven(ovens, given.show)
    if given.part == "all":
        drift.say(given.folder, given.show)
    slowest = max(took)
    per_four = [4 * s / h for s, h, _d in took]
    print(f"replay (processor time): median {np.median([t[0] for t in took]):.1f} s a session, slowest {slowest[0]:.1f} s "
          f"(draw {slowest[2]}, {slowest[1]:.1f} h); per 4 h of session: median {np.median(per_four):.1f} s, "
          f"worst {max(per_four):.1f} s")  # fmt: skip


if __name__ == "__main__":
    main()
