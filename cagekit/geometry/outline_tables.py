"""Pieces of outlines in columns, for all pieces and many points in one pass.

A row of a table is a piece of one outline, ``(k, 1)``; tables of several outlines laid on each
other are ``(m, k, 1)``, each filled up to the one with the most pieces by pieces that change
nothing. What a point gets is the same to the last bit either way. Lengths mm, angles rad.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import atan, atan2, hypot
from typing import NamedTuple, TypeVar

import numpy as np

from cagekit.geometry.arrays import Array, Bools, Ints, Points2, Vec2
from cagekit.units.tolerance import NEVER_ZERO

_FAR = 1e150
"""No point is nearest to what is so far away (mm); its square is a number still."""


class Straights(NamedTuple):
    """The straights of an outline: x and y of starts and of steps, squared lengths."""

    x: Array
    y: Array
    dx: Array
    dy: Array
    size2: Array

    @classmethod
    def of(cls, start: Points2, end: Points2) -> Straights:
        """The table of straights between points ``(k, 2)``."""
        step = end - start
        size2 = np.maximum((step * step).sum(-1), NEVER_ZERO)
        (x, y), (dx, dy) = start.T[:, :, None], step.T[:, :, None]
        return cls(x, y, dx, dy, size2[:, None])

    def distance(self, x: Array, y: Array) -> Array:
        """Distances of points to the nearest straight; there is one at least."""
        u, v = x - self.x, y - self.y
        f = np.minimum(np.maximum((u * self.dx + v * self.dy) / self.size2, 0.0), 1.0)
        u, v = u - f * self.dx, v - f * self.dy
        return np.asarray(np.sqrt((u * u + v * v).min(-2)))


class PlainArc(NamedTuple):
    """An arc in plain numbers, the same to the last bit as a :class:`Segment` gives them.

    Ends, bulge, centre, radius (mm), the angle it turns by and that of its start (rad).
    """

    x0: float
    y0: float
    x1: float
    y1: float
    bulge: float
    cx: float
    cy: float
    radius: float
    sweep: float
    first: float

    @classmethod
    def of(cls, x0: float, y0: float, x1: float, y1: float, bulge: float) -> PlainArc:
        """The arc between two points.

        Args:
            x0: of its start, mm.
            y0: of its start, mm.
            x1: of its end, mm.
            y1: of its end, mm.
            bulge: as a :class:`Segment` has it.
        """
        dx, dy = x1 - x0, y1 - y0
        radius = hypot(dx, dy) * (1 + bulge**2) / (4 * abs(bulge))
        cx = (x0 + x1) / 2 + -dy * (1 - bulge**2) / (4 * bulge)
        cy = (y0 + y1) / 2 + dx * (1 - bulge**2) / (4 * bulge)
        first = atan2(y0 - cy, x0 - cx)
        return cls(x0, y0, x1, y1, bulge, cx, cy, radius, 4 * atan(bulge), first)


class Bows(NamedTuple):
    """The arcs of an outline.

    x and y of centres, radii, halves of the angles, x and y from a centre to the middle of its arc,
    of the starts and of the ends.
    """

    cx: Array
    cy: Array
    radius: Array
    half: Array
    mx: Array
    my: Array
    x0: Array
    y0: Array
    x1: Array
    y1: Array

    @classmethod
    def of(cls, arcs: Sequence[PlainArc]) -> Bows:
        """The table of these arcs."""
        table = np.array(arcs).reshape(-1, len(PlainArc._fields))
        x0, y0, x1, y1, bulge, cx, cy, radius, sweep, _ = table.T[:, :, None]
        mx = (x0 + x1 + bulge * (y1 - y0)) / 2 - cx
        my = (y0 + y1 + bulge * (x0 - x1)) / 2 - cy
        return cls(cx, cy, radius, np.abs(sweep) / 2, mx, my, x0, y0, x1, y1)

    def distances(self, x: Array, y: Array) -> Array:
        """Distances of points to each arc, a row for each."""
        u, v = x - self.cx, y - self.cy
        turn = np.abs(np.arctan2(self.mx * v - self.my * u, u * self.mx + v * self.my))
        to_arc = np.abs(np.hypot(u, v) - self.radius)
        to_ends = np.minimum(np.hypot(x - self.x0, y - self.y0), np.hypot(x - self.x1, y - self.y1))
        return np.asarray(np.where(turn <= self.half, to_arc, to_ends))


NO_BOWS = Bows.of([])
"""Of an outline without arcs."""


class Chords(NamedTuple):
    """The straight lines from end to end of all pieces: x and y of both ends, steps between them.

    Always taken from the same end, so that two arcs on one chord agree which side of it a point is
    on, whatever the rounding. ``arc`` are the places of those that arcs have, ``right`` tells
    whether such an arc lies to the right of its chord as it is taken here.
    """

    x0: Array
    y0: Array
    y1: Array
    dx: Array
    dy: Array
    arc: Ints
    right: Bools

    @classmethod
    def of(cls, start: Points2, end: Points2, bulges: Vec2, curved: Bools) -> Chords:
        """The table of these chords.

        Args:
            start: of each, ``(k, 2)`` mm.
            end: of each, ``(k, 2)`` mm.
            bulges: of the pieces, ``(k,)``.
            curved: which of them are arcs, ``(k,)``.
        """
        swap = (start[:, 0] > end[:, 0]) | ((start[:, 0] == end[:, 0]) & (start[:, 1] > end[:, 1]))
        low, high = (np.where(swap[:, None], b, a) for a, b in ((start, end), (end, start)))
        (x0, y0), (x1, y1) = low.T[:, :, None], high.T[:, :, None]
        arc = np.flatnonzero(curved)
        right = (bulges[arc] > 0) != swap[arc]
        return cls(x0, y0, y1, x1 - x0, y1 - y0, arc[:, None], right[:, None])

    def inside(self, x: Array, y: Array, bows: Bows) -> Bools:
        """Which points lie inside the outline.

        Args:
            x: of the points, mm.
            y: of the points, mm.
            bows: its arcs.
        """
        cross = self.dx * (y - self.y0) - self.dy * (x - self.x0)
        on = cross == 0
        if on.any():
            cross = np.where(on, np.where(self.dy != 0, -self.dy, self.dx), cross)
        crossed = ((self.y0 > y) != (self.y1 > y)) & ((cross > 0) == (self.dy > 0)) & (cross != 0)
        odd = (np.count_nonzero(crossed, axis=-2) & 1).astype(bool)
        if self.arc.size:
            # numpy's own way for tables laid on each other takes long for one
            flat = self.arc.ndim == 2
            beyond = cross[self.arc[:, 0]] if flat else np.take_along_axis(cross, self.arc, -2)
            outward = np.where(self.right, beyond < 0, beyond > 0)
            bowed = (np.hypot(x - bows.cx, y - bows.cy) < bows.radius) & outward
            odd ^= np.logical_xor.reduce(bowed, axis=-2)
        return np.asarray(odd)


_SPARE: dict[type, tuple[float, ...]] = {
    Straights: (_FAR, _FAR, 0.0, 0.0, 1.0),
    Bows: (0.0, 0.0, 0.0, -1.0, 0.0, 0.0, _FAR, _FAR, _FAR, _FAR),
    Chords: (0.0, 0.0, 0.0, 0.0, 0.0, 0, False),
}
"""A piece of each kind that is nearest to no point, that nothing crosses and that holds nothing."""
T = TypeVar("T", Straights, Bows, Chords)


def _laid(tables: Sequence[T]) -> T:
    """Tables ``(k, 1)`` of one kind laid on each other, ``(m, k, 1)``."""
    kind = tables[0].__class__
    columns = []
    for column, spare in zip(zip(*tables, strict=True), _SPARE[kind], strict=True):
        shape = len(column), max(map(len, column)), 1
        out = np.full(shape, spare, dtype=column[0].dtype)
        for row, own in zip(out, column, strict=True):
            row[: len(own)] = own
        columns.append(out)
    return kind(*columns)


def _some(table: T, rows: Ints) -> T:
    """Some of the tables that are laid on each other."""
    return table.__class__._make(column[rows] for column in table)


class OutlineTables(NamedTuple):
    """All pieces of an outline, or of outlines laid on each other."""

    straights: Straights
    bows: Bows
    chords: Chords

    @classmethod
    def laid(cls, outlines: Sequence[OutlineTables]) -> OutlineTables:
        """Those of several outlines, a row for each; points are asked as ``(m, 1, n)`` then."""
        straights, bows, chords = zip(*outlines, strict=True)
        return cls(_laid(straights), _laid(bows), _laid(chords))

    def some(self, rows: Ints) -> OutlineTables:
        """Some of the outlines that are laid on each other."""
        straights, bows, chords = self
        return OutlineTables(_some(straights, rows), _some(bows, rows), _some(chords, rows))

    def distance(self, x: Array, y: Array) -> Array:
        """Distance of points from the nearest piece, mm."""
        return nearest(self.straights, self.bows, x, y)

    def contains(self, x: Array, y: Array) -> Bools:
        """Which points lie inside."""
        return self.chords.inside(x, y, self.bows)


def nearest(straights: Straights, bows: Bows, x: Array, y: Array) -> Array:
    """Distance of points from the nearest of the pieces, mm.

    Args:
        straights: of one outline, or of several laid on each other.
        bows: arcs of the same.
        x: of points, ``(n,)``, of each outline ``(m, 1, n)`` mm.
        y: mm.
    """
    best = np.full((*x.shape[:-2], x.shape[-1]), np.inf)
    if straights.x.size:
        best = straights.distance(x, y)
    if bows.cx.size:
        best = np.minimum(best, bows.distances(x, y).min(-2))
    return best
