"""Transient conduction in a slab and a cylinder: the first term of the series.

Source: Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, chapter 5, Table 5.1.
"""

from __future__ import annotations

import math
from collections.abc import Callable

HALVINGS = 80  # more than the bits of a float


def root(f: Callable[[float], float], low: float, high: float) -> float:
    """The root of an increasing function by halving."""
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if f(middle) > 0:
            high = middle
        else:
            low = middle
    return (low + high) / 2


def bessel_j(order: int, x: float) -> float:
    """Bessel function of the first kind, order 0 or 1, by its power series (0 ≤ x ≤ 10)."""
    term = 1.0 if order == 0 else x / 2
    total = term
    for n in range(1, 60):
        term *= -(x * x / 4) / (n * (n + order))
        total += term
    return total


def slab(biot: float) -> tuple[float, float]:
    """ζ1 and C1 of a plane wall of thickness 2L with Bi = h L / k.

    Formula: ζ tan ζ = Bi; C1 = 4 sin ζ / (2ζ + sin 2ζ).

    Raises:
        ValueError: Bi not positive.

    >>> tuple(round(v, 4) for v in slab(1.0))
    (0.8603, 1.1191)
    """
    if biot <= 0:
        raise ValueError(f"a Biot number of {biot:g} is not positive")
    zeta = root(lambda z: z * math.tan(z) - biot, 0.0, math.pi / 2 - 1e-12)
    return zeta, 4 * math.sin(zeta) / (2 * zeta + math.sin(2 * zeta))


def cylinder(biot: float) -> tuple[float, float]:
    """ζ1 and C1 of a long cylinder of radius R with Bi = h R / k.

    Formula: ζ J1(ζ)/J0(ζ) = Bi; C1 = (2/ζ) J1/(J0² + J1²).

    Raises:
        ValueError: Bi not positive.

    >>> tuple(round(v, 4) for v in cylinder(1.0))
    (1.2558, 1.2071)
    """
    if biot <= 0:
        raise ValueError(f"a Biot number of {biot:g} is not positive")
    # Below the first root of J0 (2.404826) J0 is positive, so the form without a quotient is safe.
    zeta = root(lambda z: z * bessel_j(1, z) - biot * bessel_j(0, z), 0.0, 2.4048255576957)
    j0, j1 = bessel_j(0, zeta), bessel_j(1, zeta)
    return zeta, 2 / zeta * j1 / (j0 * j0 + j1 * j1)


def centre_excess(fourier: float, term: tuple[float, float]) -> float:
    """Share of the initial excess left at the centre, C1 exp(−ζ1² Fo); good for Fo > 0.2.

    Args:
        fourier: α t / L².
        term: ζ1 and C1 of `slab` or `cylinder`.
    """
    zeta, c1 = term
    return c1 * math.exp(-zeta * zeta * fourier)


def slowest_rate_per_s(
    half_height_m: float, radius_m: float, film_w_per_m2k: float, k_w_per_mk: float, alpha: float
) -> float:
    """Decay rate of the slowest mode of a short cylinder (a slab and a cylinder multiplied).

    Args:
        half_height_m, radius_m: half the height and the radius.
        film_w_per_m2k: coefficient of its surfaces.
        k_w_per_mk: conductivity.
        alpha: diffusivity in m²/s.
    """
    z_slab, _ = slab(film_w_per_m2k * half_height_m / k_w_per_mk)
    z_round, _ = cylinder(film_w_per_m2k * radius_m / k_w_per_mk)
    return alpha * ((z_slab / half_height_m) ** 2 + (z_round / radius_m) ** 2)
