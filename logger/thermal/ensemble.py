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

from logger.thermal.cake_model import Rates, step
from logger.thermal.design_points import Array, Disturbances, normal_design
from logger.thermal.priors import Priors

MEMBERS = 360
# Rows of the state.
OUTER, MIDDLE, CORE, EXCHANGE, LOSS, HEATING = range(6)
HOT, BEND, EVAPORATION, PLATEAU, AIR, RISING, PROBE = range(6, 13)
FUTURE_RATE, FUTURE_AIR = 13, 14  # of the design only: disturbances of the time to come
ROWS = 13

# Batter is thinner and denser than the crumb it becomes: it exchanges faster by the ratio of k ρ,
# (0.23 · 800)/(0.12 · 350). Rising, it goes from the one to the other: their geometric mean.
RISING_PRIOR = (math.log(2.1), 0.4)

# Steady disturbances, standard deviation after one hour.
RATE_DRIFT = 0.12  # of the logarithms of exchange, loss and heating
AIR_DRIFT_K = 0.3
FUTURE_RATE_DRIFT = 0.10
# In the oven crumb changes while it bakes: at once, not with the root of time.
FUTURE_OVEN_RATE = 0.2
# After a change of surroundings the core tells of it only with the diffusion time.
FUTURE_AFTER_CHANGE = 0.30
CHANGE_FADES_S = 900.0
FUTURE_AIR_DRIFT_K = 0.35
LONGEST_DRIFT_H = 3.0

# A reading's error: rounding, noise, and what the three cells leave out. The last is correlated
# over minutes, so a reading a minute counts for less than independent ones would.
READING_SD_K = 0.12
CORRELATED_IN_OVEN_K = 0.3
# While cooling, what the cells leave out is followed as a state of its own (PROBE): read minus
# core cell. It comes and goes with the time in which heat crosses a layer, and shrinks with the
# excess over the air.
WHITE_SD_K = 0.08
PROBE_SD_K, PROBE_PER_K, PROBE_S = 0.10, 0.004, 900.0
CORRELATION_S = 240.0
LONGEST_STEP_S = 30.0
OUTLIER = 2.5  # standardised innovation from which a reading counts for less


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
        self.log_likelihood = 0.0  # of the last reading
        self._doubt = priors.doubt
        self._air_c = priors.batter_c[0]
        z = self._z
        self.x = np.empty((ROWS, MEMBERS))
        for row, (centre, spread) in (
            (EXCHANGE, priors.exchange_per_s),
            (LOSS, priors.loss_per_s),
            (HEATING, priors.heating_per_s),
            (HOT, priors.hot),
            (EVAPORATION, priors.evaporation),
        ):
            self.x[row] = math.log(centre) + spread * z[row]
        self.x[BEND] = priors.bend[0] + priors.bend[1] * z[BEND]
        self.x[PLATEAU] = priors.plateau_c[0] + priors.plateau_c[1] * z[PLATEAU]
        self.x[AIR] = 0.0
        self.x[RISING] = RISING_PRIOR[0] + RISING_PRIOR[1] * z[RISING]
        self.x[PROBE] = 0.0
        self.x[:3] = priors.batter_c[0]

    def copy(self) -> Ensemble:
        """An ensemble that goes its own way from here."""
        other = copy.copy(self)
        other.x = self.x.copy()
        other._disturbances = copy.copy(self._disturbances)
        return other

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
        self._air_c = air_c
        self.x[PROBE] = self._probe_sd_k() * self._z[PROBE]

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
        # The exponentials' limits keep a member that was moved far by one reading physical.
        return Rates(
            exchange=np.exp(np.clip(x[EXCHANGE], -12.0, -1.5)),
            hot=np.exp(np.clip(x[HOT], -3.0, 2.0)),
            loss=np.exp(np.clip(x[LOSS], -13.0, -3.5)),
            bend=np.clip(x[BEND], 0.0, 0.4),
            evaporation=np.exp(np.clip(x[EVAPORATION], -6.0, 1.5)),
            heating=np.exp(np.clip(x[HEATING], -12.0, -3.5)),
            plateau=x[PLATEAU],
            rising=np.exp(np.clip(x[RISING], -0.7, 2.5)),
        )

    def advance(self, t_s: float, air_c: float) -> None:
        """Let the cells live until `t_s` in air of `air_c`, with the steady disturbances."""
        span = t_s - self.t_s
        if span <= 0:
            return
        rates = self.rates()
        self._air_c = air_c
        air = air_c + (0.0 if self.in_oven else 1.0) * self.x[AIR]
        parts = math.ceil(span / LONGEST_STEP_S)
        cells = self.x[:3]
        for _ in range(parts):
            cells = step(cells, span / parts, air, rates, self.in_oven)
        self.x[:3] = cells
        self.t_s = t_s
        hours = math.sqrt(min(span, 3600.0) / 3600.0)
        self.loosen(EXCHANGE, RATE_DRIFT * hours)
        if self.in_oven:
            self.loosen(HEATING, 1.5 * RATE_DRIFT * hours)
            self.loosen(PLATEAU, 0.3 * hours)
        else:
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
        """Surface temperature: the outer cell's, extrapolated half a cell outward."""
        out: Array = self.x[OUTER] - 0.4 * (self.x[MIDDLE] - self.x[OUTER])
        return out

    def assimilate(
        self, measured_c: float, row: int = CORE, extra_sd_k: float = 0.0, step_k: float = 0.1
    ) -> float:
        """Learn from a reading at the cells' time; gives its standardised innovation.

        Args:
            measured_c: what was read.
            row: CORE, or OUTER for the surface.
            extra_sd_k: error beyond the usual.
            step_k: the smallest step in which the probe reads.
        """
        y = self.surface() if row == OUTER else self.x[CORE] + self.x[PROBE]
        elapsed = CORRELATION_S
        if row == CORE:
            if self._last_assimilated_s is not None:
                elapsed = self.t_s - self._last_assimilated_s
            self._last_assimilated_s = self.t_s
        mean = float(y.mean())
        deviation = y - mean
        variance = float(deviation @ deviation) / (MEMBERS - 1)
        innovation = measured_c - mean
        if self.in_oven:
            weight = max(1.0, CORRELATION_S / max(elapsed, 1.0))
            error = READING_SD_K**2 + CORRELATED_IN_OVEN_K**2 * weight + extra_sd_k**2
            step_k = 0.0
        else:
            error = WHITE_SD_K**2 + extra_sd_k**2
        beyond = abs(innovation) - 0.5 * step_k
        size = beyond / math.sqrt(variance + error)
        if size > OUTLIER:
            # Heavy tails: beyond the limit the error is taken to be as large as it looks.
            error += (variance + error) * ((size / OUTLIER) ** 2 - 1.0)
        total = variance + error
        self.log_likelihood, shift, left = _rounded(innovation, step_k, math.sqrt(total))
        # A reading without rounding that would teach as much: its error and its innovation.
        innovation, total = shift / (1.0 - left), total / (1.0 - left)
        error = total - variance
        means = self.x.mean(axis=1, keepdims=True)
        around = self.x - means
        gain = (around @ deviation) / (MEMBERS - 1) / total
        shrink = 1.0 / (1.0 + math.sqrt(error / total))
        self.x = (means + gain[:, None] * innovation) + around - np.outer(shrink * gain, deviation)
        if self.in_oven:
            top = np.maximum(self.x[PLATEAU], self.x[CORE])
            np.minimum(self.x[OUTER], top, out=self.x[OUTER])
            np.minimum(self.x[MIDDLE], top, out=self.x[MIDDLE])
        return innovation / math.sqrt(total)

    def core(self) -> tuple[float, float]:
        """Mean and standard deviation of the core."""
        row = self.x[CORE]
        return float(row.mean()), float(row.std())

    def settle_on(self, core_c: float) -> None:
        """The probe now reads another place: move the cells with it, keep what was learnt."""
        shift = core_c - float(self.x[CORE].mean())
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


def _rounded(innovation: float, step: float, sd: float) -> tuple[float, float, float]:
    """What a rounded reading says of a normal quantity with standard deviation `sd`.

    Rounding is no noise: it errs to the same side until the cake has cooled by a step. All that is
    known is that the quantity lies within half a step of what was read (a normal law cut off on
    both sides).

    Returns:
        The logarithm of the likelihood, the shift of the mean, and the share of variance left.
    """
    if step < 0.2 * sd:
        z = innovation / sd
        return -0.5 * z * z - math.log(sd), innovation, 0.0
    a, b = (innovation - 0.5 * step) / sd, (innovation + 0.5 * step) / sd
    mass = 0.5 * (math.erf(b / math.sqrt(2.0)) - math.erf(a / math.sqrt(2.0)))
    at_a, at_b = (math.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi) for x in (a, b))
    shift = (at_a - at_b) / mass
    left = 1.0 + (a * at_a - b * at_b) / mass - shift * shift
    per_k = mass / step * math.sqrt(2.0 * math.pi)
    return math.log(per_k), sd * shift, min(max(left, 0.0), 0.999)
