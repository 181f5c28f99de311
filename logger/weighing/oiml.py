"""Errors a verified scale may have: OIML R 76-1:2006, 3.5.1 (Table 6) and A.4.4.3.

The standard's table as three other documents quote it; the standard itself was not read.
"""

from __future__ import annotations

# Upper bounds (inclusive, in verification intervals e) of the loads with ±0.5, ±1 and ±1.5 e.
BOUNDS: dict[str, tuple[float, float, float]] = {
    "I": (50_000, 200_000, float("inf")),
    "II": (5_000, 20_000, 100_000),
    "III": (500, 2_000, 10_000),
    "IIII": (50, 200, 1_000),
}
ERRORS_E = (0.5, 1.0, 1.5)


def max_permissible_error_kg(accuracy_class: str, e_kg: float, load_kg: float) -> float | None:
    """Largest error of a scale on initial verification at a load; twice that in service (3.5.2).

    Args:
        accuracy_class: ``I``, ``II``, ``III`` or ``IIII``.
        e_kg: verification interval, above 0.
        load_kg: load; its sign does not matter.

    Returns:
        The error in kilograms, always positive; None for a load outside the class.

    Raises:
        ValueError: an unknown class or an interval that is not above 0.

    >>> max_permissible_error_kg("III", 0.001, 0.501)
    0.001
    """
    bounds = BOUNDS.get(accuracy_class)
    if bounds is None:
        raise ValueError(f"class {accuracy_class!r} is none of {', '.join(BOUNDS)}")
    if not e_kg > 0:
        raise ValueError(f"a verification interval of {e_kg:g} kg is not above 0")
    # A load of 500 e computed in floating point may come out a hair above 500.
    intervals = abs(load_kg) / e_kg * (1 - 1e-9)
    for bound, error_e in zip(bounds, ERRORS_E, strict=True):
        if intervals <= bound:
            return error_e * e_kg
    return None


def error_before_rounding(
    indicated: float, load: float, e: float, added: float, error_at_zero: float = 0.0
) -> float:
    """Corrected error by the changeover point: small weights are added until the reading changes.

    ``P = I + e/2 − ΔL``, ``E = P − L``, ``Ec = E − E0`` (R 76-1, A.4.4.3); any one unit of mass.

    >>> error_before_rounding(1000.0, 1000.0, 5.0, 1.5, 0.5)
    0.5
    """
    return indicated + e / 2 - added - load - error_at_zero
