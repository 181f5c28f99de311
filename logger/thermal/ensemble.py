"""Many possible cakes, weighed against the readings: an ensemble Kalman filter.

Each member is a cake with its own cells and its own unknowns (rates, exponent, evaporation,
plateau, offset of the air). A reading moves all of them by their covariance with what it measures
(the square-root form of Whitaker & Hamill 2002, which needs no drawn noise). What the three cells
cannot know (a slowly changing crust, draughts) is a small steady disturbance of the rates; it is
also carried forward, so that forecasts widen with the time that is left.
"""

from __future__ import annotations

import copy
import math

import numpy as np

from logger.thermal.baking import at_tip, rising
from logger.thermal.cake_model import Rates, step
from logger.thermal.design_points import Array, Disturbances, normal_design
from logger.thermal.particles import Particles
from logger.thermal import particles as of_bake
from logger.thermal.priors import Priors

MEMBERS = 360
# Rows of the state.
OUTER, MIDDLE, CORE, EXCHANGE, LOSS, HEATING = range(6)
HOT, BEND, EVAPORATION, PLATEAU, AIR, CONDUCTS = range(6, 12)
VAPOUR, EXPANSION, TIP = range(12, 15)
FUTURE_RATE, FUTURE_AIR = 15, 16  # of the design only: disturbances of the time to come
ROWS = 15

# Natural convection alone gives m = 0.25, radiation about 0.1 (Holman; Incropera).
BEND_PRIOR = (0.2, 0.08)
# Steady disturbances, standard deviation after one hour.
RATE_DRIFT = 0.12  # of the logarithms of exchange, loss and heating
AIR_DRIFT_K = 0.3
FUTURE_RATE_DRIFT = 0.10
# In the oven crumb changes while it bakes: at once, not with the root of time.
FUTURE_OVEN_RATE = 0.13
# After a change of surroundings the core tells of it only with the diffusion time.
FUTURE_AFTER_CHANGE = 0.30
CHANGE_FADES_S = 900.0
FUTURE_AIR_DRIFT_K = 0.35
LONGEST_DRIFT_H = 3.0

# A reading's error: rounding, noise, and what the three cells leave out. The last is correlated
# over minutes, so a reading a minute counts for less than independent ones would.
READING_SD_K = 0.12
CORRELATED_SD_K = 0.15
CORRELATED_PER_K = 0.006  # of the excess over the air: what the cells leave out shrinks with it
CORRELATION_S = 240.0
LONGEST_STEP_S = 30.0
OUTLIER = 2.5  # standardised innovation from which a reading counts for less

_OF_BAKE = (
    (EXCHANGE, of_bake.EXCHANGE),
    (HEATING, of_bake.HEATING),
    (CONDUCTS, of_bake.CONDUCTS),
    (VAPOUR, of_bake.VAPOUR),
    (EXPANSION, of_bake.EXPANSION),
    (PLATEAU, of_bake.PLATEAU),
    (TIP, of_bake.TIP),
)


class Ensemble:
    """Possible cakes at `t_s` (seconds since the room's origin).

    Attributes:
        t_s: time of the cells.
        x: state, shape (ROWS, MEMBERS); see the row names.
        in_oven: whether the air heats.
    """

    def __init__(self, priors: Priors, t_s: float) -> None:
        self.t_s = t_s
        self.in_oven = False
        self._z = normal_design(MEMBERS, ROWS + 2)
        self._disturbances = Disturbances(MEMBERS)
        self._last_assimilated_s: float | None = None
        self.changed_s = t_s
        self._doubt = priors.doubt
        self._priors = priors
        self._bake: Particles | None = None
        self._air_c = priors.batter_c[0]
        z = self._z
        self.x = np.empty((ROWS, MEMBERS))
        for row, (centre, spread) in (
            (EXCHANGE, priors.exchange_per_s),
            (LOSS, priors.loss_per_s),
            (HEATING, priors.bake.heating_per_s),
            (HOT, priors.hot),
            (EVAPORATION, priors.evaporation),
            (CONDUCTS, priors.bake.conducts),
            (VAPOUR, priors.bake.vapour),
            (EXPANSION, priors.bake.expansion),
        ):
            self.x[row] = math.log(centre) + spread * z[row]
        self.x[BEND] = BEND_PRIOR[0] + BEND_PRIOR[1] * z[BEND]
        self.x[PLATEAU] = priors.plateau_c[0] + priors.plateau_c[1] * z[PLATEAU]
        self.x[AIR] = 0.0
        self.x[TIP] = priors.bake.tip[0] + priors.bake.tip[1] * z[TIP]
        self.x[:3] = priors.batter_c[0]

    def enter_oven(self, celsius: float, spread_k: float) -> None:
        """From now on it bakes, from batter of one temperature."""
        self.in_oven, self.changed_s = True, self.t_s
        self._bake = Particles(self._priors, self.t_s, celsius, spread_k)
        self._take_over()

    def back_into_oven(self) -> None:
        """It bakes on, from the cells it has."""
        cells = self.x[:3].copy()
        self.enter_oven(float(cells[2].mean()), 0.0)
        if self._bake is not None:
            self._bake.cells = cells[:, np.arange(self._bake.cells.shape[1]) % MEMBERS]
            self._take_over()

    def _take_over(self) -> None:
        """The members are those of the bake that are believed."""
        b = self._bake
        if b is None:
            return
        index = b.chosen(MEMBERS)
        self.x[:3] = b.cells[:, index]
        for row, of in _OF_BAKE:
            self.x[row] = b.parameters[of, index]

    def copy(self) -> Ensemble:
        """An ensemble that goes its own way from here."""
        return copy.deepcopy(self)

    def at_tip(self) -> Array:
        """What the core probe's tip has: in the oven it may be anywhere in the cake."""
        if not self.in_oven:
            return self.x[CORE].copy()
        sides = self._priors.bake.sides
        return at_tip(self.x[:3], self.x[TIP], np.exp(self.x[EXPANSION]), sides)[0]

    @property
    def boiling_c(self) -> float:
        """Where water boils in this kitchen."""
        return self._priors.boiling_c

    def uncovered(self, t_s: float) -> None:
        """The probe reads the oven's air: the cake has not risen to its tip."""
        if self._bake is not None:
            self._bake.advance(t_s, self._air_c)
            self._bake.uncovered()

    def covered(self) -> None:
        """Now the probe is in the cake: risen over, or pushed in."""
        if self._bake is not None:
            self._bake.covered()
            self._take_over()

    def pushed_in(self) -> None:
        """The probe was pushed into the cake just now."""
        if self._bake is not None:
            self._bake.set_in()
            self._take_over()

    def leave_oven(self) -> None:
        """From now on the cake cools; what the tip has is called the core."""
        self.x[CORE] = self.at_tip()
        self.in_oven, self.changed_s, self._bake = False, self.t_s, None

    def start_uniform(self, celsius: float, spread_k: float) -> None:
        """Cells of one temperature, as batter has them."""
        self.x[:3] = celsius + spread_k * self._z[CORE]

    def start_cooling(self, core_c: float, air_c: float) -> None:
        """Cells of a cake that has been cooling for an unknown while.

        The outside may still be as hot as the core (just out) or as cold as a slab's slowest mode
        at Bi 3 makes it; an unknown vessel may have been cold when it was filled.
        """
        excess = core_c - air_c
        coldest = 0.8 if self._doubt else 0.5
        share = 1.0 / (1.0 + np.exp(-1.5 * self._z[OUTER]))  # 0 to 1, about even
        self.x[CORE] = core_c + 0.4 * self._z[CORE]
        self.x[MIDDLE] = self.x[CORE] - excess * 0.15 * share
        self.x[OUTER] = self.x[CORE] - excess * coldest * share

    def start_hot(self, core_c: float) -> None:
        """Cells of a cake that comes out of an oven: the outside at the plateau."""
        self.x[CORE] = core_c + 0.4 * self._z[CORE]
        self.x[OUTER] = np.maximum(self.x[PLATEAU], self.x[CORE]) - 2.0
        self.x[MIDDLE] = (self.x[CORE] + self.x[OUTER]) / 2 + self._z[MIDDLE]

    def spread_air(self, sd_k: float, mean_k: float = 0.0) -> None:
        """How far the air around the cake may be from the air that is known."""
        self.x[AIR] = mean_k + sd_k * self._z[AIR]

    def loosen(self, row: int, sd: float, shift: float = 0.0) -> None:
        """Shift a row of the state and widen it, e.g. after a move."""
        self.x[row] += shift + sd * self._disturbances.next()

    def rates(self) -> Rates:
        """The members' rates as the model wants them."""
        x = self.x
        bake = self._priors.bake
        sides = 1.0 + bake.sides if self.in_oven else 1.0
        expansion = np.exp(np.clip(x[EXPANSION], 0.0, 2.0))
        # The exponentials' limits keep a member that was moved far by one reading physical.
        return Rates(
            exchange=np.exp(np.clip(x[EXCHANGE], -12.0, -1.5)) * sides,
            hot=np.exp(np.clip(x[HOT], -3.0, 2.0)),
            loss=np.exp(np.clip(x[LOSS], -13.0, -3.5)),
            bend=np.clip(x[BEND], 0.0, 0.4),
            evaporation=np.exp(np.clip(x[EVAPORATION], -6.0, 1.5)),
            heating=np.exp(np.clip(x[HEATING], -12.0, -3.5)),
            plateau=x[PLATEAU],
            rising=rising(np.exp(np.clip(x[CONDUCTS], -0.7, 3.0)), expansion, bake.sides),
            vapour=np.exp(np.clip(x[VAPOUR], -2.0, 4.0)),
            expansion=expansion,
            walls=bake.walls,
            sides=bake.sides,
        )

    def advance(self, t_s: float, air_c: float) -> None:
        """Let the cells live until `t_s` in air of `air_c`, with the steady disturbances."""
        span = t_s - self.t_s
        if span <= 0:
            return
        self._air_c = air_c
        if self._bake is not None:
            self._bake.advance(t_s, air_c)
            self.t_s = t_s
            self._take_over()
            return
        rates = self.rates()
        air = air_c + self.x[AIR]
        parts = math.ceil(span / LONGEST_STEP_S)
        cells = self.x[:3]
        for _ in range(parts):
            cells = step(cells, span / parts, air, rates, False)
        self.x[:3] = cells
        self.t_s = t_s
        hours = math.sqrt(min(span, 3600.0) / 3600.0)
        self.loosen(EXCHANGE, RATE_DRIFT * hours)
        self.loosen(LOSS, RATE_DRIFT * hours)
        self.loosen(AIR, AIR_DRIFT_K * hours)

    def surface(self) -> Array:
        """Surface temperature: the outer cell's, extrapolated half a cell outward."""
        out: Array = self.x[OUTER] - 0.4 * (self.x[MIDDLE] - self.x[OUTER])
        return out

    def assimilate(self, measured_c: float, row: int = CORE, extra_sd_k: float = 0.0) -> float:
        """Learn from a reading at the cells' time; gives its standardised innovation."""
        if self._bake is not None:
            cells = self._bake.cells
            y = cells[0] - 0.4 * (cells[1] - cells[0]) if row == OUTER else self._bake.at_tip()
            z = self._bake.assimilate(measured_c, y, extra_sd_k)
            self._take_over()
            return z
        y = self.surface() if row == OUTER else self.at_tip()
        elapsed = CORRELATION_S
        if row == CORE:
            if self._last_assimilated_s is not None:
                elapsed = self.t_s - self._last_assimilated_s
            self._last_assimilated_s = self.t_s
        weight = max(1.0, CORRELATION_S / max(elapsed, 1.0))
        mean = float(y.mean())
        per_k = CORRELATED_PER_K * (1.0 + 4.0 * self._doubt)
        correlated = CORRELATED_SD_K + per_k * abs(mean - self._air_c)
        error = READING_SD_K**2 + correlated**2 * weight + extra_sd_k**2
        deviation = y - mean
        variance = float(deviation @ deviation) / (MEMBERS - 1)
        innovation = measured_c - mean
        size = abs(innovation) / math.sqrt(variance + error)
        if size > OUTLIER:
            # Heavy tails: beyond the limit the error is taken to be as large as it looks.
            error += (variance + error) * ((size / OUTLIER) ** 2 - 1.0)
        total = variance + error
        means = self.x.mean(axis=1, keepdims=True)
        around = self.x - means
        gain = (around @ deviation) / (MEMBERS - 1) / total
        shrink = 1.0 / (1.0 + math.sqrt(error / total))
        self.x = (means + gain[:, None] * innovation) + around - np.outer(shrink * gain, deviation)
        return innovation / math.sqrt(total)

    def core(self) -> tuple[float, float]:
        """Mean and standard deviation of what the core probe should read."""
        if self._bake is not None:
            return self._bake.read()
        row = self.at_tip()
        return float(row.mean()), float(row.std())

    def settle_on(self, core_c: float) -> None:
        """The probe now reads another place: move the cells with it, keep what was learnt."""
        if self._bake is not None:
            self._bake.set_in()
            self._take_over()
            return
        shift = core_c - self.core()[0]
        self.x[:3] += shift
        self.x[CORE] = core_c + 0.4 * self._z[CORE]
        self.x[MIDDLE] += 0.5 * self._disturbances.next()
        self.loosen(LOSS, 0.1)
        self.loosen(EXCHANGE, 0.2)

    def future(self) -> tuple[Array, Array]:
        """The members' disturbances of the time to come: of the rate, and of the air."""
        return self._z[FUTURE_RATE], self._z[FUTURE_AIR]

    def doubt_now(self) -> float:
        """Relative error of the rates that no time has passed for yet."""
        age = self.t_s - self.changed_s
        fresh = FUTURE_AFTER_CHANGE * math.exp(-age / CHANGE_FADES_S)
        return self._doubt + fresh + (FUTURE_OVEN_RATE if self.in_oven else 0.0)
