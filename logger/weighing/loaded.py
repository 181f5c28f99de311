"""What a new rest means while a container stands on the scale, and where that leads."""

from __future__ import annotations

import math
from dataclasses import replace

from logger.weighing.absent import explain_absent
from logger.weighing.pieces import Piece
from logger.weighing.rest import Rest
from logger.weighing.settling import S
from logger.weighing.signals import Lifted, Tared, Vanished
from logger.weighing.standing import FINGER_KG, LIGHTEST_BOWL_KG, Standing

TOOL_KG = 0.08  # a spoon or scraper taken out of the bowl weighs no more
CREEP_KG = 0.000_25  # an ingredient is not added in smaller steps; loaded cells creep by that much
LIGHTER = 0.05  # a lighter container in place of one is so at least; less may be drift
LONG_REST_US = 20 * S
TAIL_US = 3_500_000
TARE_TAIL_US = 4 * S


def settled(state: Standing, rest: Rest, net: bool | None) -> None:
    """A new rest was found: end the piece that led to it, or say what it was instead."""
    base = state.base
    assert base is not None
    piece, state.piece = state.piece, None
    outcome = _explain(state, rest, base, state.division_kg, piece, net)
    state.unheard = False
    if piece is not None and not outcome:
        state.signals.append(Vanished(piece))


def _explain(
    state: Standing, rest: Rest, base: Rest, d: float, piece: Piece | None, net: bool | None
) -> bool:
    bench = state.bench
    if not bench.present:
        return explain_absent(state, rest, base, d, piece)
    step = rest.level_kg - base.level_kg
    zeroing = state.zeroing
    if zeroing is not None and zeroing.at_rest and rest.start_us - zeroing.t_us < TARE_TAIL_US:
        value = rest.level_kg - state.continuity.offset_kg
        finger = -FINGER_KG <= value <= 1.2 * d
        early = rest.start_us - zeroing.t_us < 2 * S or step < 0
        told = value > 0.6 * d and state.is_awaited(step, rest.start_us)
        if (
            finger
            and early
            and not told
            and rest.level_kg > bench.bowl_kg - 0.5 * abs(bench.bowl_kg)
        ):
            # The key was pressed with a heavy finger: what it left is zero error.
            state.realign(-step)
            state.base = rest
            return False
    if _was_lifted_after_all(state, step, base, rest, d):
        return explain_absent(state, rest, state.base or base, d, piece)
    tol = max(0.75 * d, 2.5 * math.hypot(rest.mean_error_kg, base.mean_error_kg))
    gone = max(4 * d, 0.002)
    if bench.empty_kg is not None and bench.bowl_kg - bench.empty_kg < 2 * gone:
        gone = max(1.6 * d, 0.5 * (bench.bowl_kg - bench.empty_kg))
    elif bench.empty_kg is not None:
        gone = max(gone, LIGHTER * (bench.bowl_kg - bench.empty_kg))
    small = abs(step) <= max(tol, 2.5 * d)
    if _is_tail(state, rest, base, piece) and small and (rest.shifted or abs(step) <= tol):
        return state.extend(rest)
    if rest.shifted and abs(step) <= tol and _is_same(state, base, piece):
        return state.extend(rest)
    long_rest = rest.start_us - base.settled_us > LONG_REST_US
    if rest.shifted and -1.1 * d <= step < 0 and not long_rest:
        # Nobody takes back a single division unseen: it is the same rest, read anew.
        if _is_end(state, base, piece):
            return state.extend(rest)
        state.base = rest
        return False
    if rest.shifted and small and rest.start_us - state.contained_us < TAIL_US:
        bench.bowl_kg += step
        state.base = rest
        return False
    if rest.shifted:
        gross = abs(rest.level_kg - (bench.empty_kg or 0.0))
        tol = max(tol, CREEP_KG, 0.0003 * gross)
        if abs(step) <= tol or (long_rest and abs(step) <= 1.1 * d):
            state.drift_kg += abs(step)
            state.base = rest
            return False
    low = state.motion.low_kg
    if rest.level_kg < bench.bowl_kg - gone:
        empty = bench.empty_kg
        if empty is not None and low <= empty + gone and rest.level_kg > empty + gone:
            # The pan was empty for a moment, then a lighter container was put on it.
            bench.lifted_from, bench.present = base, False
            return explain_absent(state, rest, base, d, piece)
        return _lift(state, rest, base, d, net)
    if low < bench.bowl_kg - max(2 * gone, 0.3 * abs(bench.bowl_kg - (bench.empty_kg or low))):
        # Lifted and put back without a rest between.
        bench.lifted_from, bench.present = base, False
        if bench.empty_kg is None:
            bench.empty_kg = low
        return explain_absent(state, rest, base, d, piece)
    if abs(step) <= tol:
        if piece is not None and piece.lost:
            return state.end(piece, rest, sudden=False)
        state.drift_kg += abs(step)
        state.base = rest
        return False
    if piece is None and _is_second_tare(state, rest, base, step, d):
        state.realign(-step)
        state.base = rest
        state.tared, state.same_zero = True, False
        return False
    if step < 0:
        if _is_slow_tare(state, rest, step, d, net):
            state.realign(-step)
            state.base = rest
            state.tared, state.same_zero = True, False
            state.signals.append(Tared(rest.settled_us))
            return False
        if -step > state.takeable_kg() + 3 * d + TOOL_KG:
            # More than the line ever had: the container went, from a zero that was not known.
            return _lift(state, rest, base, d, net)
        return state.end(piece or state.new_piece(base, state.started(base)), rest, False)
    sudden = state.motion.is_sudden(base.level_kg, rest.level_kg, state.settler.period_us)
    nested = sudden and piece is None and step > LIGHTEST_BOWL_KG
    if nested and not state.plausible(step) and not state.is_ingredient(step, state.started(base)):
        bench.bowl_kg += step
        bench.known_kg.append(step)
        state.contained(rest, step)
        return False
    return state.end(piece or state.new_piece(base, state.started(base)), rest, sudden)


def _is_same(state: Standing, base: Rest, piece: Piece | None) -> bool:
    """Whether this is a better look at the shaken rest at which the last piece ended."""
    return _is_end(state, base, piece) and base.noise_kg > 0.8 * base.division_kg


def _is_tail(state: Standing, rest: Rest, base: Rest, piece: Piece | None) -> bool:
    """Whether what moved since is still the end of the last piece: drops, filter, creep."""
    last = state.last_piece
    return (
        last is not None and _is_end(state, base, piece) and rest.start_us - last.ended_us < TAIL_US
    )


def _is_end(state: Standing, base: Rest, piece: Piece | None) -> bool:
    """Whether nothing was added since the last piece ended, at the same zero."""
    last = state.last_piece
    return last is not None and piece is None and last.after is base and state.same_zero


def _is_second_tare(state: Standing, rest: Rest, base: Rest, step: float, d: float) -> bool:
    """The key again, because the first press left a little below zero."""
    value = rest.level_kg - state.continuity.offset_kg
    before = base.level_kg - state.continuity.offset_kg
    if step <= 3 * d or before >= -3 * d or not -FINGER_KG <= value <= 0.6 * d:
        return False
    # A spoonful may end at zero by chance, but it shows itself on the way; a key jumps there.
    zero_kg = state.continuity.offset_kg
    return state.motion.jumps_to(zero_kg, 0.6 * d, 0.5 * -before)


def _is_slow_tare(state: Standing, rest: Rest, step: float, d: float, net: bool | None) -> bool:
    """A tare that went through the scale's filter: down to an indication of zero."""
    value = rest.level_kg - state.continuity.offset_kg
    empty = state.bench.empty_kg
    if net is False or abs(value) > 1.2 * d or -step < max(4 * d, 0.004):
        return False
    return empty is None or abs(rest.level_kg - empty) > max(5 * d, 0.005)


def _was_lifted_after_all(state: Standing, step: float, base: Rest, rest: Rest, d: float) -> bool:
    """A jump to zero was taken for the tare key; the bowl coming back tells otherwise."""
    zeroing = state.zeroing
    if zeroing is None or zeroing.certain or abs(step) <= 1.6 * d:
        return False
    state.zeroing = None  # one step is all the evidence there will be
    shift = zeroing.shift_kg
    if step < 0 or not state.motion.is_sudden(
        base.level_kg, rest.level_kg, state.settler.period_us
    ):
        return False
    masses = [shift, *state.bench.known_kg]
    if not any(abs(step - m) <= max(2.5 * d, 0.004 * m) for m in masses):
        return False
    if state.plausible(step) and abs(step - shift) > max(2.5 * d, 0.004 * shift):
        return False
    state.realign(-shift)
    state.bench.lifted_from = base
    state.bench.present = False
    state.tared = False
    return True


def _lift(state: Standing, rest: Rest, base: Rest, d: float, net: bool | None) -> bool:
    bench = state.bench
    value = rest.level_kg - state.continuity.offset_kg
    zeroing = state.zeroing
    # A lower level than any container leaves: the zero before was a tare, certainly.
    if zeroing is not None:
        state.zeroing = replace(zeroing, certain=True)
    state.motion.learn(base.level_kg, rest.level_kg)
    bench.present, bench.lifted_from = False, base
    bench.lifted_to_zero = abs(value) <= 1.6 * d and net is not False
    if bench.empty_kg is None or abs(bench.bowl_kg - bench.empty_kg) > 0:
        bowl = bench.bowl_kg - rest.level_kg
        if bowl > max(3 * d, 0.002):
            bench.remember(bowl, d)
    bench.empty_kg = rest.level_kg
    bench.lifted_us = base.last_us
    state.base = rest
    state.signals.append(Lifted(base.level_kg - rest.level_kg))
    return False
