"""The person at the bench: pours, spoons, taps, leans, lifts, and presses keys, on a time line.

Masses in grams, times in seconds from the start of the recording. A :class:`Bench` collects what
stands on the scale and what else presses on it; each action moves its clock on.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from load_cell import DT_S, Floats, Key

STYLES = ("powder", "liquid", "eggs", "pieces", "spoons", "granules")


@dataclass
class Bench:
    """Time line of one weighing."""

    rng: np.random.Generator
    now: float = 0.0
    least: float = 0.0
    """The last spoonful or piece of a line is at least so much (where nobody marks the next)."""
    deposits: list[tuple[float, float]] = field(default_factory=list)
    forces: list[tuple[float, Floats]] = field(default_factory=list)
    keys: list[Key] = field(default_factory=list)
    troubled: list[tuple[float, float]] = field(default_factory=list)
    """Stretches in which nothing may be called settled: a hand, a stream, a spoon."""
    story: list[str] = field(default_factory=list)

    # -- the clock ---------------------------------------------------------------------------

    def wait(self, low: float, high: float | None = None) -> None:
        """Nothing happens for a while."""
        self.now += float(self.rng.uniform(low, low if high is None else high))

    def tell(self, text: str) -> None:
        """A line of the story."""
        self.story.append(f"{self.now:7.1f} s  {text}")

    def press(self, key: str, number: float = 0.0) -> None:
        """A key of the scale, or something that happens to it."""
        self.keys.append((self.now, key, number))
        self.tell(f"{key} {number or ''}".strip())

    # -- mass and force ----------------------------------------------------------------------

    def put(self, grams: float, at: float | None = None) -> None:
        """Mass onto (or off) the pan at once."""
        self.deposits.append((self.now if at is None else at, grams))

    def load(self) -> float:
        """What stands on the pan in the end, as far as told."""
        return sum(grams for _, grams in self.deposits)

    def push(self, at: float, force: Floats) -> None:
        """Another force on the pan, at 100 Hz from ``at`` on."""
        self.forces.append((at, force))

    def bump(self, at: float, grams: float) -> None:
        """An impact: a drop landing, a spoon knocked on the rim."""
        n = int(self.rng.integers(2, 6))
        self.push(at, grams * np.hanning(n + 2)[1:-1])

    # -- adding ------------------------------------------------------------------------------

    def pour(self, grams: float, style: str) -> None:
        """Add exactly ``grams`` in the way this ingredient is added."""
        start = self.now
        {
            "powder": self._powder,
            "granules": self._stream,
            "liquid": self._stream,
            "eggs": self._eggs,
            "pieces": self._pieces,
            "spoons": self._spoons,
        }[style](grams)
        if style in ("powder", "granules", "liquid"):
            self.troubled.append((start, self.now))

    def _stream(self, grams: float) -> None:
        top = min(float(self.rng.uniform(12, 70)), max(1.5, grams / 2.5))
        on, off = float(self.rng.uniform(0.3, 1.0)), float(self.rng.uniform(0.3, 1.6))
        flat = max(0.1, grams / top - (on + off) / 2)
        n = max(3, int((on + flat + off) / DT_S))
        t = np.arange(n) * DT_S
        flow = np.minimum(1, t / on) * np.minimum(1, np.maximum(0, (on + flat + off - t) / off))
        wobble = np.cumsum(self.rng.normal(0, 0.03, n))
        flow *= np.clip(1 + wobble - wobble.mean(), 0.4, 1.8)
        flow *= grams / flow.sum()
        for i in range(0, n, 2):
            self.put(float(flow[i : i + 2].sum()), self.now + i * DT_S)
        fall = float(self.rng.uniform(0.1, 0.25))
        splash = 1 + self.rng.normal(0, 0.15, n)
        # A stream presses by its impulse as hard as what is in the air would weigh, roughly.
        self.push(self.now, flow / DT_S * fall * float(self.rng.uniform(0.5, 1.1)) * splash)
        self.now += n * DT_S

    def _powder(self, grams: float) -> None:
        left = grams
        typical = max(0.4, min(12.0, grams / 15))
        while left > 1e-9:
            clump = min(left, float(self.rng.exponential(typical)))
            if left - clump < 0.15:
                clump = left
            self.put(clump)
            self.bump(self.now, clump * float(self.rng.uniform(0.3, 1.5)))
            left -= clump
            self.wait(0.05, 0.28)
            if self.rng.random() < 0.02 and left > max(3 * typical, self.least):
                self.wait(0.8, 2.0)

    def _eggs(self, grams: float) -> None:
        pieces = max(1, round(grams / 50))
        weights = self.rng.normal(1, 0.06, pieces)
        for weight in weights / weights.sum() * grams:
            yolk = 0.35
            self.put(float(weight * (1 - yolk)))
            self.bump(self.now, 25)
            self.wait(0.3, 0.6)
            self.put(float(weight * yolk))
            self.bump(self.now, 30)
            self.wait(2.0, 6.0)
        self.now -= 1.5

    def _pieces(self, grams: float) -> None:
        left = grams
        while left > 1e-9:
            piece = min(left, float(self.rng.uniform(8, 60)))
            piece = left if left - piece < max(4, self.least) else piece
            self.put(piece)
            self.bump(self.now, float(self.rng.uniform(10, 80)))
            left -= piece
            if left > 0:
                self.wait(0.8, 3.5)
        self.wait(0.1)

    def _spoons(self, grams: float) -> None:
        left = grams
        while left > 1e-9:
            one = min(left, float(self.rng.uniform(0.25, 0.5)) * max(grams, 2.0))
            one = left if left - one < max(0.3, self.least) else one
            self.put(one * 0.7)
            self.wait(0.1, 0.3)
            self.put(one * 0.3)
            if self.rng.random() < 0.4:
                self.bump(self.now, float(self.rng.uniform(10, 60)))
            left -= one
            if left > 0:
                self.wait(1.5, 4.0)
        self.wait(0.1)

    def taps(self, grams: float, division: float, slow: bool) -> None:
        """The last bit in small taps of the bag."""
        left = grams
        start = self.now
        while left > 1e-9:
            one = min(left, float(self.rng.uniform(0.4, 1.6)) * max(division, 0.4))
            one = left if left - one < 0.2 * division else one
            self.put(one)
            self.bump(self.now, one * 2)
            left -= one
            if left > 0:
                self.wait(*((0.7, 1.6) if slow else (0.25, 0.55)))
        self.troubled.append((start, self.now))

    # -- the rest of what people do ----------------------------------------------------------

    def take_back(self, grams: float) -> None:
        """Take some out again, with a spoon that leans on what is in the bowl."""
        left = grams
        while left > 1e-9:
            one = left if left < 14 else float(self.rng.uniform(8, 14))
            length = int(self.rng.uniform(0.6, 1.5) / DT_S)
            self.push(self.now, self._hand(length, float(self.rng.uniform(8, 50))))
            self.troubled.append((self.now, self.now + length * DT_S))
            self.put(-one, self.now + length * DT_S * 0.8)
            self.now += length * DT_S
            left -= one
            if left > 0:
                self.wait(1.5, 3.0)
        self.wait(0.1)

    def _hand(self, length: int, grams: float, unsteady: float | None = None) -> Floats:
        """A force that a person holds: never quite the same."""
        share = float(self.rng.uniform(0.1, 0.3)) if unsteady is None else unsteady
        slow = np.cumsum(self.rng.normal(0, 1, length))
        slow -= np.linspace(slow[0], slow[-1], length)
        slow /= max(1e-9, float(slow.std()))
        tremor = np.sin(np.arange(length) * DT_S * 2 * np.pi * float(self.rng.uniform(7, 11)))
        edge = np.minimum(1, np.minimum(np.arange(length), np.arange(length)[::-1]) / 15)
        held: Floats = grams * edge * np.maximum(0.1, 1 + share * slow + 0.02 * tremor)
        return held

    def lean(self, seconds: float, grams: float) -> None:
        """A hand rests on the bowl or the pan."""
        length = int(seconds / DT_S)
        self.tell(f"a hand leans with {grams:.0f} g for {seconds:.1f} s")
        self.push(self.now, self._hand(length, grams))
        self.troubled.append((self.now, self.now + seconds))
        self.now += seconds

    def spoon(self, seconds: float, grams: float) -> None:
        """A spoon is left in the bowl for a while, then taken out."""
        self.tell(f"a spoon of {grams:.0f} g lies in the bowl for {seconds:.1f} s")
        self.put(grams)
        self.bump(self.now, 40)
        self.troubled.append((self.now, self.now + seconds))
        self.now += seconds
        self.push(self.now - 0.3, self._hand(30, float(self.rng.uniform(-20, 20))))
        self.put(-grams)
        self.wait(0.1)

    def shake(self, start: float, seconds: float, grams: float) -> None:
        """A mixer runs on the same bench; its shaking comes out at 5 to 20 Hz."""
        t = np.arange(int(seconds / DT_S)) * DT_S
        beat = float(self.rng.uniform(5, 20))
        phase = np.cumsum(self.rng.normal(0, 0.05, len(t)))
        swell = 1 + 0.4 * np.sin(2 * np.pi * float(self.rng.uniform(0.2, 1.1)) * t)
        self.push(start, grams * swell * np.sin(2 * np.pi * beat * t + phase))

    def set_down(self, grams: float) -> None:
        """Put a container on the pan: the hand lets go over a moment."""
        n = int(self.rng.integers(8, 30))
        for i in range(n):
            self.put(grams / n, self.now + i * DT_S)
        self.bump(self.now + n * DT_S, grams * float(self.rng.uniform(0.05, 0.4)))
        self.now += n * DT_S

    def lift(self) -> float:
        """Take everything off the pan; what it was."""
        everything = self.load()
        n = int(self.rng.integers(10, 40))
        self.push(self.now - 0.2, self._hand(25, float(self.rng.uniform(-30, 80))))
        for i in range(n):
            self.put(-everything / n, self.now + i * DT_S)
        self.now += n * DT_S
        return everything

    # -- the sum -----------------------------------------------------------------------------

    def loads(self) -> tuple[Floats, Floats]:
        """Mass on the pan and other forces, at 100 Hz."""
        n = int(self.now / DT_S) + 2
        steps = np.zeros(n)
        for at, grams in self.deposits:
            steps[min(n - 1, max(0, int(at / DT_S)))] += grams
        force = np.zeros(n)
        for at, given in self.forces:
            first = max(0, int(at / DT_S))
            part = given[: max(0, n - first)]
            force[first : first + len(part)] += part
        return np.cumsum(steps), force
