"""Holes drilled right through a tube: their edges on both walls, and the faces between."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from math import pi

import numpy as np

from cagekit.geometry.arrays import Array
from cagekit.geometry.centre_line import CentreLine, PathPiece
from cagekit.geometry.drill import Drill
from cagekit.solids.brep import CylinderSurface, Edge, Face, Loop, Record, SplineCurve
from cagekit.solids.creases import Refused
from cagekit.solids.readable import least_nodes
from cagekit.solids.spline import DEGREE, fitted
from cagekit.units.tolerance import READ_EDGE, SAME_POINT

CLOSE = READ_EDGE
"""Deviation (mm) at which an edge is refined no further."""


def drilled(
    record: Record, path: CentreLine, drills: Sequence[Drill], walls: tuple[float, float]
) -> tuple[Mapping[int, tuple[Loop, ...]], Mapping[int, tuple[Loop, ...]]]:
    """Add the faces of holes to a record.

    Args:
        record: the tube while it is written.
        path: its centre line.
        drills: the holes.
        walls: outside and inside radius of the tube, mm.

    Returns:
        For the outside and the bore, by piece of the path, the loops that the holes make there.

    Raises:
        Refused: a hole is as wide as the bore.
    """
    outside: dict[int, tuple[Loop, ...]] = {}
    bore: dict[int, tuple[Loop, ...]] = {}
    for drill in drills:
        if drill.radius > 0.98 * walls[1]:
            raise Refused("a hole is as wide as the bore")
        piece = drill.piece_of(path)
        for way in drill.ways:
            tube = path.pieces[piece]
            high, low = (edge_of(record, drill, way, tube, wall) for wall in walls)
            outside[piece] = (*outside.get(piece, ()), back(high))
            bore[piece] = (*bore.get(piece, ()), back(low))
            seam = record.segment(record.edges[low[0]].first, record.edges[high[0]].first)
            walk: Loop = (*((e, True) for e in low), (seam, True), *back(high), (seam, False))
            surface = CylinderSurface(drill.point, way, drill.along, drill.radius)
            record.faces.append(Face(surface, False, (walk,)))
    return outside, bore


def back(edges: tuple[int, int]) -> Loop:
    """Two halves of an edge as a loop, walked backwards."""
    return tuple((e, False) for e in reversed(edges))


def _half(drill: Drill, way: Array, wall: float, start: float, u: Array) -> Array:
    """Points of half of a hole's edge at parameters ``(n,)`` in [0, 1]."""
    return drill.edge(way, wall, start + pi * u)


def edge_of(
    record: Record, drill: Drill, way: Array, tube: PathPiece, wall: float
) -> tuple[int, int]:
    """The edge of a hole on one side of a wall, in two halves.

    Args:
        record: the solid while it is written.
        drill: the hole.
        way: its side, ``(3,)``.
        tube: the straight that it is drilled through.
        wall: radius of the wall's surface, mm.
    """
    beside = (
        CylinderSurface(drill.point, way, drill.along, drill.radius),
        CylinderSurface(tube.start, tube.direction, way, wall),
    )
    ends = [record.vertex(drill.edge(way, wall, np.array([t]))[0]) for t in (0.0, pi)]
    halves = []
    for k, start in enumerate((0.0, pi)):
        half = partial(_half, drill, way, wall, start)
        fit = fitted(half, CLOSE, least=lambda fit: least_nodes(fit, beside))
        curve = SplineCurve(DEGREE, fit.poles, fit.tool.knots, fit.tool.multiplicities)
        edge = Edge(ends[k], ends[1 - k], curve, 0.0, 1.0, max(SAME_POINT, 4 * fit.off))
        halves.append(record.edge(edge))
    return halves[0], halves[1]
