"""Pans: base area, volume, depth of batter, and whether a pan is filled as its kind of cake wants.

Geometry is exact. How heavy a litre of batter is and how full a pan should be is common practice;
each figure says where it is from.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from logger.plan import SHAPES, Pan
from logger.quantity import AmountError, amount, length_m
from logger.remedy import WithRemedy

# Mass of one litre of water as it is weighed in a kitchen at 20 °C, in kg/m³ (from memory).
WATER_KG_M3 = 998.2

# Mass of batter over mass of water in the same cup. Foam, layer and pound are the span of the
# figures printed in trade articles (they differ by up to 0.25 for one cake); fruit and
# cheesecake are from memory.
SPECIFIC_GRAVITY: dict[str, tuple[float, float]] = {
    "layer": (0.70, 1.00),
    "chocolate": (0.70, 1.00),
    "carrot": (0.70, 1.00),
    "cupcake": (0.70, 1.00),
    "pound": (0.75, 0.95),
    "sponge": (0.40, 0.55),
    "foam": (0.25, 0.55),
    "fruit": (0.90, 1.15),
    "cheesecake": (0.95, 1.10),
}
# Batter volume over pan volume. Common practice of the trade, from memory: a layer cake half to
# two thirds full, a heavy batter that rises less somewhat fuller.
FILL: dict[str, tuple[float, float]] = {
    "layer": (1 / 2, 2 / 3),
    "chocolate": (1 / 2, 2 / 3),
    "carrot": (1 / 2, 2 / 3),
    "cupcake": (1 / 2, 2 / 3),
    "pound": (1 / 2, 3 / 4),
    "sponge": (1 / 2, 3 / 4),
    "foam": (1 / 2, 3 / 4),
    "fruit": (2 / 3, 7 / 8),
    "cheesecake": (2 / 3, 19 / 20),
}
KIND = "layer"  # what is assumed where nobody says


class PanError(WithRemedy):
    """A pan whose size is not known well enough."""


EXAMPLES = (
    'write for example "round 200 mm x 50 mm", "rectangle 9 x 13 x 2 in", "ring 240 / 80 x 70 mm", '
    '"loaf 200 x 100 x 70 mm" or "cups 12 x 50 mm x 35 mm"'
)
_CROSS = re.compile(r"\s*[x×*]\s*")


def parse_pan(text: str) -> Pan:
    """A pan as people write it on a command line; the last number is the depth.

    Raises:
        PanError: an unknown shape, a missing or impossible dimension.

    >>> parse_pan("round 8 x 2 in").diameter_m
    0.2032
    >>> parse_pan("ring 240 mm / 80 mm x 70 mm").inner_m
    0.08
    """
    shape, _, rest = text.strip().partition(" ")
    shape = {"square": "rectangle"}.get(shape.lower(), shape.lower())
    if shape not in SHAPES:
        raise PanError(f"{shape or text!r} is no shape of a pan", EXAMPLES)
    parts = _CROSS.split(rest.replace("/", " x ") if shape == "ring" else rest)
    names = (*SHAPES[shape], "depth_m")
    if len(parts) != len(names):
        wanted = " x ".join(name.removesuffix("_m") for name in names)
        raise PanError(f"{text!r} does not give {wanted}", EXAMPLES)
    try:
        units = [amount(part).unit for part in parts]
        last = next((unit for unit in reversed(units) if unit), "")
        sizes: dict[str, float | int] = {}
        for name, part, unit in zip(names, parts, units, strict=True):
            if name == "count":
                count = amount(part)
                if count.unit or count.number.denominator != 1:
                    raise PanError(f"{part!r} is no number of cups", EXAMPLES)
                sizes[name] = int(count.number)
            else:
                sizes[name] = length_m(part if unit else f"{part} {last}")
    except AmountError as error:
        raise PanError(error.what, EXAMPLES) from error
    pan = Pan(
        shape=shape,
        diameter_m=sizes.get("diameter_m"),
        inner_m=sizes.get("inner_m"),
        length_m=sizes.get("length_m"),
        width_m=sizes.get("width_m"),
        count=int(sizes["count"]) if "count" in sizes else None,
        depth_m=sizes["depth_m"],
    )
    volume_m3(pan)
    return pan


def base_area_m2(pan: Pan) -> float:
    """Area of the base in square metres; of all cups together.

    Raises:
        PanError: a dimension is missing or impossible.

    >>> nine = base_area_m2(Pan("round", diameter_m=9 * 0.0254))
    >>> round(nine / base_area_m2(Pan("round", diameter_m=8 * 0.0254)), 9)
    1.265625
    """
    return _area_m2(pan, 0.0)


def _area_m2(pan: Pan, share: float) -> float:
    """Area at a share of the depth; 0 is the base, 1 the rim."""
    _check(pan)

    def at(base: float | None, top: float | None) -> float:
        assert base is not None
        return base if top is None else base + share * (top - base)

    if pan.shape in ("rectangle", "loaf"):
        return at(pan.length_m, pan.top_length_m) * at(pan.width_m, pan.top_width_m)
    area = math.pi / 4 * at(pan.diameter_m, pan.top_diameter_m) ** 2
    if pan.shape == "ring":
        assert pan.inner_m is not None
        area -= math.pi / 4 * pan.inner_m**2
    return area * (pan.count or 1) if pan.shape == "cups" else area


def _check(pan: Pan) -> None:
    if pan.shape not in SHAPES:
        raise PanError(f"a {pan.shape!r} pan has no known geometry", EXAMPLES)
    for name in SHAPES[pan.shape]:
        value = getattr(pan, name)
        if value is None or not (0 < value < math.inf):
            raise PanError(f"the {pan.shape} pan has no {name.removesuffix('_m')}", EXAMPLES)
    for name in ("depth_m", "top_diameter_m", "top_length_m", "top_width_m"):
        value = getattr(pan, name)
        if value is not None and not (0 < value < math.inf):
            raise PanError(f"{name.removesuffix('_m')} of the pan is not above 0", EXAMPLES)
    if pan.shape == "ring":
        assert pan.inner_m is not None
        assert pan.diameter_m is not None
        if pan.inner_m >= pan.diameter_m:
            raise PanError("the ring's inner diameter is not smaller than its outer one", EXAMPLES)


def volume_m3(pan: Pan, depth_m: float | None = None) -> float:
    """Volume up to the rim, or up to `depth_m`, in cubic metres; of all cups together.

    Prismatoid rule, exact for straight and for evenly sloping sides.

    Raises:
        PanError: a dimension is missing or impossible, the depth included.

    >>> round(volume_m3(parse_pan("round 8 x 2 in")) * 1e6, 1)
    1647.4
    """
    _check(pan)
    if pan.depth_m is None and (depth_m is None or _slopes(pan)):
        raise PanError(f"the depth of the {pan.shape} pan is not known", 'write  depth = "50 mm"')
    depth = depth_m if depth_m is not None else pan.depth_m
    assert depth is not None
    share = depth / pan.depth_m if pan.depth_m is not None else 0.0
    middle = _area_m2(pan, share / 2)
    return depth / 6 * (_area_m2(pan, 0.0) + 4 * middle + _area_m2(pan, share))


def _slopes(pan: Pan) -> bool:
    return any(x is not None for x in (pan.top_diameter_m, pan.top_length_m, pan.top_width_m))


def depth_of_m(pan: Pan, batter_m3: float) -> float:
    """Depth of a volume of batter that lies level in the pan (in all cups, evenly).

    It may be more than the pan's own depth: then the batter does not fit.

    Raises:
        PanError: as `volume_m3`.
    """
    if not _slopes(pan):
        return batter_m3 / base_area_m2(pan)
    if pan.depth_m is None:
        raise PanError("a pan with sloping sides needs its depth", 'write  depth = "50 mm"')
    low, high = 0.0, pan.depth_m
    if volume_m3(pan) <= batter_m3:
        # Above the rim there is no pan; the rim's area goes on.
        return pan.depth_m + (batter_m3 - volume_m3(pan)) / _area_m2(pan, 1.0)
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if volume_m3(pan, middle) < batter_m3 else (low, middle)
    return (low + high) / 2


def batter_m3(batter_kg: float, specific_gravity: float) -> float:
    """Volume of batter of a specific gravity, in cubic metres."""
    return batter_kg / (specific_gravity * WATER_KG_M3)


def batter_depth_m(pan: Pan, batter_kg: float, specific_gravity: float) -> float:
    """Depth of `batter_kg` of batter in one pan, in metres; raises `PanError`.

    >>> round(batter_depth_m(parse_pan("round 200 mm x 50 mm"), 0.66, 0.85) * 1e3, 1)
    24.8
    """
    return depth_of_m(pan, batter_m3(batter_kg, specific_gravity))


@dataclass(frozen=True, slots=True)
class Fill:
    """How full a pan is.

    Attributes:
        share: batter volume over pan volume, best guess.
        low, high: the same over what the batter's specific gravity may be.
        depth_m: depth of the batter, best guess.
        wanted: what is usual for this kind of cake (common practice).
        word: ``low``, ``right``, ``high`` (surely not what is usual) or ``over`` (above the rim).
        sentence: for the person at the bench.
    """

    share: float
    low: float
    high: float
    depth_m: float
    wanted: tuple[float, float]
    word: str
    sentence: str


def fill(
    pan: Pan,
    batter_kg: float,
    specific_gravity: float | None = None,
    kind: str | None = None,
) -> Fill:
    """How full `batter_kg` fills one pan, and whether that is usual for the kind of cake.

    Args:
        pan: with its depth.
        batter_kg: in one pan, above 0.
        specific_gravity: as measured; None takes what is usual for the kind, with its span.
        kind: of cake; None or an unknown one is taken as a layer cake.

    Raises:
        PanError: the pan's size is not known.

    >>> fill(parse_pan("round 200 mm x 50 mm"), 0.66).word
    'right'
    >>> fill(parse_pan("round 200 mm x 50 mm"), 1.2).word
    'high'
    """
    known = kind if kind in FILL else KIND
    span = SPECIFIC_GRAVITY[known] if specific_gravity is None else (specific_gravity,) * 2
    middle = sum(span) / 2
    whole = volume_m3(pan)
    least, share, most = (batter_m3(batter_kg, g) / whole for g in (span[1], middle, span[0]))
    wanted = FILL[known]
    if share > 1:
        word = "over"
    elif most < wanted[0]:
        word = "low"
    elif least > wanted[1]:
        word = "high"
    else:
        word = "right"
    depth_m = batter_depth_m(pan, batter_kg, middle)
    usual = f"{_percent(wanted[0])} to {_percent(wanted[1])} is usual for a {known} cake"
    at = f"about {_percent(share)} full"
    if least < most:
        at += f" ({least * 100:.0f} to {_percent(most)}, as the batter may weigh)"
    at += f", batter {depth_m * 1e3:.0f} mm deep"
    sentence = {
        "over": f"The pan overflows: {batter_kg * 1e3:.0f} g need {_percent(share)} of its volume.",
        "low": f"The pan is {at}: low, {usual}; it will bake flat and fast.",
        "high": f"The pan is {at}: high, {usual}; it may run over or sink in the middle.",
        "right": f"The pan is {at}; {usual}.",
    }[word]
    return Fill(share, least, most, depth_m, wanted, word, sentence)


def _percent(share: float) -> str:
    return f"{share * 100:.0f} %"


def batter_for_fill_kg(
    pan: Pan, share: float, specific_gravity: float | None = None, kind: str | None = None
) -> float:
    """Batter that fills one pan to a share of its volume; raises `PanError`.

    >>> round(batter_for_fill_kg(parse_pan("round 8 x 2 in"), 0.5, 0.85) * 1e3)
    699
    """
    if specific_gravity is None:
        specific_gravity = sum(SPECIFIC_GRAVITY[kind if kind in FILL else KIND]) / 2
    return share * volume_m3(pan) * specific_gravity * WATER_KG_M3


def describe(pan: Pan) -> str:
    """The pan in a few words, as `parse_pan` reads it.

    >>> describe(parse_pan("square 8 x 8 x 2 in"))
    'rectangle 203.2 x 203.2 x 50.8 mm'
    >>> describe(parse_pan("cups 12 x 50 mm x 35 mm"))
    'cups 12 x 50 x 35 mm'
    """
    values = [getattr(pan, name) for name in (*SHAPES.get(pan.shape, ()), "depth_m")]
    sizes = [str(v) if isinstance(v, int) else f"{v * 1e3:.6g}" for v in values if v is not None]
    joined = " x ".join(sizes)
    if pan.shape == "ring" and len(sizes) >= 2:
        joined = f"{sizes[0]} / {' x '.join(sizes[1:])}"
    return f"{pan.shape} {joined} mm" if sizes else pan.shape
