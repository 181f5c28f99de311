"""The scale's division, learnt from its readings where nobody says it."""

from __future__ import annotations

# A scale's division is 1, 2 or 5 × 10^k of a unit (OIML R 76-1, 4.2.2.1); learnt steps may be of
# ounces, so they are kept as seen.
DEFAULT_KG = 0.001
SMALLEST_KG = 1e-6
ENOUGH_STEPS = 12


class Resolution:
    """Smallest step between distinct values.

    Args:
        planned_kg: what the plan says; nothing is learnt then.
    """

    def __init__(self, planned_kg: float | None = None) -> None:
        self._planned_kg = planned_kg
        self._reported_kg: float | None = None
        self._learnt_kg: float | None = None
        self._steps = 0
        self._last_kg: float | None = None
        self.division_kg = planned_kg if planned_kg else DEFAULT_KG

    def see(self, value_kg: float, reported_kg: float | None) -> float:
        """Take a reading and give the division in force."""
        if self._planned_kg:
            return self.division_kg
        if reported_kg:
            self._reported_kg = reported_kg
            self.division_kg = reported_kg
            return reported_kg
        last = self._last_kg
        self._last_kg = value_kg
        if last is None or value_kg == last:
            return self.division_kg
        step = abs(value_kg - last)
        if step < SMALLEST_KG:
            return self.division_kg
        self._steps += 1
        learnt = self._learnt_kg
        if learnt is None or step < learnt * (1 - 1e-3):
            # The difference of two multiples of d is a multiple of d; so is the remainder.
            self._learnt_kg = step if learnt is None else _common_step(step, learnt)
        if self._reported_kg is None and self._learnt_kg is not None:
            few = self._steps < ENOUGH_STEPS
            self.division_kg = min(self._learnt_kg, DEFAULT_KG) if few else self._learnt_kg
        return self.division_kg


def _common_step(small: float, large: float) -> float:
    """The larger step where both are multiples of a smaller one that was not yet seen alone."""
    rest = large % small
    rest = min(rest, small - rest)
    return rest if rest > 0.2 * small and rest > SMALLEST_KG else small
