"""When the oven will be preheated: a forecast from the warm-up, the turns and the cycles so far.

Three stages, each with what it knows:

1. *Warming up*: the slope now and a while ago give the way to the set point; a slope that falls
   makes it longer. Then the air has to settle, which takes a cycle or two of unknown length.
2. *After the first peak*: a full cycle that begins there ends one and a quarter periods later; it
   counts where its mean is right, else the next ones do.
3. *Cycles below the dial*: the means rise towards where the walls let them; either they come within
   the 2 °C that count, or they stop rising.

The figures without a source are first values. What remains is taken as lognormal, given that it has
lasted so far: a settling that should be over by now may take as long again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

from logger.oven.air import Trace, line
from logger.oven.cycles import Cycle
from logger.oven.preheat import STOPPED_C_PER_S, WITHIN_C
from logger.oven.turns import Turn

EVERY_S = 60.0
# The slope is taken over this time, and again this long before.
SLOPE_S, APART_S = 90.0, 240.0
# A thermostat's period before one was seen, and from the touch of the set point until the mean has
# settled; spreads are of the logarithm.
PERIOD_S, PERIOD_SPREAD = 420.0, 0.6
SETTLES_S, SETTLES_SPREAD = 480.0, 0.6
RISE_SPREAD, PEAK_SPREAD, CYCLE_SPREAD = 0.25, 0.55, 0.7
# From the first peak on it takes about two of the periods that the first fall promises.
PERIODS = 2.0
# Walls follow the air within about this time.
WALLS_S = 720.0
# An oven that gains less than this and is this far below its dial is not heating.
IDLE_C_PER_S, IDLE_BELOW_C, IDLE_S = 0.004, 15.0, 180.0
LONGEST_S = 4 * 3600.0
NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Ahead:
    """Seconds from now: the median, and the central 90 %. `settles_c` where it never will be."""

    expected_s: float | None
    low_s: float | None
    high_s: float | None
    settles_c: float | None = None


def _lasting(median_s: float, spread: float, gone_s: float = 0.0) -> Ahead:
    """What remains of something lognormal of which `gone_s` seconds have passed."""
    done = 0.0
    if gone_s > 0:
        done = min(0.98, NORMAL.cdf(math.log(gone_s / median_s) / spread))

    def left_s(share: float) -> float:
        whole_s = median_s * math.exp(spread * NORMAL.inv_cdf(done + (1 - done) * share))
        return max(0.0, whole_s - gone_s)

    return Ahead(left_s(0.5), left_s(0.05), left_s(0.95))


def ahead(trace: Trace, turns: list[Turn], cycles: list[Cycle], set_point_c: float) -> Ahead | None:
    """The forecast at the trace's newest sample; None while there is too little to say.

    Args:
        turns: turning points so far.
        cycles: full cycles without a door since the first peak, not preheated yet.
    """
    now_s = trace.samples[-1].t_s
    peak = next((turn for turn in turns if turn.is_peak and not turn.first), None)
    if cycles:
        return _from_cycles(cycles, now_s, set_point_c)
    if peak is not None and peak.celsius > set_point_c - 40.0:
        return _from_peak(peak, turns, now_s)
    return _from_rise(trace, now_s, set_point_c)


def _from_rise(trace: Trace, now_s: float, set_point_c: float) -> Ahead | None:
    recent = trace.between(now_s - SLOPE_S, now_s)
    if len(recent) < 4 or recent[-1].t_s - recent[0].t_s < 0.8 * SLOPE_S:
        return None
    t, c, slope = line(recent)
    here_c = c + slope * (now_s - t)
    gap_c = set_point_c - here_c
    if gap_c <= WITHIN_C:
        level_c = set_point_c - WITHIN_C
        touched_s = next((s.t_s for s in trace.smooth if s.celsius >= level_c), now_s)
        return _lasting(SETTLES_S, SETTLES_SPREAD, now_s - touched_s)
    across = math.sqrt(sum((s.t_s - t) ** 2 for s in recent))
    if slope < IDLE_C_PER_S + 2 * trace.noise.sigma_c / across:
        is_idle = gap_c > IDLE_BELOW_C and now_s - trace.samples[0].t_s > IDLE_S
        return Ahead(None, None, None, here_c) if is_idle else None
    rise_s = gap_c / slope
    before = trace.between(now_s - APART_S - SLOPE_S, now_s - APART_S)
    spread = RISE_SPREAD + 0.15  # the slope alone does not show how it will fall
    if len(before) >= 4 and (earlier := line(before)[2]) > slope:
        spread = RISE_SPREAD
        decay = math.log(earlier / slope) / APART_S
        left = 1 - gap_c * decay / slope
        # Where this way would end below the set point it only takes long: walls go on warming.
        rise_s = min(-math.log(left) / decay if left > 0.05 else 3 * rise_s, 3 * rise_s)
    rise_s = min(rise_s, LONGEST_S)
    median_s = rise_s + SETTLES_S
    spread = math.hypot(spread * rise_s, SETTLES_SPREAD * SETTLES_S) / median_s
    return _lasting(median_s, spread)


def _from_peak(peak: Turn, turns: list[Turn], now_s: float) -> Ahead:
    later = [turn for turn in turns if turn.t_s > peak.t_s]
    if later:
        # The fall is a good half of a period: after the first heat the walls are still cold.
        period_s, spread = 2.0 * (later[0].t_s - peak.t_s), PEAK_SPREAD
    else:
        period_s, spread = PERIOD_S, PERIOD_SPREAD
    return _lasting(PERIODS * period_s, spread, now_s - peak.t_s)


def _from_cycles(cycles: list[Cycle], now_s: float, set_point_c: float) -> Ahead:
    last = cycles[-1]
    gone_s = now_s - last.to_s
    missing_c = set_point_c - WITHIN_C - last.mean_c
    if len(cycles) < 2 or missing_c <= 0:
        return _lasting(last.period_s, CYCLE_SPREAD, gone_s)
    before = next((c for c in reversed(cycles[:-1]) if c.to_s < last.to_s - 1.0), cycles[0])
    gain = max((last.mean_c - before.mean_c) / max(last.to_s - before.to_s, 1.0), 1e-6)
    stops_s = WALLS_S * math.log(max(gain / STOPPED_C_PER_S, 1.0))
    walls = 1 - missing_c / (gain * WALLS_S)
    arrives_s = -WALLS_S * math.log(walls) if walls > 0.02 else LONGEST_S
    # Rises and falls both end cycles: the next answer comes half a period after the last.
    return _lasting(max(min(stops_s, arrives_s), last.period_s / 2), CYCLE_SPREAD, gone_s)
