"""The bake as a cloud of weighted possibilities: a particle filter with wandering parameters.

In the oven what is read depends on what is unknown in ways that no straight line describes (a tip
near the crust in a slow oven reads like one in the middle in a fast oven, for a while), so members
are not moved by a reading but believed more or less. Where too few of them are left believed, they
are drawn anew among themselves and moved a little, shrunk towards their mean so that their spread
stays what it was (Liu & West 2001, Combined parameter and state estimation). All points are
computed, never drawn by chance.
"""

from __future__ import annotations

import copy
import math

import numpy as np
from numpy.typing import NDArray

from logger.thermal.bake_priors import TIP_PUSHED
from logger.thermal.baking import WATER_K, BakeRates, at_tip, bake_step, height, rising
from logger.thermal.design_points import Array, Disturbances, normal_design
from logger.thermal.priors import Priors
from logger.thermal.shells import CELLS

PARTICLES = 5000
# Rows of the parameters.
EXCHANGE, HEATING, CONDUCTS, VAPOUR, EXPANSION, EVAPORATION, PLATEAU, TIP, LEAN = range(9)
PARAMETERS = 9
OF_PLAN = slice(EXCHANGE, PLATEAU)  # what a plan knows best when readings mislead
START = 9  # of the design only: temperature of the batter
READING_SD_K = 0.12  # the noise of a median of readings
# What the cells leave out: a probe's own error near boiling, limits of ± 0.8 K (IEC 60751 class B
# at 100 °C), two standard deviations; and, since the top of a cake is not heated like its base and
# it rises in a dome, such a share of the difference within the crumb. All of it comes and goes in
# the time in which heat crosses a layer, as in the cooling: how fast a reading rises says more of
# what comes than how high it is.
MODEL_SD_K, UNEVEN, LEFT_OUT_S = 0.4, 0.03, 900.0
MOST_LEFT_OUT_K = 10.0  # beyond it what was moved is judged by how high it is
# Heating and exchange are never quite what they were: batter sets within minutes, crumb dries and
# cracks, walls are not what the probe reads. Standard deviation of their logarithms, over about
# five minutes.
WANDER, WANDER_S = 0.16, 300.0
TAILS = 4.0  # degrees of freedom of the error: glitches and lifted probes have heavy tails
OUTLIER = 3.0  # standard deviations of news beyond which it is a glitch's, and nothing left out
RENEW_BELOW = 0.4  # share of the particles that must stay believed
LEAST_LEFT = 0.5
# Relative width of the move of those drawn anew. Silverman's rule for a normal law of nine
# unknowns and 2000 believed particles gives 0.52; what is believed here is curved, so less.
KERNEL = 0.35
# The model is not the cake: what early readings taught may be wrong of it later. So of those drawn
# anew one of so many has the plan's rates again, in the state that was learnt; if it does better,
# it soon leads (a defensive mixture, Hesterberg 1995, Technometrics 37).
ONE_ANEW = 20
LONGEST_STEP_S = 30.0
LEAST_ABOVE = 0.02  # a tip in the air is so far above the cake, in heights of its batter
OUT_OF_REACH = 9.0  # no cake rises to that, in heights of its batter
GOLDEN = 0.6180339887498949
ALL = slice(None)


class Particles:
    """Possible bakes at `t_s`.

    Attributes:
        t_s: time of the cells.
        cells: from the surface to the core; shape (CELLS, PARTICLES).
        parameters: shape (PARAMETERS, PARTICLES), logarithms where rates or ratios.
        pace: how fast the cells changed lately, K/s.
        water_k: of the outer cells, as `bake_step` counts it; shape (PARTICLES,).
        shells: the shape.
        weights: belief, sums to 1.
        left_out_k: what was read last, beyond what the cells and the reading's noise say.
        wander: how far exchange and heating are from the parameters just now, logarithms.
    """

    def __init__(self, priors: Priors, t_s: float, batter_c: float, spread_k: float) -> None:
        z = normal_design(PARTICLES, PARAMETERS + 1)
        bake = priors.bake
        self.t_s = t_s
        self.weights = np.full(PARTICLES, 1.0 / PARTICLES)
        self.cells = np.tile(batter_c + spread_k * z[START], (CELLS, 1))
        self.pace = np.zeros((CELLS, PARTICLES))
        self.shells, self._walls, self._pan_holds = bake.shells, bake.walls, bake.pan_holds
        self._disturbances = Disturbances(PARTICLES)
        self._last_s: float | None = None
        self._uncovered_s: float | None = None
        self.wander = np.zeros((2, PARTICLES))
        self.parameters = np.empty((PARAMETERS, PARTICLES))
        for row, (centre, spread) in (
            (EXCHANGE, bake.exchange_per_s),
            (HEATING, bake.heating_per_s),
            (CONDUCTS, bake.conducts),
            (VAPOUR, bake.vapour),
            (EXPANSION, bake.expansion),
            (EVAPORATION, bake.evaporation),
        ):
            self.parameters[row] = math.log(centre) + spread * z[row]
        for row, (centre, spread) in (
            (PLATEAU, priors.plateau_c),
            (TIP, bake.tip),
            (LEAN, bake.lean),
        ):
            self.parameters[row] = centre + spread * z[row]
        self._of_plan, self._renewed = self.parameters[OF_PLAN].copy(), 0
        self._air_c = batter_c
        self.water_k = np.full(PARTICLES, WATER_K)
        self.left_out_k, self._left_out_k2 = np.zeros(PARTICLES), 0.0

    def copy(self) -> Particles:
        """A cloud that goes its own way from here."""
        other = copy.copy(self)
        other.parameters = self.parameters.copy()
        other.wander = self.wander.copy()
        other._disturbances = copy.copy(self._disturbances)
        return other

    def rates(self, index: slice | NDArray[np.int64] = ALL) -> BakeRates:
        """Of all particles or some, as the model of the cells wants them."""
        p = self.parameters[:, index]
        logs = np.exp(p[[EXCHANGE, HEATING, CONDUCTS, VAPOUR, EXPANSION, EVAPORATION]])
        logs[:2] *= np.exp(self.wander[:, index])
        return BakeRates(
            exchange=logs[0],
            heating=logs[1],
            plateau=p[PLATEAU],
            rising=rising(logs[2], logs[4], self.shells.sides),
            vapour=logs[3],
            expansion=logs[4],
            evaporation=logs[5],
            walls=self._walls,
            pan_holds=self._pan_holds,
            shells=self.shells,
        )

    def advance(self, t_s: float, air_c: float) -> None:
        """Let all bake until `t_s` in air of `air_c`."""
        span = t_s - self.t_s
        if span <= 0:
            return
        keep = math.exp(-span / WANDER_S)
        for row in range(2):
            self.wander[row] *= keep
            self.wander[row] += WANDER * math.sqrt(1.0 - keep * keep) * self._disturbances.next()
        rates = self.rates()
        self._air_c = air_c
        parts = math.ceil(span / LONGEST_STEP_S)
        for _ in range(parts):
            before, dt_s = self.cells, span / parts
            self.cells, self.water_k = bake_step(
                before, self.water_k, dt_s, air_c, rates, self.pace
            )
            self.pace = (self.cells - before) * (1.0 / dt_s)
        self.t_s = t_s

    def at_tip(self) -> Array:
        """What the cells have at the tip: the oven's air until the batter has risen over it."""
        p = self.parameters
        inside, covered = at_tip(self.cells, p[TIP], p[LEAN], np.exp(p[EXPANSION]), self.shells)
        return np.where(covered, inside, self._air_c)

    def height(self) -> Array:
        """Height of the cakes, in heights of their batter."""
        return height(self.cells, np.exp(self.parameters[EXPANSION]))

    def uncovered(self) -> None:
        """The tip reads the oven's air, so it is above the cake."""
        if self._uncovered_s is not None and self.t_s - self._uncovered_s < LONGEST_STEP_S:
            return
        # That says hardly anything of how fast it bakes: it hangs where the cake will come to,
        # anywhere between what it is and what it will be.
        heights, tip = self.height(), self.parameters[TIP]
        passed = (heights >= tip) | (self._uncovered_s is None)
        even = (GOLDEN * (np.arange(PARTICLES) + self.t_s / LONGEST_STEP_S)) % 1.0
        to_come = np.maximum(np.exp(self.parameters[EXPANSION]) - heights, LEAST_ABOVE)
        tip[passed] = (heights + even * to_come)[passed]
        tip[1::2] = OUT_OF_REACH  # or it will be pushed in: see `covered`
        self._uncovered_s = self.t_s

    def covered(self) -> None:
        """The tip is in the cake: risen over just now, or (half of them) pushed into the middle."""
        heights, tip = self.height(), self.parameters[TIP]
        np.minimum(tip, heights, out=tip)
        pushed = self._pushed(heights)
        tip[1::2] = pushed[1::2]
        self._last_s = None

    def set_in(self) -> None:
        """The tip was pushed into the cake."""
        self.parameters[TIP] = self._pushed(self.height())
        self._last_s = None

    def _pushed(self, heights: Array) -> Array:
        share = TIP_PUSHED[0] + TIP_PUSHED[1] * self._disturbances.next()
        out: Array = heights * np.clip(share, 0.05, 0.95)
        return out

    def would_read(self) -> Array:
        """What a probe would read, with what the cells leave out."""
        out: Array = self.at_tip() + self.left_out_k
        return out

    def read(self) -> tuple[float, float]:
        """Mean and standard deviation of that."""
        y = self.would_read()
        mean = float(self.weights @ y)
        return mean, math.sqrt(float(self.weights @ (y - mean) ** 2))

    def assimilate(self, measured_c: float, y: Array, extra_sd_k: float = 0.0) -> None:
        """Believe those more whose `y` is near what was measured.

        Args:
            measured_c: what was read.
            y: what it is by each particle, without what the cells leave out.
            extra_sd_k: error of another thermometer than the probe that is followed.
        """
        k2 = self._usual_k2()
        if extra_sd_k > 0.0:
            news, error = measured_c - y, k2 + READING_SD_K**2 + extra_sd_k**2
        else:
            news, error = self._news(measured_c - y, k2)
        log_l = -0.5 * (TAILS + 1.0) * np.log1p(news * news / (error * TAILS))
        log_l -= log_l.max()
        before = 1.0 / float(self.weights @ self.weights)
        # What would silence most of them in one stroke tells of the model rather than of the cake.
        while True:
            w = self.weights * np.exp(log_l)
            w /= w.sum()
            believed = 1.0 / float(w @ w)
            if believed >= LEAST_LEFT * before:
                break
            log_l *= 0.7
        self.weights = np.maximum(w, 1e-12)
        self.weights /= self.weights.sum()
        if believed < RENEW_BELOW * PARTICLES:
            self.renew()

    def _usual_k2(self) -> float:
        """Variance of what the cells leave out, as a rule."""
        # The same for all: a particle must not be believed for being uneven, nor for being even.
        uneven = UNEVEN * float(self.weights @ (self.cells[1] - self.cells[-1]))
        return MODEL_SD_K**2 + uneven * uneven

    def _news(self, off_k: Array, k2: float) -> tuple[Array, float]:
        """What is new in a reading that is off by so much, and the variance expected of that.

        A Kalman filter in each particle, whose only state is what the cells leave out; its
        variance, which no reading changes, is the same in all.
        """
        keep = 0.0
        if self._last_s is not None:
            keep = math.exp(-(self.t_s - self._last_s) / LEFT_OUT_S)
        self._last_s = self.t_s
        expected = keep * self.left_out_k
        before = k2 + keep * keep * (self._left_out_k2 - k2)
        error = before + READING_SD_K**2
        news = off_k - expected
        gain = before / error
        limit = OUTLIER * math.sqrt(error)
        self.left_out_k = expected + gain * np.minimum(np.maximum(news, -limit), limit)
        self._left_out_k2 = (1.0 - gain) * before
        return news, error

    def chosen(self, count: int) -> NDArray[np.int64]:
        """Indices of `count` particles in proportion to their weights (systematic resampling)."""
        edges = np.cumsum(self.weights)
        at = (np.arange(count) + 0.5) / count
        out: NDArray[np.int64] = np.minimum(np.searchsorted(edges, at), PARTICLES - 1)
        return out

    def renew(self) -> None:
        """Draw all anew from the believed ones, moved a little, with mean and spread kept."""
        index = self.chosen(PARTICLES)
        p = self.parameters[:, index]
        mean = p.mean(axis=1, keepdims=True)
        around = p - mean
        covariance = around @ around.T / PARTICLES + 1e-9 * np.eye(PARAMETERS)
        root = np.linalg.cholesky(covariance)
        moves = np.array([self._disturbances.next() for _ in range(PARAMETERS)])
        keep = math.sqrt(1.0 - KERNEL**2)
        read = self.would_read()[index]
        self.parameters = mean + keep * around + KERNEL * (root @ moves)
        self._renewed += 1
        anew = slice(self._renewed % ONE_ANEW, None, ONE_ANEW)
        self.parameters[OF_PLAN, anew] = self._of_plan[:, anew]
        self.cells = self.cells[:, index]
        self.pace = self.pace[:, index]
        self.wander = self.wander[:, index]
        self.water_k = self.water_k[index]
        self.weights = np.full(PARTICLES, 1.0 / PARTICLES)
        # What was read stays what it was, so what is left out changes with what was moved.
        self.left_out_k = np.clip(read - self.at_tip(), -MOST_LEFT_OUT_K, MOST_LEFT_OUT_K)
