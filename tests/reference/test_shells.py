"""The six shells of a bake against the product solution of short cylinders and bars.

Source: Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, 5.6: the centre of a body that
is the cut of a cylinder and slabs has the product of their centres. The series are SciPy's zeros
of J0 and their own cosines, for a surface that is held (Bi to infinity).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import j1, jn_zeros

from logger.thermal.baking import WATER_K, BakeRates, at_tip, bake_step
from logger.thermal.shells import CELLS, shells

DIFFUSIVITY = 1.3e-7


def slab_centre(fo: float) -> float:
    n = np.arange(200)
    zeta = (n + 0.5) * np.pi
    return float(np.sum(2 * (-1.0) ** n / zeta * np.exp(-(zeta**2) * fo)))


def cylinder_centre(fo: float) -> float:
    zeros = jn_zeros(0, 60)
    return float(np.sum(2 / (zeros * j1(zeros)) * np.exp(-(zeros**2) * fo)))


@pytest.mark.parametrize(
    ("name", "half", "across", "is_round"),
    [
        ("sheet", 0.012, (0.2, 0.15), False),
        ("round of 200 mm", 0.028, (0.1,), True),
        ("round of 150 mm", 0.035, (0.075,), True),
        ("cup", 0.022, (0.034,), True),
        ("loaf", 0.038, (0.06, 0.12), False),
        ("ring", 0.04, (0.042,), False),
    ],
)
def test_the_core_of_a_body_follows_its_series(
    name: str, half: float, across: tuple[float, ...], is_round: bool
) -> None:
    shape = shells(half, across, is_round)
    one = np.ones(1)
    held = BakeRates(
        exchange=9 * DIFFUSIVITY / half**2 * one, heating=1e4 * one, plateau=500.0 * one,
        rising=one, vapour=0.0 * one, expansion=one, evaporation=0.0 * one,
        walls=0.0, pan_holds=0.0, shells=shape,
    )  # fmt: skip

    def series(t_s: float) -> float:
        out = slab_centre(DIFFUSIVITY * t_s / half**2)
        for width in across:
            fo = DIFFUSIVITY * t_s / width**2
            out *= cylinder_centre(fo) if is_round else slab_centre(fo)
        return out

    # What is held is the middle of the outer shell, half a shell further in than the surface.
    inward = (1.0 - 0.5 / CELLS) ** 2
    cells, water_k = np.zeros((CELLS, 1)), np.full(1, WATER_K)
    t_s, dt_s = 0.0, 4.0
    seen: list[tuple[float, float]] = []
    while not seen or seen[-1][1] > 0.08:
        cells, water_k = bake_step(cells, water_k, dt_s, 1.0, held)
        t_s += dt_s
        core = at_tip(cells, 0.5 * one, 0.0 * one, one, shape)[0]
        seen.append((t_s / inward, 1.0 - float(core[0])))

    for left in (0.7, 0.5, 0.3, 0.1):
        times = [t for t, v in seen if v <= left]
        low, high = 1.0, 1e5
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if series(middle) > left else (low, middle)
        assert times[0] == pytest.approx(low, rel=0.08), f"{name}: {left} left"
