"""Pans: written, measured, filled."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.formula.pans import (
    PanError,
    base_area_m2,
    batter_depth_m,
    batter_for_fill_kg,
    depth_of_m,
    describe,
    fill,
    parse_pan,
    volume_m3,
)
from logger.plan import Pan

ROUND = parse_pan("round 200 mm x 50 mm")


@pytest.mark.parametrize(
    "written",
    ["round 200 x 50 mm", "Round 200 mm × 50 mm", "round 20 cm x 5 cm", "round 20 x 5 cm"],
)
def test_a_pan_is_read_however_it_is_written(written):
    pan = parse_pan(written)

    assert (pan.diameter_m, pan.depth_m) == (0.2, 0.05)


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("heart 200 x 50 mm", "no shape"),
        ("", "no shape"),
        ("round 200 mm", "does not give diameter x depth"),
        ("round 200 x 50", "no unit"),
        ("round 200 g x 50 g", "not a unit"),
        ("round 0 mm x 50 mm", "has no diameter"),
        ("round -200 mm x 50 mm", "has no diameter"),
        ("round 200 mm x 0 mm", "depth of the pan is not above 0"),
        ("ring 80 / 240 x 70 mm", "inner diameter"),
        ("cups 1/2 x 50 x 35 mm", "no number of cups"),
        ("cups 0 x 50 x 35 mm", "has no count"),
        ("loaf abc x 50 x 35 mm", "does not begin with a number"),
    ],
)
def test_a_pan_that_cannot_be_is_refused_with_examples(written, says):
    with pytest.raises(PanError, match=says) as refused:
        parse_pan(written)

    assert "round 200 mm x 50 mm" in refused.value.remedy


@pytest.mark.parametrize(
    "written",
    [
        "round 200 x 50 mm",
        "rectangle 330 x 230 x 50 mm",
        "ring 240 / 80 x 70 mm",
        "loaf 200 x 100 x 70 mm",
        "cups 12 x 50 x 35 mm",
    ],
)
def test_what_a_pan_is_called_is_read_back_as_that_pan(written):
    assert describe(parse_pan(written)) == written
    assert parse_pan(describe(parse_pan(written))) == parse_pan(written)


def test_a_depth_is_needed_for_a_volume_but_not_for_an_area():
    flat = Pan("round", diameter_m=0.2)

    assert base_area_m2(flat) == pytest.approx(0.0314159, abs=1e-7)
    with pytest.raises(PanError, match="depth"):
        volume_m3(flat)


def test_the_demo_cake_lies_about_25_mm_deep():
    assert batter_depth_m(ROUND, 0.660, 0.85) == pytest.approx(0.0248, abs=1e-4)


@given(st.floats(0.01, 1.4), st.booleans())
def test_depth_and_volume_are_each_other_s_inverse(share, slopes):
    top = 0.24 if slopes else None
    pan = Pan("round", diameter_m=0.2, depth_m=0.05, top_diameter_m=top)
    batter = share * volume_m3(pan)

    depth = depth_of_m(pan, batter)

    if share <= 1:
        assert volume_m3(pan, depth) == pytest.approx(batter, rel=1e-9)
    else:
        assert depth > 0.05


@pytest.mark.parametrize(
    ("batter_kg", "word"), [(0.3, "low"), (0.66, "right"), (1.2, "high"), (1.7, "over")]
)
def test_the_fill_of_a_layer_pan_is_said(batter_kg, word):
    found = fill(ROUND, batter_kg)

    assert found.word == word
    assert found.low < found.share < found.high
    assert f"{found.share * 100:.0f} %" in found.sentence


def test_a_foam_fills_a_pan_with_less_than_half_the_batter_of_a_layer_cake():
    assert fill(ROUND, 0.4, kind="foam").word == "right"
    assert fill(ROUND, 0.4, kind="layer").word == "low"


def test_a_measured_specific_gravity_leaves_no_span():
    found = fill(ROUND, 0.66, specific_gravity=0.9)

    assert found.low == found.share == found.high


def test_batter_for_a_fill_fills_it_so():
    batter = batter_for_fill_kg(ROUND, 0.6, 0.85)

    assert fill(ROUND, batter, 0.85).share == pytest.approx(0.6)
