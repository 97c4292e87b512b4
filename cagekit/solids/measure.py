"""Volume of a record from its boundary alone, without the kernel.

By the divergence theorem the volume is a third of the flux of the position through the faces;
on planes, cylinders and tori one more integration is closed form, which leaves integrals along
the edges. Nothing here knows of paths or cuts, so it checks what was made from them.
"""

from __future__ import annotations

from functools import cache, lru_cache
from math import ceil, pi
from typing import NamedTuple

import numpy as np

from cagekit.geometry.arrays import Array, Points, cross3
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
from cagekit.solids.spline import basis

ORDER = 6
"""Gauss points per knot span, or per eighth of a turn."""


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
    # a near origin keeps the terms from cancelling
    base = np.mean(record.vertices, axis=0)
    walks = [_walk(e) for e in record.edges]
    total = gap = 0.0
    for face in record.faces:
        points, steps = [], []
        for loop in face.loops:
            for e, forward in loop:
                p, d = walks[e]
                points.append(p)
                steps.append(d if forward else -d)
        spots = np.concatenate(points)
        flux = _flux(face, base, spots, np.concatenate(steps))
        total += flux if face.same_sense else -flux
        gap = max(gap, float(np.abs(face.surface.height(spots)).max()))
    return RecordMeasures(total / 3.0, gap)


def _walk(edge: Edge) -> tuple[Array, Array]:
    """Quadrature along an edge: points ``(n, 3)`` and weighted tangents ``(n, 3)``."""
    curve = edge.curve
    if isinstance(curve, SplineCurve):
        scale = float(curve.knots[-1] - curve.knots[0])
        unit = np.round((curve.knots - curve.knots[0]) / scale, 12)
        at, along = _spline_rule(unit.tobytes(), curve.multiplicities, curve.degree)
        return at @ curve.poles, along @ curve.poles
    parts = 1
    if isinstance(curve, EllipseCurve):
        parts = max(1, ceil((edge.t1 - edge.t0) / (pi / 4)))
    t, weight = _composite(np.linspace(edge.t0, edge.t1, parts + 1))
    if isinstance(curve, LineCurve):
        return curve.at(t), weight[:, None] * curve.direction
    around = np.outer(-curve.major * np.sin(t), curve.x)
    around = around + np.outer(curve.minor * np.cos(t), cross3(curve.axis, curve.x))
    return curve.at(t), weight[:, None] * around


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


def _flux(face: Face, base: Array, points: Points, steps: Array) -> float:
    """Flux of the position from ``base`` through a face, along the surface's own normal."""
    s = face.surface
    if isinstance(s, PlaneSurface):
        y = cross3(s.normal, s.x)
        w = points - s.origin
        area = 0.5 * float((w @ s.x) @ (steps @ y) - (w @ y) @ (steps @ s.x))
        return float((s.origin - base) @ s.normal) * area
    if isinstance(s, CylinderSurface):
        return _cylinder_flux(s, base, points, steps)
    if isinstance(s, ConeSurface):
        return _cone_flux(s, base, points, steps)
    if isinstance(s, RuledSurface):
        return _ruled_flux(s, base, points, steps)
    return _torus_flux(s, base, points, steps)


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


def _cylinder_flux(s: CylinderSurface, base: Array, points: Points, steps: Array) -> float:
    w = points - s.origin
    v = w @ s.axis
    out = (w - np.outer(v, s.axis)) / s.radius
    du = np.einsum("ij,ij->i", steps, np.cross(s.axis, out)) / s.radius
    return -float((v * s.radius * (s.radius + out @ (s.origin - base))) @ du)


def _torus_flux(s: TorusSurface, base: Array, points: Points, steps: Array) -> float:
    y = cross3(s.axis, s.x)
    w = points - s.centre
    u = np.arctan2(w @ y, w @ s.x)
    # a patch on a bend never goes all the way round: let the angle jump where there is none of it
    order = np.sort(u)
    gaps = np.diff(np.append(order, order[0] + 2 * pi))
    widest = int(np.argmax(gaps))
    jump = order[widest] + 0.5 * gaps[widest]
    u = (u - jump) % (2 * pi)
    turn = np.cos(jump) * s.x + np.sin(jump) * y
    y = cross3(s.axis, turn)
    ring = np.outer(np.cos(u), turn) + np.outer(np.sin(u), y)
    n = (w - s.major * ring) / s.minor
    cos_v, sin_v = np.einsum("ij,ij->i", n, ring), n @ s.axis
    around = np.outer(cos_v, s.axis) - sin_v[:, None] * ring
    dv = np.einsum("ij,ij->i", steps, around) / s.minor
    c = s.centre - base
    flat = cos_v * ((c @ turn) * np.sin(u) - (c @ y) * np.cos(u))
    level = u * (sin_v * (c @ s.axis) + s.major * cos_v + s.minor)
    return float((s.minor * (s.major + s.minor * cos_v) * (flat + level)) @ dv)
