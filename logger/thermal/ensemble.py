"""Many possible cakes, weighed against the readings: an ensemble Kalman filter.

Each member is a cake with its own cells and its own unknowns (rates, exponent, evaporation,
plateau, offset of the air). A reading moves all of them by their covariance with what it measures
(the square-root form of Whitaker & Hamill 2002, which needs no drawn noise). What the cells
cannot know (a slowly changing crust, draughts) is a small steady disturbance of the rates; it is
also carried forward, so that forecasts widen with the time that is left.
"""

from __future__ import annotations

import copy
import math

import numpy as np

from logger.thermal import particles as of_bake
from logger.thermal.baking import at_tip
from logger.thermal.cake_model import Rates, step, surface
from logger.thermal.design_points import Array, Disturbances, normal_design
from logger.thermal.particles import Particles
from logger.thermal.priors import Priors
from logger.thermal.rounding import rounded
from logger.thermal.shells import CELLS

MEMBERS = 360
# Rows of the state.
OUTER, CORE, TEMPERATURES = 0, CELLS - 1, slice(0, CELLS)
EXCHANGE, LOSS, HEATING, HOT, BEND, EVAPORATION, PLATEAU = range(CELLS, CELLS + 7)
AIR, PROBE, CONDUCTS, VAPOUR, EXPANSION, TIP = range(CELLS + 7, CELLS + 13)
ROWS = CELLS + 13
FUTURE_RATE, FUTURE_AIR = ROWS, ROWS + 1  # of the design only: disturbances of the time to come

# In a slab that has been cooling, or heating, for a while a cell is colder, or hotter, than the
# core by the square of its distance from the middle: here as a share of what the outer one is.
_DISTANCES = (np.arange(CELLS)[::-1] + 0.5) ** 2
OUTWARD = ((_DISTANCES - _DISTANCES[CORE]) / (_DISTANCES[OUTER] - _DISTANCES[CORE]))[:, None]

# Steady disturbances, standard deviation after one hour.
RATE_DRIFT = 0.08  # of the logarithms of exchange and loss; what a move does, rivals explain
AIR_DRIFT_K = 0.3
FUTURE_RATE_DRIFT = 0.10
# In the oven the rates wander within minutes, in the time to come as they did: the mean over a
# quarter of an hour of what is correlated over five minutes has 0.67 of its standard deviation.
FUTURE_OVEN_RATE = 0.67 * of_bake.WANDER
# After a change of surroundings the core tells of it only with the diffusion time.
FUTURE_AFTER_CHANGE = 0.30
CHANGE_FADES_S = 900.0
FUTURE_AIR_DRIFT_K = 0.35
LONGEST_DRIFT_H = 3.0

# While cooling, what the cells leave out is followed as a state of its own (PROBE): read minus
# core cell. It comes and goes as in the bake, and shrinks with the excess over the air.
WHITE_SD_K = 0.08
PROBE_SD_K, PROBE_PER_K, PROBE_S = 0.10, 0.003, of_bake.LEFT_OUT_S
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
        in_cold: the members that are supposed to be in a cold place, where some are.
    """

    def __init__(self, priors: Priors, t_s: float) -> None:
        self.t_s = t_s
        self.in_oven = False
        self._z = normal_design(MEMBERS, ROWS + 2)
        self._disturbances = Disturbances(MEMBERS)
        self.changed_s = t_s
        self.log_likelihood = 0.0  # of the last reading
        self._doubt = priors.doubt
        self._priors = priors
        self._bake: Particles | None = None
        self._air_c = priors.batter_c[0]
        z = self._z
        self.x = np.empty((ROWS, MEMBERS))
        self.in_cold = np.zeros(MEMBERS, dtype=np.bool_)
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
        self.x[BEND] = priors.bend[0] + priors.bend[1] * z[BEND]
        self.x[PLATEAU] = priors.plateau_c[0] + priors.plateau_c[1] * z[PLATEAU]
        self.x[AIR] = 0.0
        self.x[TIP] = priors.bake.tip[0] + priors.bake.tip[1] * z[TIP]
        self.x[PROBE] = 0.0
        self.x[TEMPERATURES] = priors.batter_c[0]

    def enter_oven(self, celsius: float, spread_k: float) -> None:
        """From now on it bakes, from batter of one temperature."""
        self.in_oven, self.changed_s = True, self.t_s
        self._bake = Particles(self._priors, self.t_s, celsius, spread_k)
        self._take_over()

    def back_into_oven(self) -> None:
        """It bakes on, from the cells it has."""
        cells = self.x[TEMPERATURES].copy()
        self.enter_oven(float(cells[CORE].mean()), 0.0)
        if self._bake is not None:
            self._bake.cells = cells[:, np.arange(self._bake.cells.shape[1]) % MEMBERS]
            self._take_over()

    def _take_over(self) -> None:
        """The members are those of the bake that are believed."""
        b = self._bake
        if b is None:
            return
        index = b.chosen(MEMBERS)
        # A crust beyond boiling is dry and holds little heat.
        plateau = b.parameters[of_bake.PLATEAU, index]
        self.x[TEMPERATURES] = np.minimum(b.cells[:, index], plateau)
        for row, of in _OF_BAKE:
            self.x[row] = b.parameters[of, index]

    def copy(self) -> Ensemble:
        """An ensemble that goes its own way from here."""
        other = copy.copy(self)
        other.x = self.x.copy()
        other._disturbances = copy.copy(self._disturbances)
        other._bake = None if self._bake is None else self._bake.copy()
        return other

    def at_tip(self) -> Array:
        """What the core probe's tip has: in the oven it may be anywhere in the cake."""
        b = self._bake
        if b is None:
            core: Array = self.x[CORE].copy()
            return core
        index = b.chosen(MEMBERS)
        p = b.parameters[:, index]
        tip, lean, expansion = p[of_bake.TIP], p[of_bake.LEAN], np.exp(p[of_bake.EXPANSION])
        inside = at_tip(b.cells[:, index], tip, lean, expansion, b.shells)[0]
        return inside + b.left_out_k[index]

    @property
    def bake(self) -> Particles | None:
        """The bake, while it is in the oven."""
        return self._bake

    @property
    def boiling_c(self) -> float:
        """Where water boils in this kitchen."""
        return self._priors.boiling_c

    def uncovered(self) -> None:
        """The probe reads the oven's air: the cake has not risen to its tip."""
        if self._bake is not None:
            self._bake.uncovered()
            self._take_over()

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
        """From now on the cake cools; what the tip has is called the core.

        Batter rises and sets, and steam carries heat in it; how that went tells of the crumb's
        exchange, and of what vapour adds to it, about as well as the plan does: each counts half.
        """
        self.x[TEMPERATURES] += (1.0 - OUTWARD) * (self.at_tip() - self.x[CORE])
        p = self._priors
        if self._bake is not None:
            vapour = self.x[VAPOUR] - math.log(p.bake.vapour[0])
            self._half_as_learnt(HOT, p.hot, vapour)
        self._half_as_learnt(
            EXCHANGE, p.exchange_per_s, self.x[EXCHANGE] - math.log(p.exchange_per_s[0])
        )
        self.in_oven, self.changed_s, self._bake = False, self.t_s, None
        self.x[PROBE] = self._probe_sd_k() * self._z[PROBE]

    def has_been_outside(self) -> None:
        """Its way out was noticed late: meanwhile the outside has been cooling."""
        self.x[TEMPERATURES] += OUTWARD * (5.0 * self._disturbances.next() - 8.0)

    def _half_as_learnt(self, row: int, prior: tuple[float, float], learnt: Array) -> None:
        """A rate again by its prior, and half as far from it as the bake had it."""
        centre, spread = math.log(prior[0]), prior[1]
        self.x[row] = centre + 0.5 * learnt
        self.loosen(row, math.sqrt(max(spread**2 - 0.25 * float(learnt.std()) ** 2, 0.0)))

    def start_cooling(self, core_c: float, air_c: float) -> None:
        """Cells of a cake that has been cooling for an unknown while.

        The outside may still be as hot as the core (just out) or as cold as a slab's slowest mode
        at Bi 3 makes it; an unknown vessel may have been cold when it was filled.
        """
        excess = core_c - air_c
        coldest = 0.9 if self._doubt else 0.6
        share = 1.0 / (1.0 + np.exp(-1.5 * self._z[OUTER]))  # 0 to 1, about even
        self.x[CORE] = core_c + 0.4 * self._z[CORE]
        self.x[:CORE] = self.x[CORE] - OUTWARD[:CORE] * (excess * coldest * share)
        self._air_c = air_c
        self.x[PROBE] = self._probe_sd_k() * self._z[PROBE]

    def start_hot(self, core_c: float) -> None:
        """Cells of a cake that comes out of an oven: the outside at the plateau."""
        self.x[CORE] = core_c + 0.4 * self._z[CORE]
        outer = np.maximum(self.x[PLATEAU], self.x[CORE]) - 2.0 + self._z[OUTER]
        self.x[:CORE] = self.x[CORE] + OUTWARD[:CORE] * (outer - self.x[CORE])

    def start_over(self, core_c: float, air_c: float) -> None:
        """What was followed was not this crumb: its own temperature, and the plan's rates again."""
        p = self._priors
        for row, (centre, spread) in ((EXCHANGE, p.exchange_per_s), (LOSS, p.loss_per_s)):
            self.x[row] = math.log(centre) + spread * self._z[row]
        self.start_cooling(core_c, air_c)

    def reopen_loss(self, spread: float, shift: float, reach: float) -> None:
        """Another loss from now on: about as now, and still what a cake like the plan's can have.

        Args:
            spread, shift: of its logarithm, from what it is now.
            reach: how far the logarithm may be from the plan's, whatever the place.
        """
        now = self.x[LOSS]
        near, far = spread**-2.0, reach**-2.0
        pull = far / (near + far)
        back = pull * (math.log(self._priors.loss_per_s[0]) - float(now.mean()))
        self.loosen(LOSS, (near + far) ** -0.5, shift + back)

    def spread_air(self, sd_k: float, mean_k: float = 0.0) -> None:
        """How far the air around the cake may be from the air that is known."""
        self.x[AIR] = mean_k + sd_k * self._z[AIR]

    def loosen(self, row: int, sd: float, shift: float = 0.0) -> None:
        """Shift a row of the state and widen it, e.g. after a move."""
        self.x[row] += shift + sd * self._disturbances.next()

    def rates(self) -> Rates:
        """The members' rates as the model of the cooling wants them."""
        x = self.x
        # The exponentials' limits keep a member that was moved far by one reading physical.
        return Rates(
            exchange=np.exp(_between(x[EXCHANGE], -12.0, -1.5)),
            hot=np.exp(_between(x[HOT], -3.0, 2.0)),
            loss=np.exp(_between(x[LOSS], -13.0, -3.5)),
            bend=_between(x[BEND], 0.0, 0.4),
            evaporation=np.exp(_between(x[EVAPORATION], -6.0, 1.5)),
            shells=self._priors.bake.shells,
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
        cells = self.x[TEMPERATURES]
        for _ in range(parts):
            cells = step(cells, span / parts, air, rates)
        self.x[TEMPERATURES] = cells
        self.t_s = t_s
        hours = math.sqrt(min(span, 3600.0) / 3600.0)
        self.loosen(EXCHANGE, RATE_DRIFT * hours)
        self.loosen(LOSS, RATE_DRIFT * hours)
        self.loosen(AIR, AIR_DRIFT_K * hours)
        keep = math.exp(-span / PROBE_S)
        self.x[PROBE] *= keep
        self.loosen(PROBE, self._probe_sd_k() * math.sqrt(1.0 - keep * keep))

    def _probe_sd_k(self) -> float:
        """How far core cell and probe are apart, as a rule."""
        excess = abs(float(self.x[CORE].mean()) - self._air_c)
        return PROBE_SD_K + PROBE_PER_K * (1.0 + 4.0 * self._doubt) * excess

    def surface(self) -> Array:
        """What a probe on the surface should read."""
        return surface(self.x[TEMPERATURES])

    def assimilate(
        self, measured_c: float, row: int = CORE, extra_sd_k: float = 0.0, step_k: float = 0.1
    ) -> None:
        """Learn from a reading at the cells' time.

        Args:
            measured_c: what was read.
            row: CORE, or OUTER for the surface.
            extra_sd_k: error beyond the usual.
            step_k: the smallest step in which the probe reads.
        """
        if self._bake is not None:
            y = surface(self._bake.cells) if row == OUTER else self._bake.at_tip()
            self._bake.assimilate(measured_c, y, extra_sd_k)
            self._take_over()
            return
        y = self.surface() if row == OUTER else self.x[CORE] + self.x[PROBE]
        mean = float(y.mean())
        deviation = y - mean
        variance = float(deviation @ deviation) / (MEMBERS - 1)
        innovation = measured_c - mean
        error = WHITE_SD_K**2 + extra_sd_k**2
        beyond = abs(innovation) - 0.5 * step_k
        size = beyond / math.sqrt(variance + error)
        if size > OUTLIER:
            # Heavy tails: beyond the limit the error is taken to be as large as it looks.
            error += (variance + error) * ((size / OUTLIER) ** 2 - 1.0)
        total = variance + error
        self.log_likelihood, shift, left = rounded(innovation, step_k, math.sqrt(total))
        # A reading without rounding that would teach as much: its error and its innovation.
        innovation, total = shift / (1.0 - left), total / (1.0 - left)
        error = total - variance
        means = self.x.mean(axis=1, keepdims=True)
        around = self.x - means
        gain = (around @ deviation) / (MEMBERS - 1) / total
        shrink = 1.0 / (1.0 + math.sqrt(error / total))
        self.x = (means + gain[:, None] * innovation) + around - np.outer(shrink * gain, deviation)

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
        self.x[TEMPERATURES] += shift
        self.x[CORE] = core_c + 0.4 * self._z[CORE]
        self.x[OUTER + 1 : CORE] += 0.5 * self._disturbances.next()
        self.loosen(LOSS, 0.1)
        self.loosen(EXCHANGE, 0.2)

    def future(self) -> tuple[Array, Array]:
        """The members' disturbances of the time to come: of the rate, and of the air."""
        return self._z[FUTURE_RATE], self._z[FUTURE_AIR]

    def probe_errors(self) -> Array:
        """The members' standard normal errors of the probe."""
        out: Array = self._z[PROBE]
        return out

    def doubt_now(self) -> float:
        """Relative error of the rates that no time has passed for yet."""
        if self.in_oven:
            return self._doubt + FUTURE_OVEN_RATE
        age = self.t_s - self.changed_s
        return self._doubt + FUTURE_AFTER_CHANGE * math.exp(-age / CHANGE_FADES_S)


def _between(values: Array, low: float, high: float) -> Array:
    """`values` within limits; `np.clip` takes three times as long for so few."""
    out: Array = np.minimum(np.maximum(values, low), high)
    return out
