"""Films of still room air against a general heat-transfer library: `ht` 1.2 (from PyPI).

Its correlations are those of the handbooks (McAdams for horizontal plates, Churchill & Chu for
upright ones). Air at the film's temperature: conductivity 0.0241 + 7.2e-5 t W/(m K), kinematic
viscosity (13.3 + 0.095 t)e-6 m²/s, Prandtl 0.71 (property tables of Incropera & DeWitt, appendix A,
rounded; from memory).
"""

from __future__ import annotations

import math

import ht
import numpy as np
import pytest
from ht.conv_free_immersed import Nu_horizontal_plate_McAdams, Nu_vertical_plate_Churchill

from logger.thermal import cake_model, priors
from logger.thermal.cake_model import Rates, loss_rate
from logger.thermal.shells import shells

ROOM_C = 23.0
LAYER_M = 0.2  # diameter of the pan
PRANDTL = 0.71


def film(excess_k: float, length_m: float) -> tuple[float, float]:
    """Conductivity over length, and Grashof number, of air between a face and the room."""
    t = ROOM_C + excess_k / 2
    viscosity = (13.3 + 0.095 * t) * 1e-6
    grashof = 9.81 / (t + 273.15) * excess_k * length_m**3 / viscosity**2
    return (0.0241 + 7.2e-5 * t) / length_m, grashof


def horizontal(excess_k: float, upward: bool) -> float:
    """Film in W/(m² K) of a round plate; its length is area over circumference."""
    per_length, grashof = film(excess_k, LAYER_M / 4)
    return float(Nu_horizontal_plate_McAdams(PRANDTL, grashof, upward)) * per_length


def radiation(excess_k: float, emissivity: float = 0.9) -> float:
    return 4 * emissivity * 5.670e-8 * (ROOM_C + excess_k / 2 + 273.15) ** 3


def test_the_library_gives_the_handbooks_example() -> None:
    # Incropera & DeWitt, Example 9.2 (glass fire screen), as the library's documentation has it.
    assert Nu_vertical_plate_Churchill(0.69, 2.63e9) == pytest.approx(147.16185223770603)
    assert ht.__version__.startswith("1.")


def test_the_top_of_a_cake_loses_to_still_air_what_the_prior_says() -> None:
    # At the excess that the prior is told at; 20 % is what correlations differ among themselves.
    excess = cake_model.REFERENCE_EXCESS_K
    assert (
        pytest.approx(horizontal(excess, upward=True) + radiation(excess), rel=0.2)
        == priors.ROOM_FILM_TOP
    )


def test_the_underside_loses_what_the_prior_says() -> None:
    # Rack and table hide about half of the room from it (common practice).
    excess = cake_model.REFERENCE_EXCESS_K
    assert (
        pytest.approx(horizontal(excess, upward=False) + 0.5 * radiation(excess), rel=0.2)
        == priors.ROOM_FILM_UNDER
    )


def test_bare_sides_lose_what_the_prior_says() -> None:
    # 50 mm high; neighbours and the table hide a third of the room (common practice).
    excess = cake_model.REFERENCE_EXCESS_K
    per_length, grashof = film(excess, 0.05)
    rayleigh = Nu_vertical_plate_Churchill(PRANDTL, grashof) * per_length
    assert pytest.approx(rayleigh + 0.67 * radiation(excess), rel=0.2) == priors.BARE_FILM_SIDE


@pytest.mark.parametrize("upward", [True, False])
def test_natural_convection_grows_with_the_quarter_power_of_the_excess(upward: bool) -> None:
    power = math.log(horizontal(60.0, upward) / horizontal(10.0, upward)) / math.log(6.0)

    assert power == pytest.approx(0.25, abs=0.03)


@pytest.mark.parametrize("excess_k", [60.0, 45.0, 20.0, 10.0, 6.0, 4.0])
def test_all_faces_together_grow_with_the_excess_as_the_model_has_it(excess_k: float) -> None:
    def mixed(natural: float) -> float:
        # The cubes of free and forced convection add (Incropera & DeWitt, 9.9).
        return (natural**3 + 2.8**3) ** (1 / 3)

    def whole(excess_k: float) -> float:
        return (
            mixed(horizontal(excess_k, upward=True))
            + mixed(horizontal(excess_k, upward=False))
            + 1.5 * radiation(excess_k)
        )

    one = np.ones(1)
    rates = Rates(one, one, one, priors.BEND * one, 0.0 * one, shells(0.02, (), False))
    shown, _ = loss_rate((ROOM_C + excess_k) * one, ROOM_C * one, rates)

    law = whole(excess_k) / whole(cake_model.REFERENCE_EXCESS_K)
    assert float(shown[0]) == pytest.approx(law, rel=0.05)


def test_all_faces_together_grow_by_the_power_that_the_prior_has() -> None:
    def whole(excess_k: float) -> float:
        return (
            horizontal(excess_k, upward=True)
            + horizontal(excess_k, upward=False)
            + 1.5 * radiation(excess_k)
        )

    power = math.log(whole(60.0) / whole(10.0)) / math.log(6.0)

    assert pytest.approx(power, abs=0.04) == priors.BEND
