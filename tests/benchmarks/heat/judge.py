"""Replays a recording in this process and scores what was said against the truth."""

from __future__ import annotations

import json
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from recording import EPOCH, Files

FRACTIONS = (0.10, 0.25, 0.50, 0.75)


@dataclass(frozen=True)
class Shot:
    """One forecast judged: milestone at a share of its way.

    Attributes:
        share: error over the remaining time; 1.0 where nothing stood or `never` was said.
        minutes: error in minutes. covered, width: of the 90 % interval, width over remaining time.
        surprise: something changed between then and the crossing.
    """

    draw: int
    milestone: str
    fraction: float
    share: float
    minutes: float
    covered: bool
    width: float
    surprise: bool
    said: str
    signed: float


@dataclass(frozen=True)
class Call:
    """One milestone: truth (None: never there), call, and how far off in kelvin and seconds."""

    draw: int
    milestone: str
    outcome: str  # good, early, late, missed, false, quiet
    off_s: float
    off_k: float


def events_of(found: Files) -> tuple[list[dict[str, Any]], float, list[str]]:
    """Events of a session, seconds of processor it took, and complaints."""
    from logger.conclusions import start, start_from
    from logger.planfile import load_plan
    from logger.replay import replay
    from logger.session import entries, lines_of

    complaints: list[str] = []
    began = time.process_time()
    plan = load_plan(found.plan)
    read = entries(lines_of(found.session), lambda n, why: complaints.append(f"{n}: {why}"))
    out = [event.to_json() for event in replay(read, plan, start, start_from)]
    return out, time.process_time() - began, complaints


def cached_events(found: Files, fresh: bool) -> tuple[list[dict[str, Any]], float, list[str]]:
    """As `events_of`; `fresh` False takes the events of the last run where there are any."""
    kept = found.truth.with_suffix(".events.json")
    if not fresh and kept.exists():
        document = json.loads(kept.read_text(encoding="utf-8"))
        return document["events"], document["took"], document["complaints"]
    events, took, complaints = events_of(found)
    kept.write_text(
        json.dumps({"events": events, "took": took, "complaints": complaints}), encoding="utf-8"
    )
    return events, took, complaints


def _standing(events: list[dict[str, Any]], milestone: str, at: float) -> dict[str, Any] | None:
    last = None
    for event in events:
        if event["at"] > at + EPOCH:
            break
        if event["kind"].endswith(".forecast") and event["milestone"] == milestone:
            last = event
    return last


def shots(truth: dict[str, Any], surroundings: Any, events: list[dict[str, Any]]) -> list[Shot]:
    """All forecasts judged of one recording."""
    out = []
    for name, row in truth["milestones"].items():
        if row["at"] is None or row["at"] - row["from"] < 60:
            continue
        for fraction in FRACTIONS:
            now = row["from"] + fraction * (row["at"] - row["from"])
            left = row["at"] - now
            said = _standing(events, name, now)
            late = name.startswith("c") and any(
                now < at <= row["at"] for at, what in truth["changes"]
            )
            if name.startswith("c") and truth["warming"]:
                late |= abs(float(surroundings[int(row["at"])] - surroundings[int(now)])) > 1.0
            if said is None or said["expected_at"] is None:
                text = "nothing" if said is None else "never"
                out.append(
                    Shot(
                        truth["draw"],
                        name,
                        fraction,
                        1.0,
                        left / 60,
                        False,
                        float("inf"),
                        late,
                        text,
                        0.0,
                    )
                )
                continue
            goal = row["at"] + EPOCH
            error = said["expected_at"] - goal
            high = said["high_at"] if said["high_at"] is not None else float("inf")
            out.append(Shot(
                truth["draw"], name, fraction, abs(error) / left, abs(error) / 60,
                said["low_at"] <= goal <= high, (high - said["low_at"]) / left, late, "time", error / left,
            ))  # fmt: skip
    return out


def calls(
    truth: dict[str, Any], point: Any, valid: Any, events: list[dict[str, Any]]
) -> list[Call]:
    """What was called reached, against what was."""
    out = []
    said = {
        e["milestone"]: e["reached_at"] - EPOCH for e in events if e["kind"].endswith(".reached")
    }
    for name, row in truth["milestones"].items():
        goal = float(name[1:])
        bake = name.startswith("b")
        if row.get("why", "").startswith("crossed while"):
            continue
        at = said.get(name)
        draw = truth["draw"]
        if at is None:
            out.append(Call(draw, name, "quiet" if row["at"] is None else "missed", 0.0, 0.0))
            continue
        here = int(np.clip(at, 0, len(point) - 1))
        off_k = float(point[here]) - goal
        if row["at"] is None:
            part = point[int(row["from"]) :][valid[int(row["from"]) :]]
            low, high = (
                (float(part.min()), float(part.max())) if len(part) else (goal + 9, goal - 9)
            )
            near = goal - high if bake else low - goal
            # Within the probe's own error of the target nobody can tell.
            outcome = "false" if near > 0.5 else "quiet"
            out.append(Call(draw, name, outcome, 0.0, off_k))
            continue
        off_s = at - row["at"]
        if (off_k > 5.0 and not bake) or (off_k < -5.0 and bake):
            out.append(Call(draw, name, "false", off_s, off_k))
            continue
        good = abs(off_s) <= (60.0 if bake else max(30.0, 0.5 / max(abs(row["slope"]), 1e-6)))
        out.append(
            Call(draw, name, "good" if good else "early" if off_s < 0 else "late", off_s, off_k)
        )
    return out


def settles_c(point: Any) -> float:
    """Where a core that cools settles: Aitken's limit of three points a quarter of an hour apart.

    A cake that gives off vapour comes a little below the air around it, so that a goal just below
    that is not out of reach for being below it.
    """
    first, middle, last = (float(point[max(len(point) - 1 - back, 0)]) for back in (1800, 900, 0))
    before, after = middle - first, last - middle
    if before >= 0.0 or after >= 0.0:
        return last
    kept = after / before
    return last + after * kept / (1.0 - kept) if kept < 1.0 else float("-inf")


def promises(
    truth: dict[str, Any], point: Any, events: list[dict[str, Any]]
) -> list[tuple[int, str, float, bool]]:
    """For targets never reached: share of the second half with a promise standing, one at 75 %."""
    out = []
    for name, row in truth["milestones"].items():
        if not row["never"]:
            continue
        if name.startswith("c") and settles_c(point) < float(name[1:]):
            continue  # it was still on its way there
        end = truth["out"] if name.startswith("b") else truth["end"]
        half = np.linspace(row["from"] + 0.5 * (end - row["from"]), end - 1, 21)
        stood = [_standing(events, name, float(t)) for t in half]
        yes = [bool(s is not None and s["reachable"]) for s in stood]
        out.append((truth["draw"], name, float(np.mean(yes)), yes[10]))
    return out


def load(found: Files) -> tuple[dict[str, Any], dict[str, Any]]:
    """Truth and curves of a recording."""
    truth: dict[str, Any] = json.loads(found.truth.read_text(encoding="utf-8"))
    with np.load(Path(found.curves)) as curves:
        return truth, {k: curves[k] for k in curves.files}
