"""Judge the weighing on drawn recordings, through the command line as a user would.

    .venv/bin/python tests/benchmarks/captures/run.py --draws 0-44
    .venv/bin/python tests/benchmarks/captures/run.py --draws 17 --show 17 --keep FOLDER

Draws 0 to 999 are for development; those from 1000 on are kept apart: totals only, no stories.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[3]), str(Path(__file__).parent)]

from click.testing import CliRunner  # noqa: E402
from day import CATEGORIES, START, Day, tell_day  # noqa: E402
from judge import Score, judge  # noqa: E402
from plain import read_plainly  # noqa: E402
from wire import capture  # noqa: E402

from api.command import main as coolcrumb  # noqa: E402

KEPT_APART = 1000


def command(*words: str) -> tuple[str, str]:
    """Run one coolcrumb command in this process; its output and its complaints."""
    result = CliRunner().invoke(coolcrumb, list(words))
    if result.exit_code != 0:
        raise RuntimeError(
            f"coolcrumb {' '.join(words)}: exit {result.exit_code}: {result.output[-2000:]}"
        ) from result.exception
    return result.stdout, result.stderr


def conclude(day: Day, folder: Path, plain: bool = False) -> list[dict[str, Any]]:
    """Write the files of a day, decode the capture, add the marks, replay, and read the events.

    Args:
        plain: let a plain plateau reader conclude in place of the product.
    """
    rng = np.random.default_rng([78, day.draw])
    captured = folder / "capture.jsonl"
    captured.write_text(
        "".join(line + "\n" for line in capture(day.shown, day.dress, rng, START, day.damage))
    )
    (folder / "trial.formula.toml").write_text(day.formula)
    plan = folder / "trial.plan.toml"
    plan.write_text(day.plan)
    words = ["decode", str(captured), "--frames", day.dress.family, "--channel", "scale/mass"]
    if day.dress.description is not None:
        described = folder / "scale.frames.toml"
        described.write_text(day.dress.description)
        words += ["--description", str(described)]
    decoded, complaints = command(*words)
    (folder / "decode.err").write_text(complaints)
    timed = [(json.loads(line)["t"], 0, line) for line in decoded.splitlines()]
    timed += [(mark["t"], 1, json.dumps(mark)) for mark in day.marks]
    session = folder / "session.jsonl"
    session.write_text("".join(line + "\n" for _, _, line in sorted(timed)))
    if plain:
        documents = [json.loads(line) for line in session.read_text().splitlines()]
        return read_plainly(documents, day.lines, day.scale.division_g)
    said, complaints = command("replay", str(session), "--plan", str(plan), "--json")
    (folder / "replay.err").write_text(complaints)
    (folder / "events.jsonl").write_text(said)
    return [json.loads(line) for line in said.splitlines()]


def one(task: tuple[int, str | None, str | None, bool]) -> tuple[int, str, Score, str]:
    """Draw, conclude and judge one day."""
    draw, category, keep, plain = task
    day = tell_day(draw, category)
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(keep) / f"draw-{draw}" if keep else Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        events = conclude(day, folder, plain)
        if keep:
            (folder / "story.txt").write_text(story(day, events))
    scale = day.scale
    head = (
        f"{day.category}; {day.dress.family}, {scale.division_g:g} g at {scale.rate_hz:g} Hz, "
        f"{scale.filter} {scale.filter_s:.2f} s, flag {scale.flag}; marked {day.marked}, tared {day.tared}"
    )
    return draw, day.category, judge(day, events), head if draw < KEPT_APART else ""


def story(day: Day, events: Sequence[dict[str, Any]]) -> str:
    """What happened and what was said, in the order of time."""
    rows = [(float(text.split(" s ")[0]), "    " + text) for text in day.story]
    for event in events:
        if event["kind"].startswith("weighing.") and event["kind"] != "weighing.recovery":
            rest = {
                k: round(v * 1000, 2) if k.endswith("_kg") and v is not None else v
                for k, v in event.items()
                if k not in ("at", "kind", "batch", "engine", "scale", "choices")
            }
            rows.append(
                (event["at"] - START, f"{event['at'] - START:11.2f} s  >> {event['kind']} {rest}")
            )
    lines = [text for _, text in sorted(rows, key=lambda row: row[0])]
    return "\n".join([str(day.scale), day.plan, day.formula, *lines, ""])


def _row(name: str, score: Score) -> str:
    c = score.counts

    def share(part: str, whole: str) -> str:
        return f"{100 * c[part] / c[whole]:5.1f}" if c[whole] else "    -"

    return (
        f"{name:<12} {c['additions']:>5} {c['clear']:>5} {share('clear right', 'clear')} "
        f"{share('fairly clear right', 'fairly clear')} {c['wrong']:>5} {c['false within']:>6} {c['missing']:>7} "
        f"{c['invented']:>8} {share('masses close', 'masses')} {c['early']:>5} {c['loose as told']:>4}/{c['loose']}"
    )


def report(results: Sequence[tuple[int, str, Score, str]]) -> None:
    """Print the table by category, the totals and the faults."""
    total, by_category = Score(), {name: Score() for name in CATEGORIES}
    for draw, category, score, head in results:
        total.add(score)
        by_category[category].add(score)
        if draw < KEPT_APART and score.faults:
            print(f"draw {draw}: {head}")
            for fault in score.faults:
                print(f"    {fault.kind:<12} {fault.line:<18} {fault.text}")
    print(f"\n{'':<12} lines clear right fair% wrong false< missing invented mass% early loose")
    for name, score in by_category.items():
        if score.counts["additions"]:
            print(_row(name, score))
    print(_row("all", total))
    for verdict, delays in total.delays_s.items():
        p = np.percentile(delays, [10, 50, 90, 98])
        print(f"true rest to `{verdict}` at 10 Hz, filter up to 0.35 s, n = {len(delays)}: "
              f"10 % {p[0]:.2f}, 50 % {p[1]:.2f}, 90 % {p[2]:.2f}, 98 % {p[3]:.2f} s")  # fmt: skip
    c = total.counts
    print(
        f"a careful reader of the display: {100 * c['read close'] / max(1, c['read']):.1f} % of {c['read']} undisturbed masses within one division"
    )
    per = 284 / max(1, total.counts["additions"])
    print(
        "per 284 additions: "
        + ", ".join(
            f"{k} {c[k] * per:.1f}" for k in ("wrong", "false within", "missing", "invented")
        )
    )


def main() -> None:
    """The command."""
    words = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    words.add_argument("--draws", default="0-44", help="first-last, or one")
    words.add_argument("--category", choices=CATEGORIES, help="every draw of this one kind")
    words.add_argument(
        "--show", type=int, action="append", default=[], help="tell the story of a draw"
    )
    words.add_argument("--keep", help="folder in which the files of each draw are kept")
    words.add_argument("--plain", action="store_true", help="judge a plain plateau reader instead")
    words.add_argument("--jobs", type=int, default=1)
    given = words.parse_args()
    first, _, last = given.draws.partition("-")
    draws = range(int(first), int(last or first) + 1)
    for draw in given.show:
        if draw >= KEPT_APART:
            words.error(f"draw {draw} is kept apart")
        with tempfile.TemporaryDirectory() as folder:
            day = tell_day(draw, given.category)
            print(story(day, conclude(day, Path(folder))))
    keep = given.keep if draws[-1] < KEPT_APART else None
    tasks = [(draw, given.category, keep, given.plain) for draw in draws]
    if given.jobs > 1:
        with ProcessPoolExecutor(given.jobs) as pool:
            results = list(pool.map(one, tasks))
    else:
        results = [one(task) for task in tasks]
    report(results)


if __name__ == "__main__":
    main()
