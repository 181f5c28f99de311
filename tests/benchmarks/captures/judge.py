"""Compare what was said about a weighing with what really happened."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from day import START, Day, Truth
from recipe import Line, allowed


@dataclass
class Fault:
    """One thing that was wrong, with the line it is about."""

    kind: str
    line: str
    text: str


@dataclass
class Score:
    """Counts of one or many days."""

    counts: Counter[str] = field(default_factory=Counter)
    delays_s: dict[str, list[float]] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)

    def add(self, other: Score) -> None:
        """Sum up."""
        self.counts.update(other.counts)
        for verdict, delays in other.delays_s.items():
            self.delays_s.setdefault(verdict, []).extend(delays)
        self.faults.extend(other.faults)


def judge(day: Day, events: list[dict[str, Any]]) -> Score:
    """Score the events of one replay; the last addition of a line stands."""
    score = Score()
    said = [e for e in events if e["kind"] == "weighing.addition"]
    by_id = {e["id"]: e for e in said}
    lines = {line.key: line for line in day.lines}
    last: dict[str, dict[str, Any]] = {}
    for event in said:
        key = event["line"]
        truth = day.truths.get(key) if key is not None else None
        if truth is None:
            score.counts["invented"] += 1
            score.faults.append(Fault("invented", str(key), f"at {_ago(event)} {_brief(event)}"))
            continue
        earlier = last.get(key)
        if earlier is not None and by_id.get(event["replaces"]) is not earlier:
            score.counts["invented"] += not truth.loose
            score.faults.append(
                Fault("invented", key, f"said again without replacing: {_brief(event)}")
            )
        last[key] = event
    for key, truth in day.truths.items():
        _line(day, lines[key], truth, last.get(key), score)
    _manners(day, said, score)
    _careful(day, score)
    return score


def _line(day: Day, line: Line, truth: Truth, event: dict[str, Any] | None, score: Score) -> None:
    counts, d = score.counts, day.scale.division_g
    assert truth.means is not None
    hard = allowed(truth.mass, line, truth.means, truth.load + truth.mass, 1.0)
    near = allowed(truth.mass, line, truth.means, truth.load + truth.mass, 0.5)
    if truth.unknowable:
        hard, near = hard | {"undecidable"}, near | {"undecidable"}
    if truth.loose:
        counts["loose"] += 1
        good = (
            event is not None
            and event["verdict"] in hard
            and event["mass_kg"] is not None
            and abs(event["mass_kg"] * 1000 - truth.mass) <= 1.01 * d
        )
        counts["loose as told"] += good
        return
    counts["additions"] += 1
    if event is None:
        counts["missing"] += 1
        score.faults.append(Fault("missing", line.key, f"truth {truth.mass:.2f} g"))
        return
    text = f"truth {truth.mass:.2f} g, fair {'/'.join(sorted(hard))}; {_brief(event)}"
    mass = event["mass_kg"] * 1000 if event["mass_kg"] is not None else float("nan")
    if len(hard) == 1:
        counts["clear"] += 1
        counts["clear right"] += event["verdict"] in hard
    if len(near) == 1:
        counts["fairly clear"] += 1
        counts["fairly clear right"] += event["verdict"] in near
    if event["verdict"] not in hard:
        counts["wrong"] += 1
        score.faults.append(Fault("wrong", line.key, text))
    outside = abs(truth.mass - line.target) > line.tolerance
    if event["verdict"] == "within" and outside and "within" not in hard:
        counts["false within"] += 1
        score.faults.append(Fault("false within", line.key, text))
    if not truth.unknowable:
        counts["masses"] += 1
        close = abs(mass - truth.mass) <= d + 1e-6
        counts["masses close"] += close
        if not close and event["verdict"] in hard:
            score.faults.append(Fault("mass", line.key, text))
    given = (event["target_kg"], event["lower_kg"], event["upper_kg"])
    meant = (line.target, line.target - line.tolerance, line.target + line.tolerance)
    if any(g is None or abs(g * 1000 - m) > 1e-6 for g, m in zip(given, meant, strict=True)):
        score.faults.append(Fault("tolerance", line.key, f"limits {given}, meant {meant}"))


def _careful(day: Day, score: Score) -> None:
    """What somebody who knows every moment reads off the display: the best to be hoped for."""
    for truth in day.truths.values():
        disturbed = any(truth.start_at - 0.3 <= at <= truth.read_at for at, _, _ in day.keys)
        if disturbed or "lifted" in truth.tags or truth.unknowable:
            continue
        before = [
            s.value for s in day.shown if s.t <= truth.start_at - 0.05 and s.value is not None
        ]
        after = [s.value for s in day.shown if s.t <= truth.read_at - 0.3 and s.value is not None]
        if before and after:
            score.counts["read"] += 1
            score.counts["read close"] += (
                abs(after[-1] - before[-1] - truth.mass) <= day.scale.division_g + 1e-6
            )


def _manners(day: Day, said: list[dict[str, Any]], score: Score) -> None:
    """How soon after rest, and whether anything was called settled while it could not be.

    A line that comes out too light is decided when it is left, so only the others have a delay.
    """
    quick = 9.5 <= day.scale.rate_hz <= 10.5 and day.category not in ("mixer", "damage", "mixed")
    for truth in day.truths.values():
        if truth.loose or truth.unknowable or any(truth.tags):
            continue
        right = [
            (e["at"] - START - truth.rest_at, e["verdict"])
            for e in said
            if e["line"] == truth.key and e["mass_kg"] is not None
            and abs(e["mass_kg"] * 1000 - truth.mass) <= 1.01 * day.scale.division_g
            and e["verdict"] != "under"
        ]  # fmt: skip
        if quick and right and day.scale.filter_s <= 0.35 and truth.rest_at < truth.left_at - 1.5:
            delay, verdict = min(right)
            score.delays_s.setdefault(verdict, []).append(delay)
    for event in said:
        at = event["at"] - START
        key = event["line"]
        for begin, end in day.troubled:
            if end - begin > 1.2 and begin + 0.6 < at < end - 0.1 and key in day.truths:
                truth = day.truths[key]
                off = (
                    abs((event["mass_kg"] or 0.0) * 1000 - truth.mass) > 1.01 * day.scale.division_g
                )
                if truth.start_at <= at <= truth.left_at and event["verdict"] == "within" and off:
                    score.counts["early"] += 1
                    score.faults.append(
                        Fault(
                            "early",
                            key,
                            f"while troubled from {begin:.1f} to {end:.1f} s: {_brief(event)}",
                        )
                    )
                    break


def _ago(event: dict[str, Any]) -> str:
    return f"{event['at'] - START:.1f} s"


def _brief(event: dict[str, Any]) -> str:
    mass, spread = event["mass_kg"], event["expanded_uncertainty_kg"]
    return (
        f"said at {_ago(event)}: "
        f"{'?' if mass is None else f'{mass * 1000:.2f}'} ± {'?' if spread is None else f'{spread * 1000:.2f}'} g "
        f"{event['verdict']}"
    )
