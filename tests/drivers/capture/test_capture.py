"""Captures into readings."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import pytest

from drivers import senml
from drivers.capture import decode, open_text
from drivers.config import ConfigError
from drivers.frames import Garbage, Overflow
from drivers.reading import Reading
from simulators import frames as written

T = 1_800_000_000.0
T_US = 1_800_000_000_000_000


def read(t: float, data: bytes) -> str:
    return json.dumps({"t": t, "hex": data.hex()})


def test_a_text_read_becomes_a_session_line() -> None:
    (reading,) = decode([json.dumps({"t": T, "text": "    123.4 g\r\n"})], "value-unit")

    assert senml.record(reading) == {"n": "scale/mass", "u": "kg", "t": T, "v": 0.1234}


def test_a_frame_has_the_time_of_the_read_that_ended_it() -> None:
    frame = written.value_unit(123.4)

    readings = list(
        decode(
            [read(T, frame[:5]), read(T + 0.1, frame[5:-1]), read(T + 0.2, frame[-1:])],
            "value-unit",
        )
    )

    assert [reading.t_us for reading in readings] == [T_US + 200_000]


def test_further_frames_of_a_read_follow_at_a_microsecond() -> None:
    frames = written.sma(1.0, decimals=1) + written.sma(2.0, decimals=1) + b"\n?\r"

    readings = list(decode([read(T, frames + written.sma(3.0, decimals=1))], "sma"))

    assert [(r.t_us - T_US, r.value) for r in readings] == [(0, 0.001), (1, 0.002), (2, 0.003)]


def test_the_time_of_a_channel_always_grows() -> None:
    frame = written.value_unit(1.0)

    readings = list(decode([read(T, frame * 3), read(T, frame), read(T - 5, frame)], "value-unit"))

    assert [reading.t_us - T_US for reading in readings] == [0, 1, 2, 3, 4]


def test_bad_lines_are_named_and_skipped() -> None:
    good = read(T, written.value_unit(1.0))
    bad: list[tuple[int, str]] = []
    lines = [
        "not json",
        "[1]",
        '{"t": "now", "hex": ""}',
        '{"t": NaN, "hex": ""}',
        '{"t": 1e300, "hex": ""}',
        '{"t": -1, "hex": ""}',
        '{"t": true, "hex": ""}',
        '{"t": 1}',
        '{"t": 1, "hex": "0", "text": ""}',
        '{"t": 1, "hex": "0g"}',
        '{"t": 1, "text": 5}',
        '{"t": 1, "text": "\\ud800"}',
        "[" * 100_000,
        '{"t": 1' + "0" * 5000 + "}",
        "",
        good,
    ]

    readings = list(decode(lines, "value-unit", complain=lambda *told: bad.append(told)))

    assert [reading.value for reading in readings] == [0.001]
    assert [line for line, _ in bad] == list(range(1, 15))
    assert bad[0][1].startswith("not JSON")
    assert all(reason for _, reason in bad)


def test_noise_is_told_with_its_line_and_is_no_reading() -> None:
    noise: list[tuple[int, Garbage | Overflow]] = []

    readings = list(
        decode(
            [read(T, written.value_unit(1.0)), read(T + 1, b"1\xff.0 g\r\n")],
            "value-unit",
            on_noise=lambda line, event: noise.append((line, event)),
        )
    )

    assert len(readings) == 1
    assert [(line, event.data) for line, event in noise] == [(2, b"1\xff.0 g")]


def test_surrogate_escapes_in_a_text_are_bytes() -> None:
    line = json.dumps({"t": T, "text": "T1 96.4 \udcb0C\r\n"})

    assert [r.value for r in decode([line], "text-probe")] == [96.4]


def test_a_thermometer_names_its_channels_after_their_labels() -> None:
    line = read(T, written.text_probe({"T1": 96.4, "T2": None}))

    assert list(decode([line], "text-probe", "cake-probe")) == [
        Reading("cake-probe", "t1", T_US, 96.4, "Cel"),
        Reading("cake-probe", "t2", T_US, None, "Cel", "open circuit"),
    ]
    assert [r.name for r in decode([line], "text-probe")] == ["probe/t1", "probe/t2"]


def test_one_channel_of_a_thermometer_may_be_named_outright() -> None:
    line = read(T, written.text_probe({"T1": 96.4}))

    assert [r.name for r in decode([line], "text-probe", "cake-probe/core")] == ["cake-probe/core"]


def test_a_second_channel_never_passes_for_the_one_that_was_named() -> None:
    bad: list[tuple[int, str]] = []
    lines = [
        read(T, written.text_probe({"T1": 96.4})),
        read(T + 1, written.text_probe({"T2": 20.0})),
        read(T + 2, written.text_probe({"T1": 96.5})),
    ]

    readings = list(
        decode(lines, "text-probe", "probe/core", complain=lambda *told: bad.append(told))
    )

    assert [reading.value for reading in readings] == [96.4, 96.5]
    assert [line for line, _ in bad] == [2]
    assert "T2" in bad[0][1]


def test_a_described_thermometer_is_a_probe_unless_told_otherwise(tmp_path: Path) -> None:
    path = tmp_path / "probe.toml"
    path.write_text(
        "[frame]\nend = ';'\npattern = '(?P<value>\\d+)'\n[means]\nunit = 'C'\n", "utf-8"
    )
    line = json.dumps({"t": T, "text": "96;"})

    assert [r.name for r in decode([line], "described", description=path)] == ["probe/temperature"]
    assert [r.name for r in decode([line], "described", "p/core", path)] == ["p/core"]


def test_states_of_a_hid_scale_are_session_lines_too() -> None:
    lines = [read(T, written.hid_scale(20.0)), read(T + 1, written.hid_scale(None, status=6))]

    records = [senml.record(reading) for reading in decode(lines, "hid-scale", "bench/mass")]

    assert records == [
        {"n": "bench/mass", "u": "kg", "t": T, "v": 0.02, "stable": True},
        {"n": "bench/mass-state", "u": "kg", "t": T + 1, "vs": "overload"},
    ]


@pytest.mark.parametrize(
    ("family", "channel", "what"),
    [
        ("morse", None, "unknown family"),
        ("described", None, "description"),
        ("sma", "a/b/c", "channel"),
    ],
)
def test_a_wrong_order_is_refused_before_the_first_line(
    family: str, channel: str | None, what: str
) -> None:
    with pytest.raises(ConfigError, match=what):
        decode([], family, channel)


@pytest.mark.parametrize("name", ["capture.jsonl", "capture.jsonl.gz"])
def test_captures_are_read_plain_or_gzipped_and_bytes_that_are_no_text_stop_nothing(
    tmp_path: Path, name: str
) -> None:
    path = tmp_path / name
    raw = (
        b'{"t": 1800000000, "text": "\xff\\r\\n"}\n'
        + read(T, written.value_unit(5.0)).encode()
        + b"\n"
    )
    path.write_bytes(gzip.compress(raw) if path.suffix == ".gz" else raw)

    with open_text(path) as lines:
        readings = list(decode(lines, "value-unit"))

    assert [reading.value for reading in readings] == [0.005]


def test_a_gzipped_capture_that_breaks_off_gives_what_is_whole(tmp_path: Path) -> None:
    path = tmp_path / "capture.jsonl.gz"
    text = "\n".join(read(T + i, written.value_unit(i % 97 * 1.7)) for i in range(5000))
    path.write_bytes(gzip.compress(text.encode())[:-2000])
    bad: list[tuple[int, str]] = []

    with open_text(path) as lines:
        readings = list(decode(lines, "value-unit", complain=lambda *told: bad.append(told)))

    assert len(readings) > 100
    assert "breaks off" in bad[-1][1]
