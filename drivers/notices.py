"""Gaps and clock jumps: what is not a reading and must reach the log all the same."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from drivers.reading import seconds


@dataclass(frozen=True, slots=True)
class Gap:
    """Readings that are missing, said so.

    Attributes:
        instrument: whose.
        first, last: missing sequence numbers; None where the readings were never numbered.
        from_us, to_us: the time in which readings are missing.
        reason: why, in words.
    """

    instrument: str
    first: int | None
    last: int | None
    from_us: int
    to_us: int
    reason: str

    def document(self, boot: str, number: int) -> dict[str, Any]:
        """The JSON on the wire (and in the log)."""
        return {
            "gap": self.instrument,
            "t": seconds(self.to_us),
            "boot": boot,
            "number": number,
            "first": self.first,
            "last": self.last,
            "from_at": seconds(self.from_us),
            "to_at": seconds(self.to_us),
            "reason": self.reason,
        }


@dataclass(frozen=True, slots=True)
class Jump:
    """The clock that stamps this instrument's readings stepped by `jump_us` at `t_us`."""

    instrument: str
    t_us: int
    jump_us: int

    def document(self, boot: str, number: int) -> dict[str, Any]:
        """The JSON on the wire (and in the log)."""
        return {
            "jump": self.instrument,
            "t": seconds(self.t_us),
            "boot": boot,
            "number": number,
            "jump_s": seconds(self.jump_us),
        }


@dataclass(frozen=True, slots=True)
class Notice:
    """A gap or jump with its own number, to be sent before reading `before_seq`."""

    number: int
    before_seq: int
    content: Gap | Jump
