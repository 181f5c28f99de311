"""What the plan says before a single reading."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.plan import CakePlan, Pan, Plan, RoomTemperature
from logger.thermal.priors import base_area_m2, priors, room_prior

LAYER = Plan(
    altitude_m=20.0,
    cake=CakePlan("layer", 0.62, 0.02, 2, Pan("round", diameter_m=0.2, depth_m=0.05)),
)


def test_a_cake_twice_as_deep_takes_two_to_four_times_as_long() -> None:
    deep = replace(LAYER, cake=replace(LAYER.cake, batter_kg=1.24))

    once, twice = priors(LAYER), priors(deep)

    # Time goes with thickness to the power 1.3 to 2; the wall of a round pan takes a share.
    assert 1.5 < once.loss_per_s[0] / twice.loss_per_s[0] < 4.0
    assert 3.0 < once.exchange_per_s[0] / twice.exchange_per_s[0] < 4.0


def test_a_layer_cools_with_a_time_constant_of_half_an_hour_to_an_hour() -> None:
    assert 25 < 1 / priors(LAYER).loss_per_s[0] / 60 < 75


def test_less_known_is_wider() -> None:
    known, unknown = priors(LAYER), priors(Plan())

    for name in ("loss_per_s", "exchange_per_s", "plateau_c"):
        assert getattr(unknown, name)[1] > getattr(known, name)[1]
    assert unknown.bake.heating_per_s[1] > known.bake.heating_per_s[1]
    assert unknown.doubt > known.doubt


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
