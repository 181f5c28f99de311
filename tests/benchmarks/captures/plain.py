"""A plain plateau reader, to know how hard the recordings are.

It believes every stretch of a second that stays within a division and a half, follows the order
of the formula, and knows tares, lifts and marks only by their jumps. No cleverness is wanted.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import sqrt
from typing import Any

from recipe import Line, verdict

HOLD_S = 1.0


class PlainReader:
    """Folds session records into additions like those of the product."""

    def __init__(self, lines: list[Line], division: float) -> None:
        self.lines, self.division = lines, division
        self.window: list[tuple[float, float]] = []
        self.level, self.base = 0.0, 0.0
        self.open = 0
        self.away = True
        self.ids: dict[str, int] = {}
        self.events: list[dict[str, Any]] = []
        self.mass: dict[str, float] = {}
        self.was = 0.0

    def record(self, document: dict[str, Any]) -> None:
        """Take the next record of the session."""
        if document.get("mark") == "line":
            keys = [line.key for line in self.lines]
            self.open, self.base = keys.index(document["line"]), self.level
            self.away = False
        if "v" not in document:
            return
        t, value = float(document["t"]), float(document["v"]) * 1000
        if (
            abs(value) < self.division
            and self.level > 4 * self.division
            and abs(self.was - value) > 3 * self.division
        ):
            self._tared()
        self.was = value
        self.window.append((t, value))
        self.window = [(at, v) for at, v in self.window if at > t - HOLD_S]
        values = [v for _, v in self.window]
        if (
            t - self.window[0][0] > 0.75 * HOLD_S
            and max(values) - min(values) <= 1.5 * self.division
        ):
            self._plateau(t, sum(values) / len(values))

    def _tared(self) -> None:
        self.level = self.base = 0.0
        self.window.clear()
        if self.away:
            self.away = False
        elif self._decided():
            self.open += 1

    def _decided(self) -> bool:
        return self.open < len(self.lines) and self.lines[self.open].key in self.mass

    def _plateau(self, t: float, value: float) -> None:
        step = value - self.level
        if abs(step) < 0.9 * self.division:
            return
        self.level, before = value, self.level
        if value < self.base - 3 * self.division:
            self.away, self.base = True, value
            return
        if self.away:
            self.away, self.base = False, value
            return
        if step > 0 and self._decided():
            line = self.lines[self.open]
            if self._verdict(line, self.mass[line.key]) != "under":
                self.open, self.base = self.open + 1, before
        if self.open < len(self.lines):
            self._say(t, self.lines[self.open], value - self.base)

    def _verdict(self, line: Line, mass: float) -> str:
        return verdict(mass, line.target, line.tolerance, 2 * self.division / sqrt(6))

    def _say(self, t: float, line: Line, mass: float) -> None:
        self.mass[line.key] = mass
        self.events.append(
            {
                "id": len(self.events) + 1, "kind": "weighing.addition", "at": t, "line": line.key,
                "mass_kg": mass / 1000, "expanded_uncertainty_kg": 2 * self.division / sqrt(6) / 1000,
                "target_kg": line.target / 1000, "lower_kg": (line.target - line.tolerance) / 1000,
                "upper_kg": (line.target + line.tolerance) / 1000,
                "verdict": self._verdict(line, mass), "replaces": self.ids.get(line.key),
            }
        )  # fmt: skip
        self.ids[line.key] = len(self.events)


def read_plainly(
    session: Iterable[dict[str, Any]], lines: list[Line], division: float
) -> list[dict[str, Any]]:
    """The additions that a plain plateau reader finds in a session."""
    reader = PlainReader(lines, division)
    for document in session:
        reader.record(document)
    return reader.events
