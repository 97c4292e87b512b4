"""Volume of a record from its boundary alone, without the kernel.

By the divergence theorem the volume is a third of the flux of the position through the faces;
on planes, cylinders and tori one more integration is closed form, which leaves integrals along
the edges. Nothing here knows of paths or cuts, so it checks what was made from them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache, lru_cache
from math import ceil, pi
from typing import NamedTuple

import numpy as np

from cagekit.geometry.arrays import Array, Ints, Points
from cagekit.solids.brep import (
    ConeSurface,
    CylinderSurface,
    Edge,
    EllipseCurve,
    Face,
    LineCurve,
    PlaneSurface,
    Record,
    RuledSurface,
    SplineCurve,
    TorusSurface,
)
from cagekit.solids.rows import cross_all, grouped
from cagekit.solids.spline import basis

ORDER = 6
"""Gauss points per knot span, or per eighth of a turn."""


_Walk = tuple[Array, Array]


@cache
def _gauss(order: int) -> tuple[Array, Array]:
    x, w = np.polynomial.legendre.leggauss(order)
    return 0.5 * (x + 1.0), 0.5 * w


class RecordMeasures(NamedTuple):
    """Volume inside a boundary (mm3), and how far (mm) an edge lies off one of its surfaces."""

    volume: float
    gap: float


def measure(record: Record) -> RecordMeasures:
    """Measure a record's boundary."""
    return measures([record])[0]


def measures(records: Sequence[Record]) -> list[RecordMeasures]:
    """Measure the boundaries of many records at one go."""
    walks = _walks([edge for record in records for edge in record.edges])
    owners: list[int] = []
    borders: list[_Border] = []
    first = 0
    for r, record in enumerate(records):
        # a near origin keeps the terms from cancelling
        base = np.mean(record.vertices, axis=0)
        for face in record.faces:
            uses = [(walks[first + e], ahead) for loop in face.loops for e, ahead in loop]
            borders.append(_Border(face, base, uses))
            owners.append(r)
        first += len(record.edges)
    flux, gap = np.empty(len(borders)), np.empty(len(borders))
    kinds: dict[type, Ints] = grouped(type(b.face.surface) for b in borders)
    for kind, rows in kinds.items():
        these = [borders[i] for i in rows.tolist()]
        flux[rows], gap[rows] = _FLOWS.get(kind, _one_by_one)(these)
    flux *= [1.0 if b.face.same_sense else -1.0 for b in borders]
    of = np.array(owners, dtype=int)
    total = np.bincount(of, weights=flux, minlength=len(records)) / 3.0
    worst = np.zeros(len(records))
    np.maximum.at(worst, of, gap)
    return [RecordMeasures(*both) for both in zip(total.tolist(), worst.tolist(), strict=True)]


class _Border:
    """A face's loops, as quadrature: points and weighted tangents of every edge along them."""

    def __init__(self, face: Face, base: Array, uses: Sequence[tuple[_Walk, bool]]) -> None:
        self.face, self.base = face, base
        self.points = [points for (points, _), _ in uses]
        self.steps = [steps for (_, steps), _ in uses]
        self.signs = [1.0 if ahead else -1.0 for _, ahead in uses]


def _walks(edges: Sequence[Edge]) -> list[_Walk]:
    """Quadrature along edges: points ``(n, 3)`` and weighted tangents ``(n, 3)`` of each."""
    out: dict[int, _Walk] = {}
    for key, rows in grouped(map(_rule, edges)).items():
        places = rows.tolist()
        these = [edges[i] for i in places]
        if isinstance(key, int):
            points, steps = _conic_walks(these, key)
        else:
            at, along = _spline_rule(*key)
            poles = np.array([e.curve.poles for e in these if isinstance(e.curve, SplineCurve)])
            points, steps = at @ poles, along @ poles
        out.update(zip(places, zip(points, steps, strict=True), strict=True))
    return [out[i] for i in range(len(edges))]


def _rule(edge: Edge) -> int | tuple[bytes, tuple[int, ...], int]:
    """What tells how an edge is integrated: the number of its parts, or its spline's knots."""
    curve = edge.curve
    if isinstance(curve, SplineCurve):
        scale = float(curve.knots[-1] - curve.knots[0])
        unit = np.round((curve.knots - curve.knots[0]) / scale, 12)
        return unit.tobytes(), curve.multiplicities, curve.degree
    if isinstance(curve, LineCurve):
        return 0
    return max(1, ceil((edge.t1 - edge.t0) / (pi / 4)))


def _conic_walks(edges: Sequence[Edge], parts: int) -> tuple[Array, Array]:
    """Points and weighted tangents ``(n, k, 3)`` of lines (no parts), or of ellipses."""
    share, weight = _composite(np.linspace(0.0, 1.0, max(parts, 1) + 1))
    start = np.array([e.t0 for e in edges])[:, None]
    span = np.array([e.t1 for e in edges])[:, None] - start
    t, w = (start + span * share)[:, :, None], (span * weight)[:, :, None]
    if not parts:
        lines = [e.curve for e in edges if isinstance(e.curve, LineCurve)]
        along = np.array([c.direction for c in lines])[:, None]
        return np.array([c.origin for c in lines])[:, None] + t * along, w * along
    rings = [e.curve for e in edges if isinstance(e.curve, EllipseCurve)]
    centre, x, axis = (np.array([getattr(c, k) for c in rings]) for k in ("centre", "x", "axis"))
    one = (np.array([[c.major] for c in rings]) * x)[:, None]
    other = (np.array([[c.minor] for c in rings]) * cross_all(axis, x))[:, None]
    cos, sin = np.cos(t), np.sin(t)
    return centre[:, None] + cos * one + sin * other, w * (cos * other - sin * one)


def _composite(cuts: Array) -> tuple[Array, Array]:
    """Gauss points and weights between all cuts."""
    x, w = _gauss(ORDER)
    span = np.diff(cuts)[:, None]
    return (cuts[:-1, None] + span * x).ravel(), (span * w).ravel()


@lru_cache(maxsize=64)
def _spline_rule(knots: bytes, counts: tuple[int, ...], degree: int) -> tuple[Array, Array]:
    """Matrices that take poles to points and weighted tangents; few kinds of spline occur."""
    unit = np.frombuffer(knots)
    full = np.repeat(unit, counts)
    t, weight = _composite(unit)
    rise = (full[degree + 1 : -1] - full[1 : -degree - 1])[:, None]
    n = len(full) - degree - 1
    differences = degree * np.diff(np.eye(n), axis=0) / rise
    along = weight[:, None] * (basis(t, full[1:-1], degree - 1) @ differences)
    return basis(t, full, degree), along


def _one_by_one(borders: Sequence[_Border]) -> tuple[Array, Array]:
    """As :func:`_flat`, for faces on cones and ruled surfaces, of which there are few."""
    rows = []
    for b in borders:
        s, spots = b.face.surface, np.concatenate(b.points)
        steps = np.concatenate([sign * d for sign, d in zip(b.signs, b.steps, strict=True)])
        if isinstance(s, ConeSurface):
            flux = _cone_flux(s, b.base, spots, steps)
        else:
            assert isinstance(s, RuledSurface)
            flux = _ruled_flux(s, b.base, spots, steps)
        rows.append((flux, float(np.abs(s.height(spots)).max())))
    flows, gaps = np.array(rows).T
    return flows, gaps


class _Local:
    """Borders of faces in frames of their own: places and steps along x, y and the axis, ``(n,)``.

    ``begin`` tells where each face's own begin.
    """

    def __init__(self, borders: Sequence[_Border], origin: Array, axis: Array, x: Array) -> None:
        whole = [sum(map(len, b.points)) for b in borders]
        ends = np.cumsum([0, *whole])
        self.begin = ends[:-1]
        self.of = np.repeat(np.arange(len(borders)), whole)
        frames = np.stack([x, cross_all(axis, x), axis], axis=1)
        # face by face: their frames gathered for every point take longer than all the rest
        self.x, self.y, self.up = at = np.empty((3, int(ends[-1])))
        self.dx, self.dy, self.rise = along = np.empty_like(at)
        where = zip(borders, frames, origin, ends.tolist(), ends[1:].tolist(), strict=False)
        for b, frame, centre, first, last in where:
            steps = [d if s > 0.0 else -d for s, d in zip(b.signs, b.steps, strict=True)]
            at[:, first:last] = frame @ (np.concatenate(b.points) - centre).T
            along[:, first:last] = frame @ np.concatenate(steps).T
        base = np.array([b.base for b in borders])
        self.centre = np.einsum("nij,nj->in", frames, origin - base)
        """Where the frames' origins lie from the base, along their own axes, ``(3, faces)``."""

    def sums(self, values: Array) -> Array:
        """Sums of values ``(n,)`` over each face."""
        return np.add.reduceat(values, self.begin)

    def most(self, values: Array) -> Array:
        """Largest size of values ``(n,)`` on each face."""
        return np.maximum.reduceat(np.abs(values), self.begin)


def _flat(borders: Sequence[_Border]) -> tuple[Array, Array]:
    """Flux of the position through faces on planes, and how far their edges lie off, mm.

    Flux is from each face's ``base``, along the surface's own normal.
    """
    planes = [s for b in borders if isinstance(s := b.face.surface, PlaneSurface)]
    frames = (np.array([getattr(s, k) for s in planes]) for k in ("origin", "normal", "x"))
    q = _Local(borders, *frames)
    return q.centre[2] * q.sums(0.5 * (q.x * q.dy - q.y * q.dx)), q.most(q.up)


def _round(borders: Sequence[_Border]) -> tuple[Array, Array]:
    """As :func:`_flat`, for faces on cylinders."""
    tubes = [s for b in borders if isinstance(s := b.face.surface, CylinderSurface)]
    frames = (np.array([getattr(s, k) for s in tubes]) for k in ("origin", "axis", "x"))
    q = _Local(borders, *frames)
    radius = np.array([s.radius for s in tubes])[q.of]
    turn = (q.x * q.dy - q.y * q.dx) / radius**2
    lean = (q.x * q.centre[0][q.of] + q.y * q.centre[1][q.of]) / radius
    flux = -q.sums(q.up * radius * (radius + lean) * turn)
    return flux, q.most(np.hypot(q.x, q.y) - radius)


def _bent(borders: Sequence[_Border]) -> tuple[Array, Array]:
    """As :func:`_flat`, for faces on bends."""
    bends = [s for b in borders if isinstance(s := b.face.surface, TorusSurface)]
    frames = (np.array([getattr(s, k) for s in bends]) for k in ("centre", "axis", "x"))
    q = _Local(borders, *frames)
    major, minor = np.array([(s.major, s.minor) for s in bends]).T[:, q.of]
    ring = np.hypot(q.x, q.y)
    cos_v, sin_v = (ring - major) / minor, q.up / minor
    dv = (cos_v * q.rise - sin_v * (q.x * q.dx + q.y * q.dy) / ring) / minor
    u = np.arctan2(q.y, q.x)
    # a patch on a bend never goes all the way round: let the angle jump where there is none of it
    jump = np.array([widest_gap(part) for part in np.split(u, q.begin[1:])])[q.of]
    turn = (u - jump) % (2 * pi)
    x, y, up = q.centre[:, q.of]
    level = turn * (sin_v * up + major * cos_v + minor)
    # the centre's place along what is square to each radius, which turns with it
    flow = cos_v * (x * np.sin(u) - y * np.cos(u)) + level
    return q.sums(minor * (major + minor * cos_v) * flow * dv), q.most(
        np.hypot(ring - major, q.up) - minor
    )


def widest_gap(angles: Array) -> float:
    """The middle of the widest gap between angles ``(n,)``, rad: where there is none of a face."""
    order = np.sort(angles)
    gaps = np.diff(np.append(order, order[0] + 2 * pi))
    widest = int(np.argmax(gaps))
    return float(order[widest] + 0.5 * gaps[widest])


_FLOWS: dict[type, Callable[[Sequence[_Border]], tuple[Array, Array]]] = {
    PlaneSurface: _flat,
    CylinderSurface: _round,
    TorusSurface: _bent,
}


def _ruled_flux(s: RuledSurface, base: Array, points: Points, steps: Array) -> float:
    uv = s.uv(points)
    u, v = uv[:, 0], uv[:, 1]
    _, du, dv = s.derivatives(uv)
    a, b, c = ((q * r).sum(axis=1) for q, r in ((du, du), (du, dv), (dv, dv)))
    turn = (c * (steps * du).sum(axis=1) - b * (steps * dv).sum(axis=1)) / (a * c - b * b)
    once = s.first.slope.at(u)
    apart = s.second.slope.at(u) - once
    w = s.first.at(u) - base
    level = v * (w * np.cross(once, dv)).sum(axis=1)
    level = level + v * v / 2 * (w * np.cross(apart, dv)).sum(axis=1)
    return -float(level @ turn)


def _cone_flux(s: ConeSurface, base: Array, points: Points, steps: Array) -> float:
    w = points - s.origin
    h = w @ s.axis
    flat = w - np.outer(h, s.axis)
    r = np.linalg.norm(flat, axis=1)
    out = flat / r[:, None]
    rise = float(np.tan(s.half))
    du = np.einsum("ij,ij->i", steps, np.cross(s.axis, out)) / r
    # the radius summed up along the axis, times what is the same all along a straight line
    grown = s.radius * h + rise * h**2 / 2
    level = s.radius + (out - rise * s.axis) @ (s.origin - base)
    return -float((grown * level) @ du)
