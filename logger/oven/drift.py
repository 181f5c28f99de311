"""Drift from bake to bake: `DriftChart`, one fold over an oven's bakes, wherever they come from.

The recorder feeds it a batch's earlier bakes and then the batch's own; ``coolcrumb oven-drift``
feeds it a file. Each bake's offset (mean minus dial), swing, period and recovery time has charts of
its own (`logger.oven.watch`). The first twelve bakes are the baseline, or twelve from a bake on at
which the kitchen confirmed one. A change is said once; after it nothing until a new baseline.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median

from logger.events import OvenCycle, OvenDrift
from logger.oven.baseline import MAD_TO_SIGMA, Scatter
from logger.oven.watch import Alarm, Watch
from logger.plan import EarlierBake

# A bake needs this many cycles to count.
FEWEST_CYCLES = 2
OUTLIER_SIGMAS, OUTLIER_FLOOR_C = 3.0, 0.5
# Offsets of one oven differ by about a degree from bake to bake, and a dial's scale is off by a few
# per cent (first values, no source).
OFFSET = Scatter(usual=1.0, smallest=0.6, slope=0.03)
# Swing, period and recovery lean on load and mains more than the mean does: their charts look at
# logarithms, and ask for more before they speak.
RATIO = Scatter(usual=0.08, smallest=0.05, slope=0.01)
OFFSET_CUSUM, RATIO_CUSUM = 4.6, 8.0
# So much larger is another swing or period (first values, no source).
LARGER, MUCH_LARGER = 1.15, 1.3
# A row of bakes that rises by equal steps, rather than stands, must fit this much better.
CREEP_FIT = 0.6
FEWEST_CREEPING = 5
# The same bakes choose where the change began, so that its size is less sure (computed).
CHOSEN = 1.4


def bake_offset(cycles: Sequence[OvenCycle]) -> tuple[float, int] | None:
    """Offset of one bake: robust mean over its cycles, in kelvins, and how many it rests on.

    Cycles further than three robust sigmas from the median are left out. None where no cycle
    has an offset.
    """
    offsets = [c.offset_c for c in cycles if c.offset_c is not None]
    if not offsets:
        return None
    middle = median(offsets)
    sigma = MAD_TO_SIGMA * median(abs(o - middle) for o in offsets)
    limit = OUTLIER_SIGMAS * max(OUTLIER_FLOOR_C, sigma)
    kept = [o for o in offsets if abs(o - middle) <= limit]
    return sum(kept) / len(kept), len(kept)


@dataclass(frozen=True, slots=True)
class _Change:
    """A lasting change in a row of residuals: from which index on, and how far it is now."""

    since: int
    now_c: float
    bakes: float


def _change(residuals: Sequence[float]) -> _Change:
    """The likeliest step, or the likeliest creep where that fits clearly better."""
    n = len(residuals)
    best = (-1.0, n - 1, residuals[-1], 1.0)
    creep = (-1.0, n - 1, residuals[-1], 1.0)
    for since in range(n):
        part = residuals[since:]
        m = len(part)
        mean = sum(part) / m
        best = max(best, (m * mean**2, since, mean, float(m)))
        if m >= FEWEST_CREEPING:
            across = sum(i * i for i in range(1, m + 1))
            step = sum(i * r for i, r in enumerate(part, 1)) / across
            creep = max(creep, (across * step**2, since, m * step, across / m**2))
    total = sum(r * r for r in residuals)
    chosen = creep if total - creep[0] < CREEP_FIT * (total - best[0]) else best
    return _Change(chosen[1], chosen[2], chosen[3])


@dataclass(slots=True)
class DriftChart:
    """The fold: bakes in, oldest first; at most one drift out until a new baseline."""

    _found: OvenDrift | None = None
    _bakes: list[EarlierBake] = field(default_factory=list)
    _watches: dict[str, Watch] = field(default_factory=dict)
    _watched: dict[str, list[EarlierBake]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._restart()

    def _restart(self) -> None:
        self._found = None
        self._bakes = []
        self._watches = {
            "offset": Watch(OFFSET, OFFSET_CUSUM),
            "swing": Watch(RATIO, RATIO_CUSUM, uses_ewma=False),
            "period": Watch(RATIO, RATIO_CUSUM, uses_ewma=False),
            "recovery": Watch(RATIO, RATIO_CUSUM, uses_ewma=False),
        }
        self._watched = {name: [] for name in self._watches}

    def add(self, bake: EarlierBake) -> OvenDrift | None:
        """Take the next bake; the drift that it shows, once."""
        if bake.cycles < 1:
            return None
        if bake.new_baseline:
            self._restart()
        self._bakes.append(bake)
        alarms: list[tuple[str, Alarm]] = []
        for name, measure in _measures(bake).items():
            self._watched[name].append(bake)
            alarm = self._watches[name].add(bake.set_point_c, measure)
            if alarm is not None:
                alarms.append((name, alarm))
        if self._found is not None or not alarms:
            return None
        for watch in self._watches.values():
            watch.freeze()
        name, alarm = alarms[0]
        self._found = self._drift(name, alarm, bake.batch, bake.set_point_c)
        return self._found

    def standing(self, set_point_c: float | None) -> OvenDrift | None:
        """The drift found by an earlier bake, with the present shift and advice; None without."""
        found = self._found
        if found is None:
            return None
        alarm = Alarm(found.statistic, found.value, found.limit)
        dial_c = self._bakes[-1].set_point_c if set_point_c is None else set_point_c
        return self._drift(found.measure, alarm, found.found_by or "", dial_c, found.since_batch)

    def _drift(
        self, name: str, alarm: Alarm, found_by: str, dial_c: float, since: str | None = None
    ) -> OvenDrift:
        change = _change(self._watches[name].residuals())
        row = self._watched[name]
        if since is None:
            since = row[len(row) - len(self._watches[name].residuals()) + change.since].batch
        offsets = self._watches["offset"]
        base = offsets.baseline()
        assert base is not None  # every measure's charts begin with the offset's
        at = next(i for i, bake in enumerate(self._bakes) if bake.batch == since)
        residuals = offsets.residuals()
        moved = change if name == "offset" else _level(residuals, len(self._bakes) - at)
        level_c = base.expected(dial_c) + moved.now_c
        slope = base.slope
        advice_c = dial_c - level_c / (1 + slope)
        own = CHOSEN * base.sigma / math.sqrt(moved.bakes)
        return OvenDrift(
            statistic=alarm.statistic,
            value=alarm.value,
            limit=alarm.limit,
            shift_c=moved.now_c,
            since_batch=since,
            dial_advice_c=advice_c,
            bakes=len(self._bakes),
            measure=name,
            dial_plus_minus_c=2 * math.hypot(own, base.slope_sigma * (dial_c - base.set_point_c)),
            swing_ratio=self._ratio("swing", since),
            period_ratio=self._ratio("period", since),
            likely=self._likely(name, moved.now_c, base.sigma, since),
            found_by=found_by,
        )

    def _ratio(self, name: str, since: str) -> float | None:
        """The measure from the bake `since` on over its baseline; None where it is not known."""
        watch, row = self._watches[name], self._watched[name]
        residuals = watch.residuals()
        at = next((i for i, bake in enumerate(row) if bake.batch == since), None)
        if at is None or not residuals:
            return None
        return math.exp(median(residuals[-(len(row) - at) :]))

    def _likely(self, name: str, shift_c: float, sigma_c: float, since: str) -> str | None:
        """What would change the oven like this, in words; None where nothing is likelier."""
        swing, period = self._ratio("swing", since), self._ratio("period", since)
        recovery = self._ratio("recovery", since)
        is_slow = (period or 1.0) >= LARGER or (recovery or 1.0) >= MUCH_LARGER
        if swing is not None and swing >= LARGER and (period is None or period >= 1.0):
            return "the thermostat switches late"
        if is_slow and (swing is None or swing < LARGER) and shift_c <= sigma_c:
            return "an element heats less"
        if name == "offset" and not is_slow and (swing is None or swing > 1 / LARGER):
            return "the thermostat's scale has moved"
        return None


def _level(residuals: Sequence[float], count: int) -> _Change:
    part = residuals[-count:]
    return _Change(0, sum(part) / len(part), float(len(part)))


def _measures(bake: EarlierBake) -> dict[str, float]:
    """What the charts look at, the offset first."""
    out = {"offset": bake.offset_c}
    for name, value in (
        ("swing", bake.swing_c), ("period", bake.period_s), ("recovery", bake.recovery_s)
    ):  # fmt: skip
        if value is not None and value > 0:
            out[name] = math.log(value)
    return out
