"""What a batch rests on: `Plan`, its formula, oven, cake and milestones, all frozen.

Pure values; `logger.planfile` reads them from TOML. Lengths in metres, masses in kilograms,
temperatures in degrees Celsius, temperature differences in kelvins, times in seconds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from logger.ingredient import Ingredient


@dataclass(frozen=True, slots=True)
class Line:
    """One ingredient of a formula.

    Attributes:
        key: its name in marks and events, one of a kind in the batch; a second line of one
            ingredient is ``butter#2``.
        ingredient: as written.
        amount: as written, e.g. ``8 1/2 oz``.
        target_kg: the amount as a mass; None only for ``to taste``, which has none.
        tolerance_kg: ± around the target, already with the floor of 0.1 g.
        bowl: which bowl it goes into; None where the formula does not say.
        by: ``mass`` for an amount written as a mass; ``measure`` for a cup, spoon or package;
            ``count`` for pieces. The last two may be confirmed by a mark in place of a weighing.
        spread_kg: ± (one standard deviation) of the conversion from a household measure or a
            count; None for a mass. It says why one weighs; no verdict rests on it.
        source: where the conversion comes from, record number included; None for a mass.
        formula: name of the formula the line belongs to, where a batch has several.
        lot, note: for the sheet only.
        stock_kg: all there is of it; None where nobody says. A rescale takes no more.
    """

    key: str
    ingredient: str
    amount: str
    target_kg: float | None
    tolerance_kg: float | None
    bowl: str | None = None
    by: str = "mass"
    spread_kg: float | None = None
    source: str | None = None
    formula: str = ""
    lot: str | None = None
    note: str | None = None
    stock_kg: float | None = None

    @property
    def lower_kg(self) -> float | None:
        if self.target_kg is None or self.tolerance_kg is None:
            return None
        return self.target_kg - self.tolerance_kg

    @property
    def upper_kg(self) -> float | None:
        if self.target_kg is None or self.tolerance_kg is None:
            return None
        return self.target_kg + self.tolerance_kg


def is_scale(role: str) -> bool:
    """Whether a channel's role is that of a scale: ``scale``, ``scale 2``."""
    return role.partition(" ")[0] == "scale"


# The dimensions that each shape of pan has, besides its depth.
SHAPES: dict[str, tuple[str, ...]] = {
    "round": ("diameter_m",),
    "rectangle": ("length_m", "width_m"),
    "ring": ("diameter_m", "inner_m"),
    "loaf": ("length_m", "width_m"),
    "cups": ("count", "diameter_m"),
}


@dataclass(frozen=True, slots=True)
class Pan:
    """A pan. `shape` is one of `SHAPES`; dimensions not of the shape are None.

    Dimensions are of the base, inside; a ``top_…`` is of the rim, where the sides slope.
    """

    shape: str = "round"
    diameter_m: float | None = None
    inner_m: float | None = None
    length_m: float | None = None
    width_m: float | None = None
    count: int | None = None
    depth_m: float | None = None
    material: str = "aluminium"
    top_diameter_m: float | None = None
    top_length_m: float | None = None
    top_width_m: float | None = None


@dataclass(frozen=True, slots=True)
class MixingStep:
    """One step of the method, in the kitchen's words.

    Attributes:
        kind: ``mix``, ``bake``, ``cool``, ``frost``, ``set``, ``chill`` or the kitchen's own word.
        text: what to do, as written; '' where the other keys say it all.
        speed: the kitchen's word for a mixer's speed.
        duration_s, longest_s: how long; both where a window is given.
        scrape_down: scrape down the bowl afterwards.
        set_point_c: the dial, for ``bake``.
    """

    kind: str
    text: str = ""
    speed: str | None = None
    duration_s: float | None = None
    longest_s: float | None = None
    scrape_down: bool = False
    set_point_c: float | None = None


@dataclass(frozen=True, slots=True)
class Makes:
    """What a formula makes: pans of one kind, and portions."""

    pan: Pan | None = None
    pans: int = 1
    batter_per_pan_kg: float | None = None
    portions: int | None = None


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula: its name and its lines in order.

    Attributes:
        version: the kitchen's own word for this version; None where the file has none.
        makes: pans and portions.
        steps: the method.
        flour_kind: what the formula says of its flour (``cake``, ``all-purpose``, …).
        bake, cooling: milestones, for plans that have none of their own.
    """

    name: str
    lines: tuple[Line, ...]
    version: str | None = None
    makes: Makes = Makes()
    steps: tuple[MixingStep, ...] = ()
    flour_kind: str | None = None
    bake: tuple[Milestone, ...] = ()
    cooling: tuple[Milestone, ...] = ()


@dataclass(frozen=True, slots=True)
class ScaleFacts:
    """What the plan says of a scale; None is learnt from the readings or left out.

    Attributes:
        resolution_kg: its division d.
        accuracy_class: OIML R 76 class.
        interval_kg: verification interval e, where it is not the division.
        capacity_kg: the most it weighs, bowl included.
    """

    resolution_kg: float | None = None
    accuracy_class: str | None = None
    interval_kg: float | None = None
    capacity_kg: float | None = None


NO_SCALE_FACTS = ScaleFacts()


@dataclass(frozen=True, slots=True)
class RoomTemperature:
    """The room where no channel has the role: value and half-width (taken as k = 2)."""

    celsius: float
    plus_minus_k: float


@dataclass(frozen=True, slots=True)
class OvenPlan:
    """The oven; `probe_lag_s` is the air probe's time constant, None where it is to be learnt."""

    set_point_c: float | None = None
    fan: bool = False
    probe_lag_s: float | None = None


@dataclass(frozen=True, slots=True)
class CakePlan:
    """What goes into the oven; everything optional, a prior for the physics."""

    kind: str | None = None
    batter_kg: float | None = None
    batter_depth_m: float | None = None
    pans: int | None = None
    pan: Pan | None = None


@dataclass(frozen=True, slots=True)
class Milestone:
    """A temperature to be reached; exactly one of the three temperatures is set.

    Attributes:
        name: the kitchen's word, e.g. ``done`` or ``frost``.
        core_c: core temperature.
        surface_c: surface temperature.
        core_above_room_k: core above the room.
        hold_s: how long it must hold.
    """

    name: str
    core_c: float | None = None
    surface_c: float | None = None
    core_above_room_k: float | None = None
    hold_s: float = 0.0


@dataclass(frozen=True, slots=True)
class EarlierBake:
    """One earlier bake of this oven, as the plan freezes it.

    Attributes:
        batch: its id.
        at_us: its end.
        set_point_c: the dial.
        offset_c: mean over its steady cycles minus the set point.
        cycles: how many cycles it rests on.
        swing_c, period_s: of these cycles; None where it did not cycle, or nobody kept it.
        recovery_s: from a shut door to its mean again; None without a door.
        new_baseline: the kitchen confirmed the oven as it is: its charts begin anew here.
    """

    batch: str
    at_us: int
    set_point_c: float
    offset_c: float
    cycles: int
    swing_c: float | None = None
    period_s: float | None = None
    recovery_s: float | None = None
    new_baseline: bool = False


@dataclass(frozen=True, slots=True)
class CentreTest:
    """One centre test of this formula, as the plan freezes those of earlier batches.

    Attributes:
        batch: its batch.
        at_us: when.
        result: ``wet``, ``moist crumbs`` or ``clean``.
        core_c: the core then.
    """

    batch: str
    at_us: int
    result: str
    core_c: float


@dataclass(frozen=True, slots=True)
class Plan:
    """All that a batch rests on.

    Attributes:
        channels: SenML name → role (``oven``, ``core``, ``room``, ``refrigerator``, ``scale``,
            ``oven 2`` …).
        scales: role (``scale``, ``scale 2`` …) → what the plan says of that scale.
        formulas: in the order in which they are weighed (cake, filling, frosting).
        ingredients: the rows that the formulas use, frozen in.
        warnings: sentences about what was not understood and widens the priors.
    """

    channels: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    altitude_m: float | None = None
    pressure_pa: float | None = None
    room: RoomTemperature | None = None
    time_zone: str | None = None
    scales: Mapping[str, ScaleFacts] = field(default_factory=lambda: MappingProxyType({}))
    formulas: tuple[Formula, ...] = ()
    oven: OvenPlan = OvenPlan()
    cake: CakePlan = CakePlan()
    bake_milestones: tuple[Milestone, ...] = ()
    cooling_milestones: tuple[Milestone, ...] = ()
    earlier_bakes: tuple[EarlierBake, ...] = ()
    centre_tests: tuple[CentreTest, ...] = ()
    ingredients: tuple[Ingredient, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def scale(self) -> ScaleFacts:
        """What the plan says of the scale of the role ``scale``."""
        return self.scales.get("scale", NO_SCALE_FACTS)

    def __deepcopy__(self, memo: dict[int, object]) -> Plan:
        """Itself: a plan is frozen through and through (and its mappings cannot be copied)."""
        return self

    @property
    def formula(self) -> Formula | None:
        """The first formula, which gives the batch its name."""
        return self.formulas[0] if self.formulas else None

    @property
    def lines(self) -> tuple[Line, ...] | None:
        """The lines of all formulas in order; None where the batch follows no formula."""
        if not self.formulas:
            return None
        return tuple(line for formula in self.formulas for line in formula.lines)

    def role(self, name: str) -> str | None:
        """Role of the channel with this SenML name, None where it plays none."""
        return self.channels.get(name)
