"""The demo's bake from end to end, as fast as it goes, with wires that only remember."""

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from simulators.bake import INSTRUMENTS, Bake
from simulators.faults import Fault, sound
from simulators.person import ScriptError, read_script
from simulators.wire import FrameCount, Wire

START_US = 1_750_000_000_000_000
LINES = {
    "cake flour": 270,
    "granulated sugar": 300, "baking powder": 10, "salt": 4, "ground ginger": 6, "butter": 110,
    "sunflower oil": 50, "whole egg": 200, "whole milk": 230, "vanilla extract": 6.3,
    "grated pear": 140,
    "brown butter": 150, "cream cheese": 340, "icing sugar": 180,
}  # fmt: skip


class RememberingWire:
    """A wire that keeps every frame with its time."""

    def __init__(self) -> None:
        self.path = Path("nowhere")
        self.count = FrameCount()
        self.fault: Fault = sound
        self.sent: list[tuple[float, bytes]] = []

    def send(self, frame: bytes, kitchen_us: int) -> None:
        self.sent.append(((kitchen_us - START_US) / 1e6, frame))
        self.count.add_held()

    def receive(self) -> bytes:
        return b""

    def close(self) -> None:
        self.sent.clear()


@dataclass
class Recorded:
    """A whole bake."""

    lines: list[dict[str, Any]]
    sent: dict[str, list[tuple[float, bytes]]]
    length_s: float

    def at(self, **wanted: str) -> float:
        """Seconds from the start to the first line of output with these values."""
        for line in self.lines:
            if all(line.get(key) == value for key, value in wanted.items()):
                return float(line["t"]) - START_US / 1e6
        raise AssertionError(f"no line with {wanted}")

    def probe(self, name: str) -> list[tuple[float, float]]:
        return [(t, float(frame.split()[1])) for t, frame in self.sent[name]]

    def scale(self) -> list[tuple[float, float, bool]]:
        return [
            (t, float(frame[6:16]), frame[4:5] == b"M") for t, frame in self.sent["bench-scale"]
        ]


def bake(random: int, until_s: float | None = None) -> Recorded:
    wires = {name: RememberingWire() for name in INSTRUMENTS}
    held: dict[str, Wire] = {name: wires[name] for name in INSTRUMENTS}
    lines: list[dict[str, Any]] = []
    made = Bake(held, lines.append, START_US, random)
    longest_us = START_US + round((until_s or 4.5 * 3600) * 1e6)
    made.schedule.run_until(longest_us, lambda: made.ended)
    length_s = (made.schedule.now_us - START_US) / 1e6
    return Recorded(lines, {name: wire.sent for name, wire in wires.items()}, length_s)


@pytest.fixture(scope="module")
def whole() -> Recorded:
    return bake(1)


def test_the_core_is_below_24_c_at_a_little_over_three_hours_and_the_script_ends(
    whole: Recorded,
) -> None:
    last_warm = max(t for t, value in whole.probe("cake-probe") if value >= 24.0)

    assert 3.0 * 3600 <= last_warm <= 3.6 * 3600
    assert 120 <= whole.length_s - last_warm <= 600


def test_the_cake_comes_out_done_after_half_an_hour(whole: Recorded) -> None:
    into, out = whole.at(mark="into oven"), whole.at(mark="out of oven")
    near_out = [value for t, value in whole.probe("cake-probe") if out - 30 < t < out]

    assert 30 * 60 <= out - into <= 36 * 60
    assert all(96.8 < value < 98.2 for value in near_out)


def test_the_marks_come_in_the_bakes_order(whole: Recorded) -> None:
    marks = [line.get("place") or line["mark"] for line in whole.lines if "mark" in line]

    assert [mark for mark in marks if mark != "line"] == [
        "into oven", "out of oven", "in pan, on rack", "out of pan, on rack", "refrigerator",
    ]  # fmt: skip
    assert marks.count("line") == 7
    stages = [line["stage"] for line in whole.lines if "stage" in line]
    assert stages == ["weighing", "preheating", "baking", "cooling", "refrigerating"]


def test_every_line_is_weighed_near_its_target_within_twelve_minutes(whole: Recorded) -> None:
    truths = [line["truth"] for line in whole.lines if "truth" in line and "line" in line["truth"]]

    assert [truth["line"] for truth in truths] == list(LINES)
    assert whole.at(stage="preheating") <= 12 * 60
    for truth in truths:
        over = 9.0 if truth["line"] == "granulated sugar" else 0.0
        near = 2.5 if over else 1.5
        assert abs(truth["mass_g"] - LINES[truth["line"]] - over) <= near, truth


def test_the_display_agrees_with_the_truth_where_it_was_tared_and_rests(whole: Recorded) -> None:
    flour = next(line for line in whole.lines if line.get("line") == "cake flour")
    start = float(flour["t"]) - START_US / 1e6
    told = next(
        line["truth"]["mass_g"]
        for line in whole.lines
        if line.get("truth", {}).get("line") == "cake flour"
    )
    rest = [value for t, value, motion in whole.scale() if start + 14 < t < start + 30]

    assert round(told) in [round(value) for value in rest]


def test_a_bowl_is_lifted_and_a_tare_comes_in_mid_pour(whole: Recorded) -> None:
    readings = whole.scale()
    lifted = [value for _, value, _ in readings if value < -500]
    milk = whole.at(line="whole milk")
    poured = [(t, value) for t, value, _ in readings if milk < t < milk + 12]
    jumps = [b[1] - a[1] for a, b in pairwise(poured)]

    assert len(lifted) > 50
    assert min(jumps) < -100


def test_each_line_rests_three_seconds(whole: Recorded) -> None:
    end = whole.at(stage="preheating")
    runs: list[int] = [0]
    for _, _, motion in (row for row in whole.scale() if row[0] < end):
        if motion:
            runs.append(0)
        else:
            runs[-1] += 1

    assert sum(run >= 30 for run in runs) >= len(LINES)


def test_the_oven_shows_doors_and_cycles_but_no_mark_for_the_extra_door(whole: Recorded) -> None:
    into, out = whole.at(mark="into oven"), whole.at(mark="out of oven")
    air = whole.probe("oven-probe")
    reached = next(t for t, value in air if value >= 175.0)
    extra = [value for t, value in air if into + 1300 < t < into + 1400]
    before = [value for t, value in air if into + 1240 < t < into + 1310]

    assert 10 * 60 < reached < 20 * 60
    assert min(extra) < min(before) - 12.0
    assert out > into + 1400


def test_the_probe_is_pulled_once_while_the_cake_cools(whole: Recorded) -> None:
    start = whole.at(place="out of pan, on rack")
    cooling = [
        (t, value) for t, value in whole.probe("cake-probe") if start + 60 < t < start + 7200
    ]
    rises = [b for a, b in pairwise(cooling) if b[1] - a[1] > 1.0]

    assert rises
    assert rises[-1][0] - rises[0][0] < 60.0


def test_the_scale_sleeps_after_the_weighing(whole: Recorded) -> None:
    last = whole.sent["bench-scale"][-1][0]

    assert whole.at(stage="preheating") < last < whole.at(mark="into oven")


def test_the_same_start_value_gives_the_same_bytes_and_another_gives_others() -> None:
    first, second, other = (bake(n, 400.0) for n in (3, 3, 4))

    assert first.sent == second.sent
    assert first.lines == second.lines
    assert first.sent["bench-scale"] != other.sent["bench-scale"]


def test_a_step_nobody_knows_is_refused_with_its_number(tmp_path: Path) -> None:
    script = tmp_path / "script.toml"
    script.write_text('[[step]]\ndo = "stage"\n[[step]]\ndo = "juggle"\n')

    with pytest.raises(ScriptError, match="Step 2 of the script: 'juggle'"):
        read_script(script)
