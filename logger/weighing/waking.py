"""A scale that was silent wakes up: what became of its zero, and of what was being added?"""

from __future__ import annotations

import math
from dataclasses import dataclass

from drivers.reading import Reading
from logger.weighing.continuity import Zeroing
from logger.weighing.rest import Rest
from logger.weighing.settling import S
from logger.weighing.signals import Extended
from logger.weighing.standing import Standing

AT_WORK_US = 5 * S


@dataclass(frozen=True, slots=True)
class Waking:
    """What became of the zero while nothing was heard.

    Attributes:
        shift_kg: to add to the offset.
        kind: ``same`` (nothing changed), ``added`` (a plausible change of the load at the same
            zero), ``zeroed`` (a new zero with the load on), ``tare lost``, ``lifted``, ``unknown``
            (another zero, which hides what changed).
    """

    shift_kg: float
    kind: str


def waking(
    value_kg: float,
    offset_kg: float,
    before_kg: float,
    empty_kg: float | None,
    rate_kg_s: float,
    silence_s: float,
    d_kg: float,
    addable_kg: float = math.inf,
) -> Waking:
    """Explain the first reading after a silence.

    Args:
        value_kg: the indication now.
        offset_kg: the offset before the silence.
        before_kg: the coordinate before the silence.
        empty_kg: the coordinate of the empty pan, None where unknown.
        rate_kg_s: how fast the load grew when the readings stopped; 0 at rest.
        silence_s: for how long nothing was heard.
        d_kg: division.
        addable_kg: the most that can have been added meanwhile.
    """
    now_kg = value_kg + offset_kg
    change = now_kg - before_kg
    near = max(1.6 * d_kg, 0.001 * abs(before_kg - (empty_kg or 0.0)))
    flowing = max(0.0, rate_kg_s) * min(silence_s, 8.0) * 1.5
    if abs(change) <= near:
        return Waking(0.0, "same")
    if 0 < change <= flowing:
        return Waking(0.0, "added")
    if empty_kg is not None and abs(empty_kg - offset_kg) > near:
        # Tared before: does it read gross now?
        gross = before_kg - empty_kg
        growth = value_kg - gross
        if -near <= growth <= max(flowing, near):
            return Waking(-(now_kg - before_kg - max(growth, 0.0) * (growth > near)), "tare lost")
    if abs(value_kg) <= 1.6 * d_kg and change < 0:
        return Waking(-change, "zeroed")
    if empty_kg is not None and abs(now_kg - empty_kg) <= max(near, 3 * d_kg):
        return Waking(0.0, "lifted")
    if change < 0 or change > addable_kg:
        return Waking(-change, "unknown")
    return Waking(0.0, "added")


def wake(state: Standing, held: list[Reading]) -> None:
    base, last = state.base, state.continuity.last
    values = sorted(r.value for r in held if r.value is not None)
    d = state.division_kg
    level = values[len(values) // 2] if values[-1] - values[0] <= 2 * d else None
    value = level if level is not None else held[0].value
    assert value is not None
    assert base is not None
    before_kg = base.level_kg
    if last is not None and not state.at_rest:
        before_kg = last.value_kg + state.continuity.offset_kg
    silence_s = (held[0].t_us - state.last_us) / S
    found = waking(
        value,
        state.continuity.offset_kg,
        before_kg,
        state.bench.empty_kg if state.bench.present else None,
        state.moving_rate_kg_s,
        silence_s,
        d,
        state.addable_kg() - (before_kg - base.level_kg) if state.bench.present else math.inf,
    )
    was_resting = state.at_rest
    state.unheard = found.kind == "added"
    state.continuity.offset_kg += found.shift_kg
    state.continuity.forget()
    state.settler.interrupt(held[0].t_us)
    if found.kind in ("zeroed", "unknown", "tare lost"):
        state.same_zero = False
        _doubt(state, base, was_resting)
        empty = state.bench.empty_kg
        certain = (
            empty is None
            or abs(value + state.continuity.offset_kg - found.shift_kg - empty) > 3 * d
        )
        if found.kind == "zeroed":
            state.zeroing = Zeroing(
                held[0].t_us, found.shift_kg, was_resting, certain, 0.0, before_kg
            )
    if was_resting:
        state.motion.begin(held[0].t_us, base.level_kg)
        state.motion.interrupted = True


def _doubt(state: Standing, base: Rest, was_resting: bool) -> None:
    """The zero was lost: was something being added meanwhile?"""
    if not state.bench.present:
        return
    moving = state.piece is not None or state.moving_rate_kg_s > 0
    if not was_resting and moving:
        state.piece = state.piece or state.new_piece(base, state.last_us)
        state.piece.lost = True
        return
    last = state.last_piece
    # No scale switches itself off so soon after it moved: it was unplugged at work.
    if last is not None and state.last_us - last.ended_us < AT_WORK_US and state.unfinished(last):
        last.lost = True
        state.signals.append(Extended(last))
