"""A hole drilled straight through a tube, square to its axis and through it: for a sleeve.

The hole's edge is the line where two cylinders cross, one of the hole's radius and one of the
wall's. It is told by the angle ``theta`` round the hole, right-handed about the side's own
direction, from the tube's axis. Frame: car axes, mm, rad.
"""

from __future__ import annotations

from math import pi

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from cagekit.geometry.centre_line import CentreLine, Line, Vec

_ANGLES = 64
"""Points of the integrals round the hole; they are periodic, so these are exact to rounding."""


class Drill(Struct, frozen=True, kw_only=True, eq=False):
    """A hole through both walls of a tube.

    Args:
        point: where its axis crosses the tube's, ``(3,)`` mm.
        axis: unit direction of the hole, square to the tube, ``(3,)``.
        along: unit direction of the tube's axis there, ``(3,)``.
        radius: of the hole, mm; less than the tube's inside radius.
    """

    point: Vec
    axis: Vec
    along: Vec
    radius: float

    @property
    def ways(self) -> tuple[Vec, Vec]:
        """Directions of the hole out of the tube, one for each wall, ``(3,)``."""
        return self.axis, np.asarray(-self.axis)

    def edge(self, way: Vec, wall: float, theta: ArrayLike) -> Vec:
        """Points of the hole's edge on one side of a wall, ``(n, 3)`` mm.

        Args:
            way: the side, one of ``ways``.
            wall: radius of the wall's surface, mm.
            theta: angles round the hole from ``along``, ``(n,)``.
        """
        t = np.asarray(theta, float)
        across = self.radius * np.sin(t)
        up = np.sqrt(np.maximum(wall**2 - across**2, 0.0))
        side = np.cross(way, self.along)
        return np.asarray(
            self.point
            + np.multiply.outer(self.radius * np.cos(t), self.along)
            + np.multiply.outer(across, side)
            + np.multiply.outer(up, way)
        )

    def volume(self, ro: float, ri: float) -> float:
        """What it takes out of both walls of a tube, mm3.

        Args:
            ro: outside radius of the tube, mm.
            ri: inside radius, mm; 0 where it is solid.
        """
        # half chords of the disc's strips at y = radius sin t, times the wall's height there
        t = (np.arange(_ANGLES) + 0.5) * (2 * pi / _ANGLES)
        y2 = (self.radius * np.sin(t)) ** 2
        height = np.sqrt(ro**2 - y2) - np.sqrt(np.maximum(ri**2 - y2, 0.0))
        strips = 2 * self.radius**2 * np.cos(t) ** 2 * height
        return float(strips.mean() * 2 * pi)

    def moved(self, turn: Vec, shift: Vec) -> Drill:
        """The hole after a rigid motion: turned by ``(3, 3)``, then shifted by ``(3,)`` mm."""
        return Drill(
            point=turn @ self.point + shift, axis=turn @ self.axis, along=turn @ self.along,
            radius=self.radius,
        )  # fmt: skip

    def piece_of(self, path: CentreLine) -> int:
        """Index of the straight of a centre line that it is drilled through."""
        spot = path.nearest(self.point)
        assert isinstance(path.pieces[spot.piece], Line)
        return spot.piece


__all__ = ["Drill"]
