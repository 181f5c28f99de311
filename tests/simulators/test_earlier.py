"""Earlier bakes: files that look as if the oven had been used for weeks."""

import json
from itertools import pairwise
from pathlib import Path

from simulators import write_earlier_bakes

BEFORE_US = 1_750_000_000_000_000
Lines = list[dict[str, object]]


def read(path: Path) -> Lines:
    return [json.loads(line) for line in path.read_text().splitlines()]


def mean_c(lines: Lines) -> float:
    into = next(float(str(line["t"])) for line in lines if line.get("mark") == "into oven")
    values = [
        float(str(line["v"]))
        for line in lines
        if "v" in line and into + 600 < float(str(line["t"])) < into + 1340
    ]
    return sum(values) / len(values)


def test_twenty_bakes_one_a_day_all_before_the_given_time(tmp_path: Path) -> None:
    paths = write_earlier_bakes(tmp_path, 20, before_us=BEFORE_US)

    starts = [float(str(read(path)[0]["t"])) for path in paths]
    ends = [float(str(read(path)[-1]["t"])) for path in paths]
    assert len(set(paths)) == 20
    assert starts == sorted(starts)
    assert ends[-1] < BEFORE_US / 1e6
    assert all(end < start for end, start in zip(ends, starts[1:], strict=False))


def test_each_file_holds_resolved_records_and_two_marks_in_order(tmp_path: Path) -> None:
    (path,) = write_earlier_bakes(tmp_path, 1, before_us=BEFORE_US)

    lines = read(path)
    times = [float(str(line["t"])) for line in lines]
    records = [line for line in lines if "n" in line]
    assert times == sorted(times)
    assert [line["mark"] for line in lines if "mark" in line] == ["into oven", "out of oven"]
    assert {(line["n"], line["u"]) for line in records} == {("oven-probe/air", "Cel")}
    steps = {round(float(str(b["t"])) - float(str(a["t"]))) for a, b in pairwise(records)}
    assert steps == {5}


def test_the_oven_drifts_over_the_last_eight(tmp_path: Path) -> None:
    means = [mean_c(read(path)) for path in write_earlier_bakes(tmp_path, 20, before_us=BEFORE_US)]

    steady = sum(means[:12]) / 12
    assert sum(means[-3:]) / 3 - steady > 1.2


def test_the_same_start_value_writes_the_same_files(tmp_path: Path) -> None:
    first = write_earlier_bakes(tmp_path / "a", 3, before_us=BEFORE_US, random=5)
    second = write_earlier_bakes(tmp_path / "b", 3, before_us=BEFORE_US, random=5)

    assert [p.read_bytes() for p in first] == [p.read_bytes() for p in second]
