"""What a batch rests on: `Plan`, its formula, oven, cake and milestones, all frozen.

Pure values; `logger.planfile` reads them from TOML. Lengths in metres, masses in kilograms,
temperatures in degrees Celsius, temperature differences in kelvins, times in seconds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Line:
    """One ingredient of a formula.

    Attributes:
        key: its name in marks and events; a second line of one ingredient is ``butter#2``.
        ingredient: as written.
        amount: as written, e.g. ``8 1/2 oz``.
        target_kg: the amount as a mass; None for a line that is counted or spooned.
        tolerance_kg: ± around the target, already with the floor of 0.1 g.
        bowl: which bowl it goes into; None where the formula does not say.
    """

    key: str
    ingredient: str
    amount: str
    target_kg: float | None
    tolerance_kg: float | None
    bowl: str | None = None

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


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula: its name and its lines in order."""

    name: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class ScaleFacts:
    """What the plan says of the scale; None is learnt from the readings or left out."""

    resolution_kg: float | None = None
    accuracy_class: str | None = None


@dataclass(frozen=True, slots=True)
class RoomTemperature:
    """The room where no channel has the role: value and half-width (taken as k = 2)."""

    celsius: float
    plus_minus_k: float


@dataclass(frozen=True, slots=True)
class OvenPlan:
    set_point_c: float | None = None
    fan: bool = False


@dataclass(frozen=True, slots=True)
class Pan:
    """A pan. `shape`: round, rectangle, ring, loaf, cups; dimensions not of the shape are None."""

    shape: str = "round"
    diameter_m: float | None = None
    inner_m: float | None = None
    length_m: float | None = None
    width_m: float | None = None
    count: int | None = None
    depth_m: float | None = None
    material: str = "aluminium"


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
    """

    batch: str
    at_us: int
    set_point_c: float
    offset_c: float
    cycles: int


@dataclass(frozen=True, slots=True)
class Plan:
    """All that a batch rests on.

    Attributes:
        channels: SenML name → role (``oven``, ``core``, ``room``, ``refrigerator``, ``scale``,
            ``oven 2`` …).
        warnings: sentences about what was not understood and widens the priors.
    """

    channels: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    altitude_m: float | None = None
    pressure_pa: float | None = None
    room: RoomTemperature | None = None
    time_zone: str | None = None
    scale: ScaleFacts = ScaleFacts()
    formula: Formula | None = None
    oven: OvenPlan = OvenPlan()
    cake: CakePlan = CakePlan()
    bake_milestones: tuple[Milestone, ...] = ()
    cooling_milestones: tuple[Milestone, ...] = ()
    earlier_bakes: tuple[EarlierBake, ...] = ()
    warnings: tuple[str, ...] = ()

    def role(self, name: str) -> str | None:
        """Role of the channel with this SenML name, None where it plays none."""
        return self.channels.get(name)
