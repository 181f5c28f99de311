"""The shells of a cooling cake against the analytic solutions of a slab and a short cylinder.

Sources: Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, Table 5.1 (first terms) and 5.6
(products); all further terms by SciPy from ζ tan ζ = Bi and ζ J1(ζ) = Bi J0(ζ).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import j0, j1, jn_zeros

from logger.thermal.cake_model import Rates, step
from logger.thermal.shells import CELLS, EXCHANGE_CELLS, shells

# Bi, ζ1 and C1 of a slab, ζ1 and C1 of a cylinder: the printed rows.
TABLE_5_1 = [
    (0.01, 0.0998, 1.0017, 0.1412, 1.0025),
    (0.05, 0.2218, 1.0082, 0.3143, 1.0124),
    (0.1, 0.3111, 1.0161, 0.4417, 1.0246),
    (0.2, 0.4328, 1.0311, 0.6170, 1.0483),
    (0.3, 0.5218, 1.0450, 0.7465, 1.0712),
    (0.5, 0.6533, 1.0701, 0.9408, 1.1143),
    (0.7, 0.7506, 1.0918, 1.0873, 1.1539),
    (1.0, 0.8603, 1.1191, 1.2558, 1.2071),
    (2.0, 1.0769, 1.1785, 1.5994, 1.3384),
    (3.0, 1.1925, 1.2102, 1.7887, 1.4191),
    (5.0, 1.3138, 1.2402, 1.9898, 1.5029),
    (10.0, 1.4289, 1.2620, 2.1795, 1.5677),
    (20.0, 1.4961, 1.2699, 2.2880, 1.5919),
    (50.0, 1.5400, 1.2727, 2.3572, 1.6002),
    (100.0, 1.5552, 1.2731, 2.3809, 1.6015),
]
OF_CAKES = [row for row in TABLE_5_1 if 0.5 <= row[0] <= 3.0]  # on a rack, in room air
CONDUCTIVITY, DIFFUSIVITY = 0.12, 1.3e-7
HALF_M, DT_S = 0.025, 10.0
Terms = list[tuple[float, float]]


def slab_terms(biot: float, count: int = 30) -> Terms:
    out = []
    for n in range(count):
        low, high = n * math.pi + 1e-9, (n + 0.5) * math.pi - 1e-9
        zeta = brentq(lambda z: z * math.sin(z) - biot * math.cos(z), low, high)
        out.append((zeta, 4 * math.sin(zeta) / (2 * zeta + math.sin(2 * zeta))))
    return out


def cylinder_terms(biot: float, count: int = 30) -> Terms:
    edges = np.concatenate(([1e-9], jn_zeros(0, count)))
    out = []
    for n in range(count):
        zeta = brentq(lambda z: z * j1(z) - biot * j0(z), edges[n], edges[n + 1])
        out.append((zeta, 2 / zeta * j1(zeta) / (j0(zeta) ** 2 + j1(zeta) ** 2)))
    return out


def centre(terms: Terms, fourier: float) -> float:
    return float(sum(c * math.exp(-zeta * zeta * fourier) for zeta, c in terms))


def cooled(film: float, radius_m: float | None) -> Callable[[float], float]:
    """What the shells say is left of the excess at the centre, over time."""
    across = () if radius_m is None else (radius_m,)
    shape = shells(HALF_M, across, radius_m is not None)
    faces = 1.0 if radius_m is None else 1.0 + 2 * HALF_M / radius_m
    skin = HALF_M / (2 * CELLS) / CONDUCTIVITY
    one = np.ones(1)
    rates = Rates(
        exchange=EXCHANGE_CELLS**2 * DIFFUSIVITY / HALF_M**2 * one, hot=0.0 * one,
        loss=faces / (1 / film + skin) / HALF_M * DIFFUSIVITY / CONDUCTIVITY * one,
        bend=0.0 * one, evaporation=0.0 * one, shells=shape,
    )  # fmt: skip
    cells, seen = np.full((CELLS, 1), 1000.0), [1.0]
    for _ in range(round(10 * 3600 / DT_S)):
        cells = step(cells, DT_S, np.zeros(1), rates)
        core = cells[-1, 0] + shape.beyond * (cells[-1, 0] - cells[-2, 0])
        seen.append(float(core) / 1000.0)
    return lambda t_s: float(np.interp(t_s, DT_S * np.arange(len(seen)), seen))


def when(left: Callable[[float], float], share: float) -> float:
    return float(brentq(lambda t_s: left(t_s) - share, 1.0, 10 * 3600.0))


@pytest.mark.parametrize(("biot", "zs", "cs", "zc", "cc"), TABLE_5_1)
def test_the_terms_are_those_of_the_table(
    biot: float, zs: float, cs: float, zc: float, cc: float
) -> None:
    assert slab_terms(biot)[0] == (pytest.approx(zs, abs=6e-5), pytest.approx(cs, abs=6e-5))
    assert cylinder_terms(biot)[0] == (pytest.approx(zc, abs=6e-5), pytest.approx(cc, abs=6e-5))


def test_the_worked_example_of_the_pipe_wall() -> None:
    # Incropera, ch. 5 (plane wall approximating a steel pipe; inputs from memory, the unrounded
    # answers computed): L 40 mm, α 18.8e-6 m²/s, k 63.9, h 500, from −20 °C in 60 °C, 480 s.
    zeta, c1 = slab_terms(500 * 0.04 / 63.9)[0]
    middle = centre([(zeta, c1)], 18.8e-6 * 480 / 0.04**2)

    assert 60 + (-20 - 60) * middle == pytest.approx(43.017, abs=0.01)
    assert 60 + (-20 - 60) * middle * math.cos(zeta) == pytest.approx(45.364, abs=0.01)


@pytest.mark.parametrize(
    ("biot", "fourier", "one_term"),
    [(1.0, 0.2, 0.965141), (1.0, 0.5, 0.772956), (2.0, 0.3, 0.832192), (0.5, 1.0, 0.698385)],
)
def test_the_centre_of_a_slab(biot: float, fourier: float, one_term: float) -> None:
    # One-term values computed with scipy.
    assert centre(slab_terms(biot)[:1], fourier) == pytest.approx(one_term, abs=1e-5)


@pytest.mark.parametrize("biot", [row[0] for row in OF_CAKES])
@pytest.mark.parametrize("share", [0.9, 0.7, 0.5, 0.3])
def test_a_slab_cools_as_its_series_says(biot: float, share: float) -> None:
    terms = slab_terms(biot)
    shown = when(cooled(biot * CONDUCTIVITY / HALF_M, None), share)

    true_s = when(lambda t_s: centre(terms, DIFFUSIVITY * t_s / HALF_M**2), share)

    assert shown == pytest.approx(true_s, rel=0.02)


@pytest.mark.parametrize("biot", [row[0] for row in OF_CAKES])
def test_one_term_of_the_table_gives_a_slabs_last_two_thirds(biot: float) -> None:
    _, zeta, c1, _, _ = next(row for row in TABLE_5_1 if row[0] == biot)
    shown = when(cooled(biot * CONDUCTIVITY / HALF_M, None), 0.3)

    assert shown == pytest.approx(math.log(c1 / 0.3) / zeta**2 * HALF_M**2 / DIFFUSIVITY, rel=0.02)


@pytest.mark.parametrize("biot", [row[0] for row in OF_CAKES])
@pytest.mark.parametrize(("radius_m", "earliest"), [(0.035, -0.08), (0.05, -0.13), (0.1, -0.24)])
def test_a_round_core_is_early_as_its_shells_feel_the_rim_at_once(
    biot: float, radius_m: float, earliest: float
) -> None:
    # A known weakness, here kept from growing: what a wide cake loses at its rim reaches the axis
    # late. The prior counts walls half, and readings teach the loss.
    film = biot * CONDUCTIVITY / HALF_M
    flat, round_ = slab_terms(biot), cylinder_terms(film * radius_m / CONDUCTIVITY)

    def product(t_s: float) -> float:
        fo = DIFFUSIVITY * t_s
        return centre(flat, fo / HALF_M**2) * centre(round_, fo / radius_m**2)

    shown = cooled(film, radius_m)

    for share in (0.9, 0.7, 0.5, 0.3):
        assert earliest <= when(shown, share) / when(product, share) - 1.0 <= 0.0
