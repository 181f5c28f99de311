"""The uncertainty of a weighed amount: a budget whose components stay visible."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, fields

from logger.weighing.oiml import BOUNDS, max_permissible_error_kg

COVERAGE = 2.0  # k, as everywhere in this project


@dataclass(frozen=True, slots=True)
class Budget:
    """Standard uncertainties (k = 1) in kilograms.

    Attributes:
        resolution_kg: of the readings at zero and at load, all pairs of them.
        repeatability_kg: from the noise at rest.
        class_error_kg: of the scale's accuracy class; 0 where the class is unknown.
        drift_kg: of what the reading drifted while nothing was added.
        splice_kg: of a zero set in the middle of a pour, whose reading had to be carried on.
    """

    resolution_kg: float
    repeatability_kg: float
    class_error_kg: float
    drift_kg: float
    splice_kg: float = 0.0

    @property
    def standard_kg(self) -> float:
        """Combined standard uncertainty."""
        return math.sqrt(
            self.resolution_kg**2
            + self.repeatability_kg**2
            + self.class_error_kg**2
            + self.drift_kg**2
            + self.splice_kg**2
        )

    @property
    def expanded_kg(self) -> float:
        """Expanded uncertainty, k = 2."""
        return COVERAGE * self.standard_kg

    def to_json(self) -> dict[str, float | None]:
        """The components by name, None where there is none; standard uncertainties, kg.

        Twice the root of the sum of their squares is the expanded uncertainty.
        """
        parts = {field.name: round(getattr(self, field.name), 9) for field in fields(self)}
        return {name: part or None for name, part in parts.items()}


def budget(
    mass_kg: float,
    division_kg: float,
    *,
    pairs: int = 1,
    repeatability_kg: float = 0.0,
    accuracy_class: str | None = None,
    drift_kg: float = 0.0,
    splice_kg: float = 0.0,
    interval_kg: float | None = None,
) -> Budget:
    """The budget of a net amount that is a sum of differences of readings.

    Args:
        mass_kg: the net amount.
        division_kg: the scale's division, above 0.
        pairs: how many differences (a reading at zero, one at load) the amount is the sum of.
        repeatability_kg: standard deviation of the difference from the noise at rest.
        accuracy_class: OIML R 76-1 class; the error is uniform within the limits of *initial
            verification* for the net load (in service they are twice that, R 76-1 3.5.2: a scale
            known to be no better than that is described by a coarser class). A load outside the
            class counts with the widest limit.
        drift_kg: sum of drifts seen at rest; uniform.
        splice_kg: standard uncertainty of zeros set in motion.
        interval_kg: verification interval e of the class; None where it is the division.

    >>> round(budget(0.24, 0.001).expanded_kg * 1e3, 3)
    0.816
    """
    reading = division_kg / math.sqrt(12.0)
    class_error = 0.0
    if accuracy_class in BOUNDS:
        interval = interval_kg or division_kg
        limit = max_permissible_error_kg(accuracy_class, interval, mass_kg)
        class_error = (1.5 * interval if limit is None else limit) / math.sqrt(3.0)
    return Budget(
        resolution_kg=reading * math.sqrt(2.0 * max(pairs, 1)),
        repeatability_kg=repeatability_kg,
        class_error_kg=class_error,
        drift_kg=abs(drift_kg) / math.sqrt(3.0),
        splice_kg=splice_kg,
    )


def combined(parts: Iterable[Budget]) -> Budget:
    """The budget of a sum of amounts that know nothing of each other, as from two scales.

    >>> two = combined([budget(0.1, 0.001), budget(0.1, 0.001)])
    >>> round(two.standard_kg / budget(0.1, 0.001).standard_kg, 3)
    1.414
    """
    held = list(parts)
    return Budget(
        *(
            math.sqrt(math.fsum(getattr(part, field.name) ** 2 for part in held))
            for field in fields(Budget)
        )
    )
