"""Flat plates as records: an outline of lines and arcs with round holes, given a thickness."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi, tau

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cagekit.errors import GeometryError
from cagekit.solids.record import (
    CylinderSurface,
    Edge,
    Face,
    Loop,
    PlaneSurface,
    Record,
    circle,
)

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """One side of an outline: a straight from ``start`` to ``end``, or an arc about ``centre``.

    Points are ``(2,)`` mm. ``turn`` is the arc's angle (rad), positive counter-clockwise.
    """

    start: Array
    end: Array
    centre: Array | None = None
    turn: float = 0.0


@dataclass(frozen=True, slots=True)
class RoundHole:
    """A drilled hole, mm."""

    x: float
    y: float
    diameter: float


def polygon(points: ArrayLike) -> tuple[Side, ...]:
    """Straight sides through corners ``(n, 2)``, closed, either way round."""
    p = np.asarray(points, float)
    return tuple(Side(p[i], p[(i + 1) % len(p)]) for i in range(len(p)))


def sides_from_bulges(points: ArrayLike, bulges: ArrayLike) -> tuple[Side, ...]:
    """Sides from corners ``(n, 2)`` and bulges ``(n,)`` (tangent of a quarter of the turn).

    The bulge of corner i belongs to the side from i to i + 1; 0 is a straight, positive turns
    counter-clockwise.
    """
    p, b = np.asarray(points, float), np.asarray(bulges, float)
    out = []
    for i in range(len(p)):
        q = p[(i + 1) % len(p)]
        if b[i] == 0.0:
            out.append(Side(p[i], q))
            continue
        chord = q - p[i]
        left = np.array([-chord[1], chord[0]])
        centre = (p[i] + q) / 2 + left * (1 - b[i] ** 2) / (4 * b[i])
        out.append(Side(p[i], q, centre, float(4 * np.arctan(b[i]))))
    return tuple(out)


def reversed_sides(sides: Sequence[Side]) -> tuple[Side, ...]:
    """The same outline walked the other way round."""
    return tuple(Side(s.end, s.start, s.centre, -s.turn) for s in reversed(sides))


def outline_area(sides: Sequence[Side]) -> float:
    """Signed area inside the outline, mm2, positive when it runs counter-clockwise."""
    area = 0.0
    for s in sides:
        area += 0.5 * float(s.start[0] * s.end[1] - s.start[1] * s.end[0])
        if s.centre is not None:
            r2 = float((s.start - s.centre) @ (s.start - s.centre))
            area += 0.5 * r2 * (s.turn - np.sin(s.turn))
    return area


def extrude(
    name: str,
    outline: Sequence[Side],
    thickness: float,
    *,
    holes: Sequence[RoundHole] = (),
    openings: Sequence[Sequence[Side]] = (),
    placement: ArrayLike | None = None,
) -> Record:
    """Give an outline a thickness.

    Args:
        name: name of the solid.
        outline: closed outer boundary in the x-y plane, mm.
        thickness: along +z, mm.
        holes: round holes, inside the outline, apart from each other.
        openings: further closed boundaries that are cut out.
        placement: ``(4, 4)`` rigid map from the plate's own frame; none leaves it there.

    Raises:
        GeometryError: the outline is open or encloses nothing, or there is no thickness.
    """
    if not thickness > 0:
        raise GeometryError(name, f"thickness {thickness:g} mm must be above zero.")
    frame = np.eye(4) if placement is None else np.asarray(placement, float)
    build = _Extrusion(Record(name), frame[:3, :3], frame[:3, 3], float(thickness))
    build.boundary(_turned(name, outline, inside=True))
    for opening in openings:
        build.boundary(_turned(name, opening, inside=False))
    for hole in holes:
        build.hole(hole)
    return build.close()


def _turned(name: str, sides: Sequence[Side], *, inside: bool) -> tuple[Side, ...]:
    for i, s in enumerate(sides):
        gap = float(np.linalg.norm(s.start - sides[i - 1].end))
        if gap > 1e-6:
            raise GeometryError(name, f"the outline is open by {gap:.3g} mm at side {i + 1}.")
    area = outline_area(sides)
    if abs(area) < 1e-9:
        raise GeometryError(name, "the outline encloses nothing.")
    return tuple(sides) if (area > 0) == inside else reversed_sides(sides)


class _Extrusion:
    """Walks boundaries with the material on the left and collects the faces."""

    def __init__(self, record: Record, turn: Array, shift: Array, thickness: float) -> None:
        self.record, self.turn, self.shift, self.t = record, turn, shift, thickness
        self.bottom: list[Loop] = []
        self.top: list[Loop] = []

    def point(self, xy: ArrayLike, z: float) -> Array:
        p = np.array([*np.asarray(xy, float), z])
        return np.asarray(self.turn @ p + self.shift)

    @property
    def up(self) -> Array:
        return np.asarray(self.turn[:, 2])

    def boundary(self, sides: Sequence[Side]) -> None:
        r, n = self.record, len(sides)
        low = [r.vertex(self.point(s.start, 0.0)) for s in sides]
        high = [r.vertex(self.point(s.start, self.t)) for s in sides]
        posts = [r.segment(low[i], high[i]) for i in range(n)]
        loops: tuple[list[tuple[int, bool]], ...] = ([], [])
        for i, side in enumerate(sides):
            j = (i + 1) % n
            pair = [
                self.side_edge(side, z, ring[i], ring[j])
                for z, ring in ((0.0, low), (self.t, high))
            ]
            walk: Loop = (
                (pair[0], True),
                (posts[j], True),
                (pair[1], False),
                (posts[i], False),
            )
            self.wall(side, walk)
            loops[0].append((pair[0], True))
            loops[1].append((pair[1], True))
        self.bottom.append(tuple(loops[0]))
        self.top.append(tuple(loops[1]))

    def side_edge(self, side: Side, z: float, first: int, last: int) -> int:
        if side.centre is None:
            return self.record.segment(first, last)
        # an arc runs right-handed about its axis, which points down for a clockwise one
        axis = self.up * np.sign(side.turn)
        out = side.start - side.centre
        radius = float(np.hypot(*out))
        x = self.turn @ np.array([*out / radius, 0.0])
        ring = circle(self.point(side.centre, z), axis, x, radius)
        return self.record.edge(Edge(first, last, ring, 0.0, abs(side.turn)))

    def wall(self, side: Side, walk: Loop) -> None:
        if side.centre is None:
            along = side.end - side.start
            along = along / np.hypot(*along)
            normal = self.turn @ np.array([along[1], -along[0], 0.0])
            x = self.turn @ np.array([*along, 0.0])
            plane = PlaneSurface(self.point(side.start, 0.0), normal, x)
            self.record.faces.append(Face(plane, True, (walk,)))
            return
        out = side.start - side.centre
        radius = float(np.hypot(*out))
        x = self.turn @ np.array([*out / radius, 0.0])
        surface = CylinderSurface(self.point(side.centre, 0.0), self.up, x, radius)
        convex = side.turn > 0
        # the patch is kept in one piece: it begins half a turn before its middle
        lower = (side.turn / 2 - pi, 0.0)
        loop = walk if convex else tuple((e, not f) for e, f in reversed(walk))
        self.record.faces.append(Face(surface, convex, (loop,), lower))

    def hole(self, hole: RoundHole) -> None:
        r, radius = self.record, hole.diameter / 2
        x, edges = np.asarray(self.turn[:, 0]), []
        rims = []
        for z in (0.0, self.t):
            v = r.vertex(self.point((hole.x + radius, hole.y), z))
            ring = circle(self.point((hole.x, hole.y), z), self.up, x, radius)
            rims.append(v)
            edges.append(r.edge(Edge(v, v, ring, 0.0, tau)))
        seam = r.segment(rims[0], rims[1])
        surface = CylinderSurface(self.point((hole.x, hole.y), 0.0), self.up, x, radius)
        walk: Loop = ((edges[0], True), (seam, True), (edges[1], False), (seam, False))
        r.faces.append(Face(surface, False, (walk,)))
        self.bottom.append(((edges[0], False),))
        self.top.append(((edges[1], False),))

    def close(self) -> Record:
        x = np.asarray(self.turn[:, 0])
        for z, loops, outward in ((0.0, self.bottom, False), (self.t, self.top, True)):
            plane = PlaneSurface(self.point((0.0, 0.0), z), self.up, x)
            self.record.faces.append(Face(plane, outward, tuple(loops)))
        return self.record
