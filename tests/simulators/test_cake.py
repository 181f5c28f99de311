"""The cake: conduction against published solutions, balances, the plateau, the loss."""

from dataclasses import replace

import numpy as np
import pytest

from simulators.cake import Cake, PanAndBatter, Surroundings, at_altitude
from simulators.crumb import Composition, Crumb, boiling_c, water_activity
from simulators.grid import RoundGrid, inflow

OVEN = Surroundings(175.0, 184.0, 0.03, under=0.92)
ROOM = Surroundings(21.5, 21.5, 0.009, under=0.85)


def cooled_cylinder(
    biot: float, fourier: float, radial: bool, layers: int = 40
) -> tuple[float, float]:
    """Centre and surface of a body cooled from 1 towards 0, insulated below; unit length, k, c."""
    rings = 40 if radial else 1
    grid = RoundGrid(1.0, layers, rings)
    k = np.ones(grid.shape)
    height = np.full(grid.shape, 1.0 / layers)
    capacity = grid.ring_area_m2 / layers
    up, out = grid.between_layers(k, height), grid.between_rings(k, height)
    top = grid.ring_area_m2 / (1.0 / biot + height[-1] / 2.0)
    side = grid.rim_m * height[:, -1] / (1.0 / biot + grid.width_m / 2.0)
    t = np.ones(grid.shape)
    steps = int(np.ceil(fourier / (0.2 / max(layers, rings) ** 2)))
    dt = fourier / steps
    for _ in range(steps):
        heat = inflow(t, up, out)
        heat[-1] -= top * t[-1]
        if radial:
            heat[:, -1] -= side * t[:, -1]
        t = t + heat * dt / capacity
    surface = float(t[-1, 0] / (1.0 + biot * height[-1, 0] / 2.0))
    return float(t[0, 0]), surface


# Slab centre by the full series; agrees with Incropera and DeWitt, Table 5.1, where one term does.
@pytest.mark.parametrize(
    ("biot", "fourier", "centre"),
    [(1.0, 0.2, 0.950642), (1.0, 0.5, 0.772526), (2.0, 0.3, 0.827781), (0.5, 1.0, 0.698383)],
)
def test_conduction_in_a_slab_agrees_with_the_series(
    biot: float, fourier: float, centre: float
) -> None:
    computed, _ = cooled_cylinder(biot, fourier, radial=False)

    assert computed == pytest.approx(centre, abs=0.002)


def test_conduction_gives_the_worked_pipe_wall_of_the_textbook() -> None:
    # Incropera and DeWitt, chapter 5, steel pipe wall: Bi 0.313, Fo 5.64; unrounded 43.017, 45.364
    fourier = 18.8e-6 * 480.0 / 0.04**2
    centre, surface = cooled_cylinder(500.0 * 0.04 / 63.9, fourier, radial=False, layers=20)

    assert 60.0 - 80.0 * centre == pytest.approx(43.017, abs=0.1)
    assert 60.0 - 80.0 * surface == pytest.approx(45.364, abs=0.1)


def test_conduction_in_a_short_cylinder_is_the_product_of_slab_and_cylinder() -> None:
    # Incropera and DeWitt, Table 5.1, Bi = 1: slab 0.8603, 1.1191; cylinder 1.2558, 1.2071
    fourier = 0.6
    product = 1.1191 * np.exp(-(0.8603**2) * fourier) * 1.2071 * np.exp(-(1.2558**2) * fourier)

    centre, _ = cooled_cylinder(1.0, fourier, radial=True, layers=20)

    assert centre == pytest.approx(float(product), rel=0.01)


def test_what_flows_between_cells_is_neither_made_nor_lost() -> None:
    grid = RoundGrid(0.1, 6, 4)
    rng = np.random.default_rng(1)
    k, height = rng.uniform(0.1, 0.5, grid.shape), rng.uniform(0.001, 0.003, grid.shape)
    t = rng.uniform(20.0, 100.0, grid.shape)

    net = inflow(t, grid.between_layers(k, height), grid.between_rings(k, height))

    assert abs(float(net.sum())) < 1e-10
    assert float(abs(net).max()) > 0.1


# Choi and Okos as in ASHRAE Handbook - Refrigeration, "Thermal Properties of Foods": at 20 C
# water k 0.603659 and cp 4129.27, carbohydrate cp 1585.67 (values computed from its equations).
def test_constituents_have_the_handbooks_values() -> None:
    nearly_carbohydrate = Crumb(Composition(0.001, 0.0, 0.0, 0.999, 0.0))
    at_20 = np.array([20.0])
    water_only = nearly_carbohydrate.dense_conductivity(at_20, np.array([1e-12]), np.array([1.0]))

    assert nearly_carbohydrate.water_cp(at_20)[0] == pytest.approx(4129.27, abs=0.01)
    assert nearly_carbohydrate.solids_cp(at_20)[0] == pytest.approx(1585.67, abs=0.01)
    assert water_only[0] == pytest.approx(0.603659, abs=1e-5)


# IAPWS-95 at the pressures of the US Standard Atmosphere 1976, 0 m, 1609.344 m and 3000 m.
@pytest.mark.parametrize(
    ("pressure_pa", "published_c"), [(101_325.0, 99.9743), (83_431.77, 94.62), (70_121.16, 89.9773)]
)
def test_pure_water_boils_where_the_tables_say(pressure_pa: float, published_c: float) -> None:
    assert boiling_c(pressure_pa, np.array([1.0]))[0] == pytest.approx(published_c, abs=0.1)


def test_the_heat_taken_up_is_found_again_in_a_dry_cake() -> None:
    dry = Composition(0.0005, 0.07, 0.2, 0.7095, 0.02)
    cake = Cake(PanAndBatter(composition=dry))
    before = cake.enthalpy_j()
    for _ in range(1200):
        cake.step(1.0, OVEN)

    gained = cake.enthalpy_j() - before
    assert cake.heat_in_j > 50_000.0
    assert gained == pytest.approx(cake.heat_in_j - cake.latent_out_j, rel=0.01)


def test_the_heat_taken_up_is_found_again_as_warmth_and_vapour() -> None:
    cake = Cake()
    before = cake.enthalpy_j()
    for _ in range(2000):
        cake.step(1.0, OVEN)

    # what left as vapour was liquid of about 90 C before
    liquid_j = cake.vapour_out_kg * 4180.0 * 90.0
    gained = cake.enthalpy_j() - before
    assert gained + cake.latent_out_j + liquid_j == pytest.approx(cake.heat_in_j, rel=0.04)
    assert cake.latent_out_j > 0.2 * cake.heat_in_j


def test_the_water_that_is_missing_has_left_as_vapour() -> None:
    cake = Cake()
    for _ in range(2000):
        cake.step(1.0, OVEN)

    assert cake.made.batter_kg - cake.mass_kg == pytest.approx(cake.vapour_out_kg, rel=1e-3)


def test_a_layer_loses_five_to_twelve_per_cent_in_the_bake_and_rises() -> None:
    cake = Cake()
    for _ in range(34 * 60):
        cake.step(1.0, OVEN)

    # common practice for layer cakes; no single source
    assert 0.05 <= cake.loss <= 0.12
    assert 0.033 < cake.height_m < 0.040


@pytest.mark.parametrize("pressure_pa", [101_325.0, 83_431.77])
def test_the_core_ends_on_a_plateau_not_above_the_local_boiling_point(pressure_pa: float) -> None:
    cake = Cake(at_altitude(PanAndBatter(), pressure_pa))
    core = []
    for _ in range(55 * 60):
        cake.step(1.0, OVEN)
        core.append(cake.at_height_c(0.012))
    moist = float((cake.water_kg / cake.solids_kg)[4, 0])
    syrup_c = float(boiling_c(pressure_pa, water_activity(np.array([moist])))[0])

    # three stages of the core's curve: Watanabe, Kiyoyoshi and Yamada 1992
    assert max(core) <= syrup_c + 0.01
    assert core[40 * 60] > syrup_c - 6.0
    assert core[45 * 60] - core[40 * 60] < 0.2 * (core[15 * 60] - core[10 * 60])


def test_the_core_carries_over_and_then_cools_more_slowly_than_at_first() -> None:
    cake = Cake()
    for _ in range(33 * 60):
        cake.step(1.0, OVEN)
    out_c = cake.at_height_c(0.012)
    core = []
    for second in range(125 * 60):
        if second == 900:
            cake.unmould()
        cake.step(1.0, ROOM)
        core.append(cake.at_height_c(0.012))

    assert core[60] > out_c - 1.5
    excess = [value - 21.5 for value in core]
    early, late = excess[3600] / excess[2400], excess[7200] / excess[6000]
    assert late > early  # not one exponential: the rate falls as the cake cools


def test_finer_cells_change_the_core_by_less_than_a_probe_can_tell_from_its_place() -> None:
    coarse, fine = Cake(layers=12, rings=5), Cake(layers=18, rings=7)
    for _ in range(15 * 60):
        coarse.step(1.0, OVEN)
        fine.step(1.0, OVEN)

    assert coarse.at_height_c(0.012) == pytest.approx(fine.at_height_c(0.012), abs=2.0)


def test_steps_too_long_for_the_scheme_are_refused() -> None:
    with pytest.raises(ValueError, match=r"at most 1\.5 s"):
        Cake().step(5.0, OVEN)


def test_a_composition_that_does_not_sum_to_one_is_refused() -> None:
    with pytest.raises(ValueError, match="sum to one"):
        replace(Composition(), water=0.5)
