"""Does a load that shakes rest? By means of blocks that agree where a hand's wander does not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

LOUDEST_KG = 0.006  # more vibration than this is no bench to weigh on
WINDOWS_US = (1_200_000, 2_000_000, 3_200_000)
FEWEST = 8
SHAKES = 0.4  # share of the steps that turn back: a stream's are fewer
CHANCE = 1e-3  # that readings of what shakes agree, each second anew


def only_shakes(
    values: Sequence[float], d_kg: float, typical_noise_kg: float, longest: bool
) -> bool:
    """Whether readings of one window are a rest under zero-mean vibration.

    Args:
        values: the readings, newest first; at least `FEWEST`.
        d_kg: the scale's division.
        typical_noise_kg: noise seen at earlier rests.
        longest: the window is the longest there is, so that nothing more can be learnt.
    """
    n = len(values)
    mean = sum(values) / n
    spread = math.sqrt(sum((y - mean) ** 2 for y in values) / n)
    if spread > max(3.0 * d_kg, LOUDEST_KG):
        return False
    if spread > max(2.5 * typical_noise_kg, 0.9 * d_kg) and not longest:
        return False  # louder than usual here: a hand, until it proves steady for longer
    above = [y > mean for y in values]
    crossings = sum(a != b for a, b in pairwise(above))
    if crossings < n / 5:
        return False  # a hand's push and its end cross the mean a few times; vibration often
    block = n // 4
    means = [sum(values[i * block : (i + 1) * block]) / block for i in range(4)]
    apart = max(means) - min(means)
    late = (means[0] + means[1] - means[2] - means[3]) / 2
    white = spread / math.sqrt(block)
    if apart > max(0.5 * d_kg, 2.2 * white) or abs(late) > max(0.4 * d_kg, 1.2 * white):
        return False
    return longest or spread / math.sqrt(n / 3.0) <= 2.0 * d_kg


def agree_by_chance(before: Sequence[float], count: int, band_kg: float) -> bool:
    """Whether so many readings in a row may agree although the load still shakes.

    Args:
        before: the readings just before them; they shake where they go to and fro.
        count: readings that agree.
        band_kg: within this.
    """
    steps = [b - a for a, b in pairwise(before)]
    if len(steps) < 3:
        return False
    turns = sum(a * b < 0 and min(abs(a), abs(b)) > band_kg for a, b in pairwise(steps))
    if turns < max(2, SHAKES * len(steps)):
        return False
    span_kg = 2 * sum(abs(step) for step in steps) / len(steps)
    return bool((band_kg / span_kg) ** (count - 1) > CHANCE)
