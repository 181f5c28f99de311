"""Where the judge's physics lies against plain facts of the trade (common practice, no source).

High-ratio batter in a rectangle of 330 × 230 mm at 177 °C: done with moist crumbs in 28–32 min; left
in its pan in still room air it can be frosted after about 120 min.
"""

from __future__ import annotations

import dataclasses

import matter
import numpy as np
from cake import Around
from cases import draw_case
from course import new_cake
from places import Counter, Place, Room
from shape import box_pan


def one(draw: int) -> list[float]:
    """Minutes to 90, 95, 97 °C in the coldest place; then to a core of 27 and 24.5 °C in 21 °C air."""
    rng = np.random.default_rng([1, draw])
    case = dataclasses.replace(
        draw_case(draw), shape=box_pan(0.330, 0.230), depth_m=0.0185, altitude_m=20.0, start_c=21.0,
        batter=matter.draw_batter(rng, "layer"), material="aluminium", emissivity=0.25,
    )  # fmt: skip
    cake = new_cake(case)
    around = Around(177.0, 177.0, case.oven_h, case.oven_view, 0.04)
    reached: dict[float, float] = {}
    second = 0
    while 97.0 not in reached and second < 5400:
        cake.step(1.0, around)
        second += 1
        coldest = float(cake.t.min())
        for goal in (90.0, 95.0, 97.0):
            if coldest >= goal:
                reached.setdefault(goal, second / 60)
    cake.out_of_oven = True
    room = Room(21.0, 0, 900, 0, 0, 0, 0, 900, 0.45)
    on_rack = bool(rng.random() < 0.5)
    place = Place(True, "rack" if on_rack else "counter", rng.uniform(2.0, 5.0),
                  counter=Counter(21.0, 0.18, 1.1e6), counter_h=rng.uniform(20, 60))  # fmt: skip
    t = 0.0
    cooled: dict[float, float] = {}
    while 24.5 not in cooled and t < 5 * 3600:
        cake.contact_h = 70.0
        cake.step(2.0, place.around(cake, room, t))
        place.step(2.0, cake, room, t, 0.0)
        t += 2.0
        for goal in (27.0, 24.5):
            if float(cake.t[0, 0].max()) <= goal:
                cooled.setdefault(goal, t / 60)
    inf = float("inf")
    return [reached.get(g, inf) for g in (90.0, 95.0, 97.0)] + [
        cooled.get(g, inf) for g in (27.0, 24.5)
    ]


def say(draws: int) -> None:
    """Print medians and the central 80 %."""
    rows = np.array([one(d) for d in range(draws)])
    names = (
        "90 °C", "95 °C", "97 °C (fact: done 28–32 min)",
        "in pan, still air: core 27 °C (fact: frostable after about 120 min)", "core 24.5 °C",
    )  # fmt: skip
    for name, column in zip(names, rows.T, strict=True):
        low, mid, high = np.percentile(column, [10, 50, 90])
        print(f"  {name}: median {mid:.0f} min, 80 % in {low:.0f}–{high:.0f}")


if __name__ == "__main__":
    say(12)
