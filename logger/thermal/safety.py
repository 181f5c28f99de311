"""A caution about slow cooling where the formula has a perishable dairy or egg line.

Only a caution: it quotes one rule in a limited form, defers to the local food code, and a
temperature never proves that food is safe.
"""

from __future__ import annotations

from logger.events import SafetyCooling
from logger.plan import Plan

RULE = "FDA Food Code 3-501.14(A)(1): from 57 °C to 21 °C within 2 hours"
# Beginning (crossing downward), end and time of the first step of the rule.
FROM_C, TO_C, WITHIN_S = 57.0, 21.0, 7200.0
PERISHABLE = ("cream cheese", "custard", "pastry cream", "whipped cream", "mascarpone", "ricotta")


def perishable_lines(plan: Plan) -> tuple[str, ...]:
    """Keys of the formula's lines whose names speak of a perishable filling or frosting."""
    lines = plan.lines or ()
    return tuple(
        line.key for line in lines if any(word in line.ingredient.lower() for word in PERISHABLE)
    )


class SlowCooling:
    """Follows the core between the two temperatures and speaks once."""

    def __init__(self, plan: Plan) -> None:
        self._lines = perishable_lines(plan)
        self._above = False
        self._since_s: float | None = None
        self._said = False

    def feed(self, t_s: float, core_c: float) -> None:
        """A sound core reading while cooling."""
        if core_c > FROM_C:
            self._above, self._since_s = True, None
        elif self._above and self._since_s is None:
            self._since_s = t_s
        if core_c <= TO_C:
            self._above, self._since_s = False, None

    def look(self, now_s: float, origin_s: float) -> SafetyCooling | None:
        """The caution, once two hours have passed between the temperatures."""
        if self._said or not self._lines or self._since_s is None:
            return None
        if now_s - self._since_s <= WITHIN_S:
            return None
        self._said = True
        return SafetyCooling(
            text=(
                f"The formula has {', '.join(self._lines)}. The core has been between 57 °C and "
                "21 °C for more than 2 hours, as measured at one point. If what is perishable is "
                "in or on this cake, follow your local food code; where it is added later, this "
                "does not apply to it. A temperature is no proof that food is safe."
            ),
            rule=RULE,
            since_at=origin_s + self._since_s,
        )
