"""One-term transient conduction: Incropera & DeWitt, chapter 5, Table 5.1."""

import math

import pytest
from scipy import special

from logger.thermal.conduction import bessel_j, centre_excess, cylinder, slab, slowest_rate_per_s

# Bi, slab ζ1 and C1, cylinder ζ1 and C1 (recomputed with scipy; the printed rows agree).
TABLE = [
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


@pytest.mark.parametrize(("biot", "zs", "cs", "zc", "cc"), TABLE)
def test_the_first_terms_are_the_tables(
    biot: float, zs: float, cs: float, zc: float, cc: float
) -> None:
    assert slab(biot) == (pytest.approx(zs, abs=6e-5), pytest.approx(cs, abs=6e-5))
    assert cylinder(biot) == (pytest.approx(zc, abs=6e-5), pytest.approx(cc, abs=6e-5))


def test_the_worked_example_of_the_pipe_wall() -> None:
    # Incropera, ch. 5 (plane wall approximating a steel pipe; inputs from memory, the unrounded
    # answers computed): L 40 mm, α 18.8e-6 m²/s, k 63.9, h 500, from −20 °C in 60 °C, 480 s.
    term = slab(500 * 0.04 / 63.9)
    middle = centre_excess(18.8e-6 * 480 / 0.04**2, term)

    assert 60 + (-20 - 60) * middle == pytest.approx(43.017, abs=0.01)
    assert 60 + (-20 - 60) * middle * math.cos(term[0]) == pytest.approx(45.364, abs=0.01)


@pytest.mark.parametrize(
    ("biot", "fourier", "one_term"),
    [(1.0, 0.2, 0.965141), (1.0, 0.5, 0.772956), (2.0, 0.3, 0.832192), (0.5, 1.0, 0.698385)],
)
def test_the_centre_of_a_slab(biot: float, fourier: float, one_term: float) -> None:
    # One-term values computed with scipy.
    assert centre_excess(fourier, slab(biot)) == pytest.approx(one_term, abs=1e-5)


def test_bessel_functions_agree_with_scipy() -> None:
    for x in (0.0, 0.5, 2.4, 5.0, 9.0):
        assert bessel_j(0, x) == pytest.approx(special.j0(x), abs=1e-12)
        assert bessel_j(1, x) == pytest.approx(special.j1(x), abs=1e-12)


def test_a_flat_cake_cools_as_a_slab() -> None:
    zeta, _ = slab(10 * 0.02 / 0.12)

    rate = slowest_rate_per_s(0.02, 50.0, 10.0, 0.12, 1.3e-7)

    assert rate == pytest.approx(1.3e-7 * (zeta / 0.02) ** 2, rel=1e-3)


def test_a_biot_number_of_nought_is_refused() -> None:
    for solve in (slab, cylinder):
        with pytest.raises(ValueError, match="Biot"):
            solve(0.0)
