"""Read solids back from STEP text into records, without the kernel.

Knows the entities that :mod:`cagekit.writers.step` writes; what came from the kernel may hold
others, which is told.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from math import pi, tau

import numpy as np

from cagekit.errors import OutputError
from cagekit.geometry.arrays import Array
from cagekit.solids.brep import (
    AnySurface,
    ConeSurface,
    CylinderSurface,
    Edge,
    EllipseCurve,
    Face,
    LineCurve,
    Loop,
    PlaneSurface,
    Record,
    RuledSurface,
    SplineCurve,
    TorusSurface,
)
from cagekit.solids.creases import ring_angle
from cagekit.units.tolerance import ANGLE_ROUNDING, SAME_POINT
from cagekit.writers.part21 import references

_SHARES = np.linspace(0.0, 1.0, 49)
"""Where edges are held against their surfaces, shares of their length."""
_SPARE = 3
"""One in so many of these tells where there is nothing of a face."""


class UnknownEntity(Exception):
    """The solid holds an entity that is not ours."""


def solid_names(entities: Mapping[int, str]) -> dict[int, str]:
    """Number and name of every solid in a file."""
    return {
        n: text[21 : text.index("'", 21)]
        for n, text in entities.items()
        if text.startswith("MANIFOLD_SOLID_BREP('")
    }


def read_records(entities: Mapping[int, str]) -> dict[str, Record | None]:
    """The solids of a parsed file by name; None for those with entities that are not ours.

    Raises:
        OutputError: a number or reference in it makes no sense.
    """
    out: dict[str, Record | None] = {}
    for n, name in solid_names(entities).items():
        try:
            out[name] = _StepReader(entities, name).solid(n)
        except UnknownEntity:
            out[name] = None
        except (ValueError, IndexError, KeyError) as error:
            raise OutputError(f"{name}: its STEP text makes no sense ({error}).") from error
    return out


class _StepReader:
    """Builds one record; every entity is read once."""

    def __init__(self, entities: Mapping[int, str], name: str) -> None:
        self.entities, self.record = entities, Record(name)
        self.vertices: dict[int, int] = {}
        self.edges: dict[int, int] = {}
        self.spots: list[Array] = []
        self.curves: dict[str, Callable[[str], LineCurve | EllipseCurve | SplineCurve]] = {
            "LINE": self._line,
            "CIRCLE": self._circle,
            "ELLIPSE": self._ellipse,
            "B_SPLINE_CURVE_WITH_KNOTS": self._spline,
        }

    def solid(self, n: int) -> Record:
        (shell,) = references(self.entities[n])
        for face in references(self._of(shell, "CLOSED_SHELL")):
            self._face(face)
        return self.record

    def _of(self, n: int, keyword: str) -> str:
        text = self.entities[n]
        if not text.startswith(f"{keyword}("):
            raise UnknownEntity(text.split("(")[0])
        return text

    def _face(self, n: int) -> None:
        text = self._of(n, "ADVANCED_FACE")
        *bounds, surface = references(text)
        sense = text.endswith(".T.)")
        loops = tuple(self._bound(b, sense) for b in bounds)
        shape = self._surface(surface)
        walked = [e for loop in loops for e, _ in loop]
        edges = list(dict.fromkeys(walked))
        spots = np.array([self.spots[e] for e in edges])
        self._allow(shape, edges, spots)
        seam = next((k for k, e in enumerate(edges) if walked.count(e) == 2), None)
        self.record.faces.append(Face(shape, sense, loops, _lower(shape, spots, seam)))

    def _allow(self, surface: AnySurface, edges: list[int], spots: Array) -> None:
        """Give edges the tolerance that they need on a surface; the file does not tell."""
        off = np.abs(surface.height(spots.reshape(-1, 3))).reshape(len(edges), -1).max(axis=1)
        for e, most in zip(edges, off.tolist(), strict=True):
            edge = self.record.edges[e]
            if 2 * most > edge.tol:
                self.record.edges[e] = replace(edge, tol=2 * most)

    def _bound(self, n: int, sense: bool) -> Loop:
        text = self.entities[n]
        if not text.startswith(("FACE_OUTER_BOUND(", "FACE_BOUND(")):
            raise UnknownEntity(text.split("(")[0])
        (around,) = references(text)
        loop = tuple(self._walk(e) for e in references(self._of(around, "EDGE_LOOP")))
        # a record's loops run around the surface's normal, whichever way the face looks
        if text.endswith(".T.)") == sense:
            return loop
        return tuple((e, not forward) for e, forward in reversed(loop))

    def _walk(self, n: int) -> tuple[int, bool]:
        text = self._of(n, "ORIENTED_EDGE")
        (edge,) = references(text)
        if edge not in self.edges:
            self.edges[edge] = self._edge(edge)
        return self.edges[edge], text.endswith(".T.)")

    def _edge(self, n: int) -> int:
        text = self._of(n, "EDGE_CURVE")
        if not text.endswith(".T.)"):
            raise UnknownEntity("EDGE_CURVE against its curve")
        first, last, curve = references(text)
        ends = self._vertex(first), self._vertex(last)
        shape = self._curve(curve)
        tips = [self.record.vertices[v] for v in ends]
        t0, t1 = _range(shape, *tips)
        spots = shape.at(t0 + (t1 - t0) * _SHARES)
        off = float(np.linalg.norm(spots[[0, -1]] - tips, axis=1).max())
        self.spots.append(spots)
        return self.record.edge(Edge(*ends, shape, t0, t1, max(SAME_POINT, 2 * off)))

    def _vertex(self, n: int) -> int:
        if n not in self.vertices:
            (point,) = references(self._of(n, "VERTEX_POINT"))
            self.vertices[n] = self.record.vertex(self._triple(point))
        return self.vertices[n]

    def _triple(self, n: int) -> Array:
        text = self.entities[n]
        return np.array([float(c) for c in text[text.index(",(") + 2 : -2].split(",")])

    def _numbers(self, text: str) -> list[float]:
        return [float(c) for c in text[:-1].split(",") if c and c[0] not in "#'" and "(" not in c]

    def _frame(self, n: int) -> tuple[Array, Array, Array]:
        point, axis, x = references(self._of(n, "AXIS2_PLACEMENT_3D"))
        return self._triple(point), self._triple(axis), self._triple(x)

    def _curve(self, n: int) -> LineCurve | EllipseCurve | SplineCurve:
        text = self.entities[n]
        if text.startswith("SURFACE_CURVE("):  # its images on the surfaces follow from it
            return self._curve(references(text)[0])
        keyword = text.split("(", 1)[0]
        if keyword not in self.curves:
            raise UnknownEntity(keyword)
        return self.curves[keyword](text)

    def _line(self, text: str) -> LineCurve:
        point, vector = references(text)
        (direction,) = references(self._of(vector, "VECTOR"))
        return LineCurve(self._triple(point), self._triple(direction))

    def _circle(self, text: str) -> EllipseCurve:
        (radius,) = self._numbers(text)
        return EllipseCurve(*self._frame(references(text)[0]), radius, radius)

    def _ellipse(self, text: str) -> EllipseCurve:
        major, minor = self._numbers(text)
        return EllipseCurve(*self._frame(references(text)[0]), major, minor)

    def _spline(self, text: str) -> SplineCurve:
        poles = np.array([self._triple(n) for n in references(text)])
        degree = int(text.split(",", 2)[1])
        before, tail = text.rsplit("(", 1)
        knots = np.array([float(k) for k in tail.split(")")[0].split(",")])
        counts = before.rsplit("(", 1)[1].split(")")[0].split(",")
        return SplineCurve(degree, poles, knots, tuple(int(c) for c in counts))

    def _surface(self, n: int) -> AnySurface:
        text = self.entities[n]
        keyword = text.split("(", 1)[0]
        if keyword == "PLANE":
            return PlaneSurface(*self._frame(references(text)[0]))
        if keyword == "CYLINDRICAL_SURFACE":
            (radius,) = self._numbers(text)
            return CylinderSurface(*self._frame(references(text)[0]), radius)
        if keyword == "CONICAL_SURFACE":
            radius, half = self._numbers(text)
            return ConeSurface(*self._frame(references(text)[0]), radius, half)
        if keyword == "TOROIDAL_SURFACE":
            major, minor = self._numbers(text)
            return TorusSurface(*self._frame(references(text)[0]), major, minor)
        if keyword == "B_SPLINE_SURFACE_WITH_KNOTS":
            return self._ruled(text)
        raise UnknownEntity(keyword)

    def _ruled(self, text: str) -> RuledSurface:
        degree, across = (int(k) for k in text.split(",", 3)[1:3])
        if across != 1:
            raise UnknownEntity("a surface that is curved both ways")
        poles = np.array([self._triple(n) for n in references(text)]).reshape(-1, 2, 3)
        # the last four lists: how often each knot counts, both ways, and the knots, both ways
        counts, _, knots, _ = text.split("(")[-4:]
        numbers = np.array([float(k) for k in knots.split(")")[0].split(",")])
        times = tuple(int(k) for k in counts.split(")")[0].split(","))
        first, second = (SplineCurve(degree, poles[:, k], numbers, times) for k in (0, 1))
        return RuledSurface(first, second)


def _lower(surface: AnySurface, spots: Array, seam: int | None) -> tuple[float, float]:
    """Where the periodic parameters of a face begin: at its seam, or where there is none of it.

    The file does not tell; see :class:`cagekit.solids.brep.Face`.

    Args:
        surface: the face's.
        spots: places along its edges, ``(n, k, 3)``.
        seam: which edge is the seam; None without one.
    """
    if isinstance(surface, PlaneSurface | RuledSurface):
        return 0.0, 0.0
    uv = surface.uv(spots.reshape(-1, 3)).reshape(*spots.shape[:2], 2)
    across = None if seam is None else _seam_side(surface, uv[seam])
    count = 2 if isinstance(surface, TorusSurface) else 1
    lower = [0.0, 0.0]
    for k in range(count):
        if seam is not None and across == k:
            lower[k] = float(uv[seam, spots.shape[1] // 2, k])
        else:
            lower[k] = _gap(uv[:, ::_SPARE, k].ravel())
    return lower[0], lower[1]


def _seam_side(surface: AnySurface, uv: Array) -> int:
    """Which parameter stays the same along the seam, of its parameters ``(k, 2)``."""
    if isinstance(surface, CylinderSurface | ConeSurface):
        return 0
    turns = np.abs((np.diff(uv, axis=0) + pi) % tau - pi).sum(axis=0)
    return int(np.argmin(turns))


def _gap(angles: Array) -> float:
    """The middle of the widest gap between angles, rad."""
    order = np.sort(angles)
    gaps = np.diff(np.append(order, order[0] + tau))
    widest = int(np.argmax(gaps))
    return float(order[widest] + 0.5 * gaps[widest] - tau)


def _range(
    curve: LineCurve | EllipseCurve | SplineCurve, first: Array, last: Array
) -> tuple[float, float]:
    if isinstance(curve, LineCurve):
        ends = [float((p - curve.origin) @ curve.direction) for p in (first, last)]
        return ends[0], ends[1]
    if isinstance(curve, SplineCurve):
        return float(curve.knots[0]), float(curve.knots[-1])
    start = ring_angle(curve, first)
    turn = (ring_angle(curve, last) - start) % tau
    return start, start + (turn if turn > ANGLE_ROUNDING * pi else tau)
