"""Runs the physics of one case: preheat, bake, cooling; second by second, no probe faults yet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import matter
import numpy as np
from cake import Around, Cake
from cases import Case
from matter import Array
from numpy.typing import NDArray
from ovenbox import OvenState
from places import Cold, Counter, Place

TARGETS_BAKE = (90.0, 95.0, 97.0)
TARGETS_COOL = (40.0, 30.0, 27.0, 24.0)
_LONGEST_BAKE_S = 3.4 * 3600
_LONGEST_COOLING_S = 4.0 * 3600


@dataclass
class Course:
    """True series each second from the session's start.

    Attributes:
        point, valid: temperature where the probe's tip is (or will be), and whether it is in there.
        medium: what the probe's tip is in, whatever that is.
        surroundings: air the cake stands in.
        centre, surface: warmest line's middle and top of the middle.
        doors: (start, end) s; on: element; limit_c: local boiling point of the coldest cell.
        changes: (s, what) of the cooling, told or not.
    """

    in_s: float
    out_s: float
    end_s: float
    point: Array
    valid: NDArray[np.bool_]
    medium: Array
    air: Array
    on: Array
    room: Array
    cold: Array
    surroundings: Array
    centre: Array
    surface: Array
    doors: list[tuple[float, float]]
    limit_c: float
    changes: list[tuple[float, str]]
    lost_share: float


class _Tip:
    """Where the tip is: a fixed place above the base, blended from two neighbouring columns."""

    def __init__(self, cake: Cake, aside: float, height_m: float) -> None:
        edges = cake.shape.x_edges
        middle = (edges[1:] + edges[:-1]) / 2
        start = 0.5 * (edges[0] + edges[-1]) if cake.shape.ring else 0.0
        half = (edges[-1] - start) if cake.shape.ring else edges[-1]
        x = start + min(aside, 0.75) * half
        self.columns = float(np.interp(x, middle, np.arange(float(len(middle)))))
        self.height_m = height_m

    def temperature(self, cake: Cake) -> tuple[float, bool]:
        """Cake's temperature there, and whether the cake is there at all."""
        i = int(min(self.columns, len(cake.t) - 2))
        w = float(self.columns - i)
        dz = (1 - w) * cake.dz[i, 0] + w * cake.dz[i + 1, 0]
        t = (1 - w) * cake.t[i, 0] + w * cake.t[i + 1, 0]
        tops = np.cumsum(dz)
        middles = tops - dz / 2
        surface = float(cake.sides[0].surface_c[i, 0])
        inside = np.interp(self.height_m, [*middles, tops[-1]], [*t, surface])
        return float(inside), bool(self.height_m < tops[-1])


def _layers(depth_m: float) -> int:
    return 9 if depth_m < 0.02 else 12 if depth_m < 0.045 else 14


def new_cake(case: Case) -> Cake:
    return Cake(
        case.shape, case.batter, case.depth_m, case.start_c, matter.pressure_at(case.altitude_m),
        matter.MATERIALS[case.material].capacity, case.emissivity, _layers(case.depth_m),
    )  # fmt: skip


def _place(case: Case, rng: np.random.Generator) -> Place:
    on_counter = case.start_place.endswith("counter")
    stone = rng.random() < 0.5
    counter = Counter(case.room.air_c(0.0), 2.0 if stone else 0.18, 2.2e6 if stone else 1.1e6)
    return Place(
        in_pan=True,
        base="counter" if on_counter else "rack",
        movement=case.movement,
        counter=counter,
        counter_h=rng.uniform(15, 60),
        shading=rng.uniform(0.7, 1.0) if case.pan["shape"] != "cups" else 0.45,
        spans=case.draughts,
    )  # fmt: skip


def _cold(rng: np.random.Generator) -> Cold:
    return Cold(
        mean_c=rng.uniform(2.5, 6.0), band_k=rng.uniform(0.5, 1.8), period_s=rng.uniform(15, 40) * 60,
        movement=rng.uniform(3, 11), leak_k_per_w=rng.uniform(0.02, 0.07), tau_s=rng.uniform(5, 15) * 60,
    )  # fmt: skip


def run(case: Case) -> Course:
    """March one case from the oven's start to the end of the cooling."""
    rng = np.random.default_rng([90211, case.draw])
    oven = OvenState(case.make, case.room.air_c(-3600))
    rows: dict[str, list[float]] = {
        k: [] for k in ("point", "valid", "medium", "air", "on", "room", "cold", "around", "centre", "surface")
    }  # fmt: skip
    cake = new_cake(case)
    watch = case.watch
    tip = _Tip(cake, watch.aside, watch.height * case.depth_m)
    spot = 5 if case.shape.ring else 0

    def note(
        point: float, valid: bool, medium: float, room: float, cold: float, around: float
    ) -> None:
        column = cake.t[spot, 0]
        for name, value in zip(rows, (
            point, float(valid), medium, oven.air, float(oven.on), room, cold, around,
            float(column[len(column) // 2]), float(cake.sides[0].surface_c[spot, 0]),
        ), strict=True):  # fmt: skip
            rows[name].append(value)

    room_c = case.room.air_c(-3600)
    for second in range(int(case.preheat_s)):
        oven.step(1.0, case.set_point, room_c)
        in_batter = watch.mode == "set" and second > case.preheat_s - 120
        note(case.start_c, False, case.start_c if in_batter else room_c, room_c, 5.0, oven.air)
    in_s = float(int(case.preheat_s))
    doors = [(in_s - case.load_door_s[0], in_s)] + [(in_s + a, in_s + a + d) for a, d in case.doors]
    push = in_s + watch.push_at_s if watch.mode == "pushed" else in_s
    if watch.mode == "pushed":
        doors.append((push - 12.0, push + 6.0))
    # The loading door was open before the way in: run its seconds again.
    start = int(in_s - case.load_door_s[0])
    for second in range(start, int(in_s)):
        oven.step(1.0, case.set_point, room_c, door=1.0)
        rows["air"][second], rows["on"][second] = oven.air, float(oven.on)
    t, out_at = in_s, float("inf")
    while t < out_at and t - in_s < _LONGEST_BAKE_S:
        door = 1.0 if any(a <= t < b for a, b in doors) else 0.0
        oven.step(
            1.0, case.set_point, room_c, door=door, load_w=cake.to_surroundings_w * -case.pans
        )
        around = Around(oven.air, oven.wall, case.oven_h, case.oven_view, case.oven_humidity)
        cake.step(1.0, around)
        cake.contact_h = 300.0 if float(cake.hottest.min()) < 80 else 130.0
        if watch.mode == "pushed" and t <= push:
            tip.height_m = watch.height * cake.height_m((0, 0))
        point, there = tip.temperature(cake)
        valid = there and t >= push
        medium = point if valid else (room_c if t < push and not watch.hangs else oven.air)
        note(point, valid, medium, room_c, 5.0, oven.air)
        coldest = int(np.argmin(cake.t))
        limit = float(cake.boil_c.flat[coldest])
        if out_at == float("inf") and float(cake.t.min()) > min(case.out_c, limit - 1.8):
            out_at = t + case.dawdle_s
        t += 1.0
    doors.append((t - 4.0, t - 4.0 + case.load_door_s[1]))
    out_s = t
    return _cool(case, rng, cake, oven, tip, note, rows, in_s, out_s, doors, limit, spot)


def _cool(
    case: Case,
    rng: np.random.Generator,
    cake: Cake,
    oven: OvenState,
    tip: _Tip,
    note: Callable[[float, bool, float, float, float, float], None],
    rows: dict[str, list[float]],
    in_s: float,
    out_s: float,
    doors: list[tuple[float, float]],
    limit: float,
    spot: int,
) -> Course:
    """The cooling half of `run`."""
    watch = case.watch
    cake.out_of_oven = True
    before = float((cake.dry + cake.water).sum())
    whole = case.batter_kg / case.shape.copies
    place, cold = _place(case, rng), None
    cold_air = _cold(rng)
    moves = list(case.moves)
    off_at = out_s + (rng.uniform(10, 120) if rng.random() < 0.8 else 1e9)
    gone_to = out_s + watch.pulled_s
    changes = [(out_s + d.start_s, "draught") for d in case.draughts]
    t, stop_at, dt = out_s, out_s + _LONGEST_COOLING_S, 1.0
    moved = watch.moved_at_s
    later_done = False
    tail = rng.uniform(4, 15) * 60
    while t < stop_at:
        since = t - out_s
        room_c = case.room.air_c(since)
        if moves and since >= moves[0].at_s:
            move = moves.pop(0)
            changes.append((t, move.to))
            if move.to == "out of pan, on rack":
                cake.unmould()
                place.in_pan, place.base = False, "rack"
            elif move.to == "rack with fan":
                place.base, place.movement = "rack", rng.uniform(11, 22)
            else:
                cold = cold_air
                place.base, place.cold = "rack", cold
        around = place.around(cake, case.room, since)
        cake.step(dt, around)
        place.step(dt, cake, case.room, since, max(0.0, cake.to_surroundings_w) * case.pans)
        cake.contact_h = 70.0
        cold_air.clock_s += 0.0 if cold is not None else dt
        out_of_cake = watch.pulled_s > 0 and t < gone_to
        if moved is not None and moved <= since < moved + watch.moved_for_s:
            out_of_cake = True
        if out_of_cake and not later_done:
            tip = _Tip(cake, watch.aside_later, watch.height_later * cake.height_m((spot, 0)))
            later_done = True
            changes.append((t, "probe moved"))
        point, there = tip.temperature(cake)
        valid = there and not out_of_cake
        door = 1.0 if any(a <= t < b for a, b in doors) else 0.0
        oven.step(dt, case.set_point, room_c, running=t < off_at, door=door)
        for _ in range(int(dt)):
            note(
                point,
                valid,
                point if valid else around.air_c,
                room_c,
                cold_air.air_c(),
                around.air_c,
            )
        t += dt
        dt = 1.0 if t - out_s < 900 else 2.0
        if stop_at > t + tail and since > 1200:
            lowest = min((g for g in TARGETS_COOL if g > around.air_c + 0.25), default=None)
            if lowest is None or (
                point < lowest and (lowest == 24.0 or point < around.air_c + 0.45)
            ):
                stop_at = t + tail
    arrays = {k: np.array(v) for k, v in rows.items()}
    return Course(
        in_s, out_s, t, arrays["point"], arrays["valid"] > 0.5, arrays["medium"], arrays["air"],
        arrays["on"], arrays["room"], arrays["cold"], arrays["around"], arrays["centre"],
        arrays["surface"], sorted(doors), limit, sorted(changes), 1.0 - before / whole,
    )  # fmt: skip
