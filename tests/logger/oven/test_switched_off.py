"""An oven that was switched off cools slowly; it holds nothing."""

import math

from drivers.reading import Reading
from logger.oven import Oven
from logger.plan import OvenPlan, Plan

T = 1_800_000_000_000_000


def test_the_slow_end_of_cooling_is_no_cycle():
    oven = Oven(Plan(oven=OvenPlan(175.0)))
    said = []

    for i in range(0, 5 * 3600, 5):
        held = 175 + 8 * math.sin(2 * math.pi * i / 400)
        value = held if i < 3600 else 25 + 150 * math.exp(-(i - 3600) / 2700)
        said += oven.on_reading(
            Reading("o", "air", T + i * 1_000_000, round(value, 1), "Cel"), "oven"
        )

    cycles = [body for body in said if body.kind == "oven.cycle"]
    assert len(cycles) >= 5
    # The cycle that the switch cut short may count; what comes after it may not.
    assert [round(c.mean_c) for c in cycles if abs(c.mean_c - 175) > 8] == []
