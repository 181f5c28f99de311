"""Frames into readings."""

from __future__ import annotations

from decimal import Decimal

import pytest

from drivers.frames import Garbage, Overflow, Reply, Temperature, TemperatureFrame, WeightFrame
from drivers.frames.readings import celsius, kilograms, readings_of, slug
from drivers.reading import Reading

T_US = 1_800_000_000_000_000


@pytest.mark.parametrize(
    ("value", "unit", "kg"),
    [
        ("123.4", "g", 0.1234),
        ("0.1", "g", 0.0001),
        ("65.534", "kg", 65.534),
        # 1 lb = 453.59237 g and 1 oz = 28.349523125 g exactly: international yard and pound, 1959.
        ("1", "lb", 0.45359237),
        ("1", "oz", 0.028349523125),
        ("16", "oz", 0.45359237),
        # 40 lb 5.2 oz, worked out by hand from those.
        ("645.2", "oz", 18.29111232025),
    ],
)
def test_masses_become_the_kilograms_nearest_to_the_exact_number(
    value: str, unit: str, kg: float
) -> None:
    assert kilograms(Decimal(value), unit) == kg


@pytest.mark.parametrize(
    ("value", "unit", "cel"),
    [("96.4", "C", 96.4), ("212", "F", 100.0), ("-40", "F", -40.0), ("347", "F", 175.0)],
)
def test_temperatures_become_degrees_celsius(value: str, unit: str, cel: float) -> None:
    assert celsius(Decimal(value), unit) == cel


def test_a_weight_keeps_what_the_scale_said_of_it() -> None:
    frame = WeightFrame(Decimal("123.4"), "g", None, True, True, Decimal("0.5"))

    assert readings_of(frame, "bench-scale", T_US) == [
        Reading("bench-scale", "mass", T_US, 0.1234, "kg", None, True, True, 0.0005)
    ]


def test_a_state_is_a_reading_without_a_value() -> None:
    (reading,) = readings_of(WeightFrame(None, None, "no weight"), "s", T_US, "left")

    assert reading == Reading("s", "left", T_US, None, "kg", "no weight")
    assert reading.checked() == reading


@pytest.mark.parametrize(
    "event",
    [
        WeightFrame(Decimal(35), "g", is_tare=True),
        Reply("?"),
        Garbage(b"x", "noise"),
        Overflow(256, b"x"),
    ],
)
def test_what_is_no_load_is_no_reading(event: WeightFrame | Reply | Garbage | Overflow) -> None:
    assert readings_of(event, "s", T_US) == []


def test_channels_are_named_by_the_map_or_after_their_labels() -> None:
    frame = TemperatureFrame(
        (
            Temperature("T1", Decimal("96.4"), "C"),
            Temperature("T2", None, None, "open circuit"),
        )
    )

    assert readings_of(frame, "p", T_US, labels={"T1": "core"}) == [
        Reading("p", "core", T_US, 96.4, "Cel"),
        Reading("p", "t2", T_US, None, "Cel", "open circuit"),
    ]


@pytest.mark.parametrize(
    ("label", "name"), [("T1", "t1"), ("Probe #2", "probe-2"), ("--", "channel"), ("1", "1")]
)
def test_any_label_becomes_a_name(label: str, name: str) -> None:
    assert slug(label) == name
    Reading("p", slug(label), T_US, 1.0, "Cel").checked()
