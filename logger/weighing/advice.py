"""When to ease off and when to stop: from the rate and the material in the air, learnt here."""

from __future__ import annotations

FIRST_COAST_S = 0.5  # before anything was learnt: filter and fall
REACTION_S = 0.25
EASE_S = 1.6
LEARN = 0.4


class Stream:
    """One scale's pours.

    `coast_s` is how long a pour goes on, at its rate, after the hand has stopped it: what is in
    the air and what the scale's filter still hides. It is learnt from the ends of pours.
    """

    def __init__(self) -> None:
        self.coast_s = FIRST_COAST_S
        self._rates: list[tuple[int, float, float]] = []

    def begin(self) -> None:
        """A pour begins."""
        self._rates = []

    def see(self, t_us: int, mass_kg: float, rate_kg_s: float) -> None:
        """The pour's mass and rate now."""
        self._rates.append((t_us, mass_kg, rate_kg_s))
        if len(self._rates) > 120:
            del self._rates[::2]

    def end(self, mass_kg: float) -> None:
        """The pour rests at this mass: how much came after it was stopped?"""
        if len(self._rates) < 4:
            return
        top = sorted(r for _, _, r in self._rates)[-max(1, len(self._rates) // 4)]
        if top <= 0:
            return
        running = [(m, r) for _, m, r in self._rates if r >= 0.6 * top]
        last_mass, _ = running[-1]
        coast = (mass_kg - last_mass) / top
        if 0 <= coast < 4.0:
            self.coast_s += LEARN * (coast - self.coast_s)

    def advice(self, missing_kg: float | None, tolerance_kg: float, rate_kg_s: float) -> str | None:
        """``stop``, ``ease off`` or None, for what is still missing.

        Args:
            missing_kg: target minus mass, None without a target.
            tolerance_kg: ± around the target.
            rate_kg_s: present rate.
        """
        if missing_kg is None:
            return None
        coming = max(rate_kg_s, 0.0) * (self.coast_s + REACTION_S)
        if missing_kg - coming <= 0.3 * tolerance_kg:
            return "stop"
        if missing_kg - coming <= max(rate_kg_s * EASE_S, 2 * tolerance_kg):
            return "ease off"
        return None
