"""What a sentence is made of: its words, the number that matters, the line under it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Number:
    """The number that matters now.

    Attributes:
        value: as shown, without the unit.
        unit: ``g``, ``min``, ``°C``, or '' for a time of day.
        kind: ``missing``, ``mass``, ``time``, ``temperature``, ``clock`` or ``none``.
        word: one or two words under it.
    """

    value: str
    unit: str
    kind: str
    word: str


@dataclass(frozen=True, slots=True)
class Measure:
    """What the measure line draws, to scale, all in one `unit` (``kg``, ``°C`` or ``time``, s).

    Attributes:
        value: what is there; low, high: ends of its whiskers.
        target_low, target_high: the brackets, None without a target.
        from_, to: ends of the line.
    """

    value: float
    low: float
    high: float
    target_low: float | None
    target_high: float | None
    unit: str
    from_: float
    to: float

    def to_json(self) -> dict[str, Any]:
        out = asdict(self)
        out["from"] = out.pop("from_")
        return out


@dataclass(frozen=True, slots=True)
class Sentence:
    """What stands on top of the page.

    Attributes:
        now: the one next thing.
        then: what comes after, quieter.
        number: the number in the middle.
        measure: the line under it, None where there is nothing to draw.
        act: whether a hand is needed now.
    """

    now: str
    then: str
    number: Number
    measure: Measure | None = None
    act: bool = False

    def to_json(self) -> dict[str, Any]:
        return {
            "now": self.now,
            "then": self.then,
            "act": self.act,
            "number": asdict(self.number),
            "measure": None if self.measure is None else self.measure.to_json(),
        }


NOTHING = Number("", "", "none", "")
