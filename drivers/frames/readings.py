"""Frames into readings: kilograms and degrees Celsius, by exact factors.

Sources of the factors: international yard and pound agreement of 1959 (1 lb = 0.45359237 kg
exactly, 1 oz = 1/16 lb). Degrees Fahrenheit: °C = (°F − 32) × 5/9, exact by definition.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal

from drivers.frames.frame import FrameEvent, TemperatureFrame, WeightFrame
from drivers.reading import Reading

KG_PER = {
    "g": Decimal("0.001"),
    "kg": Decimal(1),
    "oz": Decimal("0.028349523125"),
    "lb": Decimal("0.45359237"),
}
NOT_IN_A_NAME = re.compile(r"[^a-z0-9._-]+")


def kilograms(value: Decimal, unit: str) -> float:
    """A mass in kilograms, as the float nearest to the exact number.

    >>> kilograms(Decimal("123.4"), "g")
    0.1234
    """
    return float(value * KG_PER[unit])


def celsius(value: Decimal, unit: str) -> float:
    """A temperature in degrees Celsius, as the float nearest to the exact number.

    >>> celsius(Decimal("212.0"), "F")
    100.0
    """
    return float(value if unit == "C" else (value - 32) * 5 / 9)


def slug(label: str) -> str:
    """The channel name made of an instrument's own label.

    >>> slug("T1"), slug("Probe #2")
    ('t1', 'probe-2')
    """
    return NOT_IN_A_NAME.sub("-", label.lower()).strip("-._")[:64] or "channel"


def readings_of(
    event: FrameEvent,
    instrument: str,
    t_us: int,
    channel: str | None = None,
    labels: Mapping[str, str] | None = None,
) -> list[Reading]:
    """The readings a frame holds; none for answers, noise, and tare weights that were asked for.

    Args:
        event: what the parser gave.
        instrument: lasting name of the instrument.
        t_us: event time, UTC microseconds since the epoch.
        channel: of a scale, None for ``mass``. Of a thermometer it names every channel, so give
            it only where there is one.
        labels: label of a thermometer's channel → channel name; others are slugged.

    >>> readings_of(WeightFrame(Decimal("123.4"), "g"), "bench-scale", 1)[0].value
    0.1234
    """
    if isinstance(event, WeightFrame):
        if event.is_tare:
            return []
        division = event.division
        has_value = event.value is not None and event.unit is not None
        return [
            Reading(
                instrument=instrument,
                channel=channel or "mass",
                t_us=t_us,
                value=kilograms(event.value, event.unit)
                if event.value is not None and event.unit
                else None,
                unit="kg",
                state=None if has_value else event.state,
                stable=event.stable,
                net=event.net,
                division=None
                if division is None or event.unit is None
                else kilograms(division, event.unit),
            )
        ]
    if isinstance(event, TemperatureFrame):
        return [
            Reading(
                instrument=instrument,
                channel=channel or (labels or {}).get(one.label) or slug(one.label),
                t_us=t_us,
                value=celsius(one.value, one.unit) if one.value is not None and one.unit else None,
                unit="Cel",
                state=one.state,
            )
            for one in event.values
        ]
    return []
