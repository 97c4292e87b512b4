"""The outsides of many tubes, each between its two cuts, for many points at once.

A row of points belongs to a wall of its own, so that what a whole cage asks is one array pass. What
a wall gets is the same to the last bit whatever stands beside it. Frame: car axes, mm, rad.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from msgspec import Struct

from cagekit.geometry.arrays import Array, Bools, Ints, Points, Vec, cross_rows, dot_rows, size_rows
from cagekit.geometry.centre_line import CentreLine, Line, PathPiece
from cagekit.geometry.clearance import Lines
from cagekit.geometry.end_cut import EndCut, contacts, measure
from cagekit.units.tolerance import MICRON

_AXES = np.eye(3)


class Wall(Struct, frozen=True, kw_only=True, eq=False):
    """The outside of a tube between its two cuts; ``radius`` in mm."""

    path: CentreLine
    radius: float
    cut_a: EndCut
    cut_b: EndCut


class _Ends(NamedTuple):
    """End a of every wall, then end b: where it is, its frame, and how far back it is cut, mm.

    ``straight`` is the length of its last straight, mm; 0 where it ends in a bend.
    """

    cuts: tuple[EndCut, ...]
    point: Points
    out: Points
    zero: Points
    side: Points
    outer: Vec
    longest: Vec
    shortest: Vec
    straight: Vec

    @classmethod
    def of(cls, cuts: Sequence[EndCut], pieces: Sequence[PathPiece]) -> _Ends:
        point, out, zero, side = (
            np.array(rows).reshape(-1, 3)
            for rows in zip(*((c.point, c.out, c.zero, c.side) for c in cuts), strict=True)
        )
        outer, longest, shortest = np.array(
            [(c.outer_radius, c.longest, c.shortest) for c in cuts]
        ).T
        straight = np.array([q.length if isinstance(q, Line) else 0.0 for q in pieces])
        return cls(tuple(cuts), point, out, zero, side, outer, longest, shortest, straight)


class Walls:
    """Walls of tubes, by their place in ``walls``; there is one at least."""

    def __init__(self, walls: Sequence[Wall]) -> None:
        measure(c for w in walls for c in (w.cut_a, w.cut_b))
        self.walls = walls
        self.lines = Lines.of([w.path for w in walls])
        self.radius = np.array([w.radius for w in walls])
        self.length = np.array([w.path.length for w in walls])
        self._ends = _Ends.of(
            [*(w.cut_a for w in walls), *(w.cut_b for w in walls)],
            [w.path.pieces[k] for k in (0, -1) for w in walls],
        )

    def points(self, wall: Ints, station: Vec, phi: Array) -> Array:
        """Points of the outsides, ``(n, m, 3)`` mm.

        Args:
            wall: of each row, ``(n,)``.
            station: of each row, ``(n,)`` mm.
            phi: angles ``(n, m)`` rad; they count from some line at each station.
        """
        axis, u, v = self._frames(wall, station)
        c, s = np.cos(phi)[..., None], np.sin(phi)[..., None]
        ring = u[:, None] * c + v[:, None] * s
        return np.asarray(axis[:, None] + self.radius[wall, None, None] * ring)

    def places(self, wall: Ints, points: Points) -> tuple[Vec, Vec]:
        """Stations (mm) and angles ``(n,)`` of points ``(n, 3)`` outside, as ``points`` counts."""
        station = self.lines.nearest(wall, points)[1]
        axis, u, v = self._frames(wall, station)
        w = points - axis
        return station, np.arctan2(dot_rows(w, v), dot_rows(w, u))

    def _frames(self, wall: Ints, station: Vec) -> tuple[Points, Points, Points]:
        """Points of the axes, and two unit vectors square to them and to each other."""
        axis, along = self.lines.spots(wall, station)
        # an axis of the car that is far from parallel to the tube
        u = cross_rows(along, _AXES[np.argmin(np.abs(along), axis=1)])
        u /= size_rows(u)[:, None]
        return axis, u, cross_rows(along, u)

    def stands(self, wall: Ints, station: Vec, seat: Vec) -> Bools:
        """Whether anything of a wall stands at stations ``(n,)`` mm, ``seat`` (mm) from its cuts.

        Told of straight ends only: elsewhere it may.

        Args:
            wall: of each station, ``(n,)``.
            station: mm.
            seat: mm, ``(n,)``.
        """
        there, ends = np.ones(len(wall), dtype=bool), self._ends
        for end, back in self._both(wall, station):
            cut_away = back < (ends.shortest[end] + seat - MICRON)
            there &= ~(cut_away & (back < ends.straight[end]))
        return there

    def _both(self, wall: Ints, station: Vec) -> tuple[tuple[Ints, Vec], tuple[Ints, Vec]]:
        """Numbers of the ends a and b of walls, and how far from each stations are, mm."""
        return (wall, station), (wall + len(self.walls), self.length[wall] - station)

    def outside(self, wall: Ints, points: Points) -> tuple[Vec, Vec]:
        """Heights of points ``(n, 3)`` over the outside (mm, negative within), and stations."""
        away, station = self.lines.nearest(wall, points)
        return away - self.radius[wall], station

    def left(self, part: Ints, wall: Ints, points: Points, station: Vec) -> Vec:
        """How far points beside the tubes are from their cuts, ``(n,)`` mm; negative: cut away.

        Args:
            part: numbers ``(n,)`` of what is asked together, at one wall each, rising.
            wall: of each point, ``(n,)``.
            points: in car axes, ``(n, 3)`` mm.
            station: of the axis nearest to each, ``(n,)`` mm.
        """
        left, ends = np.full(len(points), np.inf), self._ends
        both = self._both(wall, station)
        near = [np.flatnonzero(back <= ends.longest[end] + self.radius[wall]) for end, back in both]
        row, count = np.concatenate(near), len(near[0])
        if not len(row):
            return left
        of = np.concatenate([end[rows] for rows, (end, _) in zip(near, both, strict=True)])
        w = points[row] - ends.point[of]
        u, v = dot_rows(w, ends.zero[of]), dot_rows(w, ends.side[of])
        rho, phi = np.minimum(np.hypot(u, v), ends.outer[of]), np.arctan2(v, u)
        new = np.diff(part[row], prepend=-1, append=-1) != 0
        new[count] = True  # where end b begins
        parts = pairwise(np.flatnonzero(new).tolist())
        depths = contacts([(ends.cuts[of[i]], phi[i:k], rho[i:k]) for i, k in parts])
        s = -dot_rows(w, ends.out[of]) - np.concatenate([c.s for c in depths])
        left[near[0]] = s[:count]
        left[near[1]] = np.minimum(left[near[1]], s[count:])
        return left


__all__ = ["Wall", "Walls"]
