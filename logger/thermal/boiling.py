"""Where water boils in this kitchen: pressure from altitude, boiling point from pressure."""

from __future__ import annotations

import math

# US Standard Atmosphere 1976, troposphere: sea-level pressure and temperature, lapse rate, and the
# exponent g0 M / (R* L) with R* = 8 314.32 as that standard fixes it.
SEA_LEVEL_PA = 101_325.0
SEA_LEVEL_K = 288.15
LAPSE_K_PER_M = 0.0065
EXPONENT = 9.80665 * 28.9644 / (8314.32 * LAPSE_K_PER_M)
EARTH_RADIUS_M = 6_356_766.0

# IAPWS Industrial Formulation 1997, region 4 (saturation line): coefficients n1 … n10 of the
# release, Table 34. From memory; the tests check them against the boiling points of IAPWS-95.
_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)


def pressure_pa(altitude_m: float) -> float:
    """Pressure of the standard atmosphere at a geometric altitude, −500 to 11 000 m.

    Source: US Standard Atmosphere 1976.

    >>> round(pressure_pa(1000.0))
    89876
    """
    geopotential_m = EARTH_RADIUS_M * altitude_m / (EARTH_RADIUS_M + altitude_m)
    return SEA_LEVEL_PA * math.pow(1.0 - LAPSE_K_PER_M * geopotential_m / SEA_LEVEL_K, EXPONENT)


def boiling_point_c(pressure: float) -> float:
    """Boiling point of water at a pressure in pascals.

    Source: IAPWS-IF97, equation 31 (backward equation of the saturation line).

    Raises:
        ValueError: a pressure outside the formula's range (611 Pa to 22 MPa).

    >>> round(boiling_point_c(101_325.0), 2)
    99.97
    """
    if not 611.213 <= pressure <= 22_064_000.0:
        raise ValueError(f"{pressure:g} Pa lies outside 611 Pa to 22 MPa")
    beta = math.pow(pressure / 1e6, 0.25)
    e = beta * beta + _N[2] * beta + _N[5]
    f = _N[0] * beta * beta + _N[3] * beta + _N[6]
    g = _N[1] * beta * beta + _N[4] * beta + _N[7]
    d = 2.0 * g / (-f - math.sqrt(f * f - 4.0 * e * g))
    root = math.sqrt((_N[9] + d) ** 2 - 4.0 * (_N[8] + _N[9] * d))
    return (_N[9] + d - root) / 2.0 - 273.15
