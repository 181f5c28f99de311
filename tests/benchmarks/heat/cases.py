"""Draws one case: what is baked, where, how it is cooled and watched, and what is told of it.

Deterministic by the number of the draw. Draws 0–199 are for development, 200–399 are kept apart.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import matter
import numpy as np
from matter import Batter
from ovenbox import OvenMake, draw_make
from places import Draught, Room
from shape import Shape, box_pan, ring_pan, round_pan


@dataclass(frozen=True)
class Move:
    """A change of place, `at_s` after the way out. `to` is the mark's word for it."""

    at_s: float
    to: str
    told: bool


@dataclass(frozen=True)
class Watch:
    """How the core probe is handled.

    Attributes:
        mode: set, uncovered, pushed.
        aside: share of the half width it sits off the centre.
        height: share of the batter's depth (set, uncovered) or of the risen height (pushed).
        push_at_s: pushed: after the way in; `hangs`: in the oven's air till then, else the room.
        pulled_s: how long it is out at the way out (0: stays in).
        moved_at_s: pulled and pushed elsewhere, after the way out (None: never), for 20–60 s.
        told: whether a `probe moved` mark says so.
    """

    mode: str
    aside: float
    height: float
    push_at_s: float
    hangs: bool
    pulled_s: float
    moved_at_s: float | None
    moved_for_s: float
    aside_later: float
    height_later: float
    told: bool


@dataclass(frozen=True)
class Case:
    """Everything about one recording before physics runs."""

    draw: int
    kind: str
    batter: Batter
    shape: Shape
    pan: dict[str, Any]
    material: str
    emissivity: float
    pans: int
    batter_kg: float
    depth_m: float
    nominal_g: float
    altitude_m: float
    plan_height: str
    start_c: float
    set_point: float
    fan: bool
    make: OvenMake
    oven_watched: bool
    preheat_s: float
    doors: list[tuple[float, float]]
    load_door_s: tuple[float, float]
    oven_h: dict[str, float]
    oven_view: dict[str, float]
    oven_humidity: float
    out_c: float
    dawdle_s: float
    starts_at_out: bool
    room: Room
    room_watched: bool
    room_word: str
    cold_watched: bool
    start_place: str
    moves: list[Move]
    draughts: list[Draught]
    movement: float
    watch: Watch
    told_in: bool
    told_out: bool
    rates: dict[str, float] = field(default_factory=dict)


def _pan(rng: np.random.Generator, kind: str) -> tuple[Shape, dict[str, Any], float, float]:
    """Shape, the plan's words for it, plan area of one pan, and batter depth (m)."""
    k = matter.KINDS[kind]
    depth = rng.uniform(*k.depth) / 1000
    pan: dict[str, Any]
    what = str(rng.choice(["round", "square", "sheet", "loaf", "ring", "cups"],
                          p=[0.42, 0.16, 0.10, 0.13, 0.09, 0.10]))  # fmt: skip
    if kind == "fruit" and what in ("sheet", "cups"):
        what = "round"
    if what == "round":
        d = float(rng.choice([150, 180, 200, 200, 230, 250]))
        shape, pan = (
            round_pan(d / 1000),
            {
                "shape": "round",
                "diameter": f"{d:.0f} mm",
                "depth": f"{50 if depth < 0.03 else 75} mm",
            },
        )
    elif what == "square":
        long, wide = [(200, 200), (230, 230), (330, 230)][int(rng.integers(0, 3))]
        shape, pan = (
            box_pan(long / 1000, wide / 1000),
            {"shape": "rectangle", "length": f"{long} mm", "width": f"{wide} mm", "depth": "50 mm"},
        )
    elif what == "sheet":
        long, wide = [(400, 300), (460, 330), (600, 400)][int(rng.integers(0, 3))]
        depth = rng.uniform(10, 20) / 1000
        shape, pan = (
            box_pan(long / 1000, wide / 1000),
            {"shape": "rectangle", "length": f"{long} mm", "width": f"{wide} mm", "depth": "25 mm"},
        )
    elif what == "loaf":
        long, wide = [(210, 110), (230, 130), (250, 115)][int(rng.integers(0, 3))]
        depth = max(depth, 0.035) + rng.uniform(0, 0.01)
        shape, pan = (
            box_pan(long / 1000, wide / 1000),
            {"shape": "loaf", "length": f"{long} mm", "width": f"{wide} mm", "depth": "70 mm"},
        )
    elif what == "ring":
        d, i = [(240, 80), (260, 90), (220, 70)][int(rng.integers(0, 3))]
        depth = max(depth, 0.035) + rng.uniform(0, 0.01)
        shape, pan = (
            ring_pan(d / 1000, i / 1000),
            {"shape": "ring", "diameter": f"{d} mm", "inner": f"{i} mm", "depth": "90 mm"},
        )
    else:
        n, d = int(rng.choice([6, 12])), float(rng.choice([60, 68, 75]))
        depth = rng.uniform(18, 28) / 1000
        shape, pan = (
            round_pan(d / 1000, copies=n),
            {"shape": "cups", "count": n, "diameter": f"{d:.0f} mm", "depth": "35 mm"},
        )
    area = float(shape.area.sum()) * shape.copies
    return shape, pan, area, depth


def _moves(rng: np.random.Generator, scale: float) -> tuple[str, list[Move]]:
    """Where it stands at first and the changes; `scale` is about how thick it is (1: a layer)."""
    start = str(rng.choice(["in pan, on rack", "in pan, on counter"], p=[0.62, 0.38]))
    story = str(rng.choice(["stays", "unmould", "fan", "refrigerator", "unmould, refrigerator"],
                           p=[0.42, 0.30, 0.08, 0.12, 0.08]))  # fmt: skip
    told = bool(rng.random() < 0.6)
    moves = []
    if story.startswith("unmould"):
        moves.append(Move(rng.uniform(8, 20) * 60 * scale, "out of pan, on rack", told))
    if story == "fan":
        moves.append(Move(rng.uniform(5, 35) * 60, "rack with fan", told))
    if story.endswith("refrigerator"):
        moves.append(
            Move(rng.uniform(25, 70) * 60 * scale, "refrigerator", bool(rng.random() < 0.6))
        )
    return start, moves


def _room(rng: np.random.Generator) -> Room:
    mean = rng.uniform(17, 23.3) if rng.random() < 0.72 else rng.uniform(23.3, 29)
    warms = rng.random() < 0.14
    return Room(
        mean_c=mean,
        ripple_k=rng.uniform(0.0, 0.45) if rng.random() < 0.6 else 0.05,
        ripple_s=rng.uniform(8, 25) * 60,
        phase=rng.uniform(0, 6.28),
        drift_k_per_h=float(rng.normal(0, 0.25)),
        warming_k=rng.uniform(1.2, 4.0) if warms else 0.0,
        warming_from_s=rng.uniform(0, 80) * 60,
        warming_s=rng.uniform(10, 40) * 60,
        humidity=rng.uniform(0.3, 0.65),
    )


def _watch(rng: np.random.Generator, depth_m: float) -> Watch:
    mode = str(rng.choice(["set", "uncovered", "pushed"], p=[0.74, 0.12, 0.14]))
    return Watch(
        mode=mode,
        aside=float(abs(rng.normal(0, 0.08))) if rng.random() < 0.8 else rng.uniform(0.15, 0.4),
        height={"set": rng.uniform(0.4, 0.85), "uncovered": rng.uniform(1.05, 1.35),
                "pushed": rng.uniform(0.35, 0.65)}[mode],
        push_at_s=rng.uniform(8, 18) * 60 * float(np.clip(depth_m / 0.025, 0.6, 1.5)),
        hangs=bool(rng.random() < 0.5),
        pulled_s=rng.uniform(60, 300) if rng.random() < 0.2 else 0.0,
        moved_at_s=rng.uniform(15, 60) * 60 if rng.random() < 0.10 else None,
        moved_for_s=rng.uniform(20, 60),
        aside_later=float(abs(rng.normal(0, 0.15))),
        height_later=rng.uniform(0.3, 0.7),
        told=bool(rng.random() < 0.5),
    )  # fmt: skip


def draw_case(draw: int) -> Case:
    """The case of this number."""
    rng = np.random.default_rng([90210, draw])
    kind = str(rng.choice(list(matter.KINDS), p=[0.28, 0.13, 0.14, 0.20, 0.15, 0.10]))
    batter = matter.draw_batter(rng, kind)
    shape, pan, area, depth = _pan(rng, kind)
    material = str(rng.choice(list(matter.MATERIALS), p=[0.42, 0.22, 0.18, 0.10, 0.08]))
    fan = bool(rng.random() < 0.4)
    room = _room(rng)
    kg = area * depth * batter.density
    altitude = rng.uniform(0, 300) if rng.random() < 0.55 else rng.uniform(300, 2500)
    set_point = float(5 * round(rng.uniform(*matter.KINDS[kind].set_point) / 5)) - (
        10 if fan else 0
    )
    by_fan = rng.uniform(14, 26) if fan else rng.uniform(5, 10)
    top = rng.uniform(0.8, 1.2)
    h = {"top": by_fan * top, "base": by_fan * rng.uniform(0.7, 1.15)}
    h |= dict.fromkeys(("wall x", "wall y"), by_fan * rng.uniform(0.7, 1.1))
    h["wall in"] = 0.6 * h["wall x"]
    view = {"top": rng.uniform(0.85, 1.15), "base": rng.uniform(0.7, 1.1)}
    view |= dict.fromkeys(("wall x", "wall y"), rng.uniform(0.6, 1.0))
    view["wall in"] = 0.3
    start, moves = _moves(rng, float(np.clip(depth / 0.03, 0.5, 1.8)))
    spread = float(rng.choice([1, 2, 2, 3]))
    said = round(
        room.air_c(1800) + float(rng.normal(0, spread / 2)), 0 if rng.random() < 0.7 else 1
    )
    rate = float(rng.choice([0.2, 0.5, 1, 2, 5, 10], p=[0.04, 0.06, 0.32, 0.24, 0.20, 0.14]))
    doors = [(rng.uniform(6, 45) * 60, float(np.exp(rng.uniform(np.log(4), np.log(60)))))
             for _ in range(int(rng.choice([0, 1, 2], p=[0.35, 0.45, 0.20])))]  # fmt: skip
    doors.sort()
    draughts = []
    if rng.random() < 0.12:
        at = rng.uniform(10, 80) * 60
        draughts.append(
            Draught(at, at + rng.uniform(8, 40) * 60, rng.uniform(1.6, 3.2), rng.uniform(0, 2.5))
        )
    return Case(
        draw=draw,
        kind=kind,
        batter=batter,
        shape=shape,
        pan=pan | {"material": material},
        material=material,
        emissivity=rng.uniform(*matter.MATERIALS[material].emissivity),
        pans=int(rng.choice([1, 2, 3], p=[0.5, 0.38, 0.12])) if pan["shape"] == "round" else 1,
        batter_kg=kg,
        depth_m=depth,
        nominal_g=round(kg * 1000 * float(np.exp(rng.normal(0, 0.015)))),
        altitude_m=altitude,
        plan_height=str(rng.choice(["altitude", "pressure", "none" if altitude < 300 else "altitude"])),
        start_c=rng.uniform(18, 25),
        set_point=set_point,
        fan=fan,
        make=draw_make(rng, fan),
        oven_watched=bool(rng.random() < 0.9),
        preheat_s=rng.uniform(18, 45) * 60,
        doors=doors,
        load_door_s=(rng.uniform(8, 35), rng.uniform(6, 25)),
        oven_h=h,
        oven_view=view,
        oven_humidity=rng.uniform(0.01, 0.06),
        out_c=rng.uniform(94.0, 99.0),
        dawdle_s=rng.uniform(0, 240),
        starts_at_out=bool(rng.random() < 0.22),
        room=room,
        room_watched=bool(rng.random() < 0.65),
        room_word=f"{said:g} ± {spread:g} °C",
        cold_watched=bool(rng.random() < 0.5),
        start_place=start,
        moves=moves,
        draughts=draughts,
        movement=rng.uniform(2.0, 5.5),
        watch=_watch(rng, depth),
        told_in=bool(rng.random() < 0.7),
        told_out=bool(rng.random() < 0.7),
        rates={"core": rate, "oven": float(rng.choice([rate, 1.0, 5.0])), "room": max(rate, 5.0), "refrigerator": 10.0},
    )  # fmt: skip
