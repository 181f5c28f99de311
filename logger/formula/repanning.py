"""Scaling to other pans: geometry, then the same depth of batter, then how full they are."""

from __future__ import annotations

from fractions import Fraction

from logger.formula.kinds import Table
from logger.formula.pans import (
    KIND,
    SPECIFIC_GRAVITY,
    PanError,
    base_area_m2,
    batter_m3,
    depth_of_m,
    describe,
    fill,
    volume_m3,
)
from logger.formula.scaling import Scaled, ScalingError, by_factor, said_factor, total_kg
from logger.plan import Formula, Makes, Pan
from logger.quantity import exact


def scale_to_pans(
    formula: Formula,
    pan: Pan,
    pans: int,
    table: Table,
    *,
    was: tuple[Pan, int] | None = None,
    kind: str | None = None,
) -> Scaled:
    """To other pans, with the batter as deep as before.

    Args:
        formula: what to scale.
        pan: the new one.
        pans: how many.
        table: of ingredients.
        was: pan and number that the formula is made for, where it does not say so itself.
        kind: of cake, for the fill.

    Raises:
        ScalingError: nobody says what pan the formula is for; `pans` is not above 0.
        PanError: the size of a pan is not known.
    """
    made = formula.makes
    old, count = was or (made.pan, made.pans)
    if old is None:
        raise ScalingError(
            f"{formula.name} does not say what pan it is for",
            'write [makes] in its file and below it  pan = { shape = "round", diameter = "200 mm", '
            'depth = "50 mm" }  and  pans = 2',
        )
    if pans < 1:
        raise ScalingError(f"{pans} pans are none", "give 1 or more")
    batter_kg = made.batter_per_pan_kg or float(total_kg(formula) / count)
    gravity = sum(SPECIFIC_GRAVITY[kind if kind in SPECIFIC_GRAVITY else KIND]) / 2
    depth_m = depth_of_m(old, batter_m3(batter_kg, gravity))
    share = _same_depth(old, pan, depth_m)
    factor = share * Fraction(pans, count)
    new_batter_kg = float(exact(batter_kg) * share)
    sentences = [
        f"From {_pans(count, old)} to {_pans(pans, pan)}, the batter as deep as before "
        f"(about {depth_m * 1e3:.0f} mm): × {said_factor(factor)}."
    ]
    warnings: list[str] = []
    if made.batter_per_pan_kg is None:
        sentences.append("The batter in a pan is taken as all lines together.")
    try:
        filled = fill(pan, new_batter_kg, kind=kind)
        (sentences if filled.word == "right" else warnings).append(filled.sentence)
    except PanError:
        warnings.append("The new pan's depth is not known: whether the batter fits is not either.")
    portions = made.portions
    makes = Makes(
        pan=pan,
        pans=pans,
        batter_per_pan_kg=new_batter_kg if made.batter_per_pan_kg is not None else None,
        portions=None if portions is None else max(1, round(portions * factor)),
    )
    return by_factor(
        formula, factor, table,
        makes=makes, sentences=tuple(sentences), of_pans=tuple(warnings),
    )  # fmt: skip


def _same_depth(old: Pan, new: Pan, depth_m: float) -> Fraction:
    """Volume of the new pan over that of the old one, both up to the same depth."""
    if all(
        top is None
        for pan in (old, new)
        for top in (pan.top_diameter_m, pan.top_length_m, pan.top_width_m)
    ):
        return _area_ratio(old, new)
    return Fraction(volume_m3(new, depth_m)) / Fraction(volume_m3(old, depth_m))


def _area_ratio(old: Pan, new: Pan) -> Fraction:
    """Base areas, new over old: exact where π is in both or in neither."""
    round_shapes = ("round", "ring", "cups")
    if (old.shape in round_shapes) == (new.shape in round_shapes):
        return _area_less_pi(new) / _area_less_pi(old)
    return Fraction(base_area_m2(new)) / Fraction(base_area_m2(old))


def _area_less_pi(pan: Pan) -> Fraction:
    base_area_m2(pan)  # complains where a dimension is missing
    if pan.length_m is not None and pan.width_m is not None and pan.diameter_m is None:
        return exact(pan.length_m) * exact(pan.width_m)
    assert pan.diameter_m is not None
    square = exact(pan.diameter_m) ** 2
    if pan.shape == "ring" and pan.inner_m is not None:
        square -= exact(pan.inner_m) ** 2
    return square * (pan.count or 1) if pan.shape == "cups" else square


def _pans(count: int, pan: Pan) -> str:
    return f"{count} × {describe(pan)}"
