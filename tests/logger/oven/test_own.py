"""The drops an oven makes by itself."""

from __future__ import annotations

from logger.oven.own import Drop, OwnDrops


def _cycle(own: OwnDrops, begin_s: float, fall_c: float = 12.0) -> None:
    """Up from 160 to 190 °C without a drop, then down from the top with a large one first."""
    for i in range(31):
        own.seen.append(Drop(begin_s + i, 0.0, 160.0 + i, True))
    for i in range(31):
        drop_c = fall_c if i < 5 else 1.0
        own.seen.append(Drop(begin_s + 31 + i, drop_c, 190.0 - i, False))
    own.ordinary(begin_s, begin_s + 62)


def test_drops_are_known_by_level_and_heading() -> None:
    own = OwnDrops()
    _cycle(own, 0.0)

    assert own.largest(188.0, False) == 12.0
    assert own.largest(165.0, False) == 1.0
    assert own.largest(175.0, True) == 0.0


def test_levels_outside_a_cycle_are_those_at_its_ends() -> None:
    own = OwnDrops()
    _cycle(own, 0.0)

    assert own.largest(230.0, False) == 12.0
    assert own.largest(120.0, False) == 1.0


def test_one_cycle_with_a_hidden_door_does_no_harm() -> None:
    own = OwnDrops()
    for i, fall_c in enumerate((12.0, 60.0, 12.5, 11.5, 12.0)):
        _cycle(own, 100.0 * i, fall_c)

    assert own.largest(188.0, False) == 12.0


def test_an_unknown_oven_makes_no_drops() -> None:
    own = OwnDrops()
    own.ordinary(0.0, 100.0)

    assert own.largest(180.0, False) == 0.0
    assert own.within(0.0, 100.0) == 0.0
