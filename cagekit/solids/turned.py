"""Small parts as records: prisms one on another, with or without a bore."""

from __future__ import annotations

from collections.abc import Sequence
from math import pi, tau

import numpy as np

from cagekit.cage.door import Lug, SmallPart
from cagekit.geometry.arrays import Array
from cagekit.geometry.outline import Outline, Segment
from cagekit.solids.brep import CylinderSurface, Edge, Face, Loop, PlaneSurface, Record, circle
from cagekit.solids.creases import Refused
from cagekit.solids.revolved import revolved_record
from cagekit.solids.sheet import plate_record
from cagekit.solids.tube import tube_record
from cagekit.units.tolerance import ROUNDING


def small_part_record(part: SmallPart) -> Record:
    """Write down the boundary of a small part, in car axes.

    Raises:
        Refused: two stages of which neither lies wholly inside the other.
    """
    if part.revolved:
        return revolved_record(part)
    if part.drills:
        return _drilled(part)
    if len(part.stages) == 1 and not part.lugs:
        return plate_record(part.prisms()[0])
    return _Stack(part).record()


def _drilled(part: SmallPart) -> Record:
    """A sleeve with holes right through it: a tube with square ends."""
    return tube_record(part.id, part.axis, *part.square_ends, drills=part.drills)


def _round(outline: Outline) -> float:
    """Radius of a full circle about the axis, 0 for any other outline."""
    r = np.hypot(*outline.vertices.T)
    whole = len(outline) == 2 and np.allclose(outline.bulges, 1.0) and np.ptp(r) < ROUNDING
    return float(r[0]) if whole else 0.0


class _Walls:
    """Walls of prisms in a frame, as they go into a record."""

    def __init__(self, made: Record, frame: Array) -> None:
        self.made, self.origin = made, frame[:3, 3]
        self.x, self.y, self.axis = frame[:3, 0], frame[:3, 1], frame[:3, 2]

    def _at(self, xy: Array, z: float) -> Array:
        return np.asarray(self.origin + xy[0] * self.x + xy[1] * self.y + z * self.axis)

    def wall(self, outline: Outline, z0: float, z1: float) -> tuple[Loop, Loop]:
        """The faces round a prism from ``z0`` to ``z1``, and the loops of both its ends."""
        radius = _round(outline)
        if radius:
            return self.drum(radius, z0, z1)
        low, high, _ = self.facets(outline, z0, z1)
        return low, high

    def drum(
        self, radius: float, z0: float, z1: float, hole: Array | None = None
    ) -> tuple[Loop, Loop]:
        """A cylinder about the axis; about ``hole`` and seen from inside where one is given."""
        r = self.made
        middle = np.zeros(2) if hole is None else hole
        ends = []
        for z in (z0, z1):
            at = self._at(middle, z)
            v = r.vertex(at + radius * self.x)
            ends.append((v, r.edge(Edge(v, v, circle(at, self.axis, self.x, radius), 0.0, tau))))
        (v0, low), (v1, high) = ends
        seam = r.segment(v0, v1)
        surface = CylinderSurface(self._at(middle, z0), self.axis, self.x, radius)
        walk: Loop = ((low, True), (seam, True), (high, False), (seam, False))
        r.faces.append(Face(surface, hole is None, (walk,)))
        return ((low, True),), ((high, True),)

    def facets(
        self, outline: Outline, z0: float, z1: float, *, foot: bool = False
    ) -> tuple[Loop, Loop, tuple[int, ...]]:
        """A wall for each edge of an outline, and the edges between them.

        With ``foot`` the first edge stands on something and has none.
        """
        r = self.made
        n = len(outline)
        rings = [[r.vertex(self._at(v, z)) for v in outline.vertices] for z in (z0, z1)]
        posts = [r.segment(rings[0][i], rings[1][i]) for i in range(n)]
        loops: list[list[tuple[int, bool]]] = [[], []]
        for i, s in enumerate(outline.segments):
            j = (i + 1) % n
            low, high = (
                self._edge(s, ring[i], ring[j], z) for ring, z in zip(rings, (z0, z1), strict=True)
            )
            loops[0].append((low, True))
            loops[1].append((high, True))
            walk: Loop = ((low, True), (posts[j], True), (high, False), (posts[i], False))
            if i or not foot:
                self._side(s, walk, z0)
        return tuple(loops[0]), tuple(loops[1]), tuple(posts)

    def _edge(self, s: Segment, first: int, last: int, z: float) -> int:
        if not s.is_arc:
            return self.made.segment(first, last)
        out = (s.start - s.centre) / s.radius
        x = out[0] * self.x + out[1] * self.y
        ring = circle(self._at(s.centre, z), self.axis * np.sign(s.sweep), x, s.radius)
        return self.made.edge(Edge(first, last, ring, 0.0, abs(s.sweep)))

    def _side(self, s: Segment, walk: Loop, z: float) -> None:
        if not s.is_arc:
            d = (s.end - s.start) / s.chord
            normal = d[1] * self.x - d[0] * self.y
            plane = PlaneSurface(self._at(s.start, z), normal, d[0] * self.x + d[1] * self.y)
            self.made.faces.append(Face(plane, True, (walk,)))
            return
        out = (s.start - s.centre) / s.radius
        x = out[0] * self.x + out[1] * self.y
        surface = CylinderSurface(self._at(s.centre, z), self.axis, x, s.radius)
        convex = s.sweep > 0
        loop = walk if convex else _back(walk)
        self.made.faces.append(Face(surface, convex, (loop,), (s.sweep / 2 - pi, 0.0)))


class _Stack(_Walls):
    """A solid part of several stages; each end of a stage is one loop of edges."""

    def __init__(self, part: SmallPart) -> None:
        if part.bore:
            raise Refused("a stepped part with a bore")
        super().__init__(Record(part.id), part.frame)
        self.part = part

    def record(self) -> Record:
        z = 0.0
        below: tuple[Loop, float] | None = None
        for stage in self.part.stages:
            outline = stage.outline.anticlockwise()
            low, high = self.wall(outline, z, z + stage.length)
            self._step(below, (low, abs(outline.area)), z)
            z += stage.length
            below = high, abs(outline.area)
        feet = [self._lug(lug, z) for lug in self.part.lugs]
        self._step(below, None, z, feet)
        errors = self.made.closure_errors()
        if errors:
            raise Refused(f"the part does not close: {errors[0]}")
        return self.made

    def _step(
        self,
        below: tuple[Loop, float] | None,
        above: tuple[Loop, float] | None,
        z: float,
        feet: Sequence[Loop] = (),
    ) -> None:
        """The flat between two stages, or at an end: the larger section less the smaller.

        ``feet`` are of what stands on it.
        """
        plane = PlaneSurface(self._at(np.zeros(2), z), self.axis, self.x)
        up = above is None or (below is not None and below[1] > above[1])
        both = [q for q in (below, above) if q is not None]
        big, *small = sorted(both, key=lambda q: -q[1])
        # loops run anticlockwise seen from +z; a hole is walked the other way
        loops = [big[0], *(_back(q[0]) for q in small), *(_back(f) for f in feet)]
        self.made.faces.append(Face(plane, up, tuple(loops)))

    def _lug(self, lug: Lug, z: float) -> Loop:
        """A lug on the last stage; the loop of its foot, anticlockwise seen from +z."""
        frame = np.eye(4)
        frame[:3, 0], frame[:3, 1], frame[:3, 2] = self.y, self.axis, self.x
        frame[:3, 3] = self._at(np.zeros(2), z)
        walls = _Walls(self.made, frame)
        low, high, posts = walls.facets(lug.outline.anticlockwise(), lug.low, lug.high, foot=True)
        middle = np.array([0.0, lug.stand])
        holes = walls.drum(lug.hole / 2, lug.low, lug.high, middle)
        for x, loop, hole in zip((lug.low, lug.high), (low, high), holes, strict=True):
            plane = PlaneSurface(np.asarray(frame[:3, 3] + x * self.x), self.x, self.y)
            self.made.faces.append(Face(plane, x == lug.high, (loop, _back(hole))))
        return (low[0][0], False), (posts[0], True), (high[0][0], True), (posts[1], False)


def _back(loop: Loop) -> Loop:
    return tuple((e, not forward) for e, forward in reversed(loop))
