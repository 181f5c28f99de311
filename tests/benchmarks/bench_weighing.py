"""How fast readings go through settling, additions and verdicts, and how soon a verdict follows rest.

The sessions are those of the captures' judge (drawn apart from those used to develop). Speed is
given per core and as a share of the ceiling measured in the same run: parsing the same lines of
JSON and nothing else. The delay is in the time of the readings and rests on no clock of this
machine: from the true rest of the load, which only the simulated scale knows, to the verdict.
"""

import json
import statistics
import sys
import time
from itertools import chain
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "captures"))

from day import tell_day
from judge import Score, judge
from run import conclude

from logger.conclusions import start
from logger.planfile import load_plan
from logger.replay import replay
from logger.session import entries, lines_of

DRAWS = range(1200, 1220)
GOAL_S = 0.6


def conclude_all(folders):
    """Readings, and seconds of processor time, through the engine with all its rooms."""
    readings = spent = 0
    for folder in folders:
        plan = load_plan(folder / "trial.plan.toml")
        found = list(entries(lines_of(folder / "session.jsonl"), lambda *_: None))
        begun = time.process_time()
        for _event in replay(iter(found), plan, start, start):
            pass
        spent += time.process_time() - begun
        readings += len(found)
    return readings / spent


def parse_all(folders):
    """The ceiling: the same lines as JSON."""
    readings = spent = 0
    for folder in folders:
        lines = (folder / "session.jsonl").read_text().splitlines()
        begun = time.process_time()
        for line in lines:
            json.loads(line)
        spent += time.process_time() - begun
        readings += len(lines)
    return readings / spent


def test_readings_a_second_and_the_delay_from_true_rest(tmp_path):
    total = Score()
    folders = []
    for draw in DRAWS:
        folder = tmp_path / str(draw)
        folder.mkdir()
        day = tell_day(draw, None)
        total.add(judge(day, conclude(day, folder)))
        folders.append(folder)

    speed, ceiling = conclude_all(folders), parse_all(folders)
    delays = sorted(chain.from_iterable(total.delays_s.values()))

    share = statistics.fmean(delay <= GOAL_S for delay in delays)
    print(
        f"\nweighing: {speed:,.0f} readings a second per core, {speed / ceiling:.3f} of bare JSON"
    )
    print(
        f"  true rest to verdict (10 Hz, filter up to 0.35 s, n = {len(delays)}): "
        f"median {statistics.median(delays):.2f} s, {share:.0%} within {GOAL_S} s"
    )
    for verdict, found in sorted(total.delays_s.items()):
        print(f"    {verdict}: median {statistics.median(found):.2f} s (n = {len(found)})")
    c = total.counts
    print(
        f"  clear verdicts right: {c['clear right']} of {c['clear']}; "
        f"false within {c['false within']}, missing {c['missing']}, invented {c['invented']}"
    )
    assert delays
    assert c["false within"] == 0
