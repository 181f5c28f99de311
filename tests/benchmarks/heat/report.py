"""Totals of many recordings, beside the table of what is to be reached, and the worst cases."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np
from judge import FRACTIONS, Call, Shot
from ovenscore import OvenScore


def _percent(values: Iterable[float]) -> str:
    found = list(values)
    return f"{np.median(found) * 100:.1f} %" if found else "–"


def _interval(shots: list[Shot]) -> str:
    if not shots:
        return "–"
    covered = np.mean([s.covered for s in shots]) * 100
    low = sum(not s.covered and s.said == "time" for s in shots)
    return (
        f"coverage {covered:.1f} %, median width {_percent(s.width for s in shots)}"
        f" ({len(shots)} forecasts; {low} outside, {sum(s.said != 'time' for s in shots)} without a time)"
    )


def forecasts(part: str, shots: list[Shot], show: int, whose: Callable[[int], str]) -> None:
    """Print the forecast rows of `cooling` or `bake`."""
    letter = "c" if part == "cooling" else "b"
    mine = [s for s in shots if s.milestone.startswith(letter)]
    for title, group in (
        ("no later surprise", [s for s in mine if not s.surprise]),
        ("all", mine),
    ):
        if part == "bake" and title != "all":
            continue
        at = {f: [s for s in group if s.fraction == f] for f in FRACTIONS}
        row = " / ".join(_percent(s.share for s in at[f]) for f in FRACTIONS)
        print(f"{part}, {title}: median error at 10/25/50/75 %: {row}  (n at 50 %: {len(at[0.5])})")
        for f in (0.5, 0.75):
            if at[f]:
                shares = [s.share for s in at[f]]
                bias = float(np.median([s.signed for s in at[f]])) * 100
                print(
                    f"   at {f:.0%}: 90th percentile {np.percentile(shares, 90) * 100:.0f} %, "
                    f"mean {np.mean([s.minutes for s in at[f]]):.1f} min, bias {bias:+.1f} %; "
                    + _interval(at[f])
                )
    names = sorted({s.milestone for s in mine}, reverse=letter == "c")
    for name in names:
        row = " / ".join(
            _percent(
                s.share for s in mine if s.milestone == name and s.fraction == f and not s.surprise
            )
            for f in FRACTIONS
        )
        print(f"   {name}: {row}")
    worst = sorted((s for s in mine if s.fraction == (0.5 if part == "cooling" else 0.75) and not s.surprise),
                   key=lambda s: -s.share)  # fmt: skip
    for s in worst[:show]:
        print(f"   worst: draw {s.draw} {s.milestone} {s.said} {s.signed * 100:+.0f} %, {s.minutes:.0f} min, "
              f"{'in' if s.covered else 'OUTSIDE'} interval; {whose(s.draw)}")  # fmt: skip


def classes(shots: list[Shot], groups: Callable[[int], list[str]]) -> None:
    """Print cooling at half way by what distinguishes the recordings, surprises left out."""
    half = [
        s for s in shots if s.milestone.startswith("c") and s.fraction == 0.5 and not s.surprise
    ]
    found: dict[str, list[Shot]] = {}
    for s in half:
        for name in groups(s.draw):
            found.setdefault(name, []).append(s)
    for name, group in sorted(found.items()):
        print(
            f"   {name}: {_percent(s.share for s in group)}, bias "
            f"{np.median([s.signed for s in group]) * 100:+.0f} %, covered "
            f"{np.mean([s.covered for s in group]) * 100:.0f} % (n {len(group)})"
        )


def called(part: str, calls: list[Call], show: int, whose: Callable[[int], str]) -> None:
    """Print how milestones were called."""
    letter = "c" if part == "cooling" else "b"
    mine = [c for c in calls if c.milestone.startswith(letter)]
    count = {
        o: sum(c.outcome == o for c in mine)
        for o in ("good", "early", "late", "missed", "false", "quiet")
    }
    happened = count["good"] + count["early"] + count["late"] + count["missed"]
    share = 100 * count["good"] / max(happened, 1)
    print(f"{part} milestones called: {happened} happened, {share:.0f} % within the tolerance; "
          + ", ".join(f"{k} {v}" for k, v in count.items()))  # fmt: skip
    bad = [c for c in mine if c.outcome in ("false", "missed", "early", "late")]
    bad.sort(key=lambda c: ({"false": 0, "missed": 1}.get(c.outcome, 2), -abs(c.off_k)))
    for c in bad[:show]:
        print(
            f"   {c.outcome}: draw {c.draw} {c.milestone} {c.off_s:+.0f} s, {c.off_k:+.2f} K; {whose(c.draw)}"
        )


def never(
    rows: list[tuple[int, str, float, bool]], letter: str, whose: Callable[[int], str]
) -> None:
    """Print the promises of what never came."""
    mine = [r for r in rows if r[1].startswith(letter)]
    any_time = sum(r[2] > 0 for r in mine)
    print(f"never reached: {len(mine)}; a promise standing at some time of the second half: {any_time}, "
          f"at 75 %: {sum(r[3] for r in mine)}")  # fmt: skip
    for draw, name, share, _yes in mine:
        if share > 0:
            print(
                f"   promised: draw {draw} {name} for {share:.0%} of the second half; {whose(draw)}"
            )


def oven(scores: list[OvenScore], show: int) -> None:
    """Print the oven's rows."""
    judged = [s for s in scores if s.mean_k is not None]
    mean, swing, period = (
        [float(getattr(s, name)) for s in judged] for name in ("mean_k", "swing_k", "period_share")
    )
    if judged:
        print(f"oven ({len(judged)} ovens): median error of mean {np.median(mean):.2f} °C, "
              f"swing {np.median(swing):.2f} °C, period {np.median(period) * 100:.1f} %; "
              f"90th percentiles {np.percentile(mean, 90):.2f}, {np.percentile(swing, 90):.2f}, "
              f"{np.percentile(period, 90) * 100:.0f} %; none said in {sum(bool(s.cycles_said == 0) for s in judged)}")  # fmt: skip
    true, found = sum(s.doors_true for s in scores), sum(s.doors_found for s in scores)
    print(f"doors of 10 s and more: {found} of {true} found, {sum(s.doors_false for s in scores)} false "
          f"in {len(scores)} recordings")  # fmt: skip
    for s in scores:
        if s.notes and show:
            print(
                f"   draw {s.draw} (swing {s.true_swing:.0f} K, period {s.true_period:.0f} s): "
                + "; ".join(s.notes)
            )
    for s in sorted(judged, key=lambda s: -(s.period_share or 0) - (s.mean_k or 0) / 3)[:show]:
        print(f"   draw {s.draw}: mean {s.mean_k:.2f} K, swing {s.swing_k:.1f} of {s.true_swing:.1f} K, "
              f"period {100 * (s.period_share or 0):.0f} % of {s.true_period:.0f} s")  # fmt: skip
