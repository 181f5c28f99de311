"""Rival explanations of one cooling cake: it stays as it was, was moved, or went into the cold.

Nobody tells of every move. So at intervals the ensemble gets rivals that suppose a change just
now; all of them follow the readings, each is weighed by how likely it made them (Bayes), and
forecasts are made from all in the shares of their weights. So an unmarked move widens the
forecast as soon as the readings hint at it, and narrows it as they decide. This is an interacting
multiple model estimator (Blom & Bar-Shalom 1988) with the mixing left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from logger.thermal import ensemble as rows
from logger.thermal.ensemble import MEMBERS, Ensemble
from logger.thermal.places import UNMOULDED, leave_for
from logger.thermal.priors import COLD_AIR
from logger.thermal.surroundings import Surroundings

# A cake is moved once or twice while it cools, and some of that is not told: about one untold move
# in two or three hours. As a rule it is turned out of its pan 10 to 20 minutes after the oven; who
# moves it later does so to have it cold sooner, two of three into the cold, and more of them where
# the plan has a refrigerator's channel (common practice, no source).
MOVES_PER_H, COLD_SHARE, COLD_SHARE_WATCHED = 0.4, 0.65, 0.8
# Turning out is about half of all moves within a room, and what is out stays out. What was put into
# the cold to get cold is seldom taken out of it before it is.
ONCE_TURNED_OUT, OUT_OF_COLD = 0.5, 0.25
# Fresh rivals come after about the time heat takes from cell to cell, but often enough for one to
# suppose the change about when it was: readings soon speak against a change that came much later.
SOONEST_S, LATEST_S = 240.0, 300.0
# Of each kind so many stay, so that many a guess within the room does not crowd out the cold.
KEEP, MOST_OF_A_KIND = 1e-4, 3
# Cold is worth supposing where it is so much colder than here, and not just out of the oven: hot
# cakes steam, so nobody shuts them in at once (common practice), and the core still lags.
COLDER_K, COLD_AFTER_S = 5.0, 1200.0
# In the oven, where thousands are followed, those that are told go on from so shortly before now.
LATELY_S = 60.0


@dataclass(slots=True)
class Rival:
    """One explanation.

    Attributes:
        ensemble: its cakes.
        place: where it supposes the cake to be, as in marks; None: in the room.
        log_weight: logarithm of its weight, not normalised.
        is_news: supposes a change that has not been said yet.
    """

    ensemble: Ensemble
    place: str | None
    log_weight: float = 0.0
    is_news: bool = False


class Rivals:
    """All explanations of a cooling; the first is the likeliest.

    Attributes:
        all: with the leading one first; empty while nothing is followed.
        marked_s: since when, the last change that is certain.
    """

    def __init__(self, air: Surroundings) -> None:
        self._air = air
        self.all: list[Rival] = []
        self._fresh_s = 0.0
        self.marked_s = self.out_s = 0.0

    @property
    def lead(self) -> Ensemble | None:
        """The likeliest explanation's ensemble."""
        return self.all[0].ensemble if self.all else None

    def begin(self, ensemble: Ensemble) -> None:
        """One explanation only, as after a mark; its place is the one of the surroundings."""
        if not self.all or ensemble.in_oven:
            self.out_s = ensemble.t_s
        self.all = [Rival(ensemble, self._air.place)]
        self._fresh_s = self.marked_s = ensemble.t_s

    def settle(self, t_s: float, celsius: float) -> None:
        """The probe now reads another place in the cake: that says nothing of where it stands."""
        for rival in self.all:
            self._go_on(rival, t_s).settle_on(celsius)
        self._fresh_s = self.marked_s = t_s

    def _go_on(self, rival: Rival, t_s: float) -> Ensemble:
        """Its cakes live until `t_s` where it supposes them to be."""
        e = rival.ensemble
        e.advance(t_s, self._air.air_at_c(t_s, e.in_oven, rival.place))
        return e

    def learn(self, t_s: float, celsius: float, step_k: float) -> bool:
        """Follow the readings to `t_s`; whether another explanation, a change, now leads."""
        for rival in self.all:
            e = self._go_on(rival, t_s)
            e.assimilate(celsius, step_k=step_k)
            rival.log_weight += e.log_likelihood
        lead = self.all[0]
        if lead.ensemble.in_oven:
            self.out_s = t_s
            return False
        best = max(self.all, key=lambda r: r.log_weight)
        for rival in self.all:
            rival.log_weight -= 0.0 if rival is best else best.log_weight
        best.log_weight = 0.0
        self.all.sort(key=lambda r: -r.log_weight)
        changed = best is not lead and best.is_news
        if changed:
            best.is_news = False
        if best is not lead:
            self._air.place = best.place
        self._renew(t_s)
        return changed

    def _renew(self, t_s: float) -> None:
        lead = self.all[0]
        e = lead.ensemble
        every_s = min(max(1.0 / math.exp(float(e.x[rows.EXCHANGE].mean())), SOONEST_S), LATEST_S)
        passed_s = t_s - self._fresh_s
        if passed_s < every_s:
            return
        self._fresh_s = t_s
        self.all = [
            rival
            for kind in (True, False)
            for rival in [r for r in self.all if (r.place in COLD_AIR) is kind][:MOST_OF_A_KIND]
            if rival.log_weight > math.log(KEEP)
        ]
        self.all.sort(key=lambda r: -r.log_weight)
        moves = MOVES_PER_H * passed_s / 3600.0
        if lead.place in COLD_AIR:
            self._suppose(lead, None, moves * OUT_OF_COLD)
            return
        cold = self._cold_share(t_s)
        room = (1.0 - cold) * (ONCE_TURNED_OUT if lead.place == UNMOULDED else 1.0)
        self._suppose(lead, None, moves * room)
        if cold:
            self._suppose(lead, "refrigerator", moves * cold)

    def _cold_share(self, t_s: float) -> float:
        """How many of the moves out of a place in the room are into the cold."""
        steams = t_s - self.out_s < COLD_AFTER_S
        colder_k = self._air.air_at_c(t_s, False, None) - self._air.air_at_c(
            t_s, False, "refrigerator"
        )
        if steams or colder_k <= COLDER_K:
            return 0.0
        return COLD_SHARE_WATCHED if self._air.cold else COLD_SHARE

    def _suppose(self, lead: Rival, place: str | None, chance: float) -> None:
        e = lead.ensemble.copy()
        leave_for(e, self._air, lead.place, place)
        self.all.append(Rival(e, place, lead.log_weight + math.log(chance), is_news=True))

    def at(self, now_s: float) -> Ensemble | None:
        """All explanations in one ensemble as of now, each with members by its weight.

        The offsets of its air are those from the air of the leading explanation.
        """
        if not self.all:
            return None
        lead = self.all[0]
        base_c = self._air.air_at_c(now_s, lead.ensemble.in_oven, lead.place)
        whole = self._together(now_s, base_c)
        if now_s - whole.t_s >= (LATELY_S if whole.in_oven else 1.0):
            whole = whole.copy() if whole is lead.ensemble else whole
            whole.advance(now_s, base_c)
        return whole

    def _together(self, now_s: float, base_c: float) -> Ensemble:
        """All as of the last reading; offsets of air are those from `base_c`, for `now_s`."""
        lead = self.all[0]
        if len(self.all) == 1:
            return lead.ensemble
        weights = np.exp([r.log_weight for r in self.all])
        ends = np.round(np.cumsum(weights) / weights.sum() * MEMBERS).astype(int)
        whole = lead.ensemble.copy()
        whole.in_cold = np.full(MEMBERS, lead.place in COLD_AIR)
        for rival, start, end in zip(self.all[1:], ends[:-1], ends[1:], strict=True):
            if start == end:
                continue
            e = rival.ensemble
            whole.x[:, start:end] = e.x[:, start:end]
            whole.in_cold[start:end] = rival.place in COLD_AIR
            whole.x[rows.AIR, start:end] += self._air.air_at_c(now_s, e.in_oven, rival.place)
            whole.x[rows.AIR, start:end] -= base_c
        return whole
