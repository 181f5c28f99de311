"""Scores what was said of the oven: mean, swing and period of its cycles, and its doors."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from recording import EPOCH


@dataclass
class OvenScore:
    """Of one recording; errors None where the truth has too few cycles to judge."""

    draw: int
    mean_k: float | None = None
    swing_k: float | None = None
    period_share: float | None = None
    true_swing: float = 0.0
    true_period: float = 0.0
    cycles_said: int = 0
    doors_true: int = 0
    doors_found: int = 0
    doors_false: int = 0
    notes: list[str] = field(default_factory=list)


def score(truth: dict[str, Any], air: Any, events: list[dict[str, Any]]) -> OvenScore | None:
    """None where the oven was not watched."""
    oven = truth["oven"]
    if oven is None:
        return None
    out = OvenScore(truth["draw"])
    said = [e for e in events if e["kind"] == "oven.cycle"]
    cycles = oven["cycles"]
    if len(cycles) >= 2 and not oven["modulated"]:
        out.true_period = float(np.median([b - a for a, b, _m, _s in cycles]))
        out.true_swing = float(np.median([s for *_x, s in cycles]))
        quiet = []
        for e in said:
            a, b = e["from_at"] - EPOCH, e["to_at"] - EPOCH
            if a < oven["begin"] - 30 or b > truth["out"] + 5 or e["period_s"] is None:
                continue
            if any(a < end and b > begin for begin, end in oven["blocked"]):
                continue
            true = air[max(int(a), 0) : int(b)]
            quiet.append((abs(e["mean_c"] - float(true.mean())), e["swing_c"], e["period_s"]))
        out.cycles_said = len(quiet)
        if quiet:
            out.mean_k = float(np.median([q[0] for q in quiet]))
            out.swing_k = abs(float(np.median([q[1] for q in quiet])) - out.true_swing)
            out.period_share = abs(float(np.median([q[2] for q in quiet])) / out.true_period - 1)
        else:
            out.mean_k, out.swing_k, out.period_share = 10.0, out.true_swing, 1.0
            out.notes.append("no cycle said in quiet time")
    doors = [e for e in events if e["kind"] == "oven.door"]
    used: set[int] = set()
    for begin, end in oven["doors"]:
        hit = [
            i for i, e in enumerate(doors)
            if e["start_at"] - EPOCH < end + 60 and e["end_at"] - EPOCH > begin - 30
        ]  # fmt: skip
        used.update(hit)
        if end - begin >= 10:
            out.doors_true += 1
            out.doors_found += bool(hit)
            if not hit:
                out.notes.append(
                    f"door missed at {begin - truth['in']:+.0f} s for {end - begin:.0f} s"
                )
    for i, e in enumerate(doors):
        # After the way out the oven is none of the batch's business.
        if i not in used and e["start_at"] - EPOCH < truth["out"] + 60:
            out.doors_false += 1
            out.notes.append(f"false door at {e['start_at'] - EPOCH - truth['in']:+.0f} s")
    return out
