"""How a time, a mass, a duration are written."""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError


def zone(name: str | None) -> tzinfo:
    """The kitchen's time zone; UTC where it is not named or not known on this machine."""
    try:
        return ZoneInfo(name) if name else UTC
    except (ZoneInfoNotFoundError, ValueError):
        return UTC


def clock(at: float, tz: tzinfo) -> str:
    """A time of day on the kitchen's own clock.

    >>> clock(1_800_000_000.0, UTC)
    '08:00'
    """
    return datetime.fromtimestamp(at, tz).strftime("%H:%M")


def grams(kg: float, division_kg: float | None = None) -> str:
    """A mass in grams, with a decimal where the scale has one or the amount is small.

    >>> grams(0.2704), grams(0.0041), grams(0.3, 0.0001)
    ('270', '4.1', '300.0')
    """
    fine = abs(kg) < 0.02 if division_kg is None else division_kg < 0.001
    text = f"{kg * 1000:.1f}" if fine else f"{kg * 1000:.0f}"
    return "0" if text in ("-0", "-0.0") else text


def lasting(seconds_: float) -> str:
    """A duration in words.

    >>> lasting(95), lasting(3900)
    ('2 min', '1 h 05 min')
    """
    minutes = max(0, round(seconds_ / 60))
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"
