"""Thermal properties of foods from their composition.

Source: Choi & Okos (1986), constants as printed in ASHRAE Handbook - Refrigeration (2006),
chapter 9, Tables 1 and 2, for −40 to 150 °C. Two constants differ between prints: the slope of
fat's conductivity is −2.7604e−4 (the tenfold value would make it negative at 66 °C), and water's
specific heat begins with 4.1289 (the handbook's, not the 4.1762 of the original paper).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

Polynomial = tuple[float, float, float]

# constituent: conductivity W/(m K), density kg/m³, specific heat kJ/(kg K); a + b t + c t², t in °C
CONSTITUENTS: dict[str, tuple[Polynomial, Polynomial, Polynomial]] = {
    "protein": (
        (1.7881e-1, 1.1958e-3, -2.7178e-6),
        (1.3299e3, -5.1840e-1, 0.0),
        (2.0082, 1.2089e-3, -1.3129e-6),
    ),
    "fat": (
        (1.8071e-1, -2.7604e-4, -1.7749e-7),
        (9.2559e2, -4.1757e-1, 0.0),
        (1.9842, 1.4733e-3, -4.8008e-6),
    ),
    "carbohydrate": (
        (2.0141e-1, 1.3874e-3, -4.3312e-6),
        (1.5991e3, -3.1046e-1, 0.0),
        (1.5488, 1.9625e-3, -5.9399e-6),
    ),
    "fibre": (
        (1.8331e-1, 1.2497e-3, -3.1683e-6),
        (1.3115e3, -3.6589e-1, 0.0),
        (1.8459, 1.8306e-3, -4.6509e-6),
    ),
    "ash": (
        (3.2962e-1, 1.4011e-3, -2.9069e-6),
        (2.4238e3, -2.8063e-1, 0.0),
        (1.0926, 1.8896e-3, -3.6817e-6),
    ),
    "water": (
        (5.7109e-1, 1.7625e-3, -6.7036e-6),
        (9.9718e2, 3.1439e-3, -3.7574e-3),
        (4.1289, -9.0864e-5, 5.4731e-6),
    ),
}


@dataclass(frozen=True, slots=True)
class Properties:
    """Properties of a mixture.

    Attributes:
        k_parallel_w_per_mk, k_series_w_per_mk: bounds of the conductivity.
        density_kg_per_m3: with its pores.
        cp_j_per_kgk: specific heat.
    """

    k_parallel_w_per_mk: float
    k_series_w_per_mk: float
    density_kg_per_m3: float
    cp_j_per_kgk: float


def _at(p: Polynomial, celsius: float) -> float:
    return p[0] + p[1] * celsius + p[2] * celsius * celsius


def constituent(name: str, celsius: float) -> tuple[float, float, float]:
    """Conductivity W/(m K), density kg/m³ and specific heat kJ/(kg K) of one constituent.

    Raises:
        KeyError: a constituent that is not in the table.

    >>> tuple(round(v, 4) for v in constituent("fat", 20.0))
    (0.1751, 917.2386, 2.0117)
    """
    k, rho, cp = CONSTITUENTS[name]
    return _at(k, celsius), _at(rho, celsius), _at(cp, celsius)


def mixture(fractions: Mapping[str, float], celsius: float, porosity: float = 0.0) -> Properties:
    """Properties of a mixture of mass fractions (normalised here), with pores of air.

    Formula: cp = Σ x cp; 1/ρ = Σ x/ρ; volume fractions weigh the conductivities in parallel and
    in series. Pores lower the density by their share, and the conductivity by Maxwell's relation
    for a dispersed phase that conducts next to nothing: k (1 − p)/(1 + p/2). Hot moist crumb
    conducts more than that (water evaporates and condenses across the pores); that is not in
    these numbers.

    Args:
        fractions: mass fraction of each constituent.
        celsius: temperature, −40 to 150 °C.
        porosity: volume share of air, 0 to below 1.

    Raises:
        ValueError: no positive mass, or a porosity outside 0 to 1.
    """
    total = sum(fractions.values())
    if total <= 0 or min(fractions.values()) < 0:
        raise ValueError("mass fractions must not be negative, and not all zero")
    if not 0.0 <= porosity < 1.0:
        raise ValueError(f"a porosity of {porosity:g} is not a share of 0 to 1")
    volume = parallel = series = heat = 0.0
    for name, fraction in fractions.items():
        k, rho, cp = constituent(name, celsius)
        share = fraction / total
        volume += share / rho
        parallel += share / rho * k
        series += share / rho / k
        heat += share * cp
    pores = (1.0 - porosity) / (1.0 + porosity / 2.0)
    return Properties(
        k_parallel_w_per_mk=parallel / volume * pores,
        k_series_w_per_mk=volume / series * pores,
        density_kg_per_m3=(1.0 - porosity) / volume,
        cp_j_per_kgk=heat * 1000.0,
    )
