"""Simple solids with exact distances: capsule, slab, ring, prism.

Each answers ``gap(points) -> (n,)``, the distance (mm) from points ``(n, 3)`` to its surface
(negative inside), and ``nearest(points) -> (n, 3)``, the surface points nearest to them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
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


@dataclass(frozen=True, slots=True, eq=False)
class Capsule:
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
        return np.asarray(core + self.radius * _directions(points - core, self._square()))

    @property
    def box(self) -> Corners:
        """The box round it."""
        ends = np.array([self.start, self.end])
        return ends.min(0) - self.radius, ends.max(0) + self.radius

    def _square(self) -> Vec:
        """A unit vector square to the segment."""
        d = self.end - self.start
        size = size3(d)
        return perpendicular(d / size) if size > _TINY else np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True, eq=False)
class Slab:
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


@dataclass(frozen=True, slots=True, eq=False)
class Ring:
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


@dataclass(frozen=True, slots=True, eq=False)
class Prism:
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


def gaps(solids: Sequence[Solid], points: Array) -> Array:
    """Distances of points ``(k, n, 3)`` from solids, a row for each, ``(k, n)`` mm.

    What a point gets is the same to the last bit whatever solids and points stand beside it.

    Args:
        solids: ``k`` of them.
        points: a row for each solid, or one ``(1, n, 3)`` for all.
    """
    alike = len(points) == 1
    out = np.empty((len(solids), points.shape[1]))
    capsules = {i: s for i, s in enumerate(solids) if isinstance(s, Capsule)}
    slabs = {i: s for i, s in enumerate(solids) if isinstance(s, Slab)}
    if capsules:
        rows = list(capsules)
        out[rows] = _from_capsules(list(capsules.values()), points if alike else points[rows])
    if slabs:
        rows = list(slabs)
        out[rows] = _from_slabs(list(slabs.values()), points if alike else points[rows])
    for i, solid in enumerate(solids):
        if i not in capsules and i not in slabs:
            out[i] = solid.gap(points[0 if alike else i])
    return out


def _from_capsules(capsules: Sequence[Capsule], points: Array) -> Array:
    """Distances of points ``(k, n, 3)`` from capsules, a row for each; by coordinates."""
    start = np.array([c.start for c in capsules]).T[..., None]
    step = np.array([c.end - c.start for c in capsules]).T[..., None]
    size = dot_columns(step, step)
    w = [np.ascontiguousarray(points[..., i]) - start[i] for i in range(3)]
    t = w[0] * step[0]
    t += w[1] * step[1]
    t += w[2] * step[2]
    t /= np.maximum(size, _TINY)
    np.clip(t, 0.0, 1.0, out=t)
    t = np.where(size < _TINY, 0.0, t)
    for i in range(3):
        w[i] -= t * step[i]
        w[i] *= w[i]
    apart = w[0]
    apart += w[1]
    apart += w[2]
    np.sqrt(apart, out=apart)
    return np.asarray(apart - np.array([c.radius for c in capsules])[:, None])


def _from_slabs(slabs: Sequence[Slab], points: Array) -> Array:
    """Distances of points ``(k, n, 3)`` from slabs, a row for each; by coordinates."""
    centre = np.array([s.centre for s in slabs]).T[..., None]
    half = np.array([s.half for s in slabs]).T[..., None]
    axes = np.array([s.axes for s in slabs]).transpose(1, 2, 0)[..., None]
    x, y, z = (points[..., i] - centre[i] for i in range(3))
    along = (x * u + y * v + z * w for u, v, w in axes)
    over = [np.abs(v) - size for v, size in zip(along, half, strict=True)]
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
    x, y = points[..., 0], points[..., 1]
    # a row for each edge, and in it all points
    ends = np.array([outline, np.roll(outline, -1, axis=0)]).T
    (x0, x1), (y0, y1) = ends.reshape(2, -1, 2, *(1,) * x.ndim).swapaxes(1, 2)
    dx, dy = x1 - x0, y1 - y0
    t = ((x - x0) * dx + (y - y0) * dy) / np.maximum(dx * dx + dy * dy, NOISE)
    t = np.minimum(np.maximum(t, 0.0), 1.0)
    along, up = x0 + t * dx, y0 + t * dy
    apart = np.sqrt((x - along) ** 2 + (y - up) ** 2)
    edge = np.argmin(apart, axis=0)[None]
    gap, *spot = (np.take_along_axis(v, edge, axis=0)[0] for v in (apart, along, up))
    return np.where(in_polygon(points, outline), -gap, gap), np.stack(spot, axis=-1)


def in_polygon(points: Points2, outline: Points2) -> NDArray[np.bool_]:
    """Which points ``(n, 2)`` lie in a polygon with corners ``(m, 2)``, either way round."""
    x, y = points[..., 0], points[..., 1]
    odd = np.zeros(x.shape, bool)
    # edges that a line to the right of the point crosses
    for (x0, y0), (x1, y1) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        if abs(y1 - y0) > NOISE:
            odd ^= ((y0 > y) != (y1 > y)) & (x < x0 + (y - y0) / (y1 - y0) * (x1 - x0))
    return odd


def _lengths(v: Vec) -> Vec:
    """Lengths of vectors ``(n, 3)``, ``(n,)``; numpy's own norm takes three times as long."""
    return np.asarray(np.sqrt(np.einsum("...i,...i->...", v, v)))


def _directions(v: Points, spare: Vec) -> Vec:
    """Unit vectors of ``v``, ``(n, 3)``; unit ``spare`` stands in where ``v`` has no length."""
    size = _lengths(v)[..., None]
    return np.where(size > NO_LENGTH, v / np.maximum(size, NO_LENGTH), spare)
