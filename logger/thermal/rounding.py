"""What a reading in whole steps says of a quantity that is known only as a normal law."""

from __future__ import annotations

import math


def rounded(innovation: float, step: float, sd: float) -> tuple[float, float, float]:
    """What a rounded reading says of a normal quantity with standard deviation `sd`.

    Rounding is no noise: it errs to the same side until the cake has cooled by a step. All that is
    known is that the quantity lies within half a step of what was read (a normal law cut off on
    both sides).

    Returns:
        The logarithm of the likelihood, the shift of the mean, and the share of variance left.
    """
    if step < 0.2 * sd:
        z = innovation / sd
        return -0.5 * z * z - math.log(sd), innovation, 0.0
    a, b = (innovation - 0.5 * step) / sd, (innovation + 0.5 * step) / sd
    mass = 0.5 * (math.erf(b / math.sqrt(2.0)) - math.erf(a / math.sqrt(2.0)))
    at_a, at_b = (math.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi) for x in (a, b))
    shift = (at_a - at_b) / mass
    left = 1.0 + (a * at_a - b * at_b) / mass - shift * shift
    per_k = mass / step * math.sqrt(2.0 * math.pi)
    return math.log(per_k), sd * shift, min(max(left, 0.0), 0.999)
