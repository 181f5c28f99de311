"""The way into the oven that nobody marked: thick cakes, and probes pushed in while it bakes."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from logger.thermal.notice import Doors, Noticed, way_in
from logger.thermal.track import Track

IN_S = 2000.0


def track(course: Callable[[float], float], to_s: float, from_s: float = 0.0) -> Track:
    out = Track(-60.0, 320.0)
    for i in range(int((to_s - from_s) / 10.0)):
        t = from_s + 10.0 * i
        out.add(t, course(t))
    return out


def heated(k_per_min: float, hesitates_s: float = 300.0, batter_c: float = 21.0):
    """A core that waits for the heat, then gains at an even rate."""
    return lambda t: batter_c + k_per_min / 60.0 * max(0.0, t - IN_S - hesitates_s)


def found(
    core: Callable[[float], float], doors: Doors, oven_c: float = 160.0, since_s: float = 0.0
) -> tuple[float, Noticed] | None:
    """When the way in is noticed first, and what of it; a new level is held back for 30 s."""
    seen, oven = Track(-60.0, 320.0), track(lambda t: oven_c, 20000.0)
    for i in range(1200):
        t = 10.0 * i
        if since_s - 30.0 <= t < since_s:
            continue
        seen.add(t, core(t))
        noticed = way_in(seen, oven, doors, t, since_s if t >= since_s else 0.0)
        if noticed is not None:
            return t, noticed
    return None


@pytest.mark.parametrize("k_per_min", [0.45, 0.6, 0.8, 1.2, 4.0])
def test_cakes_thick_and_thin_are_noticed_and_dated_by_the_door(k_per_min: float) -> None:
    doors = Doors([(300.0, 330.0), (IN_S - 20.0, IN_S)])

    noticed = found(heated(k_per_min), doors)

    assert noticed is not None
    seen_s, way = noticed
    assert way.at_s == pytest.approx(IN_S, abs=30.0)
    assert seen_s - IN_S < 2400.0


def test_a_look_at_a_thick_cake_is_not_its_way_in() -> None:
    doors = Doors([(IN_S - 20.0, IN_S), (IN_S + 900.0, IN_S + 915.0)])

    noticed = found(heated(0.5), doors)

    assert noticed is not None
    assert noticed[1].at_s == pytest.approx(IN_S, abs=30.0)


def test_a_thick_cake_without_a_door_is_dated_within_ten_minutes_and_less_surely() -> None:
    noticed = found(heated(0.5), Doors())

    assert noticed is not None
    assert noticed[1].at_s == pytest.approx(IN_S, abs=600.0)
    assert noticed[1].confidence <= 0.5


@pytest.mark.parametrize(
    ("course", "oven_c"),
    [
        (lambda t: 18.0 + 6.0 * (1.0 - math.exp(-t / 3600.0)), 160.0),  # comes to the room
        (lambda t: 21.0 + 2.0 * math.sin(t / 900.0), 160.0),  # the room's own ups and downs
        (heated(0.6), 40.0),  # melting over warm water, the oven off
    ],
)
def test_what_warms_slowly_in_the_kitchen_is_not_in_the_oven(
    course: Callable[[float], float], oven_c: float
) -> None:
    assert found(course, Doors([(IN_S - 20.0, IN_S)]), oven_c) is None


@pytest.mark.parametrize("k_per_min", [0.6, 1.7, 3.4])
@pytest.mark.parametrize("pushed_after_s", [1200.0, 1800.0])
def test_a_probe_pushed_in_while_it_bakes_dates_the_way_in_by_the_door_before(
    k_per_min: float, pushed_after_s: float
) -> None:
    pushed_s = IN_S + pushed_after_s
    cake = heated(k_per_min, hesitates_s=120.0)
    doors = Doors([(IN_S - 20.0, IN_S), (pushed_s - 12.0, pushed_s + 6.0)])

    noticed = found(lambda t: 21.0 if t < pushed_s else cake(t), doors, since_s=pushed_s + 30.0)

    assert noticed is not None
    assert noticed[1].at_s == pytest.approx(IN_S, abs=30.0)
    assert noticed[0] > pushed_s
