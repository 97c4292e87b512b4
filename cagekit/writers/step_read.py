"""Read solids back from STEP text into records, without the kernel.

Knows the entities that :mod:`cagekit.writers.step` writes; what came from the kernel may hold
others, which is told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
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
from cagekit.solids.measure import widest_gap
from cagekit.solids.rows import EdgeRows, SurfaceRows
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
    triples = _Triples(entities)
    readers: dict[str, _StepReader | None] = {}
    for n, name in solid_names(entities).items():
        reader = readers[name] = _StepReader(entities, triples, name)
        with _sense(name):
            try:
                reader.solid(n)
            except UnknownEntity:
                readers[name] = None
    _finish([reader for reader in readers.values() if reader is not None])
    return {name: None if q is None else q.record for name, q in readers.items()}


@contextmanager
def _sense(name: str) -> Iterator[None]:
    try:
        yield
    except (ValueError, IndexError, KeyError) as error:
        raise OutputError(f"{name}: its STEP text makes no sense ({error}).") from error


class _Triples:
    """Coordinates of points and directions in space, by their numbers; read at one go."""

    def __init__(self, entities: Mapping[int, str]) -> None:
        self.entities = entities
        inside = {
            n: numbers
            for n, t in entities.items()
            if t.startswith(("CARTESIAN_POINT(", "DIRECTION("))
            and (numbers := t[t.rindex("(") + 1 : -2]).count(",") == 2
        }
        try:
            flat = list(map(float, ",".join(inside.values()).split(","))) if inside else []
        except ValueError:
            inside, flat = {}, []  # where it is read it is told whose it is
        self.rows = dict(zip(inside, range(len(inside)), strict=True))
        self.every = np.array(flat).reshape(-1, 3)

    def one(self, n: int) -> Array:
        """A point or direction, ``(3,)``."""
        row = self.rows.get(n)
        if row is not None:
            return np.asarray(self.every[row])
        text = self.entities[n]
        return np.array([float(c) for c in text[text.index(",(") + 2 : -2].split(",")])

    def many(self, numbers: Sequence[int]) -> Array:
        """Points, ``(n, 3)``."""
        rows = [self.rows[n] for n in numbers if n in self.rows]
        if len(rows) < len(numbers):
            return np.array([self.one(n) for n in numbers])
        return np.asarray(self.every[rows])


def _finish(readers: Sequence[_StepReader]) -> None:
    """Give edges their tolerances and faces where they begin; the file tells neither.

    Raises:
        OutputError: a solid makes no sense.
    """
    try:
        _settle(readers)
    except (ValueError, IndexError):
        for reader in readers:
            with _sense(reader.record.name):
                _settle([reader])


def _settle(readers: Sequence[_StepReader]) -> None:
    edges = [edge for reader in readers for edge in reader.record.edges]
    faces = [face for reader in readers for face in reader.faces]
    if not faces:
        return
    spots = EdgeRows(edges).at(_SHARES)
    ends = np.array([r.record.vertices[v] for r in readers for e in r.record.edges
                     for v in (e.first, e.last)]).reshape(-1, 2, 3)  # fmt: skip
    off = np.linalg.norm(spots[:, [0, -1]] - ends, axis=2).max(axis=1)
    surfaces = SurfaceRows([face.surface for face in faces])
    first = np.cumsum([0, *(len(r.record.edges) for r in readers)]).tolist()
    used = [
        start + e for start, reader in zip(first, readers, strict=False)
        for face in reader.faces for e in _edges_of(face)
    ]  # fmt: skip
    counts = [len(_edges_of(face)) for face in faces]
    of = np.repeat(np.arange(len(faces)), counts)
    there = spots[used]
    np.maximum.at(off, used, np.abs(surfaces.height(there, of)).max(axis=1))
    uv, begin = surfaces.uv(there, of), np.cumsum([0, *counts]).tolist()
    tols, k = np.maximum(2 * off, SAME_POINT).tolist(), 0
    for start, reader in zip(first, readers, strict=False):
        made = reader.record.edges
        made[:] = [Edge(e.first, e.last, e.curve, e.t0, e.t1, t)
                   for e, t in zip(made, tols[start:], strict=False)]  # fmt: skip
        for face in reader.faces:
            lower = _lower(face, uv[begin[k] : begin[k + 1]])
            reader.record.faces.append(Face(face.surface, face.same_sense, face.loops, lower))
            k += 1


def _edges_of(face: Face) -> list[int]:
    return list(dict.fromkeys(e for loop in face.loops for e, _ in loop))


class _StepReader:
    """Builds one record; every entity is read once.

    Its ``faces`` and edges still lack what the file does not tell.
    """

    def __init__(self, entities: Mapping[int, str], triples: _Triples, name: str) -> None:
        self.entities, self.triples, self.record = entities, triples, Record(name)
        self.faces: list[Face] = []
        self.vertices: dict[int, int] = {}
        self.edges: dict[int, int] = {}
        self.curves: dict[str, Callable[[str], LineCurve | EllipseCurve | SplineCurve]] = {
            "LINE": self._line,
            "CIRCLE": self._circle,
            "ELLIPSE": self._ellipse,
            "B_SPLINE_CURVE_WITH_KNOTS": self._spline,
        }

    def solid(self, n: int) -> None:
        (shell,) = references(self.entities[n])
        for face in references(self._of(shell, "CLOSED_SHELL")):
            self._face(face)

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
        self.faces.append(Face(self._surface(surface), sense, loops))

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
        return self.record.edge(Edge(*ends, shape, *_range(shape, *tips)))

    def _vertex(self, n: int) -> int:
        if n not in self.vertices:
            (point,) = references(self._of(n, "VERTEX_POINT"))
            self.vertices[n] = self.record.vertex(self.triples.one(point))
        return self.vertices[n]

    def _numbers(self, text: str) -> list[float]:
        return [float(c) for c in text[:-1].split(",") if c and c[0] not in "#'" and "(" not in c]

    def _frame(self, n: int) -> tuple[Array, Array, Array]:
        point, axis, x = references(self._of(n, "AXIS2_PLACEMENT_3D"))
        return self.triples.one(point), self.triples.one(axis), self.triples.one(x)

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
        return LineCurve(self.triples.one(point), self.triples.one(direction))

    def _circle(self, text: str) -> EllipseCurve:
        (radius,) = self._numbers(text)
        return EllipseCurve(*self._frame(references(text)[0]), radius, radius)

    def _ellipse(self, text: str) -> EllipseCurve:
        major, minor = self._numbers(text)
        return EllipseCurve(*self._frame(references(text)[0]), major, minor)

    def _spline(self, text: str) -> SplineCurve:
        poles = self.triples.many(references(text))
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
        poles = self.triples.many(references(text)).reshape(-1, 2, 3)
        # the last four lists: how often each knot counts, both ways, and the knots, both ways
        counts, _, knots, _ = text.split("(")[-4:]
        numbers = np.array([float(k) for k in knots.split(")")[0].split(",")])
        times = tuple(int(k) for k in counts.split(")")[0].split(","))
        first, second = (SplineCurve(degree, poles[:, k], numbers, times) for k in (0, 1))
        return RuledSurface(first, second)


def _lower(face: Face, uv: Array) -> tuple[float, float]:
    """Where the periodic parameters of a face begin: at its seam, or where there is none of it.

    The file does not tell; see :class:`cagekit.solids.brep.Face`.

    Args:
        face: the face.
        uv: parameters of places along its edges, ``(n, k, 2)``.
    """
    surface = face.surface
    if isinstance(surface, PlaneSurface | RuledSurface):
        return 0.0, 0.0
    walked = [e for loop in face.loops for e, _ in loop]
    seam = next((k for k, e in enumerate(_edges_of(face)) if walked.count(e) == 2), None)
    across = None if seam is None else _seam_side(surface, uv[seam])
    lower = [0.0, 0.0]
    for k in range(2 if isinstance(surface, TorusSurface) else 1):
        if seam is not None and across == k:
            lower[k] = float(uv[seam, uv.shape[1] // 2, k])
        else:
            lower[k] = widest_gap(uv[:, ::_SPARE, k].ravel()) - tau
    return lower[0], lower[1]


def _seam_side(surface: AnySurface, uv: Array) -> int:
    """Which parameter stays the same along the seam, of its parameters ``(k, 2)``."""
    if isinstance(surface, CylinderSurface | ConeSurface):
        return 0
    turns = np.abs((np.diff(uv, axis=0) + pi) % tau - pi).sum(axis=0)
    return int(np.argmin(turns))


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
