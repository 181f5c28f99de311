"""`Reading` and `Channel`: the one type that crosses the wire.

A number never travels alone: value, unit, event time, source and sequence go together.
Masses are in kilograms, temperatures in degrees Celsius, relative humidity in %RH, as SenML
recommends; instruments that speak other units are converted where their frames are decoded.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

MICROSECOND = 1_000_000

# The mass of a million tonnes is poison, and so is a temperature no kitchen has.
# Limits are wide on purpose: they catch nonsense, not unusual kitchens.
PLAUSIBLE: dict[str, tuple[float, float]] = {
    "kg": (-1000.0, 1000.0),
    "Cel": (-273.15, 2000.0),
    "%RH": (-5.0, 110.0),
    "Pa": (0.0, 200_000.0),
}
# 2020-01-01 and 2100-01-01: nothing is dated before the project existed, nor in year 9999.
EARLIEST_US = 1_577_836_800 * MICROSECOND
LATEST_US = 4_102_444_800 * MICROSECOND

NAME = re.compile(r"[a-z0-9][a-z0-9._-]{0,63}", re.IGNORECASE)


class ReadingRefused(ValueError):
    """A reading that cannot be true or cannot be understood; says which and why.

    Attributes:
        reason: a sentence for the person at the bench.
    """

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason

    def __reduce__(self) -> tuple[type[ReadingRefused], tuple[str]]:
        return (type(self), (self.reason,))


@dataclass(frozen=True, slots=True)
class Reading:
    """One value (or one state without a value) of one channel at one time.

    Attributes:
        instrument: lasting name of the instrument, e.g. ``bench-scale``.
        channel: name of the channel within it, e.g. ``mass``.
        t_us: event time, UTC microseconds since the epoch.
        value: in `unit`; None exactly when `state` says why there is none.
        unit: SenML unit, ``kg``, ``Cel``, ``%RH`` ….
        state: None, or a state without a value: ``overload``, ``underload``, ``open circuit``, ….
        stable: the instrument's own word on rest, None where it gives none.
        net: True for a net weight (tared by its key), False for gross, None where unknown.
        division: the scale's present division, in `unit`; None where unknown.
        boot: id of the outbox that numbered it, None for foreign publishers and recordings.
        seq: its number within instrument and boot, from 1; None likewise.
    """

    instrument: str
    channel: str
    t_us: int
    value: float | None
    unit: str
    state: str | None = None
    stable: bool | None = None
    net: bool | None = None
    division: float | None = None
    boot: str | None = None
    seq: int | None = None

    @property
    def name(self) -> str:
        """The SenML name, ``bench-scale/mass``: the key of a channel everywhere."""
        return f"{self.instrument}/{self.channel}"

    def checked(self) -> Reading:
        """Return self, or raise `ReadingRefused` naming what cannot be true.

        >>> Reading("bench-scale", "mass", 1_800_000_000_000_000, 0.24, "kg").checked().value
        0.24
        """
        where = f"{self.instrument}/{self.channel}"
        if not NAME.fullmatch(self.instrument) or not NAME.fullmatch(self.channel):
            raise ReadingRefused(f"{where!r} is not a name of an instrument and a channel")
        if not EARLIEST_US <= self.t_us < LATEST_US:
            raise ReadingRefused(
                f"{where}: the time {self.t_us / MICROSECOND:.0f} s lies outside 2020 to 2100; "
                "set the clock of the machine that sent it"
            )
        if (self.value is None) == (self.state is None):
            raise ReadingRefused(f"{where}: a reading has either a value or a state, not both")
        if self.value is not None:
            if not math.isfinite(self.value):
                raise ReadingRefused(f"{where}: {self.value} is not a number")
            low, high = PLAUSIBLE.get(self.unit, (-1e12, 1e12))
            if not low <= self.value <= high:
                raise ReadingRefused(f"{where}: {self.value:g} {self.unit} cannot be true")
        if self.division is not None and not 0 < self.division < 1000:
            raise ReadingRefused(f"{where}: a division of {self.division:g} cannot be true")
        return self


@dataclass(frozen=True, slots=True)
class Channel:
    """What is known of a channel before it says anything: the slow facts.

    Attributes:
        name: within the instrument, e.g. ``mass``.
        unit: SenML unit of its readings.
        division: of a scale, in `unit`; None where unknown.
        accuracy_class: OIML R 76-1 class (``I`` to ``IIII``) of a scale; None where unknown.
    """

    name: str
    unit: str
    division: float | None = None
    accuracy_class: str | None = None


def seconds(t_us: int) -> float:
    """Microseconds as JSON's seconds since the epoch.

    >>> seconds(1_800_000_000_123_456)
    1800000000.123456
    """
    return t_us / MICROSECOND


def microseconds(t_s: float) -> int:
    """Seconds since the epoch as integer microseconds, exact for every time `seconds` gave.

    >>> microseconds(1800000000.123456)
    1800000000123456
    """
    return round(t_s * MICROSECOND)
