"""Many edges and many surfaces at one go: a row of points to each.

A call costs more than the arithmetic on the few dozen points that one edge is looked at. So edges
of one kind go as one array, and so do surfaces; what a row gets is what its edge or surface alone
would give, to the last digits.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from typing import TypeVar

import numpy as np

from cagekit.geometry.arrays import Array, Ints
from cagekit.solids.brep import (
    AnySurface,
    ConeSurface,
    CylinderSurface,
    Edge,
    EllipseCurve,
    LineCurve,
    PlaneSurface,
    RuledSurface,
    SplineCurve,
    TorusSurface,
)
from cagekit.solids.spline import basis

K = TypeVar("K", bound=Hashable)

DIGITS = 12
"""Decimals to which the knots of two splines are one, of their length from 0 to 1."""


def cross_all(a: Array, b: Array) -> Array:
    """Cross products of vectors ``(n, 3)``, row by row."""
    return np.stack(
        [
            a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1],
            a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2],
            a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0],
        ],
        axis=1,
    )


def grouped(keys: Iterable[K]) -> dict[K, Ints]:
    """The places of each key, in order."""
    found: dict[K, list[int]] = {}
    for i, key in enumerate(keys):
        found.setdefault(key, []).append(i)
    return {key: np.array(places) for key, places in found.items()}


def _along(points: Array, vectors: Array) -> Array:
    """Products of points ``(n, k, 3)`` with the vector of their row ``(n, 3)``, ``(n, k)``."""
    return np.asarray((points @ vectors[:, :, None])[:, :, 0])


class EdgeRows:
    """Edges that are looked at together.

    Args:
        edges: the edges.
    """

    def __init__(self, edges: Sequence[Edge]) -> None:
        self.start = np.array([e.t0 for e in edges])
        self.span = np.array([e.t1 for e in edges]) - self.start
        self.kind = np.empty(len(edges), dtype=int)
        self.place = np.empty(len(edges), dtype=int)
        self.groups: list[_Lines | _Rings | _Splines] = []
        for key, rows in grouped(map(_kind, edges)).items():
            self.kind[rows], self.place[rows] = len(self.groups), np.arange(len(rows))
            these = [edges[i] for i in rows.tolist()]
            make = _Lines if key == "line" else _Rings if key == "ring" else _Splines
            self.groups.append(make(these))

    def parameters(self, shares: Array, rows: Ints) -> Array:
        """Curve parameters at shares ``(k,)`` of the lengths of edges, ``(n, k)``."""
        return np.asarray(self.start[rows, None] + self.span[rows, None] * shares)

    def at(self, shares: Array, rows: Ints | None = None) -> Array:
        """Points of edges, ``(n, k, 3)``.

        Args:
            shares: where along each edge, from 0 to 1, ``(k,)``.
            rows: which edges; all of them when None.
        """
        wanted = np.arange(len(self.kind)) if rows is None else rows
        out = np.empty((len(wanted), len(shares), 3))
        kinds = self.kind[wanted]
        for g in sorted(set(kinds.tolist())):
            here = np.nonzero(kinds == g)[0]
            these = wanted[here]
            group = self.groups[g]
            if isinstance(group, _Splines):
                out[here] = group.at(shares, self.place[these])
            else:
                out[here] = group.at(self.parameters(shares, these), self.place[these])
        return out


def _kind(edge: Edge) -> Hashable:
    curve = edge.curve
    if isinstance(curve, LineCurve):
        return "line"
    if isinstance(curve, EllipseCurve):
        return "ring"
    knots = curve.knots
    scale = float(knots[-1] - knots[0])
    unit = np.round((knots - knots[0]) / scale, DIGITS)
    ends = np.round((np.array([edge.t0, edge.t1]) - knots[0]) / scale, DIGITS)
    return unit.tobytes(), ends.tobytes(), curve.multiplicities, curve.degree


class _Lines:
    def __init__(self, edges: Sequence[Edge]) -> None:
        lines = [e.curve for e in edges if isinstance(e.curve, LineCurve)]
        self.origin = np.array([c.origin for c in lines])
        self.direction = np.array([c.direction for c in lines])

    def at(self, t: Array, rows: Ints) -> Array:
        return np.asarray(self.origin[rows, None] + t[:, :, None] * self.direction[rows, None])


class _Rings:
    def __init__(self, edges: Sequence[Edge]) -> None:
        rings = [e.curve for e in edges if isinstance(e.curve, EllipseCurve)]
        x = np.array([c.x for c in rings])
        y = cross_all(np.array([c.axis for c in rings]), x)
        self.centre = np.array([c.centre for c in rings])
        self.x = np.array([c.major for c in rings])[:, None] * x
        self.y = np.array([c.minor for c in rings])[:, None] * y

    def at(self, t: Array, rows: Ints) -> Array:
        along = np.cos(t)[:, :, None] * self.x[rows, None]
        return np.asarray(
            self.centre[rows, None] + along + np.sin(t)[:, :, None] * self.y[rows, None]
        )


class _Splines:
    """Splines of the same knots, from 0 to 1, between the same ends."""

    def __init__(self, edges: Sequence[Edge]) -> None:
        curves = [e.curve for e in edges if isinstance(e.curve, SplineCurve)]
        first, knots = edges[0], curves[0].knots
        scale = float(knots[-1] - knots[0])
        self.degree = curves[0].degree
        self.full = np.repeat((knots - knots[0]) / scale, curves[0].multiplicities)
        self.first, self.span = (first.t0 - knots[0]) / scale, (first.t1 - first.t0) / scale
        self.poles = np.array([c.poles for c in curves])

    def at(self, shares: Array, rows: Ints) -> Array:
        return np.asarray(
            basis(self.first + self.span * shares, self.full, self.degree) @ self.poles[rows]
        )


class SurfaceRows:
    """Surfaces that are looked at together.

    Args:
        surfaces: the surfaces.
    """

    def __init__(self, surfaces: Sequence[AnySurface]) -> None:
        self.surfaces = surfaces
        self.turns = np.array([_turns(s) for s in surfaces], dtype=int)
        """How many parameters of each are angles."""
        groups = grouped(map(type, surfaces))
        self.place = np.empty(len(surfaces), dtype=int)
        self.kind = np.empty(len(surfaces), dtype=int)
        self.frames: list[_Frames | None] = []
        for g, (kind, rows) in enumerate(groups.items()):
            self.kind[rows], self.place[rows] = g, np.arange(len(rows))
            these = [surfaces[i] for i in rows.tolist()]
            self.frames.append(None if kind is RuledSurface else _Frames(these))

    def uv(self, points: Array, rows: Ints) -> Array:
        """Parameters ``(n, k, 2)`` of points ``(n, k, 3)`` on surfaces, angles in (-pi, pi].

        Args:
            points: a row for each surface.
            rows: which surfaces, ``(n,)``.
        """
        out = np.empty((*points.shape[:2], 2))
        for here, frames, these in self._split(rows):
            if frames is None:
                for i, k in zip(here.tolist(), rows[here].tolist(), strict=True):
                    out[i] = self.surfaces[k].uv(points[i])
            else:
                out[here] = frames.uv(points[here], these)
        return out

    def height(self, points: Array, rows: Ints) -> Array:
        """How far points lie off surfaces along their normals, ``(n, k)`` mm; as :meth:`uv`."""
        out = np.empty(points.shape[:2])
        for here, frames, these in self._split(rows):
            if frames is None:
                for i, k in zip(here.tolist(), rows[here].tolist(), strict=True):
                    out[i] = self.surfaces[k].height(points[i])
            else:
                out[here] = frames.height(points[here], these)
        return out

    def _split(self, rows: Ints) -> list[tuple[Ints, _Frames | None, Ints]]:
        """Places in ``rows`` of one kind of surface, its frames and the places there."""
        kinds = self.kind[rows]
        split = ((g, np.nonzero(kinds == g)[0]) for g in sorted(set(kinds.tolist())))
        return [(here, self.frames[g], self.place[rows[here]]) for g, here in split]


def _turns(surface: AnySurface) -> int:
    if isinstance(surface, PlaneSurface | RuledSurface):
        return 0
    return 2 if isinstance(surface, TorusSurface) else 1


class _Frames:
    """Surfaces of one kind that have a frame and two radii."""

    def __init__(self, surfaces: Sequence[AnySurface]) -> None:
        self.kind = type(surfaces[0])
        rows = [_frame(s) for s in surfaces]
        self.origin, self.axis, self.x = (np.array([r[k] for r in rows]) for k in range(3))
        self.first, self.second = np.array([r[3] for r in rows]).T[:, :, None]
        self.y = cross_all(self.axis, self.x)

    def uv(self, points: Array, rows: Ints) -> Array:
        w = points - self.origin[rows, None]
        along, aside = _along(w, self.x[rows]), _along(w, self.y[rows])
        if self.kind is PlaneSurface:
            return np.stack([along, aside], axis=-1)
        up = _along(w, self.axis[rows])
        u = np.arctan2(aside, along)
        if self.kind is CylinderSurface:
            v = up
        elif self.kind is ConeSurface:
            v = up / np.cos(self.second[rows])
        else:
            v = np.arctan2(up, np.hypot(along, aside) - self.first[rows])
        return np.stack([u, v], axis=-1)

    def height(self, points: Array, rows: Ints) -> Array:
        w = points - self.origin[rows, None]
        up = _along(w, self.axis[rows])
        if self.kind is PlaneSurface:
            return up
        flat = np.hypot(_along(w, self.x[rows]), _along(w, self.y[rows]))
        first, second = self.first[rows], self.second[rows]
        if self.kind is CylinderSurface:
            return np.asarray(flat - first)
        if self.kind is ConeSurface:
            return np.asarray((flat - first - up * np.tan(second)) * np.cos(second))
        return np.asarray(np.hypot(flat - first, up) - second)


def _frame(s: AnySurface) -> tuple[Array, Array, Array, tuple[float, float]]:
    """Origin, axis, x and what else a surface has of numbers."""
    if isinstance(s, PlaneSurface):
        return s.origin, s.normal, s.x, (0.0, 0.0)
    if isinstance(s, CylinderSurface):
        return s.origin, s.axis, s.x, (s.radius, 0.0)
    if isinstance(s, ConeSurface):
        return s.origin, s.axis, s.x, (s.radius, s.half)
    assert isinstance(s, TorusSurface)
    return s.centre, s.axis, s.x, (s.major, s.minor)
