"""Noticing without marks: the way into the oven, the way out, and a cake already cooling."""

from __future__ import annotations

from dataclasses import dataclass, field
from statistics import median

from logger.thermal.track import Track

# A core that gains this much in three minutes, and is still gaining, is in an oven.
RISE_K, RISE_S = 3.0, 180.0
STILL_RISING_K, STILL_S = 0.5, 60.0
WARMER_THAN_C = 26.0
# A thick or dense cake gains half a kelvin a minute: for so long nothing else in a kitchen does, to
# that temperature (common practice, no source).
SLOW_RISE_K, SLOW_RISE_S = 5.0, 900.0
SLOW_WARMER_THAN_C, SLOW_HESITATES_S = 30.0, 900.0
OVEN_HOT_C = 90.0
# A probe pushed into a cake that bakes already jumps by so much, from where it lay until a little
# before its new level was believed. At the rate at which it then rises the core came from where the
# probe lay, about, and the door that was opened about then let the cake in.
PUSHED_K, LAY_BEFORE_S, ABOUT_S = 8.0, 90.0, 600.0
ONSET_K = 0.5
CORE_HESITATES_S = 90.0  # heat needs this long to the core of a layer before it shows
# In the oven a core never falls; below its peak by this much, and falling, it is out.
FALL_K, FALL_S = 1.0, 120.0
STILL_FALLING_K = 0.4
# Near the top the crumb feels the heat go on and off: a tip that the batter rose over falls more.
NEAR_TOP_FALL_K = 2.5
LONGEST_SPIKE_S = 40.0  # a few readings that are off are no fall
HOT_C = 60.0
DOOR_BEFORE_S, DOOR_SHOWS_S = 600.0, 45.0
# An element that is off lets the air fall by a tenth of this in that time.
SUDDEN_FALL_K, FALL_WITHIN_S = 15.0, 40.0
# A tip above the batter reads oven air; it was in the room a little while before.
HOT_TIP_S, COOL_TIP_C, COOL_WITHIN_S = 20.0, 60.0, 600.0
LONGEST_CARRY_OVER_S = 900.0


@dataclass(frozen=True, slots=True)
class Noticed:
    """When something happened, and how sure that is (0 to 1)."""

    at_s: float
    confidence: float


@dataclass(slots=True)
class Doors:
    """Times at which the oven's door was open."""

    spans: list[tuple[float, float]] = field(default_factory=list)

    def last_within(self, from_s: float, to_s: float) -> float | None:
        """Middle of the last opening that began within a span, None without one."""
        for start, end in reversed(self.spans):
            if from_s <= start <= to_s:
                return (start + end) / 2
        return None

    def nearest(self, at_s: float, within_s: float, before_s: float) -> float | None:
        """Middle of the opening before a time that is nearest to another, None without one."""
        middles = [(start + end) / 2 for start, end in self.spans if end <= before_s]
        near = [middle for middle in middles if abs(middle - at_s) <= within_s]
        return min(near, key=lambda middle: abs(middle - at_s), default=None)


def way_in(core: Track, oven: Track, doors: Doors, now_s: float, since_s: float) -> Noticed | None:
    """The way into the oven, from a core that rises as only an oven makes it.

    Args:
        core, oven: what they read.
        doors: openings of the oven's door.
        now_s: time of the newest core reading.
        since_s: the core's readings before this are another level (the probe was moved).
    """
    is_slow = not _rises(core, now_s, since_s, RISE_K, RISE_S, WARMER_THAN_C)
    if is_slow and not _rises(core, now_s, since_s, SLOW_RISE_K, SLOW_RISE_S, SLOW_WARMER_THAN_C):
        return None
    air = oven.at(now_s)
    if air is not None and air < OVEN_HOT_C:
        return None
    began_s = _pushed_in(core, now_s, since_s)
    if began_s is not None:
        door = doors.nearest(began_s, ABOUT_S, since_s - LAY_BEFORE_S)
        return Noticed(began_s, 0.5) if door is None else Noticed(door, 0.75)
    if is_slow:
        # Seen late, so that it may have been looked at since: what counts is the door before it.
        onset = core.last_below(now_s, max(since_s, now_s - 2 * SLOW_RISE_S), ONSET_K)
        door = doors.last_within(onset - SLOW_HESITATES_S, onset)
        began = max(onset - SLOW_HESITATES_S / 2, since_s)
        return Noticed(began, 0.5) if door is None else Noticed(door, 0.75)
    onset = _onset(core, now_s, max(since_s, now_s - 1500.0))
    door = doors.last_within(onset - DOOR_BEFORE_S, now_s - DOOR_SHOWS_S)
    if door is None:
        door = _sudden_fall(oven, onset - DOOR_BEFORE_S, now_s)
    if door is not None:
        return Noticed(door, 0.9)
    return Noticed(max(onset - CORE_HESITATES_S, since_s), 0.75 if air is not None else 0.5)


def _pushed_in(core: Track, now_s: float, since_s: float) -> float | None:
    """When a cake began to bake whose probe was pushed in at `since_s`; None where none was."""
    now, pushed, lay = core.at(now_s), core.at(since_s), core.at(since_s - LAY_BEFORE_S)
    if now is None or pushed is None or lay is None or pushed - lay < PUSHED_K:
        return None
    return since_s - (pushed - lay) * (now_s - since_s) / max(now - pushed, RISE_K)


def _rises(
    core: Track, now_s: float, since_s: float, by_k: float, in_s: float, warmer_than_c: float
) -> bool:
    """Whether the core has gained so much in so long, is so warm, and still gains."""
    if now_s - since_s < in_s:
        return False
    now, before = core.at(now_s), core.at(now_s - in_s)
    shortly = core.at(now_s - in_s * STILL_S / RISE_S)
    if now is None or before is None or shortly is None or now < warmer_than_c:
        return False
    still_k = by_k * STILL_RISING_K / RISE_K
    return now - before >= by_k and now - shortly >= still_k


def _sudden_fall(oven: Track, from_s: float, to_s: float) -> float | None:
    """The last time at which the oven's air fell as it does only through an open door.

    The door is told of only when the air has come back; the core may be quicker.
    """
    seen = oven.since(from_s)
    for end in range(len(seen) - 1, 0, -1):
        t, v = seen[end]
        if t > to_s:
            continue
        near = [v0 for t0, v0 in seen[max(end - 8, 0) : end] if t - t0 <= FALL_WITHIN_S]
        if near and max(near) - v >= SUDDEN_FALL_K:
            return t - FALL_WITHIN_S / 2
    return None


def _onset(core: Track, now_s: float, from_s: float) -> float:
    """The last time at which the core was no warmer than it had been."""
    seen = core.since(from_s - 1e-6)
    before = [v for t, v in seen if t <= now_s - RISE_S] or [v for _, v in seen]
    rest = median(before)
    return max((t for t, v in seen if v <= rest + ONSET_K), default=from_s)


def hot_tip(core: Track, doors: Doors, hot_since_s: float, now_s: float) -> Noticed | None:
    """The way into the oven, from a tip that reads the oven's air since `hot_since_s`."""
    cool = core.since(hot_since_s - COOL_WITHIN_S)
    if now_s - hot_since_s < HOT_TIP_S or not cool or cool[0][1] > COOL_TIP_C:
        return None
    door = doors.last_within(hot_since_s - DOOR_SHOWS_S, now_s)
    return Noticed(hot_since_s if door is None else door, 0.6)


def way_out(
    core: Track,
    doors: Doors,
    now_s: float,
    since_s: float,
    is_near_top: bool,
    left_s: float | None = None,
) -> Noticed | None:
    """The way out of the oven, from a core that has passed its peak and falls.

    Args:
        core: what it reads.
        doors: openings of the oven's door.
        now_s: time of the newest reading.
        since_s: the core's readings before this are another level (the probe was moved).
        is_near_top: whether the tip was above the batter that rose over it.
        left_s: when the probe left its place, where it has been pushed in elsewhere since: that is
            done outside the oven, so the cake came out about then.
    """
    if now_s - since_s < 2 * FALL_S:
        return None
    lately, before = core.since(now_s - LONGEST_SPIKE_S), core.at(now_s - FALL_S)
    peak = core.peak(max(since_s, now_s - 1800.0), now_s)
    if not lately or before is None or peak is None:
        return None
    now = max(celsius for _, celsius in lately)
    peak_s, peak_c = peak
    fall_k = NEAR_TOP_FALL_K if is_near_top else FALL_K
    if peak_c < HOT_C or peak_c - now < fall_k or before - now < STILL_FALLING_K:
        return None
    earliest_s = max(peak_s - LONGEST_CARRY_OVER_S, since_s)
    if left_s is not None:
        earliest_s = left_s - DOOR_SHOWS_S
    door = doors.last_within(earliest_s, now_s - 60.0)
    if door is not None:
        return Noticed(door, 0.9)
    return Noticed(max(peak_s - FALL_S, since_s) if left_s is None else left_s, 0.6)


def cooling_since(
    core: Track, now_s: float, since_s: float, room_c: float, hottest_c: float
) -> float | None:
    """Since when a warm core has been falling, None while it is not seen to.

    Above `hottest_c` it is no crumb: the probe hangs in the oven's air.
    """
    now = core.at(now_s)
    peak = core.peak(max(since_s, now_s - 1200.0), now_s)
    if now is None or peak is None or now < room_c + 4.0:
        return None
    peak_s, peak_c = peak
    if peak_c > hottest_c or peak_c - now < 0.5 or now_s - peak_s < 45.0:
        return None
    return peak_s
