"""Amounts as people write them; factors from NIST SP 811, appendix B (exact by definition)."""

import pytest

from logger import quantity as q


@pytest.mark.parametrize(
    ("text", "kg"),
    [
        ("240 g", 0.24),
        ("240g", 0.24),
        ("1,5 kg", 1.5),
        ("8 1/2 oz", 8.5 * 0.028349523125),  # SP 811 B.8: ounce (avoirdupois) 2.834 952 E-02 kg
        ("1 lb", 0.45359237),  # SP 811 B.8: pound (avoirdupois) 4.535 924 E-01 kg
        ("⅓ oz", 0.028349523125 / 3),
        ("1½ kg", 1.5),
        ("2 pounds", 0.90718474),
        ("500 mg", 0.0005),
    ],
)
def test_masses_are_read(text, kg):
    assert q.mass_kg(text) == pytest.approx(kg, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("2-3 g", "range"),
        ("2 to 3 g", "range"),
        ("1,200 g", "comma"),
        ("some", "begin with a number"),
        ("1/0 g", "zero"),
        ("240", "no unit"),
        ("3 furlongs", "not a unit"),
    ],
)
def test_what_is_not_a_mass_is_refused_with_a_remedy(text, word):
    with pytest.raises(q.AmountError, match=word) as refused:
        q.mass_kg(text)

    assert refused.value.remedy


def test_a_temperature_and_a_difference_are_two_things():
    # SP 811 B.8: t/°C = (t/°F - 32)/1.8
    assert q.temperature_c("350 °F") == pytest.approx(176.6667, abs=1e-4)
    assert q.temperature_difference_k("9 °F") == pytest.approx(5.0)
    assert q.temperature_with_spread("23 ± 2 °C") == (23.0, 2.0)
    assert q.temperature_with_spread("73.4 °F ± 3.6 °F") == (
        pytest.approx(23.0),
        pytest.approx(2.0),
    )
