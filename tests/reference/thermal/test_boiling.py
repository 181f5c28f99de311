"""Boiling point against IAPWS-95 and pressure against the US Standard Atmosphere 1976."""

import pytest

from logger.thermal.boiling import boiling_point_c, pressure_pa

# US Standard Atmosphere 1976 (geometric altitude) with IAPWS-95 (computed with CoolProp 8.0.0).
ALTITUDES = [
    (0.0, 101_325.00, 99.9743),
    (500.0, 95_461.29, 98.3127),
    (1000.0, 89_876.29, 96.6494),
    (1500.0, 84_559.68, 94.9843),
    (1609.344, 83_431.77, 94.6200),
    (2000.0, 79_501.42, 93.3174),
    (2500.0, 74_691.76, 91.6484),
    (3000.0, 70_121.16, 89.9773),
]


@pytest.mark.parametrize(("altitude_m", "pascals", "boils_c"), ALTITUDES)
def test_pressure_and_boiling_point_at_an_altitude(
    altitude_m: float, pascals: float, boils_c: float
) -> None:
    pressure = pressure_pa(altitude_m)

    assert pressure == pytest.approx(pascals, abs=0.5)
    assert boiling_point_c(pressure) == pytest.approx(boils_c, abs=0.001)


# IAPWS-95 by pressure, same source.
@pytest.mark.parametrize(
    ("pascals", "boils_c"),
    [
        (101_325.0, 99.9743),
        (100_000.0, 99.6059),
        (95_000.0, 98.1784),
        (90_000.0, 96.6871),
        (85_000.0, 95.1255),
        (80_000.0, 93.4855),
        (70_000.0, 89.9317),
    ],
)
def test_boiling_point_at_a_pressure(pascals: float, boils_c: float) -> None:
    assert boiling_point_c(pascals) == pytest.approx(boils_c, abs=0.001)


# Verification values of IAPWS-IF97, region 4, backward equation (computed with
# iapws 1.5.5; the release's own print is from memory).
@pytest.mark.parametrize(
    ("megapascals", "kelvin"), [(0.1, 372.755919), (1.0, 453.035632), (10.0, 584.149488)]
)
def test_the_saturation_equation_gives_its_verification_values(
    megapascals: float, kelvin: float
) -> None:
    assert boiling_point_c(megapascals * 1e6) + 273.15 == pytest.approx(kelvin, abs=1e-5)


@pytest.mark.parametrize("pascals", [0.0, 600.0, 3e7])
def test_a_pressure_at_which_water_does_not_boil_is_refused(pascals: float) -> None:
    with pytest.raises(ValueError, match="outside"):
        boiling_point_c(pascals)
