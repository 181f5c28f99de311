"""Units of the kitchen against their published factors.

NIST SP 811 (2008), appendix B.8, and NIST Handbook 44, appendix C. The pages were not read; the
figures are from memory and agree with a units library (Pint 0.25.3) to all digits. Those marked
exact follow from the definitions of 1959 (yard and pound) and of the gallon, 231 cubic inches.
"""

from fractions import Fraction

import pytest

from logger.quantity import MASS, VOLUME, mass_kg, temperature_c, volume_ml, volume_unit


@pytest.mark.parametrize(
    ("unit", "kg"),
    [
        ("lb", "0.45359237"),  # exact
        ("oz", "0.028349523125"),  # exact: 1/16 lb
        ("g", "0.001"),
        ("mg", "0.000001"),
        ("tonne", "1000"),
    ],
)
def test_masses_are_exact(unit, kg):
    assert MASS[unit] == Fraction(kg)


@pytest.mark.parametrize(
    ("unit", "ml"),
    [
        ("gallon", "3785.411784"),  # exact: 231 in³
        ("quart", "946.352946"),
        ("pint", "473.176473"),
        ("cup", "236.5882365"),
        ("fl oz", "29.5735295625"),
        ("tbsp", "14.78676478125"),
        ("tsp", "4.92892159375"),
        ("imperial gallon", "4546.09"),  # exact
        ("imperial quart", "1136.5225"),
        ("imperial pint", "568.26125"),
        ("imperial fl oz", "28.4130625"),
    ],
)
def test_volumes_are_exact(unit, ml):
    assert VOLUME[unit] == Fraction(ml)


@pytest.mark.parametrize(
    # SP 811 B.8 prints seven digits.
    ("unit", "ml"),
    [("cup", 236.5882), ("fl oz", 29.57353), ("gallon", 3785.412), ("pint", 473.1765),
     ("quart", 946.3529), ("tbsp", 14.78676), ("tsp", 4.928922), ("imperial fl oz", 28.41306)],
)  # fmt: skip
def test_volumes_are_those_printed_in_sp_811(unit, ml):
    assert float(VOLUME[unit]) == pytest.approx(ml, rel=4e-7)


@pytest.mark.parametrize(
    # The metric kitchen's measures: common practice, no source.
    ("unit", "ml"),
    [("metric cup", 250), ("Australian tablespoon", 20), ("metric tablespoon", 15),
     ("metric teaspoon", 5)],
)  # fmt: skip
def test_metric_measures_go_by_their_own_names(unit, ml):
    assert VOLUME[unit] == ml


def test_a_cup_is_the_one_of_the_united_states_and_not_that_of_labels():
    # 21 CFR 101.9(b)(5)(viii) rounds a cup to 240 mL for labels (from memory).
    assert volume_ml("1 cup") == 236.5882365
    assert volume_ml("1 US cup") == volume_ml("1 cup")
    assert volume_ml("1 metric cup") == 250.0


def test_a_cup_has_16_tablespoons_and_48_teaspoons():
    # Handbook 44, appendix C.
    assert VOLUME["cup"] == 16 * VOLUME["tbsp"] == 48 * VOLUME["tsp"] == 8 * VOLUME["fl oz"]
    assert VOLUME["gallon"] == 4 * VOLUME["quart"] == 8 * VOLUME["pint"] == 16 * VOLUME["cup"]


def test_an_ounce_is_a_mass_and_a_fluid_ounce_a_volume():
    assert mass_kg("1 oz") == pytest.approx(0.028349523125)
    assert volume_unit("oz") is None
    assert volume_unit("fl. oz.") == "fl oz"


@pytest.mark.parametrize(
    # SP 811 B.8: t/°C = (t/°F - 32)/1.8.
    ("fahrenheit", "celsius"),
    [(325, 162.778), (350, 176.667), (375, 190.556), (212, 100.0)],
)
def test_oven_dials_in_fahrenheit(fahrenheit, celsius):
    assert temperature_c(f"{fahrenheit} °F") == pytest.approx(celsius, abs=5e-4)
