"""Centre tests teach at which core temperature this formula, as this kitchen bakes it, is done.

A pick or a finger says wet, moist crumbs or clean; the core's probe says a temperature. Over some
bakes the tests turn from wet to done about one temperature. It is only proposed: the plan's own
target is never altered, and no temperature of a cake says that food is safe.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from statistics import NormalDist

from logger.events import BakeTest, BakeThreshold, Body
from logger.plan import CentreTest, Plan

RESULTS = ("wet", "moist crumbs", "clean")
WET = "wet"
# Before any test: near the plan's target, else where crumb is usually called done; spreads in
# kelvins. One test errs by the hand, and by where probe and pick were (common practice, no source).
USUAL_C, SPREAD_K, TEST_K = 96.0, 2.5, 1.2
# Now and then a test says nothing: a pick that met fruit, a probe that hung in the air.
SLIP = 0.06
GRID_C = tuple(75.0 + 0.1 * k for k in range(341))
# With fewer nothing is proposed.
FEWEST_TESTS, FEWEST_BAKES, WIDEST_K = 6, 3, 5.0
NORMAL = NormalDist()


@dataclass(slots=True)
class CentreTests:
    """The tests of this batch and of earlier ones of its formula."""

    plan: Plan
    _here: list[CentreTest] = field(default_factory=list)

    def tested(
        self,
        at_us: int,
        batch: str,
        result: str | None,
        core_c: float | None,
        after_s: float | None,
    ) -> list[Body]:
        """A centre test was marked.

        Args:
            core_c: the core then; None where no probe was in it.
            after_s: seconds since the cake went in; None before.
        """
        if result not in RESULTS:
            return []
        formula = self.plan.formula.name if self.plan.formula else None
        said: list[Body] = [BakeTest(at_us / 1e6, result, core_c, after_s, formula)]
        if core_c is None:
            return said
        self._here.append(CentreTest(batch, at_us, result, core_c))
        return [*said, self._proposal()]

    def _proposal(self) -> BakeThreshold:
        tests = [*self.plan.centre_tests, *self._here]
        planned = next((m.core_c for m in reversed(self.plan.bake_milestones) if m.core_c), None)
        low_c, middle_c, high_c = threshold(tests, USUAL_C if planned is None else planned)
        bakes = len({t.batch for t in tests})
        results = {t.result == WET for t in tests}
        is_enough = (
            len(tests) >= FEWEST_TESTS
            and bakes >= FEWEST_BAKES
            and len(results) == 2
            and high_c - low_c <= WIDEST_K
        )
        count = f"{_number(len(tests), 'centre test')} in {_number(bakes, 'bake')}"
        span = f"between {low_c:.1f} and {high_c:.1f} °C"
        if is_enough:
            text = f"{count}: this formula turns from wet to done near {middle_c:.1f} °C, {span}"
            if planned is not None:
                text += f"; the plan asks for {planned:g} °C, its next version might ask for this"
        else:
            text = f"{count}, too few to propose a target: it may lie {span}"
        return BakeThreshold(
            proposed_c=round(middle_c, 1) if is_enough else None,
            low_c=round(low_c, 1),
            high_c=round(high_c, 1),
            planned_c=planned,
            tests=len(tests),
            bakes=bakes,
            text=f"{text}. Doneness only: a temperature is no proof that food is safe.",
        )


def threshold(tests: list[CentreTest], usual_c: float) -> tuple[float, float, float]:
    """Where tests turn from wet to done: 5 %, 50 % and 95 % of what is believed, °C.

    >>> [round(c, 1) for c in threshold([], 96.0)]
    [91.9, 96.0, 100.1]
    """
    weights = []
    for at_c in GRID_C:
        log = -0.5 * ((at_c - usual_c) / SPREAD_K) ** 2
        for test in tests:
            done = NORMAL.cdf((test.core_c - at_c) / TEST_K)
            said = 1 - done if test.result == WET else done
            log += math.log(SLIP / 2 + (1 - SLIP) * said)
        weights.append(log)
    top = max(weights)
    weights = [math.exp(log - top) for log in weights]
    whole = sum(weights)
    out, so_far = [], 0.0
    wanted = [0.05, 0.5, 0.95]
    for at_c, weight in zip(GRID_C, weights, strict=True):
        so_far += weight / whole
        while wanted and so_far >= wanted[0]:
            out.append(at_c)
            del wanted[0]
    return out[0], out[1], out[2]


def _number(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"
