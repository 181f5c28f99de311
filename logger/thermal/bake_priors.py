"""What is known of a bake before the first reading: heating, rising, vapour, plateau, probe.

Centres come from physics and published ranges, never from recordings; spreads are standard
deviations (of logarithms, where the quantity is a rate or a ratio).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from logger.plan import CakePlan, Pan
from logger.thermal.shells import CELLS, Shells, shells

# Films in the oven, W/(m² K): 20–48 in all, most of it radiation (Baik et al. 1999). Natural
# convection over 0.2 m, 80 K hotter, 6 (Holman), some draught; with a fan 15–25. Radiation between
# 100 and 170 °C with an emissivity of 0.9 is 14, and more from bare elements.
STILL, MOVED, RADIATION = 8.0, 20.0, 17.0
CRUST_EMISSIVITY = 0.9


class PanWall(NamedTuple):
    """What a pan's wall does to the heat that comes to it.

    Attributes:
        emissivity: what it takes in of the radiation.
        holds_back: m² K/W.
        holds: J/(m² K).
    """

    emissivity: float
    holds_back: float
    holds: float


# Bright metal takes in 0.1 to 0.3, dark pans and non-metals 0.9 (Holman). Usual walls (common
# practice), their properties from Incropera's appendix A: aluminium 1.2 mm of 2700 kg/m³ and 900
# J/(kg K), tinned and coated steel 0.6 and 0.7 mm of 7850 and 480, glass 5 mm of 2500, 800 and
# 1.0 W/(m K), silicone 2.5 mm of 1150, 1300 and 0.2.
PANS: dict[str, PanWall] = {
    "aluminium": PanWall(0.25, 0.0, 2900.0),
    "tinplate": PanWall(0.3, 0.0, 2300.0),
    "dark": PanWall(0.9, 0.0, 2600.0),
    "glass": PanWall(0.9, 0.005, 10_000.0),
    "silicone": PanWall(0.9, 0.0125, 3700.0),
}
UNKNOWN_PAN = PanWall(0.5, 0.0, 2800.0)
WALLS_ABOVE = 1.5  # a pan is filled to two thirds (common practice)
WALLS_SEE = 0.8  # a rim stands in the shade of its neighbours and racks (common practice)
# The tube of a ring sees mostly itself: as high as it is wide, 0.41 of what it sees is outside
# (view factor of coaxial discs, Incropera ch. 13).
TUBE_SEES = 0.4
# Batter: 0.20–0.25 W/(m K), 2.5–2.95 kJ/(kg K) (Sweat 1973; Rask 1989; Baik et al. 2001).
BATTER_CONDUCTIVITY, BATTER_CP = 0.22, 2750.0
BATTER_DENSITY = {"sponge": 550.0, "fruit": 1100.0}
USUAL_BATTER_DENSITY = 850.0
# Moist hot crumb conducts two to seven times as well as cool (de Vries, Sluimer & Bloksma 1989):
# 3.7 in the middle, met ten to fifteen kelvins below boiling, where vapour carries 0.45 of what it
# does 5 K below it; the spread is that of two to seven.
VAPOUR, VAPOUR_SPREAD = 2.7 / 0.45, 0.45
# Vapour leaves through the top alone: at 80 °C such a share of what the top takes in. A cake loses
# 5 to 12 % of its weight, part of it while it cools. With 0.1 layers and loaves lose 2 to 4 % in
# the oven, with 0.5 five to six; where the skin dries early, hardly anything passes.
EVAPORATION, EVAPORATION_SPREAD = 0.1, 0.8
# Syrup of a batter boils 1 to 3 K above water (half sugar, half water: 1.8 K; common practice); the
# spread is that of the sugar, of drying crumb, and of a probe's offset.
SYRUP_K, SYRUP_SPREAD_K = 2.0, 0.9
# Batter conducts better than the crumb it becomes: 0.20–0.25 to 0.08–0.13 W/(m K) (as above).
CONDUCTS_SPREAD = 0.18
# Crumb conducts 0.08–0.13 W/(m K) and weighs 250–450 kg/m³ within its kind give or take a fifth;
# exchange goes with the product of both.
EXCHANGE_SPREAD = 0.3
# What a crumb's height leaves of the ratio of densities after the loss of water; its spread.
EXPANSION_SPREAD = 0.2
# A top that takes in more heat than the base is hotter. In a plate half the difference of its faces
# is 2 (q₁ − q₂)/(q₁ + q₂) of what they are hotter than its middle; what comes from the sides makes
# it less. A wet top gives off some of what it takes in more: three quarters are left (a judgement).
# The spread is that of top and bottom heat; of a pan that is not told, that of bright and dark.
LEAN_LEFT, LEAN_SPREAD, LEAN_SPREAD_UNKNOWN = 0.75, 0.25, 0.4
# A tip is set anywhere in the batter, or a little above what it will rise to cover.
TIP = (0.65, 0.22)
# Pushed into the middle of a cake by eye: share of its height (common practice).
TIP_PUSHED = (0.5, 0.12)


@dataclass(frozen=True, slots=True)
class BakePriors:
    """Centre and spread of what only the oven shows.

    Attributes:
        exchange_per_s: rate between neighbouring cells of cool crumb, through top and bottom
            alone; spread of its logarithm.
        heating_per_s: rate of heating of the whole cake; spread of its logarithm.
        conducts: conductivity of batter over that of its crumb; spread of its logarithm.
        expansion: height of crumb over that of its batter; spread of its logarithm.
        vapour: what vapour adds to the exchange just below boiling; spread of its logarithm.
        evaporation: what the wet outside gives off as vapour at 80 °C, over what it takes in;
            spread of its logarithm.
        shells: the shape, once risen.
        walls: share of the heating that comes through the walls, and so grows with the height.
        pan_holds: heat that a kelvin of the pan takes, over that of the whole cake.
        lean: how much hotter the top is than the base, as `at_tip` counts it.
        tip: height of the probe's tip over the base, in heights of the batter.
    """

    exchange_per_s: tuple[float, float]
    heating_per_s: tuple[float, float]
    conducts: tuple[float, float]
    expansion: tuple[float, float]
    vapour: tuple[float, float]
    evaporation: tuple[float, float]
    shells: Shells
    walls: float
    pan_holds: float
    lean: tuple[float, float]
    tip: tuple[float, float] = TIP


def bake_priors(
    cake: CakePlan,
    fan: bool,
    per_area_kg: float,
    crumb: tuple[float, float, float],
    rim_per_area: float,
    known: bool,
) -> BakePriors:
    """The priors of a bake.

    Args:
        cake: of the plan.
        fan: whether the oven has one.
        per_area_kg: batter in kg per m² of one pan's base.
        crumb: density, conductivity and (through top and bottom) exchange rate of the crumb.
        rim_per_area: length of the pan's walls over the area of its base, 1/m.
        known: whether `per_area_kg` follows from the plan.
    """
    density, k, exchange = crumb
    batter = _batter_density(cake, per_area_kg)
    height = per_area_kg / density
    moved = moved_air(fan)
    film = moved + RADIATION
    material = cake.pan.material if cake.pan else ""
    wall = PANS.get(material, UNKNOWN_PAN)
    under = moved + RADIATION * wall.emissivity / CRUST_EMISSIVITY
    # From the surface to the middle of the outer cell.
    skin = height / (4 * CELLS) / BATTER_CONDUCTIVITY
    top = 1.0 / (1.0 / film + skin)
    base = 1.0 / (1.0 / under + wall.holds_back + skin)
    up_the_walls = rim_per_area * per_area_kg / batter  # m² per m² of the base
    walls = up_the_walls * WALLS_SEE * base
    faces = top + base + walls
    shape = shells(height / 2, *_across(cake.pan))
    return BakePriors(
        exchange_per_s=(exchange, EXCHANGE_SPREAD if known else 0.8),
        heating_per_s=(faces / (per_area_kg * BATTER_CP), 0.4 if known else 0.7),
        conducts=(BATTER_CONDUCTIVITY / k, CONDUCTS_SPREAD),
        expansion=(max(1.1, 0.93 * batter / density), EXPANSION_SPREAD if known else 0.35),
        vapour=(VAPOUR, VAPOUR_SPREAD),
        shells=shape,
        walls=walls / faces,
        pan_holds=(1.0 + WALLS_ABOVE * up_the_walls) * wall.holds / (per_area_kg * BATTER_CP),
        lean=(
            LEAN_LEFT * 2.0 * (top - base) / (top + base) / (1.0 + shape.sides),
            LEAN_SPREAD if material in PANS else LEAN_SPREAD_UNKNOWN,
        ),
        evaporation=(EVAPORATION * top / faces, EVAPORATION_SPREAD),
    )


def moved_air(fan: bool) -> float:
    """What an oven's air passes to a surface, besides `RADIATION`; W/(m² K)."""
    return MOVED if fan else STILL


def _batter_density(cake: CakePlan, per_area_kg: float) -> float:
    """Density of the batter: from mass and depth where the plan has both."""
    if cake.batter_kg and cake.batter_depth_m:
        return min(max(per_area_kg / cake.batter_depth_m, 350.0), 1250.0)
    return BATTER_DENSITY.get(cake.kind or "", USUAL_BATTER_DENSITY)


def _across(pan: Pan | None) -> tuple[tuple[float, ...], bool]:
    """Half of each width (of a round cake: the radius), and whether it is round."""
    if pan is None:
        return (), False
    if pan.shape in ("rectangle", "loaf") and pan.length_m and pan.width_m:
        return (pan.length_m / 2, pan.width_m / 2), False
    if pan.diameter_m is None:
        return (), False
    if pan.shape == "ring" and pan.inner_m:
        return ((pan.diameter_m - pan.inner_m) / 4,), False
    return (pan.diameter_m / 2,), True
