"""A solid's boundary as plain data: vertices, edges on curves, faces on surfaces.

A record knows nothing of any CAD kernel; :mod:`cagekit.writers.step` writes it as text and
:mod:`cagekit.solids.kernel` turns it into a kernel solid. mm, rad.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from msgspec import Struct, field

from cagekit.geometry.arrays import Array, Points, cross3
from cagekit.solids.spline import basis
from cagekit.units.tolerance import KERNEL_POINT, NOISE, TENTH_MICRON

Loop = tuple[tuple[int, bool], ...]
"""Edges in order, each with True when walked from its first to its last vertex."""

RULINGS = 80
"""Straight lines of a ruled surface of which the nearest to a point is looked for."""
POINT_TOL = KERNEL_POINT
"""Distance (mm) below which two exact points are one."""
FEW = 128
"""Places of a spline up to which its basis there is kept."""


class LineCurve(Struct, frozen=True, eq=False):
    """``origin + t direction``, direction unit."""

    origin: Array
    direction: Array

    def at(self, t: Array) -> Array:
        """Points at parameters ``(n,)``, shape ``(n, 3)``."""
        return np.asarray(self.origin + np.multiply.outer(t, self.direction))


class EllipseCurve(Struct, frozen=True, eq=False):
    """An ellipse, or a circle when both radii are equal, from ``x`` right-handed about ``axis``."""

    centre: Array
    axis: Array
    x: Array
    major: float
    minor: float

    @property
    def is_circle(self) -> bool:
        """Tell whether both radii are equal."""
        return self.major == self.minor

    def at(self, t: Array) -> Array:
        """Points at parameters ``(n,)``, shape ``(n, 3)``."""
        y = cross3(self.axis, self.x)
        ring = np.multiply.outer(self.major * np.cos(t), self.x)
        return np.asarray(self.centre + ring + np.multiply.outer(self.minor * np.sin(t), y))


def circle(centre: Array, axis: Array, x: Array, radius: float) -> EllipseCurve:
    """The circle about ``centre``.

    Args:
        centre: ``(3,)`` mm.
        axis: unit vector, ``(3,)``.
        x: unit vector square to the axis where the angle is zero, ``(3,)``.
        radius: mm.
    """
    return EllipseCurve(centre, axis, x, radius, radius)


class SplineCurve(Struct, frozen=True, eq=False):
    """A B-spline: ``poles`` ``(n, 3)``, distinct ``knots`` with ``multiplicities``."""

    degree: int
    poles: Points
    knots: Array
    multiplicities: tuple[int, ...]

    @property
    def is_clamped(self) -> bool:
        """Tell whether it starts at its first pole and ends at its last."""
        return min(self.multiplicities[0], self.multiplicities[-1]) > self.degree

    def at(self, t: Array) -> Array:
        """Points at parameters ``(n,)``, shape ``(n, 3)``."""
        at = np.asarray(t, float)
        if len(at) > FEW:
            full = np.repeat(self.knots, self.multiplicities)
            return np.asarray(basis(at, full, self.degree) @ self.poles)
        knots = np.asarray(self.knots, float).tobytes()
        kept = _basis(at.tobytes(), knots, self.multiplicities, self.degree)
        return np.asarray(kept @ self.poles)

    @property
    def slope(self) -> SplineCurve:
        """Its derivative in the parameter, a spline of one degree less."""
        full, p = np.repeat(self.knots, self.multiplicities), self.degree
        rise = (full[p + 1 : -1] - full[1 : -p - 1])[:, None]
        first, *inner, last = self.multiplicities
        counts = (first - 1, *inner, last - 1)
        return SplineCurve(p - 1, p * np.diff(self.poles, axis=0) / rise, self.knots, counts)


@lru_cache(maxsize=256)
def _basis(t: bytes, knots: bytes, counts: tuple[int, ...], degree: int) -> Array:
    """Basis functions at a few places; of a file's splines many share knots and places."""
    full = np.repeat(np.frombuffer(knots), counts)
    return basis(np.frombuffer(t), full, degree)


def _turns(w: Points, axis: Array, x: Array) -> tuple[Array, Array]:
    """Angles ``(n,)`` of points ``(n, 3)`` about an axis, from ``x``, and how far along it."""
    return np.arctan2(w @ cross3(axis, x), w @ x), w @ axis


def _away(w: Points, axis: Array) -> tuple[Array, Array]:
    """Distances ``(n,)`` of points ``(n, 3)`` from an axis, and how far along it they lie."""
    up = w @ axis
    flat = w - np.outer(up, axis)
    return np.sqrt(np.einsum("ij,ij->i", flat, flat)), up


class PlaneSurface(Struct, frozen=True, eq=False):
    """A plane with unit ``normal``; u runs along ``x``."""

    origin: Array
    normal: Array
    x: Array

    def uv(self, points: Points) -> Array:
        """Surface parameters of points ``(n, 3)``, ``(n, 2)``."""
        w = points - self.origin
        return np.stack([w @ self.x, w @ cross3(self.normal, self.x)], axis=-1)

    def height(self, points: Points) -> Array:
        """How far points ``(n, 3)`` lie off the surface along its normal, ``(n,)`` mm."""
        return np.asarray((points - self.origin) @ self.normal)


class CylinderSurface(Struct, frozen=True, eq=False):
    """A cylinder; u is the angle from ``x`` about ``axis``, v the distance along it."""

    origin: Array
    axis: Array
    x: Array
    radius: float

    def uv(self, points: Points) -> Array:
        """Surface parameters of points ``(n, 3)``, ``(n, 2)``."""
        return np.stack(_turns(points - self.origin, self.axis, self.x), axis=-1)

    def height(self, points: Points) -> Array:
        """How far points ``(n, 3)`` lie off the surface along its normal, ``(n,)`` mm."""
        return np.asarray(_away(points - self.origin, self.axis)[0] - self.radius)


class ConeSurface(Struct, frozen=True, eq=False):
    """A cone that opens along ``axis``; u as of a cylinder, v the way along its straight lines.

    ``radius`` at the origin, mm; ``half`` is the angle between axis and straight lines, rad.
    """

    origin: Array
    axis: Array
    x: Array
    radius: float
    half: float

    def uv(self, points: Points) -> Array:
        """Surface parameters of points ``(n, 3)``, ``(n, 2)``."""
        u, up = _turns(points - self.origin, self.axis, self.x)
        return np.stack([u, up / np.cos(self.half)], axis=-1)

    def height(self, points: Points) -> Array:
        """How far points ``(n, 3)`` lie off the surface along its normal, ``(n,)`` mm."""
        flat, up = _away(points - self.origin, self.axis)
        off = flat - self.radius - up * np.tan(self.half)
        return np.asarray(off * np.cos(self.half))


class TorusSurface(Struct, frozen=True, eq=False):
    """A torus; u is the angle from ``x`` about ``axis``, v that around the tube from outside."""

    centre: Array
    axis: Array
    x: Array
    major: float
    minor: float

    def uv(self, points: Points) -> Array:
        """Surface parameters of points ``(n, 3)``, ``(n, 2)``."""
        w = points - self.centre
        wx, wy = w @ self.x, w @ cross3(self.axis, self.x)
        v = np.arctan2(w @ self.axis, np.hypot(wx, wy) - self.major)
        return np.stack([np.arctan2(wy, wx), v], axis=-1)

    def height(self, points: Points) -> Array:
        """How far points ``(n, 3)`` lie off the surface along its normal, ``(n,)`` mm."""
        flat, up = _away(points - self.centre, self.axis)
        return np.asarray(np.hypot(flat - self.major, up) - self.minor)


class RuledSurface(Struct, frozen=True, eq=False):
    """Straight lines from one spline (v = 0) to another of the same knots (v = 1)."""

    first: SplineCurve
    second: SplineCurve

    def derivatives(self, uv: Array) -> tuple[Points, Points, Points]:
        """Points ``(n, 3)`` at parameters ``(n, 2)`` and their derivatives in u and in v."""
        u, v = uv[:, 0], uv[:, 1:]
        start, stop = self.first.at(u), self.second.at(u)
        once, other = self.first.slope.at(u), self.second.slope.at(u)
        return start + v * (stop - start), once + v * (other - once), stop - start

    def uv(self, points: Points) -> Array:
        """Surface parameters of points ``(n, 3)``, ``(n, 2)``."""
        low, high = float(self.first.knots[0]), float(self.first.knots[-1])
        u = np.linspace(low, high, RULINGS)
        start = self.first.at(u)
        along = self.second.at(u) - start
        w = points[:, None] - start
        v = (w * along).sum(axis=2) / (along * along).sum(axis=1)
        off = w - v[..., None] * along
        k = np.argmin((off * off).sum(axis=2), axis=1)
        uv = np.stack([u[k], v[np.arange(len(k)), k]], axis=1)
        for _ in range(30):
            p, du, dv = self.derivatives(uv)
            a, b, c = ((q * r).sum(axis=1) for q, r in ((du, du), (du, dv), (dv, dv)))
            e, f = ((points - p) * du).sum(axis=1), ((points - p) * dv).sum(axis=1)
            det = a * c - b * b
            move = np.stack([(c * e - b * f) / det, (a * f - b * e) / det], axis=1)
            move[:, 0] = np.clip(uv[:, 0] + move[:, 0], low, high) - uv[:, 0]
            uv = uv + move
            if float(np.abs(move).max()) < NOISE:
                break
        return np.asarray(uv)

    def height(self, points: Points) -> Array:
        """How far points ``(n, 3)`` lie off the surface along its normal, ``(n,)`` mm."""
        p, du, dv = self.derivatives(self.uv(points))
        normal = np.cross(du, dv)
        size = np.linalg.norm(normal, axis=1)
        return np.asarray(((points - p) * normal).sum(axis=1) / size)


AnySurface = PlaneSurface | CylinderSurface | ConeSurface | TorusSurface | RuledSurface
"""Surfaces that a face may lie on."""


class Edge(Struct, frozen=True, eq=False):
    """The part of ``curve`` from parameter ``t0`` at vertex ``first`` to ``t1`` at ``last``.

    ``tol`` is how far (mm) the curve may lie from the exact one. On a ring ``t0`` is from 0 to
    below 2 pi.
    """

    first: int
    last: int
    curve: LineCurve | EllipseCurve | SplineCurve
    t0: float
    t1: float
    tol: float = POINT_TOL

    def tips(self) -> Points:
        """Where the curve starts and ends, ``(2, 3)``."""
        c = self.curve
        whole = isinstance(c, SplineCurve) and (self.t0, self.t1) == (c.knots[0], c.knots[-1])
        if isinstance(c, SplineCurve) and whole and c.is_clamped:
            return c.poles[[0, -1]]
        return c.at(np.array([self.t0, self.t1]))


class Face(Struct, frozen=True, eq=False):
    """The part of ``surface`` that lies left of its loops, seen against the surface's normal.

    ``same_sense`` tells whether the surface's own normal points out of the solid. ``lower``
    holds the lowest u and v of the periodic parameters, so that a face which goes all the way
    round begins and ends there (an edge that occurs twice in the face is its seam).
    """

    surface: AnySurface
    same_sense: bool
    loops: tuple[Loop, ...]
    lower: tuple[float, float] = (0.0, 0.0)


class Record(Struct, eq=False):
    """One closed solid.

    ``smooth`` lists edges across which the two faces are tangent; a drawing leaves them out.
    """

    name: str
    vertices: list[Array] = field(default_factory=list)
    edges: list[Edge] = field(default_factory=list)
    faces: list[Face] = field(default_factory=list)
    smooth: set[int] = field(default_factory=set)

    def vertex(self, point: Array) -> int:
        """Add a vertex ``(3,)``; returns its number."""
        self.vertices.append(point)
        return len(self.vertices) - 1

    def edge(self, edge: Edge) -> int:
        """Add an edge; returns its number."""
        self.edges.append(edge)
        return len(self.edges) - 1

    def segment(self, first: int, last: int) -> int:
        """Add the straight edge between two vertices."""
        p, q = self.vertices[first], self.vertices[last]
        length = float(np.linalg.norm(q - p))
        return self.edge(Edge(first, last, LineCurve(p, (q - p) / length), 0.0, length))

    def closure_errors(self, tol: float = TENTH_MICRON) -> list[str]:
        """Tell what keeps the boundary from being closed; empty when all is well.

        Every edge must be walked once each way, and every curve must start and end at its
        vertices within ``tol`` mm.
        """
        errors = []
        tips = [np.zeros((0, 2, 3)), *(edge.tips()[None] for edge in self.edges)]
        ends = np.array([[edge.first, edge.last] for edge in self.edges]).reshape(-1, 2)
        gaps = np.linalg.norm(
            np.concatenate(tips) - np.reshape(self.vertices, (-1, 3))[ends], axis=2
        ).tolist()
        walks = [0] * len(self.edges)
        balance = [0] * len(self.edges)
        for face in self.faces:
            sign = 1 if face.same_sense else -1
            for loop in face.loops:
                errors += self._loop_errors(loop)
                for e, forward in loop:
                    walks[e] += 1
                    balance[e] += sign if forward else -sign
        for i, edge in enumerate(self.edges):
            if walks[i] != 2 or balance[i] != 0:
                errors.append(f"edge {i} is walked {walks[i]} times (balance {balance[i]})")
            for gap, v in zip(gaps[i], (edge.first, edge.last), strict=True):
                if gap > tol:
                    errors.append(f"edge {i} misses vertex {v} by {gap:.2g} mm")
        return errors

    def _loop_errors(self, loop: Loop) -> list[str]:
        tips = []
        for e, forward in loop:
            edge = self.edges[e]
            tips.append((edge.first, edge.last) if forward else (edge.last, edge.first))
        broken = [k for k in range(len(tips)) if tips[k - 1][1] != tips[k][0]]
        return [f"loop is open before edge {loop[k][0]}" for k in broken]
