"""What a parser of frames says, and what it can be asked: events, commands, one protocol.

A parser is fed bytes in whatever pieces they come and gives events; the same bytes give the same
events however they are cut. It knows neither ports nor threads nor time.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol, runtime_checkable

OVERLOAD = "overload"
UNDERLOAD = "underload"
ZERO_ERROR = "zero error"
INITIAL_ZERO_ERROR = "initial zero error"
TARE_ERROR = "tare error"
FAULT = "fault"
NEEDS_CALIBRATION = "needs calibration"
NEEDS_ZEROING = "needs zeroing"
NO_WEIGHT = "no weight"
OPEN_CIRCUIT = "open circuit"
# Every state without a value that a frame may carry.
STATES = (
    OVERLOAD,
    UNDERLOAD,
    ZERO_ERROR,
    INITIAL_ZERO_ERROR,
    TARE_ERROR,
    FAULT,
    NEEDS_CALIBRATION,
    NEEDS_ZEROING,
    NO_WEIGHT,
    OPEN_CIRCUIT,
)

WEIGHT_UNITS = ("g", "kg", "oz", "lb")
TEMPERATURE_UNITS = ("C", "F")


@dataclass(frozen=True, slots=True)
class WeightFrame:
    """One weight as the scale said it.

    Attributes:
        value: in `unit`, exactly as printed; None exactly when `state` says why there is none.
        unit: ``g``, ``kg``, ``oz`` or ``lb``; None where a frame without a value names none.
        state: one of `STATES`, or None.
        stable: the scale's own word on rest; None where the family or the frame has none.
        net: True for a net weight, False for gross, None where the family does not say.
        division: the scale's division in `unit`, only where the frame states it. The decimals
            printed are a lower bound (0.1 g may step by 0.5 g), so they are not taken for it.
        is_tare: True where the number is the tare weight that was asked for, not the load.
    """

    value: Decimal | None
    unit: str | None
    state: str | None = None
    stable: bool | None = None
    net: bool | None = None
    division: Decimal | None = None
    is_tare: bool = False


@dataclass(frozen=True, slots=True)
class Temperature:
    """One channel of a thermometer as it was written.

    Attributes:
        label: what the instrument calls the channel, e.g. ``T1``.
        value: in `unit`; None exactly when `state` says why there is none.
        unit: ``C`` or ``F``; None where a channel without a value names none.
        state: ``open circuit`` and the like, or None.
    """

    label: str
    value: Decimal | None
    unit: str | None
    state: str | None = None


@dataclass(frozen=True, slots=True)
class TemperatureFrame:
    """One line of a thermometer: the channels in the order written, each label once."""

    values: tuple[Temperature, ...]


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer that is no weight: command not recognised, diagnostics, about.

    Attributes:
        text: the answer without its framing.
    """

    text: str


@dataclass(frozen=True, slots=True)
class Garbage:
    """Bytes that are no sound frame: noise, a damaged frame, a frame whose end is lost.

    Attributes:
        data: the bytes, never more than the parser's limit.
        reason: why they were refused, for a person.
    """

    data: bytes
    reason: str


@dataclass(frozen=True, slots=True)
class Overflow:
    """No frame ended within the parser's limit; `data` was let go.

    Attributes:
        limit: of the buffer, in bytes.
        data: the bytes let go.
    """

    limit: int
    data: bytes


FrameEvent = WeightFrame | TemperatureFrame | Reply | Garbage | Overflow


@runtime_checkable
class Parser(Protocol):
    """A frame family at work on one stream of bytes. After a reconnect, take a new one."""

    @property
    def limit(self) -> int:
        """Most bytes held between two calls of `feed`."""

    def feed(self, data: bytes) -> list[FrameEvent]:
        """Take the next bytes, in any pieces; give what they completed, in order.

        Never raises for anything an instrument may send. ``feed(b"")`` gives ``[]``.
        """

    def poll(self) -> bytes | None:
        """What to send to be answered with one frame; None where the family has no such command."""

    def tare(self) -> bytes | None:
        """What to send to tare; None where the family has no such command."""

    def zero(self) -> bytes | None:
        """What to send to zero; None where the family has no such command."""

    def start_continuous(self) -> bytes | None:
        """What to send so that frames come by themselves; None where there is no such command."""

    def stop_continuous(self) -> bytes | None:
        """What to send to end that; None where there is no such command."""


class ListensOnly:
    """The commands of a family that has none."""

    def poll(self) -> bytes | None:
        """None: the instrument sends by itself."""
        return None

    def tare(self) -> bytes | None:
        """None: only the key on the instrument tares."""
        return None

    def zero(self) -> bytes | None:
        """None: only the key on the instrument zeroes."""
        return None

    def start_continuous(self) -> bytes | None:
        """None: the instrument sends by itself."""
        return None

    def stop_continuous(self) -> bytes | None:
        """None: the instrument sends by itself."""
        return None
