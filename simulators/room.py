"""The room and the refrigerator: where a cake cools, and what moves there."""

from __future__ import annotations

import math
from random import Random


class Room:
    """The kitchen's air: a slow swing, some weather, doors, and a hot oven.

    Args:
        mean_c: what it swings about, C.
        random: where its weather comes from.
    """

    def __init__(self, mean_c: float, random: Random) -> None:
        self._mean_c = mean_c
        self._random = random
        self._elapsed_s = 0.0
        self._weather_c = 0.0
        self._draught_c = 0.0
        self._oven_c = 0.0

    @property
    def air_c(self) -> float:
        """The air now, C."""
        swing = 0.3 * math.sin(2.0 * math.pi * self._elapsed_s / 9000.0)
        return self._mean_c + swing + self._weather_c + self._draught_c + self._oven_c

    def open_door(self) -> None:
        """Somebody comes in: cooler air for some minutes."""
        self._draught_c -= 0.8

    def step(self, seconds: float, oven_is_hot: bool = False) -> None:
        """Let time pass."""
        self._elapsed_s += seconds
        self._weather_c += -self._weather_c * seconds / 600.0
        self._weather_c += self._random.gauss(0.0, 0.006) * math.sqrt(seconds)
        self._draught_c -= self._draught_c * seconds / 420.0
        self._oven_c += ((0.5 if oven_is_hot else 0.0) - self._oven_c) * seconds / 2400.0


class Refrigerator:
    """Air, contents and a compressor that runs between two temperatures.

    Args:
        low_c: the compressor stops here, C.
        high_c: and starts here.
    """

    AIR_J_K = 2500.0  # air, shelves and the surface of what stands there
    CONTENTS_J_K = 60_000.0
    AIR_TO_CONTENTS_W_K = 9.0
    LEAK_W_K = 1.6
    COMPRESSOR_W = 85.0
    DOOR_W_K = 30.0

    def __init__(self, low_c: float = 2.8, high_c: float = 5.2) -> None:
        self._low_c, self._high_c = low_c, high_c
        self.air_c = self.contents_c = 0.5 * (low_c + high_c)
        self.running = False
        self.door_open = False

    def step(self, seconds: float, room_c: float, load_w: float = 0.0) -> None:
        """Let time pass; ``load_w`` is what warm cakes give off, W."""
        if self.air_c >= self._high_c:
            self.running = True
        elif self.air_c <= self._low_c:
            self.running = False
        gain = load_w + self.LEAK_W_K * (room_c - self.air_c)
        if self.door_open:
            gain += self.DOOR_W_K * (room_c - self.air_c)
        if self.running:
            gain -= self.COMPRESSOR_W
        to_contents = self.AIR_TO_CONTENTS_W_K * (self.air_c - self.contents_c)
        self.air_c += (gain - to_contents) * seconds / self.AIR_J_K
        self.contents_c += to_contents * seconds / self.CONTENTS_J_K
