"""Faults: what comes out of a bad cable."""

from collections.abc import Callable
from random import Random

import pytest

from simulators import faults

FRAME = b"\n 1G         120g  \r"


def test_each_fault_does_what_its_name_says() -> None:
    always = 1.0

    assert faults.drop(Random(1), always)(FRAME) == []
    assert faults.duplicate(Random(1), always)(FRAME) == [FRAME, FRAME]
    cut = faults.cut(Random(1), always)(FRAME)
    assert len(cut) == 1
    assert FRAME.startswith(cut[0])
    assert len(cut[0]) < len(FRAME)
    pieces = faults.split(Random(1), always)(FRAME)
    assert len(pieces) == 2
    assert b"".join(pieces) == FRAME
    (flipped,) = faults.flip_bit(Random(1), always)(FRAME)
    difference = sum((a ^ b).bit_count() for a, b in zip(flipped, FRAME, strict=True))
    assert difference == 1
    stray, kept = faults.junk(Random(1), always)(FRAME)
    assert 1 <= len(stray) <= 40
    assert kept == FRAME


@pytest.mark.parametrize(
    "maker", [faults.cut, faults.split, faults.duplicate, faults.flip_bit, faults.drop, faults.junk]
)
def test_the_same_start_value_damages_the_same_frames(
    maker: Callable[[Random, float], faults.Fault],
) -> None:
    first, second = maker(Random(7), 0.5), maker(Random(7), 0.5)

    assert [first(FRAME) for _ in range(50)] == [second(FRAME) for _ in range(50)]


def test_a_share_of_nothing_touches_nothing() -> None:
    fault = faults.chain(faults.drop(Random(1), 0.0), faults.flip_bit(Random(2), 0.0))

    assert [fault(FRAME) for _ in range(20)] == [[FRAME]] * 20


def test_faults_follow_one_another() -> None:
    fault = faults.chain(faults.duplicate(Random(1), 1.0), faults.drop(Random(2), 1.0))

    assert fault(FRAME) == []


def test_a_share_above_one_is_refused() -> None:
    with pytest.raises(ValueError, match="share"):
        faults.drop(Random(1), 1.5)
