"""What the plan says of the physics before a single reading: centres and spreads.

Centres come from physics and published ranges. Within those ranges some choices were made while
watching development data: for a plan that tells nothing, the depth, the doubt and the spread of
hot conduction, with one real cooling curve (mosaicData's CoolingWater) in view. So the check on
that curve is no blind one. What only the oven shows is in `logger.thermal.bake_priors`. Rates are
those of `logger.thermal.cake_model`. Spreads are standard deviations of
logarithms (about relative errors) where the quantity is a rate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from logger.plan import Pan, Plan
from logger.thermal.bake_priors import (
    SYRUP_K,
    SYRUP_SPREAD_K,
    TUBE_SEES,
    WALLS_SEE,
    BakePriors,
    bake_priors,
)
from logger.thermal.boiling import boiling_point_c, pressure_pa
from logger.thermal.properties import mixture
from logger.thermal.shells import CELLS, EXCHANGE_CELLS

# Crumb after the bake by mass, rounded from USDA SR 18146 (yellow cake): the composition matters
# little (specific heats of cakes differ by 5 %), the air in it matters much.
CRUMB = {"water": 0.30, "fat": 0.15, "carbohydrate": 0.48, "protein": 0.055, "ash": 0.015}
CRUMB_C = 60.0
# Share of the batter that is left after the bake: weight loss is 5 to 12 % (common practice).
AFTER_LOSS = 0.92
# Density of the finished crumb in kg/m³ by kind, within 250–480 (Sweat 1973; Rask 1989).
CRUMB_DENSITY = {
    "layer": 330.0,
    "sponge": 250.0,
    "pound": 450.0,
    "chocolate": 360.0,
    "carrot": 400.0,
    "fruit": 600.0,
}
# Measured conductivity of crumb at room temperature, W/(m K): 0.08–0.13 (Sweat), 0.12 (Baik).
# The constituents' mixture with pores gives too little: moist pores are not empty.
CRUMB_CONDUCTIVITY = 0.115
BATTER_DENSITY = 800.0  # within 600–950 kg/m³ (same sources)
# Films in W/(m² K): still room air on crust 4–7 by convection and 5–6 by radiation; the underside
# of a pan on a rack less (Holman; Incropera).
ROOM_FILM_TOP = 11.0
ROOM_FILM_UNDER = 6.5
# Out of the pan: the bare underside on a rack, and the bare sides (same sources).
BARE_FILM_UNDER, BARE_FILM_SIDE = 9.0, 10.0
# By what power of the excess these films grow at 30 K of it: natural convection 0.25, in a room's
# moving air 0.2; radiation 0.14 (from its law); in the shares above.
BEND = 0.18
# How place changes the loss relative to a pan on a rack: centre, and spread of its logarithm.
# Counter: one side blocked. Fan: about twice. Ice bath: water conducts. (common practice)
PLACES: dict[str, tuple[float, float]] = {
    "in pan, on rack": (1.0, 0.15),
    "in pan, on counter": (0.75, 0.2),
    "out of pan, on rack": (1.3, 0.25),
    "rack with fan": (2.0, 0.3),
    "refrigerator": (1.25, 0.35),
    "freezer": (1.4, 0.4),
    "ice bath": (3.0, 0.6),
}
UNKNOWN_PLACE = (1.1, 0.45)
# Air of cold places where no channel measures it: centre and spread in °C (common practice).
COLD_AIR: dict[str, tuple[float, float]] = {
    "refrigerator": (5.0, 2.0),
    "freezer": (-16.0, 4.0),
    "ice bath": (1.0, 1.0),
}
ROOM_UNKNOWN = (22.5, 3.8)  # 15–30 °C as a central 95 %


@dataclass(frozen=True, slots=True)
class Priors:
    """Centre and spread of every unknown.

    Attributes:
        loss_per_s: rate of loss of the whole cake at 30 K of excess, dry; spread of its log.
        exchange_per_s: exchange rate between cells, as `Rates` has it; spread of its log.
        evaporation: evaporative loss at 50 °C as a share of the dry; spread of its log.
        hot: how much more crumb conducts when hot; spread of its log.
        plateau_c: where the core settles in the oven, and its spread in kelvins.
        boiling_c: boiling point of pure water in this kitchen.
        bend: the power by which the loss grows faster than the excess, at 30 K; its spread.
        unmoulded: how the loss out of the pan compares with that in it; None where unknown.
        doubt: relative error of all rates that no reading takes away, where not even the kind
            of vessel is known.
        bake: of what only the oven shows.
        batter_c: batter temperature and its spread.
    """

    loss_per_s: tuple[float, float]
    exchange_per_s: tuple[float, float]
    evaporation: tuple[float, float]
    hot: tuple[float, float]
    plateau_c: tuple[float, float]
    boiling_c: float
    doubt: float
    bake: BakePriors
    bend: tuple[float, float]
    unmoulded: float | None = None
    batter_c: tuple[float, float] = (22.0, 2.5)


def base_area_m2(pan: Pan) -> float | None:
    """Area of the bottom of one pan (all cups together), None where the plan does not say."""
    if pan.shape in ("rectangle", "loaf") and pan.length_m and pan.width_m:
        return pan.length_m * pan.width_m
    if pan.diameter_m is None:
        return None
    area = math.pi * pan.diameter_m**2 / 4
    if pan.shape == "ring" and pan.inner_m:
        area -= math.pi * pan.inner_m**2 / 4
    return area * (pan.count or 1) if pan.shape == "cups" else area


def _rim_m(pan: Pan, inner: float = 1.0) -> float:
    """Length of the pan's walls in plan view, a ring's inner one counted as `inner`."""
    if pan.shape in ("rectangle", "loaf") and pan.length_m and pan.width_m:
        return 2 * (pan.length_m + pan.width_m)
    rim = math.pi * ((pan.diameter_m or 0.0) + inner * (pan.inner_m or 0.0))
    return rim * (pan.count or 1) if pan.shape == "cups" else rim


def boiling(plan: Plan) -> tuple[float, float]:
    """Boiling point in this kitchen and the spread of our knowledge of it, in °C and kelvins."""
    if plan.pressure_pa is not None:
        return boiling_point_c(plan.pressure_pa), 0.05
    if plan.altitude_m is not None:
        return boiling_point_c(pressure_pa(plan.altitude_m)), 0.3  # weather: ± 10 hPa
    return 99.5, 0.9  # most kitchens lie below 700 m


def priors(plan: Plan) -> Priors:
    """The priors of a plan; widest where it says nothing."""
    boiling_c, boiling_sd = boiling(plan)
    cake = plan.cake
    density = CRUMB_DENSITY.get(cake.kind or "", 350.0)
    area = base_area_m2(cake.pan) if cake.pan else None
    per_area: float | None = None
    if cake.batter_kg and area:
        per_area = cake.batter_kg / area
    elif cake.batter_depth_m:
        per_area = cake.batter_depth_m * BATTER_DENSITY
    elif cake.pan and cake.pan.depth_m:
        per_area = cake.pan.depth_m * 0.5 * BATTER_DENSITY
    known = per_area is not None
    is_nothing_told = cake.pan is None and cake.kind is None
    # A pan of 50 mm half full where nothing is known.
    mass = (per_area if per_area is not None else 20.0) * AFTER_LOSS
    height = mass / density
    solid = mixture(CRUMB, CRUMB_C)
    crumb = mixture(CRUMB, CRUMB_C, max(0.3, 1.0 - density / solid.density_kg_per_m3))
    k = CRUMB_CONDUCTIVITY
    alpha = k / (density * crumb.cp_j_per_kgk)
    capacity = mass * crumb.cp_j_per_kgk
    # Walls lose and gain about half as well as top and bottom (a pan's rim shades them).
    walls = 1.0
    if cake.pan and area:
        walls += 0.5 * _rim_m(cake.pan) * height / (2 * area)
    film = (ROOM_FILM_TOP + ROOM_FILM_UNDER) / 2
    half = height / 2
    skin = half / (2 * CELLS)  # from the middle of the outer cell to the surface
    through = 1.0 / (1.0 / film + skin / k)
    exchange = EXCHANGE_CELLS**2 * alpha / half**2
    baking = bake_priors(
        cake,
        plan.oven.fan,
        mass / AFTER_LOSS,
        (density, k, exchange),
        _rim_m(cake.pan, TUBE_SEES / WALLS_SEE) / area if cake.pan and area else 0.0,
        known,
    )
    # The pan keeps heat for its cake, as long as that is in it.
    with_pan = 1.0 + baking.pan_holds
    loss = 2 * through * walls / (capacity * with_pan)
    # Film times area of all faces, in the pan and out of it, over the base area.
    side = 4.0 * (walls - 1.0)  # walls count a quarter, see above
    bare = ROOM_FILM_TOP + BARE_FILM_UNDER + BARE_FILM_SIDE * side
    bare_film = bare / (2.0 + side)
    bare_through = (2.0 + side) / (1.0 / bare_film + skin / k)
    # What is not known to be crumb may be a liquid, which mixes itself, and most likely is one
    # where the plan has no cake at all: by natural convection in it Nu = 0.54 Ra^¼ (Holman), about
    # 28 for 40 mm of water 3 K across.
    unknown_exchange = (30.0 * exchange, 0.7) if is_nothing_told else (4.0 * exchange, 1.2)
    # An open vessel of water: 6 times the convection of its surface at 50 °C in a room of 50 %
    # humidity (Bowen), and a fifth of all its surface is open; more of a bowl, and thick or
    # foamed walls lose less besides.
    unknown_evaporation = (1.2, 0.9) if is_nothing_told else (0.8, 1.0)
    return Priors(
        # Not told, it may well be a mug with 300 g of water in it, of whose heat it holds a fifth
        # itself: 11 W/m²K on 0.026 m² make 0.67 an hour.
        loss_per_s=(loss, 0.35) if known else (0.67 / 3600.0, 0.65),
        exchange_per_s=(exchange, 0.45) if known else unknown_exchange,
        evaporation=(0.25, 0.7) if known else unknown_evaporation,
        # Moist crumb conducts two to seven times better hot than cool; what is not known to be
        # crumb may be anything.
        hot=(2.7, 0.45) if known else (1.6, 0.6),
        plateau_c=(boiling_c + SYRUP_K, math.hypot(boiling_sd, SYRUP_SPREAD_K)),
        boiling_c=boiling_c,
        doubt=0.0 if known else 0.13,
        bake=baking,
        # What lies between the outer cell's middle and the surface does not grow with the excess.
        # In an unknown vessel a liquid may convect as well.
        bend=(BEND * through / film, 0.06) if known else (0.23, 0.09),
        unmoulded=with_pan * bare_through / (2 * through * walls) if known else None,
    )


def room_prior(plan: Plan) -> tuple[float, float]:
    """The room where no channel measures it: centre and standard deviation in °C."""
    if plan.room is None:
        return ROOM_UNKNOWN
    return plan.room.celsius, max(plan.room.plus_minus_k / 2, 0.2)
