"""Session files of earlier bakes, so that a demo's oven has a past.

One bake a day: the oven heats up, a cake goes in and comes out; the dial's offset drifts over the
last eight. The same oven model as in the kitchen, at five seconds a line.
"""

from __future__ import annotations

import json
from pathlib import Path
from random import Random

from simulators.oven import Oven, dial_offsets_c
from simulators.probe import Probe

DAY_US = 86_400_000_000
LINE_EVERY_S = 5
PREHEAT_S = 1320
BAKE_S = 2100
AFTER_S = 60
DIAL_C = 175.0
ROOM_C = 21.5
FIRST_LOAD_W, LAST_LOAD_W = 420.0, 180.0  # what two pans take up, cold and nearly done


def write_earlier_bakes(
    folder: Path, count: int = 20, *, before_us: int, random: int = 1
) -> list[Path]:
    """Write one session file for each of the ``count`` days before ``before_us``.

    Args:
        folder: where the files go; made if missing. A file of the same name is replaced.
        count: how many bakes, oldest first.
        before_us: kitchen time, microseconds since the epoch, before which all of them end.
        random: start value of their randomness; the kitchen with the same value goes on drifting.

    Returns:
        The paths, oldest first. Each file holds JSON lines in order of time: resolved SenML records
        ``{"n": "oven-probe/air", "u": "Cel", "v": …, "t": …}`` every five seconds, and the marks
        ``into oven`` and ``out of oven``.

    Raises:
        ValueError: a count below one.
    """
    if count < 1:
        raise ValueError(f"count is at least 1, not {count!r}")
    folder.mkdir(parents=True, exist_ok=True)
    source = Random(random)
    written = []
    for index, offset_c in enumerate(dial_offsets_c(count, source)):
        start_us = before_us - (count - index) * DAY_US + round(source.uniform(-2.0, 2.0) * 3.6e9)
        path = folder / f"earlier-{index + 1:02d}.jsonl"
        lines = _bake_lines(start_us, offset_c, Random(f"{random}/{index}"))
        path.write_text("".join(lines), encoding="utf-8")
        written.append(path)
    return written


def _bake_lines(start_us: int, offset_c: float, random: Random) -> list[str]:
    room_c = ROOM_C + random.uniform(-1.0, 1.0)
    oven = Oven(room_c, offset_c)
    oven.switch_on(DIAL_C)
    probe = Probe(room_c, lag_s=25.0, noise_c=0.12, random=random)
    into_s = PREHEAT_S + random.randrange(-60, 120)
    out_s = into_s + BAKE_S + random.randrange(-90, 90)
    look_s = into_s + round(0.66 * BAKE_S)
    lines = []
    for second in range(out_s + AFTER_S):
        t = start_us / 1e6 + second
        if second == into_s:
            lines.append(json.dumps({"mark": "into oven", "t": t}) + "\n")
        if second == out_s:
            lines.append(json.dumps({"mark": "out of oven", "t": t}) + "\n")
        if second % LINE_EVERY_S == 0:
            value = round(probe.reading_c(), 1)
            record = {"n": "oven-probe/air", "u": "Cel", "v": value, "t": t}
            lines.append(json.dumps(record) + "\n")
        oven.door_open = any(0 <= second - at < 15 for at in (into_s - 7, look_s, out_s - 7))
        load_w = 0.0
        if into_s <= second < out_s:
            done = (second - into_s) / (out_s - into_s)
            load_w = FIRST_LOAD_W + (LAST_LOAD_W - FIRST_LOAD_W) * done
        oven.step(1.0, room_c, load_w)
        probe.advance(1.0, oven.air_c)
    return lines
