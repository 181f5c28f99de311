"""Finite volumes in a round pan: rings in r, layers in z, and what flows between them.

Explicit in time. Nothing here knows cakes: a potential (a temperature, a vapour density) and the
conductances between the cells give the net inflow of each cell.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Field = NDArray[np.float64]


class RoundGrid:
    """Cells of a cylinder, shape (layers, rings); layer 0 lies at the bottom, ring 0 at the axis.

    Args:
        radius_m: outer radius, metres.
        layers: cells in height, at least 2.
        rings: cells in radius, at least 1.
    """

    def __init__(self, radius_m: float, layers: int, rings: int) -> None:
        if radius_m <= 0 or layers < 2 or rings < 1:
            raise ValueError("a grid needs a radius, two layers and a ring")
        self.shape = (layers, rings)
        self.width_m = radius_m / rings
        edges = np.linspace(0.0, radius_m, rings + 1)
        self.ring_area_m2: Field = np.pi * (edges[1:] ** 2 - edges[:-1] ** 2)
        self._inner_edge_m: Field = edges[1:-1]
        self.rim_m = 2.0 * math.pi * radius_m

    def between_layers(self, conductivity: Field, height_m: Field) -> Field:
        """Conductance upwards from each layer to the next: two half cells in series, times area.

        Args:
            conductivity: per cell, W/(m K) for heat, m2/s for vapour.
            height_m: height of each cell, metres.

        Returns:
            Shape (layers - 1, rings).
        """
        half = height_m / (2.0 * conductivity)
        return self.ring_area_m2 / (half[:-1] + half[1:])

    def between_rings(self, conductivity: Field, height_m: Field) -> Field:
        """Conductance outwards from each ring to the next, shape (layers, rings - 1)."""
        half = self.width_m / (2.0 * conductivity)
        mean_height = 0.5 * (height_m[:, :-1] + height_m[:, 1:])
        face = 2.0 * np.pi * self._inner_edge_m * mean_height
        return face / (half[:, :-1] + half[:, 1:])


def inflow(potential: Field, layers: Field, rings: Field) -> Field:
    """Net inflow of each cell from its neighbours; its sum over all cells is zero.

    Args:
        potential: what drives the flow, shape (layers, rings).
        layers: conductances from :meth:`RoundGrid.between_layers`.
        rings: conductances from :meth:`RoundGrid.between_rings`.
    """
    up = layers * (potential[:-1] - potential[1:])
    outward = rings * (potential[:, :-1] - potential[:, 1:])
    net = np.zeros_like(potential)
    net[:-1] -= up
    net[1:] += up
    net[:, :-1] -= outward
    net[:, 1:] += outward
    return net
