"""Meshes round a hole that is drilled through a tube."""

from __future__ import annotations

from collections.abc import Iterator
from math import pi

import numpy as np
from msgspec import Struct

from cagekit.geometry.arrays import Ints, Points, Vec
from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.cope import EndCut
from cagekit.geometry.drill import Drill
from cagekit.units.tolerance import SAME_POINT

FACETS = 32
"""Facets round a hole."""
FRAME = 0.08
"""Angle round the tube (rad) by which the window in its wall is wider than the hole."""
ROOM = 3.0
"""By how much the window is longer than the hole at each end, at most, mm."""


class HoleWindow(Struct, frozen=True, eq=False):
    """The part of a tube's wall that is meshed anew round a hole.

    Args:
        drill: the hole.
        piece: the straight that it is in.
        low, high: stations on that straight between which the window lies, mm.
        middles: angle round the tube of each of the hole's two ways, rad.
        half: how far it reaches to either side of them, rad.
    """

    drill: Drill
    piece: int
    low: float
    high: float
    middles: tuple[float, float]
    half: float

    @classmethod
    def of(
        cls, drill: Drill, path: CentreLine, lines: Points, cuts: tuple[EndCut, EndCut]
    ) -> HoleWindow:
        """The window round a hole.

        Args:
            drill: the hole.
            path: centre line of the tube.
            lines: reference lines of the path, ``(n, 3)``.
            cuts: how its ends are cut.
        """
        i = drill.piece_of(path)
        q, x = path.pieces[i], lines[i]
        d = q.tangent(0.0)
        station = float((drill.point - q.point(0.0)) @ d)
        low = cuts[0].longest if i == 0 else 0.0
        high = q.length - (cuts[1].longest if i == len(path.pieces) - 1 else 0.0)
        room = min(station - low, high - station) - drill.radius
        reach = drill.radius + min(0.5 * max(room, 0.0), ROOM)
        y = np.cross(d, x)
        up, down = (float(np.arctan2(w @ y, w @ x)) for w in drill.ways)
        half = float(np.arcsin(drill.radius / cuts[0].inner_radius)) + FRAME
        return cls(drill, i, station - reach, station + reach, (up, down), half)

    @property
    def edges(self) -> Vec:
        """Angles round the tube where the window ends, in [0, 2 pi), ``(4,)``."""
        ends = [m + s * self.half for m in self.middles for s in (-1.0, 1.0)]
        return np.asarray(np.mod(np.array(ends), 2 * pi))

    def columns(self, psi: Vec) -> Iterator[tuple[Vec, Ints]]:
        """For each way of the hole the columns of a mesh from one side of it to the other."""
        for way, middle in zip(self.drill.ways, self.middles, strict=True):
            off = (psi - middle + pi) % (2 * pi) - pi
            inside = np.nonzero(np.abs(off) <= self.half + SAME_POINT)[0]
            yield way, inside[np.argsort(off[inside])]


def hole_patch(drill: Drill, way: Vec, wall: float, rim: Points) -> tuple[Vec, Vec, Ints]:
    """The wall between a window's rim and the hole: vertices, normals, triangles.

    Args:
        drill: the hole.
        way: its side.
        wall: radius of the wall's surface, mm.
        rim: vertices of the window's border, ``(n, 3)`` mm in any order.
    """
    side = np.cross(way, drill.along)
    w = rim - drill.point
    turn: Vec = np.mod(np.arctan2(w @ side, w @ drill.along), 2 * pi)
    order = np.argsort(turn)
    theta = np.asarray(np.arange(FACETS) * (2 * pi / FACETS), dtype=np.float64)
    vertices = np.concatenate([rim[order], drill.edge(way, wall, theta)])
    out = vertices - drill.point
    out = out - np.outer(out @ drill.along, drill.along)
    normals = out / np.linalg.norm(out, axis=1)[:, None]
    return vertices, normals, _between(turn[order], theta)


def hole_wall(drill: Drill, way: Vec, walls: tuple[float, float]) -> tuple[Vec, Vec, Ints]:
    """The hole's own wall between the outside and the bore: vertices, normals, triangles.

    Args:
        drill: the hole.
        way: its side.
        walls: outside and inside radius of the tube, mm.
    """
    theta = np.arange(FACETS) * (2 * pi / FACETS)
    vertices = np.concatenate([drill.edge(way, wall, theta) for wall in walls])
    side = np.cross(way, drill.along)
    out = np.outer(np.cos(theta), drill.along) + np.outer(np.sin(theta), side)
    top, low = np.arange(FACETS), FACETS + np.arange(FACETS)
    after, below = np.roll(top, -1), np.roll(low, -1)
    triangles = np.concatenate(
        [np.stack([top, after, below], axis=1), np.stack([top, below, low], axis=1)]
    )
    return vertices, -np.concatenate([out, out]), triangles


def _between(outer: Vec, inner: Vec) -> Ints:
    """Triangles between two rings, each sorted by angle; the inner one's vertices come second."""
    n, m = len(outer), len(inner)
    # by the middles of the edges, so that every vertex is joined to those it can see
    ends = [0.5 * (r + np.append(r[1:], r[0] + 2 * pi)) for r in (outer, inner)]
    rows = []
    i = j = 0
    while i < n or j < m:
        at, on = i % n, n + j % m
        if j >= m or (i < n and ends[0][i] <= ends[1][j]):
            rows.append((at, (i + 1) % n, on))
            i += 1
        else:
            rows.append((at, n + (j + 1) % m, on))
            j += 1
    return np.array(rows, dtype=np.intp)
