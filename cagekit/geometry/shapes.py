"""Simple solids with exact distances: capsule, slab, ring, prism.

Each answers ``gap(points) -> (n,)``, the distance (mm) from points ``(n, 3)`` to its surface
(negative inside), and ``nearest(points) -> (n, 3)``, the surface points nearest to them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, Protocol

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from cagekit.geometry.arrays import Array, Points, Points2, dot_columns, rows_along, size3
from cagekit.geometry.centre_line import Vec, perpendicular
from cagekit.units.tolerance import NO_LENGTH, NOISE

_TINY = NOISE

Corners = tuple[Vec, Vec]
"""Low and high corner ``(3,)`` mm of a box along the axes."""


class Solid(Protocol):
    """What the room measurements need of a solid."""

    def gap(self, points: Points) -> Vec:
        """Distance from points ``(n, 3)`` to the surface, mm, negative inside, ``(n,)``."""
        ...

    def nearest(self, points: Points) -> Vec:
        """Surface points nearest to ``points``, ``(n, 3)`` mm."""
        ...


class Capsule(Struct, frozen=True, eq=False):
    """Everything within ``radius`` of the segment ``start`` to ``end``; a ball when they meet."""

    start: Vec
    end: Vec
    radius: float

    def core(self, points: Points) -> Points:
        """Points of the segment nearest to ``points``, ``(n, 3)``."""
        d = self.end - self.start
        size = float(d @ d)
        if size < _TINY:
            return np.broadcast_to(self.start, points.shape)
        t = np.clip(rows_along(points - self.start, d) / size, 0.0, 1.0)
        return np.asarray(self.start + np.multiply.outer(t, d))

    def gap(self, points: Points) -> Vec:
        """Distance to the surface, ``(n,)`` mm."""
        return np.asarray(_lengths(points - self.core(points)) - self.radius)

    def nearest(self, points: Points) -> Vec:
        """Surface points nearest to ``points``, ``(n, 3)``."""
        core = self.core(points)
        return np.asarray(core + self.radius * _directions(points - core, self.square))

    @property
    def box(self) -> Corners:
        """The box round it."""
        ends = np.array([self.start, self.end])
        return ends.min(0) - self.radius, ends.max(0) + self.radius

    @property
    def square(self) -> Vec:
        """A unit vector square to the segment, ``(3,)``."""
        d = self.end - self.start
        size = size3(d)
        return perpendicular(d / size) if size > _TINY else np.array([0.0, 0.0, 1.0])


class Slab(Struct, frozen=True, eq=False):
    """A box: ``centre``, orthonormal ``axes`` as rows ``(3, 3)``, half sizes ``(3,)``."""

    centre: Vec
    axes: Vec
    half: Vec

    @property
    def box(self) -> Corners:
        """The box round it, along the car's axes."""
        reach = self.half @ np.abs(self.axes)
        return self.centre - reach, self.centre + reach

    def _local(self, points: Points) -> Points:
        return _turned(points - self.centre, self.axes)

    def gap(self, points: Points) -> Vec:
        """Distance to the surface, ``(n,)`` mm."""
        over = np.abs(self._local(points)) - self.half
        outside = _lengths(np.maximum(over, 0.0))
        return np.asarray(outside + np.minimum(over.max(axis=-1), 0.0))

    def nearest(self, points: Points) -> Vec:
        """Surface points nearest to ``points``, ``(n, 3)``."""
        local = self._local(points)
        held = np.clip(local, -self.half, self.half)
        inside = np.all(np.abs(local) < self.half, axis=-1)
        if inside.any():
            face = np.argmin(self.half - np.abs(local), axis=-1)
            rows = np.nonzero(inside)[0]
            cols = face[rows]
            held[rows, cols] = np.copysign(self.half[cols], local[rows, cols])
        return np.asarray(self.centre + _turned(held, self.axes.T))


class Ring(Struct, frozen=True, eq=False):
    """A torus: everything within ``radius`` of a circle about ``centre``, square to ``axis``."""

    centre: Vec
    axis: Vec
    ring_radius: float
    radius: float

    def core(self, points: Points) -> Points:
        """Points of the circle nearest to ``points``, ``(n, 3)``."""
        w = points - self.centre
        flat = w - np.multiply.outer(rows_along(w, self.axis), self.axis)
        return np.asarray(
            self.centre + self.ring_radius * _directions(flat, perpendicular(self.axis))
        )

    def gap(self, points: Points) -> Vec:
        """Distance to the surface, ``(n,)`` mm."""
        return np.asarray(_lengths(points - self.core(points)) - self.radius)

    def nearest(self, points: Points) -> Vec:
        """Surface points nearest to ``points``, ``(n, 3)``."""
        core = self.core(points)
        return np.asarray(core + self.radius * _directions(points - core, self.axis))


class Prism(Struct, frozen=True, eq=False):
    """A polygon drawn out square to its plane.

    Args:
        origin: where the outline's zero lies, ``(3,)`` mm.
        frame: rows are the two directions of the outline and that of drawing, ``(3, 3)``.
        outline: corners ``(n, 2)`` mm, either way round.
        span: from, to along the third direction, mm.
    """

    origin: Vec
    frame: Vec
    outline: Points2
    span: tuple[float, float]

    @property
    def box(self) -> Corners:
        """The box round it, along the car's axes."""
        flat = self.origin + self.outline @ self.frame[:2]
        corners = np.concatenate([flat + z * self.frame[2] for z in self.span])
        return corners.min(0), corners.max(0)

    def local(self, points: Points) -> Points:
        """Points ``(n, 3)`` in the prism's own frame, mm."""
        return _turned(points - self.origin, self.frame)

    def gap(self, points: Points) -> Vec:
        """Distance to the surface, ``(n,)`` mm, negative inside."""
        local = self.local(points)
        edge, _ = polygon_distance(local[..., :2], self.outline)
        low, high = self.span
        height = local[..., 2]
        over = np.stack([edge, np.maximum(low - height, height - high)])
        outside = np.linalg.norm(np.maximum(over, 0.0), axis=0)
        return np.asarray(outside + np.minimum(over.max(axis=0), 0.0))

    def nearest(self, points: Points) -> Vec:
        """Surface points nearest to ``points``, ``(n, 3)``."""
        local = self.local(points)
        flat, height = local[..., :2], local[..., 2]
        edge, foot = polygon_distance(flat, self.outline)
        low, high = self.span
        ends = np.maximum(low - height, height - high)
        inside = (edge < 0) & (ends < 0)
        to_side = np.where(inside, edge > ends, edge > 0)
        new = np.where(to_side[..., None], foot, flat)
        end = np.where(height - low < high - height, low, high)
        up = np.where(inside & ~to_side, end, np.clip(height, low, high))
        out = np.concatenate([new, up[..., None]], axis=-1)
        return np.asarray(self.origin + _turned(out, self.frame.T))


class Solids:
    """Solids that are asked side by side, each of points of its own.

    What a point gets is the same to the last bit whatever solids and points stand beside it.
    """

    def __init__(self, solids: Sequence[Solid]) -> None:
        self.solids = tuple(solids)
        rows = range(len(self.solids))
        self._capsules = [i for i in rows if isinstance(self.solids[i], Capsule)]
        self._slabs = [i for i in rows if isinstance(self.solids[i], Slab)]
        self._others = sorted({*rows} - {*self._capsules, *self._slabs})
        capsules = [c for c in self.solids if isinstance(c, Capsule)]
        slabs = [s for s in self.solids if isinstance(s, Slab)]
        self._round = _Capsules.of(capsules) if capsules else None
        self._square = _Slabs.of(slabs) if slabs else None

    def __len__(self) -> int:
        return len(self.solids)

    def gaps(self, points: Array) -> Array:
        """Distances of points ``(k, n, 3)`` from the solids, a row for each, ``(k, n)`` mm.

        Args:
            points: a row for each solid, or one ``(1, n, 3)`` for all.
        """
        alike = len(points) == 1
        out = np.empty((len(self.solids), points.shape[1]))
        if self._round is not None:
            # so many at one go that their arrays stay in the processor's cache
            lot = max(_LOT // max(points.shape[1], 1), 1)
            for first in range(0, len(self._capsules), lot):
                rows = self._capsules[first : first + lot]
                some = self._round.some(first, first + lot)
                out[rows] = some.gaps(points if alike else points[rows])
        if self._square is not None:
            out[self._slabs] = self._square.gaps(points if alike else points[self._slabs])
        for i in self._others:
            out[i] = self.solids[i].gap(points[0 if alike else i])
        return out

    def nearest(self, points: Array) -> Array:
        """Surface points nearest to points ``(k, n, 3)``, a row for each solid, ``(k, n, 3)``."""
        out = np.empty(points.shape)
        if self._round is not None:
            out[self._capsules] = self._round.nearest(points[self._capsules])
        for i in (*self._slabs, *self._others):
            out[i] = self.solids[i].nearest(points[i])
        return out


_LOT = 8192
"""Distances worked out at one go."""


class _Capsules(NamedTuple):
    """Capsules by coordinates: starts and steps ``(3, k, 1)``, radii ``(k, 1)`` mm.

    ``size``: squares of their lengths; ``spare``: unit vectors ``(3, k, 1)`` square to the steps.
    """

    start: Array
    step: Array
    size: Array
    radius: Array
    spare: Array

    @classmethod
    def of(cls, capsules: Sequence[Capsule]) -> _Capsules:
        start = np.array([c.start for c in capsules]).T[..., None]
        step = np.array([c.end for c in capsules]).T[..., None] - start
        spare = np.array([c.square for c in capsules]).T[..., None]
        radius = np.array([[c.radius] for c in capsules])
        return cls(start, step, dot_columns(step, step), radius, spare)

    def apart(self, points: Array) -> list[Array]:
        """Ways to points ``(k, n, 3)`` from the segments, by coordinates ``(k, n)`` each."""
        start, step, size = self[:3]
        w = [np.ascontiguousarray(points[..., i]) - start[i] for i in range(3)]
        t = w[0] * step[0]
        t += w[1] * step[1]
        t += w[2] * step[2]
        t /= np.maximum(size, _TINY)
        np.minimum(np.maximum(t, 0.0, out=t), 1.0, out=t)
        t = np.where(size < _TINY, 0.0, t)
        for i in range(3):
            w[i] -= t * step[i]
        return w

    def gaps(self, points: Array) -> Array:
        """Distances of points ``(k, n, 3)``, or of ``(1, n, 3)`` from all, ``(k, n)`` mm."""
        x, y, z = self.apart(points)
        x *= x
        y *= y
        z *= z
        x += y
        x += z
        np.sqrt(x, out=x)
        return np.asarray(x - self.radius)

    def some(self, first: int, past: int) -> _Capsules:
        """Those from one on to before another."""
        return _Capsules(*(v[..., first:past, :] for v in self))

    def nearest(self, points: Array) -> Array:
        """Surface points nearest to points ``(k, n, 3)``."""
        w = self.apart(points)
        size = np.sqrt(w[0] * w[0] + w[1] * w[1] + w[2] * w[2])
        held, some = np.maximum(size, NO_LENGTH), size > NO_LENGTH
        out = np.empty(points.shape)
        for i, (way, spare) in enumerate(zip(w, self.spare, strict=True)):
            core = points[..., i] - way
            out[..., i] = core + self.radius * np.where(some, way / held, spare)
        return out


class _Slabs(NamedTuple):
    """Slabs by coordinates: ``centre`` and ``half`` ``(3, k, 1)``, ``axes`` ``(3, 3, k, 1)``."""

    centre: Array
    half: Array
    axes: Array

    @classmethod
    def of(cls, slabs: Sequence[Slab]) -> _Slabs:
        centre, half = (
            np.array(v).T[..., None] for v in zip(*((s.centre, s.half) for s in slabs), strict=True)
        )
        return cls(centre, half, np.array([s.axes for s in slabs]).transpose(1, 2, 0)[..., None])

    def gaps(self, points: Array) -> Array:
        """Distances of points ``(k, n, 3)``, ``(k, n)`` mm."""
        x, y, z = (points[..., i] - self.centre[i] for i in range(3))
        along = (x * u + y * v + z * w for u, v, w in self.axes)
        over = [np.abs(v) - size for v, size in zip(along, self.half, strict=True)]
        a, b, c = (np.maximum(v, 0.0) for v in over)
        inside = np.minimum(np.maximum(np.maximum(over[0], over[1]), over[2]), 0.0)
        return np.asarray(np.sqrt(a * a + b * b + c * c) + inside)


def _turned(rows: Points, axes: Points) -> Points:
    """Rows ``(n, 3)`` along each of three axes."""
    return np.stack([rows_along(rows, axis) for axis in axes], axis=-1)


def polygon_distance(points: Points2, outline: Points2) -> tuple[Vec, Vec]:
    """Signed distance of points to a polygon (negative inside) and the spots of its edge there.

    Args:
        points: ``(n, 2)`` mm.
        outline: corners of the polygon ``(m, 2)`` mm, either way round.
    """
    flat = points.reshape(-1, 2)
    x, y = flat.T
    # a row for each edge, and in it all points
    x0, y0, x1, y1 = _edges(outline)
    dx, dy = x1 - x0, y1 - y0
    t = ((x - x0) * dx + (y - y0) * dy) / np.maximum(dx * dx + dy * dy, NOISE)
    t = np.minimum(np.maximum(t, 0.0), 1.0)
    along, up = x0 + t * dx, y0 + t * dy
    apart = np.sqrt((x - along) ** 2 + (y - up) ** 2)
    edge, every = np.argmin(apart, axis=0), np.arange(len(flat))
    gap = apart[edge, every]
    gap = np.where(in_polygon(flat, outline), -gap, gap)
    spot = np.array([along[edge, every], up[edge, every]]).T
    return gap.reshape(points.shape[:-1]), spot.reshape(points.shape)


def in_polygon(points: Points2, outline: Points2) -> NDArray[np.bool_]:
    """Which points ``(n, 2)`` lie in a polygon with corners ``(m, 2)``, either way round."""
    x, y = points.reshape(-1, 2).T
    x0, y0, x1, y1 = _edges(outline)
    rise = y1 - y0
    steep = np.abs(rise) > NOISE
    # edges that a line to the right of the point crosses
    along = x0 + (y - y0) / np.where(steep, rise, 1.0) * (x1 - x0)
    crossed = steep & ((y0 > y) != (y1 > y)) & (x < along)
    odd = np.logical_xor.reduce(crossed, axis=0)
    return np.asarray(odd.reshape(points.shape[:-1]))


def _edges(outline: Points2) -> Array:
    """Starts and ends of a polygon's edges, x and y each ``(m, 1)``."""
    ends = np.concatenate([outline, outline[1:], outline[:1]]).reshape(2, -1, 2)
    return ends.transpose(0, 2, 1).reshape(4, -1, 1)


def _lengths(v: Vec) -> Vec:
    """Lengths of vectors ``(n, 3)``, ``(n,)``; numpy's own norm takes three times as long."""
    return np.asarray(np.sqrt(np.einsum("...i,...i->...", v, v)))


def _directions(v: Points, spare: Vec) -> Vec:
    """Unit vectors of ``v``, ``(n, 3)``; unit ``spare`` stands in where ``v`` has no length."""
    size = _lengths(v)[..., None]
    return np.where(size > NO_LENGTH, v / np.maximum(size, NO_LENGTH), spare)
