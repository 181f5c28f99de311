"""What the plan says before a single reading."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from logger.plan import CakePlan, OvenPlan, Pan, Plan, RoomTemperature
from logger.thermal.bake_priors import MOVED, RADIATION, STILL
from logger.thermal.priors import base_area_m2, priors, room_prior

LAYER = Plan(
    altitude_m=20.0,
    cake=CakePlan("layer", 0.62, 0.02, 2, Pan("round", diameter_m=0.2, depth_m=0.05)),
)


def test_a_cake_twice_as_deep_takes_two_to_four_times_as_long() -> None:
    deep = replace(LAYER, cake=replace(LAYER.cake, batter_kg=1.24))

    once, twice = priors(LAYER), priors(deep)

    # Time goes with thickness to the power 1.3 to 2; how far the walls help, the shells know.
    assert 1.5 < once.loss_per_s[0] / twice.loss_per_s[0] < 4.0
    assert once.exchange_per_s[0] / twice.exchange_per_s[0] == pytest.approx(4.0)


def test_a_layer_cools_with_a_time_constant_of_half_an_hour_to_an_hour() -> None:
    assert 25 < 1 / priors(LAYER).loss_per_s[0] / 60 < 75


def test_less_known_is_wider() -> None:
    known, unknown = priors(LAYER), priors(Plan())

    for name in ("loss_per_s", "exchange_per_s", "plateau_c"):
        assert getattr(unknown, name)[1] > getattr(known, name)[1]
    assert unknown.bake.heating_per_s[1] > known.bake.heating_per_s[1]
    assert unknown.doubt > known.doubt


def heating(material: str, fan: bool) -> float:
    pan = replace(LAYER.cake.pan, material=material)
    plan = replace(LAYER, oven=OvenPlan(175.0, fan=fan), cake=replace(LAYER.cake, pan=pan))
    return priors(plan).bake.heating_per_s[0]


def test_the_films_of_an_oven_are_within_what_was_measured() -> None:
    # 20–48 W/(m² K) in all (Baik et al. 1999). Radiation of 0.9 between 373 and 443 K is
    # ε σ (T² + A²)(T + A) = 14.0; natural convection 1.32 (80 K / 0.2 m)^0.25 = 5.9 (Holman).
    still, moved = STILL + RADIATION, MOVED + RADIATION

    assert 20.0 <= still < moved <= 48.0
    assert RADIATION >= 0.9 * 5.670374e-8 * (373.0**2 + 443.0**2) * (373.0 + 443.0)
    assert STILL >= 1.32 * (80.0 / 0.2) ** 0.25


def test_a_pan_holds_a_few_hundredths_of_what_its_cake_does_and_glass_a_fifth() -> None:
    def holds(material: str) -> float:
        pan = replace(LAYER.cake.pan, material=material)
        return priors(replace(LAYER, cake=replace(LAYER.cake, pan=pan))).bake.pan_holds

    # A round of 200 mm in 1.2 mm of aluminium up to 1.5 times its batter, over batter of
    # 2.75 kJ/(kg K), reckoned by hand.
    area_m2 = math.pi * 0.1**2 + math.pi * 0.2 * 1.5 * 0.02
    by_hand = 2700 * 900 * 0.0012 * area_m2 / (LAYER.cake.batter_kg * 2750.0)

    assert holds("aluminium") == pytest.approx(by_hand, rel=0.02)
    assert 0.03 < holds("tinplate") < holds("aluminium") < 0.10
    assert 0.12 < holds("glass") < 0.35


def test_a_fan_helps_a_bright_pan_more_than_a_dark_one() -> None:
    bright = heating("aluminium", True) / heating("aluminium", False)
    dark = heating("dark", True) / heating("dark", False)

    assert 1.2 < dark < bright < 2.0


@pytest.mark.parametrize("kind", ["no such cake", None])
def test_an_unknown_kind_still_has_a_prior(kind: str | None) -> None:
    p = priors(replace(LAYER, cake=replace(LAYER.cake, kind=kind)))

    assert p.loss_per_s[0] > 0


@pytest.mark.parametrize(
    ("pan", "area_m2"),
    [
        (Pan("round", diameter_m=0.2), np.pi * 0.01),
        (Pan("ring", diameter_m=0.2, inner_m=0.1), np.pi * 0.0075),
        (Pan("rectangle", length_m=0.3, width_m=0.2), 0.06),
        (Pan("loaf", length_m=0.2, width_m=0.1), 0.02),
        (Pan("cups", count=12, diameter_m=0.06), 12 * np.pi * 0.0009),
        (Pan("heart"), None),
    ],
)
def test_the_area_of_pans(pan: Pan, area_m2: float | None) -> None:
    got = base_area_m2(pan)

    assert got is None if area_m2 is None else got == pytest.approx(area_m2)


def test_the_pressure_decides_over_the_altitude() -> None:
    # 90 000 Pa: 96.6871 °C (IAPWS-95).
    assert priors(Plan(altitude_m=0.0, pressure_pa=90_000.0)).boiling_c == pytest.approx(
        96.687, abs=0.01
    )


def test_the_plans_room_is_taken_as_two_sigmas_and_an_unknown_one_is_15_to_30() -> None:
    assert room_prior(Plan(room=RoomTemperature(23.0, 2.0))) == (23.0, 1.0)
    centre, sd = room_prior(Plan())
    assert centre - 2 * sd == pytest.approx(15.0, abs=0.5)
    assert centre + 2 * sd == pytest.approx(30.0, abs=0.5)
