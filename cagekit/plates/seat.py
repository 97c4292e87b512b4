"""Where a plate that stands on a tube begins: the line a set gap off the real tube."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from cagekit.errors import GeometryError
from cagekit.geometry.arrays import cross3
from cagekit.geometry.centre_line import CentreLine, Line, Vec
from cagekit.geometry.outline import Segment, Vec2, vec2
from cagekit.plates.foot import through_open
from cagekit.units.tolerance import KERNEL_POINT, MICRON, ROUNDING

Height = Callable[[float], float]
"""Height of the plate's edge over the axis, by the distance along the tube, mm."""


def seat(
    path: CentreLine,
    origin: Vec,
    along: Vec,
    across: Vec,
    reach: float,
    thickness: float,
    *,
    straight: float = 0.0,
    owner: str = "plate",
) -> Height:
    """The edge of a plate that stands square on a tube.

    Args:
        path: centre line of the tube.
        origin: point on it that distances are counted from, ``(3,)`` mm.
        along: unit vector of the plate's plane along the tube, ``(3,)``.
        across: unit vector of the plate's plane away from the tube, ``(3,)``.
        reach: tube radius and gap, mm.
        thickness: of the plate, which lies on either side of the plane, mm.
        straight: the tube is straight this far along, mm; saves the search.
        owner: the plate, for the error.

    Where a tube bends out of the plane, the nearer face of the plate keeps the distance.
    """
    normal = cross3(along, across)
    sides = (0.0, -thickness / 2, thickness / 2)

    def gap(a: float, h: float, z: float) -> float:
        p = origin + a * along + h * across + z * normal
        return float(np.linalg.norm(p - path.nearest(p).point))

    def at(a: float) -> float:
        if abs(a) < straight - reach:
            return reach
        h = reach
        for _ in range(40):
            off = reach - min(gap(a, h, z) for z in sides)
            h += off
            if abs(off) < ROUNDING:
                return h
            if abs(h) > 4 * reach + abs(a):
                break
        if abs(off) < MICRON:
            return h
        raise GeometryError(
            owner,
            f"the tube bends away from the plate {abs(a):.0f} mm along: no edge can follow.",
            "Use a shorter leg or a narrower plate.",
        )

    return at


def straight_reach(path: CentreLine) -> float:
    """How far a path runs straight from its start, mm."""
    first = path.pieces[0]
    if not isinstance(first, Line):
        return 0.0
    return float("inf") if len(path.pieces) == 1 else first.length


def drawn(points: Vec2) -> list[Segment]:
    """An edge through an odd number of points ``(2 n + 1, 2)``: one straight, or arcs."""
    chord = points[-1] - points[0]
    normal = np.array([-chord[1], chord[0]]) / float(np.hypot(*chord))
    if float(np.abs((points - points[0]) @ normal).max()) < KERNEL_POINT:
        return [Segment(vec2(points[0]), vec2(points[-1]))]
    return list(through_open(points).segments)
