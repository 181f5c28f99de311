"""Volumes and areas of pans against exact geometry.

Status: computed. The figures are inches and exact formulas (π d² h / 4, l w h), worked out apart
from the code; 1 in = 25.4 mm exactly (international yard and pound agreement of 1959).
"""

from __future__ import annotations

import math

import pytest

from logger.formula.pans import base_area_m2, parse_pan, volume_m3
from logger.plan import Pan

VOLUMES_ML = [
    ("round 8 x 2 in", 1647.4),
    ("round 9 x 2 in", 2085.0),
    ("round 10 x 2 in", 2574.1),
    ("square 8 x 8 x 2 in", 2097.5),
    ("rectangle 9 x 13 x 2 in", 3834.6),
]


@pytest.mark.parametrize(("written", "ml"), VOLUMES_ML)
def test_volumes_of_common_pans_are_exact_geometry(written: str, ml: float) -> None:
    assert volume_m3(parse_pan(written)) * 1e6 == pytest.approx(ml, abs=0.05)


def test_a_nine_inch_pan_has_1_265625_times_the_base_of_an_eight_inch_one() -> None:
    """(9/8)² = 81/64 = 1.265625, whatever π is."""
    nine, eight = parse_pan("round 9 x 2 in"), parse_pan("round 8 x 2 in")

    assert base_area_m2(nine) / base_area_m2(eight) == pytest.approx(1.265625, rel=1e-14)


def test_a_ring_is_the_difference_of_two_rounds() -> None:
    """π/4 (240² − 80²) mm² · 70 mm = 2 814 867 mm³."""
    ring = parse_pan("ring 240 / 80 x 70 mm")

    assert volume_m3(ring) * 1e9 == pytest.approx(math.pi / 4 * (240**2 - 80**2) * 70, rel=1e-12)


def test_twelve_cups_hold_twelve_times_one() -> None:
    one, twelve = parse_pan("cups 1 x 50 x 35 mm"), parse_pan("cups 12 x 50 x 35 mm")

    assert volume_m3(twelve) == pytest.approx(12 * volume_m3(one), rel=1e-15)


def test_a_sloping_round_is_the_frustum_of_a_cone() -> None:
    """V = π h / 12 (d² + d D + D²), with d the base and D the rim."""
    cup = Pan("cups", count=1, diameter_m=0.05, top_diameter_m=0.07, depth_m=0.035)

    expected = math.pi * 0.035 / 12 * (0.05**2 + 0.05 * 0.07 + 0.07**2)

    assert volume_m3(cup) == pytest.approx(expected, rel=1e-12)


def test_a_sloping_loaf_is_the_frustum_of_a_wedge() -> None:
    """V = h/6 (a b + (a+A)(b+B) + A B), the prismatoid rule with the middle section doubled."""
    a, b, top_a, top_b, h = 0.20, 0.09, 0.22, 0.11, 0.06
    loaf = Pan("loaf", length_m=a, width_m=b, top_length_m=top_a, top_width_m=top_b, depth_m=h)

    expected = h / 6 * (a * b + (a + top_a) * (b + top_b) + top_a * top_b)

    assert volume_m3(loaf) == pytest.approx(expected, rel=1e-12)
