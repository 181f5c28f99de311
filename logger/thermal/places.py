"""What a move does to the ensemble: another loss, another air, and doubt about both."""

from __future__ import annotations

import math

from logger.thermal import ensemble as rows
from logger.thermal.ensemble import Ensemble
from logger.thermal.priors import COLD_AIR, PLACES, UNKNOWN_PLACE
from logger.thermal.surroundings import Surroundings


def move(e: Ensemble, air: Surroundings, place: str | None, t_s: float) -> None:
    """Restart the rates with the place's prior; keep the cells and what they taught.

    `air.place` becomes the new place.
    """
    was_cold = air.is_cold
    before, _ = _factor(air.place)
    after, spread = _factor(place)
    air.place = place
    e.changed_s = t_s
    e.loosen(rows.LOSS, spread, math.log(after / before))
    e.loosen(rows.EVAPORATION, 0.4)
    if place in COLD_AIR or was_cold:
        # The asymptote is another one; in a cold place the cake warms its surroundings a little.
        e.spread_air(air.air_spread_k(), 0.5 if place in COLD_AIR else 0.0)


def _factor(place: str | None) -> tuple[float, float]:
    """How the loss compares with a pan on a rack, and the spread of its logarithm."""
    if place is None:
        return UNKNOWN_PLACE
    return PLACES.get(place, UNKNOWN_PLACE)
