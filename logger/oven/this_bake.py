"""This bake among the earlier ones: what it adds to the charts of the oven's drift, and when."""

from __future__ import annotations

from dataclasses import dataclass, field
from statistics import mean

from logger.events import Event, OvenCycle, OvenDrift
from logger.oven.drift import FEWEST_CYCLES, DriftChart, bake_offset
from logger.plan import EarlierBake, Plan


@dataclass(slots=True)
class ThisBake:
    """Collects the cycles and recoveries of a batch; `ended` feeds them to the charts, once."""

    plan: Plan
    cycles: list[OvenCycle] = field(default_factory=list)
    recoveries_s: list[float] = field(default_factory=list)
    confirms: bool = False
    _chart: DriftChart = field(default_factory=DriftChart)
    _is_charted: bool = False

    def began(self) -> list[OvenDrift]:
        """At the first reading: what earlier bakes have shown and nobody has settled yet."""
        for bake in sorted(self.plan.earlier_bakes, key=lambda bake: bake.at_us):
            self._chart.add(bake)
        standing = self._chart.standing(self.plan.oven.set_point_c)
        return [] if standing is None else [standing]

    def ended(self, event: Event) -> list[OvenDrift]:
        """The cake is out, or the batch closed: the drift that this bake shows."""
        offset = bake_offset(self.cycles)
        dial = self.plan.oven.set_point_c
        if self._is_charted or offset is None or dial is None or offset[1] < FEWEST_CYCLES:
            return []
        self._is_charted = True
        cycling = [c for c in self.cycles if c.period_s is not None]
        bake = EarlierBake(
            batch=event.batch,
            at_us=event.at_us,
            set_point_c=dial,
            offset_c=offset[0],
            cycles=offset[1],
            swing_c=mean(c.swing_c for c in cycling) if cycling else None,
            period_s=mean(c.period_s or 0.0 for c in cycling) if cycling else None,
            recovery_s=mean(self.recoveries_s) if self.recoveries_s else None,
            new_baseline=self.confirms,
        )
        drift = self._chart.add(bake)
        return [] if drift is None else [drift]
