"""What idle probes tell of a room that no channel measures, before the bake.

The core's probe lies about until it goes into the batter, and an oven that nobody has turned on is
as warm as the kitchen. Neither is sure: a probe may have been in the batter all the time, and an
oven may still be warm from before. So each is a mixture of what reads the room and what does not;
where they agree they count the more, and one that disagrees counts for little.
"""

from __future__ import annotations

import math

import numpy as np

from logger.thermal.design_points import Array

# Idle probes read no more than that; what is warmer is no kitchen.
WARMEST_C = 35.0
# How far a probe that lies in the kitchen is from the air in which its cake cools an hour or two
# later; how far batter is from it; and how often a probe is in the batter all the time (common
# practice, no source).
LIES_SD_K, BATTER_SD_K, IN_BATTER = 1.0, 2.5, 0.3
# A cold oven, with a probe of the coarser sort; a warm one, so much warmer on average; how often.
COLD_OVEN_SD_K, WARMER_K, STILL_WARM = 1.2, 8.0, 0.3
_ROOM_C = np.arange(0.0, 45.0, 0.1)


def room_by(
    assumed: tuple[float, float], core_c: float | None, oven_c: float | None
) -> tuple[float, float]:
    """Centre and standard deviation of the room in °C, by Bayes.

    Args:
        assumed: what is assumed of it without the probes: centre and standard deviation.
        core_c: what the core's probe read before the cake went in, as a rule.
        oven_c: what the oven's read at the very first.
    """
    read_c = [None if c is None or c > WARMEST_C else c for c in (core_c, oven_c)]
    if read_c == [None, None]:
        return assumed
    chance = _normal(assumed[0], assumed[1])
    if read_c[0] is not None:
        chance *= (1.0 - IN_BATTER) * _normal(read_c[0], LIES_SD_K) + IN_BATTER * _normal(
            read_c[0], BATTER_SD_K
        )
    if read_c[1] is not None:
        above = read_c[1] - _ROOM_C
        warmer = np.where(above > 0.0, np.exp(-np.abs(above) / WARMER_K) / WARMER_K, 0.0)
        chance *= (1.0 - STILL_WARM) * _normal(read_c[1], COLD_OVEN_SD_K) + STILL_WARM * warmer
    total = float(chance.sum())
    if total <= 0.0:
        return assumed
    centre = float(chance @ _ROOM_C) / total
    return centre, math.sqrt(float(chance @ (_ROOM_C - centre) ** 2) / total)


def _normal(centre: float, sd: float) -> Array:
    density: Array = np.exp(-0.5 * ((_ROOM_C - centre) / sd) ** 2) / (sd * math.sqrt(2.0 * math.pi))
    return density
