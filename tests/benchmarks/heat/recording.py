"""Writes a case as a session and a plan, and keeps the truth beside them."""

from __future__ import annotations

import gzip
import itertools
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matter
import numpy as np
from cases import Case, draw_case
from course import TARGETS_BAKE, TARGETS_COOL, Course, run
from matter import Array
from numpy.typing import NDArray
from probes import draw_probe, lagged, readings

EPOCH = 1_795_000_000.0
VERSION = 3

CHANNELS = {
    "core": "cake-probe/core",
    "oven": "oven-probe/air",
    "room": "wall/air",
    "refrigerator": "cold/air",
}


@dataclass(frozen=True)
class Files:
    session: Path
    plan: Path
    truth: Path
    curves: Path


def files(folder: Path, draw: int) -> Files:
    stem = folder / f"v{VERSION}-{draw:03d}"
    return Files(
        stem.with_suffix(".jsonl.gz"), stem.with_suffix(".plan.toml"),
        stem.with_suffix(".truth.json"), stem.with_suffix(".npz"),
    )  # fmt: skip


def _plan_text(case: Case, roles: list[str]) -> str:
    lines = ["[kitchen]"]
    if case.plan_height == "altitude":
        lines.append(f'altitude = "{round(case.altitude_m, -1):.0f} m"')
    elif case.plan_height == "pressure":
        lines.append(f'pressure = "{matter.pressure_at(case.altitude_m) / 100:.0f} hPa"')
    if "room" not in roles:
        lines.append(f'room = "{case.room_word}"')
    lines += ["", "[channels]"]
    lines += [f'"{CHANNELS[role]}" = "{role}"' for role in roles]
    lines += [
        "",
        "[oven]",
        f'set_point = "{case.set_point:.0f} °C"',
        f"fan = {str(case.fan).lower()}",
    ]
    pan = ", ".join(
        f"{k} = {v}" if isinstance(v, int) else f'{k} = "{v}"' for k, v in case.pan.items()
    )
    lines += [
        "", "[cake]", f'kind = "{case.kind}"', f'batter = "{case.nominal_g:.0f} g"',
        f'batter_depth = "{case.depth_m * 1000:.0f} mm"', f"pans = {case.pans}", f"pan = {{ {pan} }}",
        "", "[bake.milestones]",
    ]  # fmt: skip
    lines += [f'b{g:.0f} = {{ core = "{g:.0f} °C" }}' for g in TARGETS_BAKE]
    lines += ["", "[cooling.milestones]"]
    lines += [f'c{g:.0f} = {{ core = "{g:.0f} °C" }}' for g in TARGETS_COOL]
    return "\n".join(lines) + "\n"


def _first(
    series: Array, valid: NDArray[np.bool_], start: int, target: float, upward: bool
) -> dict[str, Any]:
    """When the point crosses, or why that is not judged."""
    part = series[start:] >= target if upward else series[start:] <= target
    ok = valid[start:]
    hits = np.flatnonzero(part & ok)
    if upward:
        # A tip that the batter has just covered is still hot from the oven's air: it must have
        # been below the target inside the cake first.
        below = np.logical_or.accumulate(ok & (series[start:] < target - 0.5))
        hits = np.flatnonzero(part & ok & below)
    if not len(hits):
        return {"at": None, "why": "not in the recording"}
    at = int(hits[0])
    before = ok[max(0, at - 90) : at]
    if at < 30 or not before.all():
        return {"at": None, "why": "crossed while the probe was moved"}
    value = series[start + at]
    slope = (series[start + at] - series[start + max(at - 60, 0)]) / min(at, 60)
    return {"at": start + at, "value": float(value), "slope": float(slope)}


def _milestones(case: Case, course: Course, first: int) -> dict[str, Any]:
    out: dict[str, Any] = {}
    begin, leave = int(course.in_s), int(course.out_s)
    last = len(course.point) - 1
    if not case.starts_at_out:
        bake_point = course.point[: leave + 2400]
        inside = bake_point[begin:][course.valid[begin : leave + 2400]]
        for goal in TARGETS_BAKE:
            row = _first(bake_point, course.valid[: leave + 2400], begin, goal, True)
            row["from"] = begin
            row["never"] = bool(
                row["at"] is None and course.limit_c < goal - 0.2
                and 0.0 < inside.max(initial=0.0) < goal - 0.3
            )  # fmt: skip
            out[f"b{goal:.0f}"] = row
    for goal in TARGETS_COOL:
        row = _first(course.point, course.valid, leave, goal, False)
        row["from"] = max(leave, first)
        late = course.surroundings[-1800:]
        row["never"] = bool(
            row["at"] is None and course.point[last] > goal and float(late.mean()) > goal + 0.15
        )
        out[f"c{goal:.0f}"] = row
    return out


def _oven(case: Case, course: Course) -> dict[str, Any]:
    """Full true cycles in quiet oven time: after the preheat's first overshoot and before the out."""
    on = course.on > 0.5
    starts = np.flatnonzero(np.diff(on.astype(int)) == 1) + 1
    first_off = np.flatnonzero(on[:-1] & ~on[1:])
    begin = int(first_off[0]) + 420 if len(first_off) else 10**9
    blocked = [(a - 5.0, b + 300.0) for a, b in course.doors]
    blocked[0] = (blocked[0][0], course.in_s + 300.0)
    cycles = []
    for a, b in itertools.pairwise(starts):
        if a < begin or b > course.out_s - 5 or any(a < e and b > s for s, e in blocked):
            continue
        part = course.air[a:b]
        cycles.append([int(a), int(b), float(part.mean()), float(np.ptp(part))])
    return {
        "begin": begin, "cycles": cycles, "modulated": case.make.modulated, "blocked": blocked,
        "doors": [list(d) for d in course.doors],
    }  # fmt: skip


def _lines(
    case: Case, course: Course, first: int
) -> tuple[list[tuple[float, str]], dict[str, dict[str, float]]]:
    rng = np.random.default_rng([90212, case.draw])
    roles = ["core"]
    if case.oven_watched and not case.starts_at_out:
        roles.append("oven")
    if case.room_watched:
        roles.append("room")
    if case.cold_watched and any(m.to == "refrigerator" for m in case.moves):
        roles.append("refrigerator")
    series = {
        "core": course.medium,
        "oven": course.air,
        "room": course.room,
        "refrigerator": course.cold,
    }
    troubled = bool(rng.random() < 0.3)
    rows: list[tuple[float, str]] = []
    probes: dict[str, dict[str, float]] = {}
    for role in roles:
        seen = series[role][first:]
        probe = draw_probe(rng, role, case.rates[role], float(len(seen)), troubled)
        times, values = readings(rng, probe, lagged(seen, probe.lag_s))
        probes[role] = {"lag_s": probe.lag_s, "step_k": probe.step_k, "offset_k": probe.offset_k}
        name = CHANNELS[role]
        places = 4 if probe.step_k == 0.25 else 2
        for t, v in zip(times + first + EPOCH, values, strict=True):
            rows.append(
                (t, f'{{"n":"{name}","u":"Cel","v":{round(float(v), places)},"t":{t:.3f}}}')
            )
        if probe.open_state and role == "core":
            for a, _b in probe.gaps:
                at = a + first + EPOCH
                rows.append((at, f'{{"n":"{name}-state","vs":"open circuit","t":{at:.3f}}}'))
    marks: list[tuple[float, dict[str, Any]]] = []
    if case.told_in:
        marks.append((course.in_s + rng.uniform(0, 15), {"mark": "into oven"}))
    if case.told_out:
        marks.append((max(course.out_s, first) + rng.uniform(1, 20), {"mark": "out of oven"}))
        if rng.random() < 0.6:
            at = max(course.out_s, first) + rng.uniform(21, 40)
            marks.append((at, {"mark": "moved", "place": case.start_place}))
    for move in case.moves:
        if move.told:
            at = course.out_s + move.at_s + rng.uniform(0, 30)
            marks.append((at, {"mark": "moved", "place": move.to}))
    if case.watch.told:
        for at, what in course.changes:
            if what == "probe moved":
                marks.append((at + rng.uniform(0, 40), {"mark": "probe moved"}))
    for at, mark in marks:
        if at >= first:
            t = round(at + EPOCH, 3)
            rows.append((t, json.dumps({**mark, "t": t})))
    rows.sort(key=lambda row: row[0])
    return rows, probes


def make(folder: Path, draw: int) -> Files:
    """The recording of a draw; run and written once, then found."""
    out = files(folder, draw)
    if out.truth.exists():
        return out
    folder.mkdir(parents=True, exist_ok=True)
    case = draw_case(draw)
    course = run(case)
    first = int(course.out_s) if case.starts_at_out else 0
    rows, probes = _lines(case, course, first)
    roles = list(probes)
    with gzip.open(out.session, "wt", encoding="utf-8", compresslevel=3) as stream:
        stream.writelines(text + "\n" for _t, text in rows)
    out.plan.write_text(_plan_text(case, roles), encoding="utf-8")
    np.savez_compressed(
        out.curves, point=course.point.astype(np.float32), valid=course.valid,
        air=course.air.astype(np.float32), surroundings=course.surroundings.astype(np.float32),
    )  # fmt: skip
    truth = {
        "draw": draw, "kind": case.kind, "pan": case.pan["shape"], "material": case.material,
        "roles": roles, "rates": case.rates, "in": course.in_s, "out": course.out_s,
        "first": first, "end": course.end_s, "milestones": _milestones(case, course, first),
        "oven": _oven(case, course) if "oven" in roles else None, "changes": course.changes,
        "told_moves": [m.told for m in case.moves], "told_in": case.told_in, "told_out": case.told_out,
        "watch": case.watch.mode, "pulled_s": case.watch.pulled_s, "start_place": case.start_place,
        "moved_at": case.watch.moved_at_s, "moved_told": case.watch.told,
        "altitude": case.altitude_m, "limit": course.limit_c, "loss": course.lost_share,
        "set_point": case.set_point, "room": case.room.mean_c, "warming": case.room.warming_k,
        "depth_mm": case.depth_m * 1000, "probes": probes,
    }  # fmt: skip
    out.truth.write_text(json.dumps(truth), encoding="utf-8")
    return out
