"""What a new rest means while no container is on the scale: put on, or brought back?"""

from __future__ import annotations

from logger.weighing.pieces import Piece
from logger.weighing.rest import Rest
from logger.weighing.standing import Standing

SLOW_PUT_US = 1_300_000  # a bowl through the slowest filters; a stream takes longer
PAN_KG = 0.000_3  # an empty pan of a fine scale wanders by so much (common practice)
# Left on beater and scraper, at most (common practice, no source).
SCRAPED_KG = 0.03
SCRAPED_PART = 0.05


def explain_absent(state: Standing, rest: Rest, base: Rest, d: float, piece: Piece | None) -> bool:
    bench = state.bench
    empty = bench.empty_kg if bench.empty_kg is not None else base.level_kg
    mass = rest.level_kg - empty
    told = mass > 1.6 * d and state.is_awaited(mass, state.started(base))
    wanders = max(1.6 * d, PAN_KG)
    if mass <= wanders and not told:
        lifted = bench.lifted_from
        value = rest.level_kg - state.continuity.offset_kg
        if lifted is not None and bench.lifted_to_zero and value < -max(5 * d, 0.005):
            # It reads less than an empty pan can: that had been a tare, now it is lifted.
            state.realign(lifted.level_kg - base.level_kg)
            bench.lifted_to_zero = False
            bench.empty_kg = rest.level_kg
        elif abs(mass) <= wanders:
            bench.empty_kg = rest.level_kg
        state.base = rest
        return False
    sudden = state.motion.is_sudden(base.level_kg, rest.level_kg, state.settler.period_us)
    lifted = bench.lifted_from
    if lifted is not None:
        if not sudden and bench.lifted_to_zero:
            state.realign(lifted.level_kg - base.level_kg)
            bench.present, bench.lifted_to_zero = True, False
            bench.back(rest.start_us)
            state.base, state.tared, state.same_zero = lifted, True, False
            made = state.new_piece(lifted, state.started(base))
            return state.end(made, rest, sudden)
        return _returned(state, rest, lifted, mass, sudden)
    slow_filter = state.motion.duration_us(
        base.level_kg, rest.level_kg
    ) <= SLOW_PUT_US and state.motion.is_smooth(base.level_kg, rest.level_kg)
    started_us = state.started(base)
    known = bench.is_known(mass, d)
    put = (sudden or slow_filter) and (known or not state.is_ingredient(mass, started_us))
    if put or not state.plausible(mass):
        state.motion.learn(base.level_kg, rest.level_kg)
        state.put_on(rest, mass)
        return False
    bench.present, bench.bowl_kg = True, base.level_kg
    bench.empty_kg = None
    return state.end(state.new_piece(base, started_us), rest, sudden)


def _returned(state: Standing, rest: Rest, lifted: Rest, mass: float, sudden: bool) -> bool:
    bench, d = state.bench, state.division_kg
    change = rest.level_kg - lifted.level_kg
    same = max(1.6 * d, 3.0 * (rest.mean_error_kg + lifted.mean_error_kg), 0.0005 * abs(mass))
    bench.lifted_to_zero = False
    if abs(change) <= same:
        _is_back(state, rest)
        bench.bowl_kg += change
        state.drift_kg += abs(change) if abs(change) > 0.6 * d else 0.0
        return False
    emptied = bench.is_known(mass, d)
    content = lifted.level_kg - bench.bowl_kg
    if 0 < -change <= min(content, max(SCRAPED_KG, SCRAPED_PART * content)) and not emptied:
        # What stayed on the scraper is batter, of every line: no line's take-back was seen.
        _is_back(state, rest)
        state.same_zero = False
        return False
    # What comes in one go, and heavier, is another container, or was filled elsewhere; what comes
    # after the old one's weight was added here.
    if change > 0 and not sudden and state.plausible(change) and not emptied:
        bench.present, state.same_zero = True, False
        bench.back(rest.start_us)
        # It may have come back some time before more was added.
        same_kg = lifted.level_kg + 2 * d
        made = state.new_piece(lifted, state.motion.last_below_us(same_kg, state.started(rest)))
        return state.end(made, rest, sudden)
    state.put_on(rest, mass)
    return False


def _is_back(state: Standing, rest: Rest) -> None:
    """The container that was lifted is on the scale again, with nothing added."""
    state.bench.present, state.base = True, rest
    state.bench.back(rest.start_us)
    state.contained_us = rest.settled_us
