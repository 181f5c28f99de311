"""Hot spots: by how much other places of the oven are hotter than the first probe's.

A place's mean over a full cycle needs no lag taken out, so that unlike probes can be compared.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field

from logger.oven.air import Sample

THINNED_S = 5.0
# Enough for two of the longest cycles at one sample in `THINNED_S`.
KEPT = 720
# A place counts where readings cover this share of the cycle, no two further apart than this.
COVERED, LONGEST_STEP_S = 0.9, 45.0


@dataclass(slots=True)
class Spots:
    """Readings of the further probes, by role."""

    _samples: dict[str, deque[Sample]] = field(default_factory=dict)

    def add(self, role: str, t_s: float, celsius: float) -> None:
        """Take a reading of the channel with this role (``oven 2`` …)."""
        samples = self._samples.setdefault(role, deque(maxlen=KEPT))
        if not samples or t_s - samples[-1].t_s >= THINNED_S:
            samples.append(Sample(t_s, celsius))

    def offsets(self, from_s: float, to_s: float, mean_c: float) -> Mapping[str, float]:
        """Mean of each place over this time less `mean_c`; places with too few readings are out."""
        out: dict[str, float] = {}
        for role in sorted(self._samples):
            area = covered_s = 0.0
            before: Sample | None = None
            for sample in self._samples[role]:
                if before is not None and before.t_s >= from_s and sample.t_s <= to_s:
                    step_s = sample.t_s - before.t_s
                    if step_s <= LONGEST_STEP_S:
                        area += step_s * (before.celsius + sample.celsius) / 2
                        covered_s += step_s
                before = sample
            if covered_s >= COVERED * (to_s - from_s):
                out[role] = area / covered_s - mean_c
        return out
