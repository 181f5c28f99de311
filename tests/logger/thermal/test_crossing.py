"""One milestone in a stream of readings."""

from __future__ import annotations

import pytest

from logger.plan import Milestone
from logger.thermal.crossing import Crossing

Hit = tuple[float, float] | None


def feed(crossing: Crossing, values: list[float], step_s: float = 1.0, start_s: float = 0.0) -> Hit:
    for i, value in enumerate(values):
        hit = crossing.feed(start_s + i * step_s, value, 60.0)
        if hit is not None:
            return hit
    return None


def test_a_fall_is_reached_at_the_first_reading_beyond() -> None:
    falling = [61.0 - 0.05 * i for i in range(80)]

    hit = feed(Crossing(Milestone("unmould", core_c=60.0), rising=False), falling)

    assert hit is not None
    assert hit[0] == pytest.approx(20.0, abs=1.0)
    assert hit[1] <= 60.0


def test_a_short_dip_is_no_crossing() -> None:
    values = [61.0] * 10 + [59.5] * 5 + [61.0] * 60

    assert feed(Crossing(Milestone("unmould", core_c=60.0), rising=False), values) is None


def test_noise_around_the_limit_counts_once_most_readings_lie_beyond() -> None:
    noisy = [60.0 - 0.01 * (i - 60) + (0.15 if i % 2 else -0.15) for i in range(200)]

    hit = feed(Crossing(Milestone("unmould", core_c=60.0), rising=False), noisy)

    assert hit is not None
    assert 50 < hit[0] < 80


def test_a_milestone_that_was_never_on_the_near_side_cannot_be_crossed() -> None:
    assert feed(Crossing(Milestone("unmould", core_c=60.0), rising=False), [50.0] * 100) is None


def test_it_is_reached_once() -> None:
    crossing = Crossing(Milestone("done", core_c=60.0), rising=True)

    assert feed(crossing, [50.0] * 5 + [61.0] * 40) is not None
    assert feed(crossing, [50.0] * 5 + [61.0] * 40, start_s=100.0) is None


def test_silence_confirms_nothing() -> None:
    crossing = Crossing(Milestone("unmould", core_c=60.0), rising=False)
    feed(crossing, [61.0, 60.5, 59.9])

    assert crossing.look(500.0) is None


def test_after_an_interruption_it_takes_longer() -> None:
    crossing = Crossing(Milestone("unmould", core_c=60.0), rising=False)
    feed(crossing, [61.0] * 10)
    crossing.interrupt()

    hits = [crossing.feed(100.0 + t, 55.0, 60.0) for t in range(70)]

    first = next(i for i, hit in enumerate(hits) if hit is not None)
    assert first >= 60
    assert hits[first] == (100.0, 55.0)


def test_a_reading_a_minute_is_confirmed_by_time() -> None:
    crossing = Crossing(Milestone("unmould", core_c=60.0), rising=False)
    feed(crossing, [61.0, 60.4, 60.0], step_s=60.0)

    assert crossing.look(139.0) is None
    assert crossing.look(140.0) == (120.0, 60.0)


def test_a_hold_is_reached_when_it_has_held() -> None:
    crossing = Crossing(Milestone("done", core_c=60.0, hold_s=45.0), rising=True)

    hit = feed(crossing, [58.0] * 10 + [60.5] * 60)

    assert hit is not None
    assert hit[0] == pytest.approx(55.0)


def test_a_hold_that_breaks_begins_again() -> None:
    crossing = Crossing(Milestone("done", core_c=60.0, hold_s=45.0), rising=True)

    hit = feed(crossing, [58.0] * 10 + [60.5] * 20 + [58.0] * 40 + [60.5] * 60)

    assert hit is not None
    assert hit[0] == pytest.approx(70 + 45, abs=2)
