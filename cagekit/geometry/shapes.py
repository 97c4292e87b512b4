"""Simple solids with exact distances: capsule, slab, ring, prism.

Each answers ``gap(points) -> (n,)``, the distance (mm) from points ``(n, 3)`` to its surface
(negative inside), and ``nearest(points) -> (n, 3)``, the surface points nearest to them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from cagekit.geometry.arrays import Points, Points2, rows_along
from cagekit.geometry.centre_line import Vec, perpendicular
from cagekit.units.tolerance import NO_LENGTH, NOISE

_TINY = NOISE


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

    def _square(self) -> Vec:
        """A unit vector square to the segment."""
        d = self.end - self.start
        size = float(np.linalg.norm(d))
        return perpendicular(d / size) if size > _TINY else np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True, eq=False)
class Slab:
    """A box: ``centre``, orthonormal ``axes`` as rows ``(3, 3)``, half sizes ``(3,)``."""

    centre: Vec
    axes: Vec
    half: Vec

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


def _turned(rows: Points, axes: Points) -> Points:
    """Rows ``(n, 3)`` along each of three axes."""
    return np.stack([rows_along(rows, axis) for axis in axes], axis=-1)


def polygon_distance(points: Points2, outline: Points2) -> tuple[Vec, Vec]:
    """Signed distance of points to a polygon (negative inside) and the spots of its edge there.

    Args:
        points: ``(n, 2)`` mm.
        outline: corners of the polygon ``(m, 2)`` mm, either way round.
    """
    best = np.full(points.shape[:-1], np.inf)
    foot = np.zeros_like(points)
    odd = np.zeros(points.shape[:-1], dtype=bool)
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        d = b - a
        size = max(float(d @ d), NOISE)
        w = points - a
        t = np.clip((w[..., 0] * d[0] + w[..., 1] * d[1]) / size, 0.0, 1.0)
        spot = a + np.multiply.outer(t, d)
        gap = np.linalg.norm(points - spot, axis=-1)
        nearer = gap < best
        best = np.where(nearer, gap, best)
        foot = np.where(nearer[..., None], spot, foot)
        if abs(d[1]) > NOISE:
            x = a[0] + (points[..., 1] - a[1]) / d[1] * d[0]
            odd ^= ((a[1] > points[..., 1]) != (b[1] > points[..., 1])) & (points[..., 0] < x)
    return np.where(odd, -best, best), foot


def _lengths(v: Vec) -> Vec:
    """Lengths of vectors ``(n, 3)``, ``(n,)``; numpy's own norm takes three times as long."""
    return np.asarray(np.sqrt(np.einsum("...i,...i->...", v, v)))


def _directions(v: Points, spare: Vec) -> Vec:
    """Unit vectors of ``v``, ``(n, 3)``; unit ``spare`` stands in where ``v`` has no length."""
    size = _lengths(v)[..., None]
    return np.where(size > NO_LENGTH, v / np.maximum(size, NO_LENGTH), spare)
