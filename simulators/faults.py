"""What a bad cable does to a frame: functions from bytes to the pieces that go over the wire.

Each maker takes a ``random.Random`` and the share of frames it touches, and returns a function that
can be given to a wire as its ``fault``. The same random start value damages the same frames.
"""

from __future__ import annotations

from collections.abc import Callable
from random import Random

Fault = Callable[[bytes], list[bytes]]


def sound(frame: bytes) -> list[bytes]:
    """No fault at all: the frame as it is."""
    return [frame]


def cut(random: Random, share: float = 0.1) -> Fault:
    """Lose the end of a frame."""
    return _sometimes(random, share, lambda frame: [frame[: random.randrange(len(frame))]])


def split(random: Random, share: float = 0.5) -> Fault:
    """Send a frame in two pieces."""

    def pieces(frame: bytes) -> list[bytes]:
        at = random.randrange(len(frame))
        return [frame[:at], frame[at:]]

    return _sometimes(random, share, pieces)


def duplicate(random: Random, share: float = 0.1) -> Fault:
    """Send a frame twice."""
    return _sometimes(random, share, lambda frame: [frame, frame])


def flip_bit(random: Random, share: float = 0.1) -> Fault:
    """Turn one bit over."""

    def flipped(frame: bytes) -> list[bytes]:
        damaged = bytearray(frame)
        damaged[random.randrange(len(frame))] ^= 1 << random.randrange(8)
        return [bytes(damaged)]

    return _sometimes(random, share, flipped)


def drop(random: Random, share: float = 0.1) -> Fault:
    """Lose a frame."""
    return _sometimes(random, share, lambda frame: [])


def junk(random: Random, share: float = 0.1, longest: int = 40) -> Fault:
    """Put stray bytes before a frame."""
    return _sometimes(
        random, share, lambda frame: [random.randbytes(random.randint(1, longest)), frame]
    )


def chain(*faults: Fault) -> Fault:
    """Several faults one after the other."""

    def all_of_them(frame: bytes) -> list[bytes]:
        pieces = [frame]
        for fault in faults:
            pieces = [after for piece in pieces if piece for after in fault(piece)]
        return pieces

    return all_of_them


def _sometimes(random: Random, share: float, fault: Fault) -> Fault:
    if not 0 <= share <= 1:
        raise ValueError(f"share is between 0 and 1, not {share!r}")

    def maybe(frame: bytes) -> list[bytes]:
        return fault(frame) if frame and random.random() < share else [frame]

    return maybe
