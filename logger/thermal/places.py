"""What a move does to the ensemble: another loss, another air, and doubt about both."""

from __future__ import annotations

import math

from logger.thermal import ensemble as rows
from logger.thermal.ensemble import Ensemble
from logger.thermal.priors import COLD_AIR, PLACES, UNKNOWN_PLACE
from logger.thermal.surroundings import Surroundings

UNMOULDED, BARED = "out of pan, on rack", 1.5
FAN = "rack with fan"
# The stream of a fan takes as much per kelvin at every excess (forced convection, Holman). What is
# left of the power by which films grow is radiation's, 0.137, of about a third of a doubled film of
# which it was the larger part: 0.045 in place of 0.18 (`BEND`).
FAN_BEND = 0.25
# Of the moves within a room the faster ones (out of the pan, a fan, a draught) are the more
# frequent; the way back is as likely as the way there.
UNTOLD_SHIFT, UNTOLD_SPREAD = 0.15, 0.45
# No place loses much more than a fan or less than a counter (places' factors, and the prior's own).
REACH = 0.6


def move(e: Ensemble, air: Surroundings, place: str | None, t_s: float) -> None:
    """Restart the rates with the place's prior; keep the cells and what they taught.

    `air.place` becomes the new place.
    """
    was_cold = air.is_cold
    before, _ = _factor(air.place, air)
    after, spread = _factor(place, air)
    e.changed_s = t_s
    e.loosen(rows.LOSS, spread, math.log(after / before))
    # Out of the pan all faces give off vapour, not the top alone; but the sides are drier.
    bared = place == UNMOULDED and air.place != UNMOULDED
    e.loosen(rows.EVAPORATION, 0.4, math.log(BARED) if bared else 0.0)
    if (place == FAN) != (air.place == FAN):
        e.x[rows.BEND] *= FAN_BEND if place == FAN else 1.0 / FAN_BEND
    air.place = place
    if place in COLD_AIR or was_cold:
        # The asymptote is another one; in a cold place the cake warms its surroundings a little.
        e.spread_air(air.air_spread_k(), 0.5 if place in COLD_AIR else 0.0)


def leave_for(e: Ensemble, air: Surroundings, here: str | None, there: str | None) -> None:
    """Suppose a move that nobody told of: what is not a cold place may be any in the room."""
    e.changed_s = e.t_s
    if there in COLD_AIR or here in COLD_AIR:
        before, _ = _factor(here, air)
        after, spread = _factor(there, air)
        e.reopen_loss(spread, math.log(after / before), REACH)
        e.spread_air(air.spread_at_k(there), 0.5 if there in COLD_AIR else 0.0)
    else:
        e.reopen_loss(UNTOLD_SPREAD, UNTOLD_SHIFT, REACH)
    e.loosen(rows.EVAPORATION, 0.4)


def _factor(place: str | None, air: Surroundings) -> tuple[float, float]:
    """How the loss compares with a pan on a rack, and the spread of its logarithm."""
    if place is None:
        return UNKNOWN_PLACE
    centre, spread = PLACES.get(place, UNKNOWN_PLACE)
    if place == UNMOULDED and air.unmoulded is not None:
        return air.unmoulded, spread
    return centre, spread
