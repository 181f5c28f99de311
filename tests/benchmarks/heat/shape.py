"""Grids of pans: axisymmetric for round, ring and cup; a quarter of a box for the others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matter import Array


@dataclass(frozen=True)
class Shape:
    """A pan seen from above, cut into columns.

    Attributes:
        x_edges, y_edges: m; x runs from the axis (or the ring's inner wall) to the outer wall.
        axial: axisymmetric; y is then one dummy cell.
        ring: the first x face is a pan wall too, not an axis.
        copies: how many such bodies one pan holds (4 quarters; cups of a tray).
        length_m: characteristic length of its top for natural convection.
    """

    x_edges: Array
    y_edges: Array
    axial: bool
    ring: bool
    copies: float
    length_m: float

    @property
    def area(self) -> Array:
        """Plan area of each column, m², shape (nx, ny)."""
        if self.axial:
            return (np.pi * np.diff(self.x_edges**2))[:, None]
        return np.diff(self.x_edges)[:, None] * np.diff(self.y_edges)[None, :]

    def x_face_length(self) -> Array:
        """Length of each x face in plan, shape (nx + 1, ny)."""
        if self.axial:
            return (2 * np.pi * self.x_edges)[:, None]
        return np.repeat(np.diff(self.y_edges)[None, :], len(self.x_edges), axis=0)

    def y_face_length(self) -> Array:
        """Length of each y face in plan, shape (nx, ny + 1)."""
        return np.repeat(np.diff(self.x_edges)[:, None], len(self.y_edges), axis=1)


def _towards_wall(extent_m: float, cells: int) -> Array:
    """Edges that crowd towards the far end, where the gradients are."""
    s = np.linspace(0.0, 1.0, cells + 1)
    return extent_m * (1.0 - (1.0 - s) ** 1.45)


def _both_ends(extent_m: float, cells: int) -> Array:
    s = np.linspace(0.0, 1.0, cells + 1)
    return extent_m * (0.75 * 0.5 * (1 - np.cos(np.pi * s)) + 0.25 * s)


def levels(cells: int) -> Array:
    """Shares of the batter's height of each layer, thinner at base and top."""
    return np.diff(_both_ends(1.0, cells))


_DUMMY = np.array([0.0, 1.0])


def round_pan(diameter_m: float, copies: float = 1.0) -> Shape:
    cells = 9 if diameter_m > 0.1 else 6
    return Shape(
        _towards_wall(diameter_m / 2, cells), _DUMMY, True, False, copies, 0.9 * diameter_m
    )


def ring_pan(diameter_m: float, inner_m: float) -> Shape:
    edges = inner_m / 2 + _both_ends((diameter_m - inner_m) / 2, 10)
    return Shape(edges, _DUMMY, True, True, 1.0, (diameter_m - inner_m) / 2)


def box_pan(length_m: float, width_m: float) -> Shape:
    return Shape(
        _towards_wall(width_m / 2, 7),
        _towards_wall(length_m / 2, 7),
        False,
        False,
        4.0,
        length_m * width_m / (2 * (length_m + width_m)) * 4,
    )
