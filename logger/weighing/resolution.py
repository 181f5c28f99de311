"""The scale's division, learnt from its readings where nobody says it.

A scale shows multiples of its division, which is 1, 2 or 5 × 10^k of the unit it shows (OIML
R 76-1, 4.2.2.1). So the division is the coarsest of these steps of which all readings are
multiples, each unit's own: a scale that goes from grams to ounces and back has two divisions, and
the step between a gram's and an ounce's multiple is neither. A finer step than seen so far is
believed when it was shown a few times: once may be a damaged frame.
"""

from __future__ import annotations

from dataclasses import dataclass, field

GRAM_KG = 0.001
# Exact (international yard and pound agreement of 1959).
OUNCE_KG = 0.028349523125
POUND_KG = 0.45359237
FINEST = -3  # power of ten of the finest step of a unit that is looked for
COARSEST = 2
USUAL = {GRAM_KG: 0.001, OUNCE_KG: 0.05 * OUNCE_KG, POUND_KG: 0.002 * POUND_KG}
DEFAULT_KG = USUAL[GRAM_KG]
ENOUGH = 3  # readings that need a finer step …
AMONG = 40  # … within so many changes of the reading
SURE = 0.01  # chance that multiples of a finer step would by accident all be of the coarser one
SMALLEST_KG = 1e-6
STEPS = tuple(m * 10.0**k for k in range(COARSEST, FINEST - 1, -1) for m in (5, 2, 1))


def _is_multiple(value: float, step: float) -> bool:
    steps = value / step
    # Written decimals survive the way through kilograms to 1e-9 of a step; others hit by accident.
    return abs(steps - round(steps)) < 1e-6


@dataclass(slots=True)
class _Unit:
    """What a scale showed in one unit.

    Attributes:
        unit_kg: the unit.
        step: place in `STEPS` of the coarsest step that explains what was shown.
        against: readings so far that need a finer one, by its place.
        different: changes of the reading seen.
        since: how many of these there were when the first of `against` was seen.
        last: the last value in the unit.
    """

    unit_kg: float
    step: int = 0
    against: list[int] = field(default_factory=list)
    different: int = 0
    since: int = 0
    last: float | None = None

    def place(self, value_kg: float) -> int | None:
        """Of the coarsest step, not above the present one, that the value is a multiple of."""
        value = value_kg / self.unit_kg
        for place in range(self.step, len(STEPS)):
            if _is_multiple(value, STEPS[place]):
                return place
        return None

    def see(self, value_kg: float, place: int) -> None:
        """Take a value that fits the step in this place."""
        value = value_kg / self.unit_kg
        if self.last is not None and value != self.last and value != 0:
            self.different += 1
        self.last = value
        if place <= self.step:
            return
        if not self.against or self.different - self.since > AMONG:
            self.against.clear()
            self.since = self.different
        self.against.append(place)
        if self.different <= ENOUGH or len(self.against) >= ENOUGH:
            self.step = min(self.against)
            self.against.clear()

    def division_kg(self) -> float:
        """The step, or a usual one while too little was shown to believe a coarser one."""
        step_kg, usual_kg = STEPS[self.step] * self.unit_kg, USUAL[self.unit_kg]
        if step_kg <= usual_kg:
            return step_kg
        # A bowl of 200 g sharp is one accident and not several, however round it is.
        by_accident = (usual_kg / step_kg) ** self.different > SURE
        return usual_kg if self.different < ENOUGH or by_accident else step_kg


class Resolution:
    """Smallest step between distinct values.

    Args:
        planned_kg: what the plan says; it stands while the scale shows grams.
    """

    def __init__(self, planned_kg: float | None = None) -> None:
        self._planned_kg = planned_kg
        self._units = [_Unit(unit_kg) for unit_kg in (GRAM_KG, OUNCE_KG, POUND_KG)]
        self._unit: _Unit | None = self._units[0]
        self._reported_kg: float | None = None
        self._last_kg: float | None = None
        self._smallest_kg: float | None = None
        self.division_kg = planned_kg if planned_kg else DEFAULT_KG
        self.learnt_finer = False  # with the last reading, and in the unit of the one before

    def see(self, value_kg: float, reported_kg: float | None) -> float:
        """Take a reading and give the division in force."""
        if reported_kg:
            self._reported_kg = self.division_kg = reported_kg
            return reported_kg
        if self._reported_kg is None and value_kg != self._last_kg:
            self._last_kg, before_kg = value_kg, self._last_kg
            unit, before_division_kg = self._unit, self.division_kg
            self.division_kg = self._learnt(value_kg, before_kg)
            finer = self.division_kg < before_division_kg * (1 - 1e-6)
            self.learnt_finer = finer and self._unit is unit
        else:
            self.learnt_finer = False
        return self.division_kg

    def _learnt(self, value_kg: float, before_kg: float | None) -> float:
        units = self._units if self._unit is None else [self._unit, *self._units]
        for unit in units:
            place = unit.place(value_kg)
            if place is None:
                continue
            self._unit = unit
            unit.see(value_kg, place)
            learnt = unit.division_kg()
            if self._planned_kg is None:
                return learnt
            return self._planned_kg if unit.unit_kg == GRAM_KG else max(learnt, self._planned_kg)
        # No unit's decimals: numbers from elsewhere, whose smallest step is all there is to see.
        self._unit = None
        if self._planned_kg is not None:
            return self._planned_kg
        step = None if before_kg is None else abs(value_kg - before_kg)
        if step is not None and step >= SMALLEST_KG:
            self._smallest_kg = min(step, self._smallest_kg or step)
        return min(self._smallest_kg or DEFAULT_KG, DEFAULT_KG)
