"""Choi & Okos (1986) as in ASHRAE Handbook - Refrigeration (2006), ch. 9, Tables 1 and 2.

The point values were computed from those constants (identical in CoolProp 8.0.0, INCOMP::Food*).
"""

import pytest

from logger.thermal.properties import CONSTITUENTS, constituent, mixture

# constituent: (k, density, cp in kJ/(kg K)) at 20, 60 and 95 °C
POINTS = {
    "water": [
        (0.603659, 995.740, 4.12927),
        (0.652707, 983.842, 4.14315),
        (0.678028, 963.568, 4.16966),
    ],
    "protein": [
        (0.201639, 1319.53, 2.03185),
        (0.240774, 1298.80, 2.07601),
        (0.267883, 1280.65, 2.11120),
    ],
    "fat": [
        (0.175118, 917.239, 2.01175),
        (0.163509, 900.536, 2.05532),
        (0.152884, 885.921, 2.08084),
    ],
    "carbohydrate": [
        (0.227426, 1592.89, 1.58567),
        (0.269062, 1580.47, 1.64517),
        (0.294124, 1569.61, 1.68163),
    ],
    "fibre": [
        (0.207037, 1304.18, 1.88065),
        (0.246886, 1289.55, 1.93899),
        (0.273438, 1276.74, 1.97783),
    ],
    "ash": [
        (0.356479, 2418.19, 1.12892),
        (0.403221, 2406.96, 1.19272),
        (0.436490, 2397.14, 1.23888),
    ],
}


@pytest.mark.parametrize("name", sorted(CONSTITUENTS))
def test_every_constituent_has_the_tables_values(name: str) -> None:
    for celsius, (k, density, cp) in zip((20.0, 60.0, 95.0), POINTS[name], strict=True):
        got_k, got_density, got_cp = constituent(name, celsius)

        assert got_k == pytest.approx(k, rel=1e-5)
        assert got_density == pytest.approx(density, rel=1e-5)
        assert got_cp == pytest.approx(cp, rel=1e-5)


def test_water_alone_is_a_mixture_of_itself() -> None:
    water = mixture({"water": 2.0}, 20.0)

    assert water.k_parallel_w_per_mk == pytest.approx(water.k_series_w_per_mk)
    assert water.density_kg_per_m3 == pytest.approx(995.740, rel=1e-5)


def test_void_free_cake_lies_between_its_series_and_parallel_bounds() -> None:
    # Yellow cake: 25.1 % water (USDA SR 18146); the other shares are from memory, rounded. The
    # values of the exact composition are cp 2.310 kJ/(kg K), 1258 kg/m³, k 0.266 to 0.341 W/(m K).
    cake = mixture(
        {"water": 0.251, "protein": 0.053, "fat": 0.146, "carbohydrate": 0.53, "ash": 0.02}, 25.0
    )

    assert cake.cp_j_per_kgk == pytest.approx(2310, rel=0.02)
    assert cake.density_kg_per_m3 == pytest.approx(1258, rel=0.02)
    assert cake.k_series_w_per_mk == pytest.approx(0.266, rel=0.03)
    assert cake.k_parallel_w_per_mk == pytest.approx(0.341, rel=0.03)


def test_pores_lower_density_in_proportion_and_leave_the_specific_heat() -> None:
    shares = {"water": 0.3, "carbohydrate": 0.7}

    solid, crumb = mixture(shares, 25.0), mixture(shares, 25.0, porosity=0.7)

    assert crumb.density_kg_per_m3 == pytest.approx(0.3 * solid.density_kg_per_m3)
    assert crumb.cp_j_per_kgk == pytest.approx(solid.cp_j_per_kgk)
    assert crumb.k_parallel_w_per_mk < 0.3 * solid.k_parallel_w_per_mk


@pytest.mark.parametrize(("shares", "porosity"), [({"water": 0.0}, 0.0), ({"water": 1.0}, 1.0)])
def test_nonsense_is_refused(shares: dict[str, float], porosity: float) -> None:
    with pytest.raises(ValueError):
        mixture(shares, 20.0, porosity)
