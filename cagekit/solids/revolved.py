"""Round parts with tapers, a blind bore and holes right across, as records."""

from __future__ import annotations

from math import atan2, tau

import numpy as np

from cagekit.cage.door import SmallPart
from cagekit.geometry.arrays import Array
from cagekit.geometry.profile import TurnedSide
from cagekit.solids.brep import (
    ConeSurface,
    CylinderSurface,
    Edge,
    Face,
    Loop,
    PlaneSurface,
    Record,
    circle,
)
from cagekit.solids.creases import Refused
from cagekit.solids.holes import back, edge_of
from cagekit.units.tolerance import SAME_POINT


def revolved_record(part: SmallPart) -> Record:
    """Write down the boundary of a round part; its holes cross cylinders only.

    Raises:
        Refused: a hole crosses a taper, or it does not close.
    """
    made = _Revolved(part).record()
    errors = made.closure_errors()
    if errors:
        raise Refused(f"the part does not close: {errors[0]}")
    return made


class _Revolved:
    """Collects the faces of a round part; every circle starts where no hole is."""

    def __init__(self, part: SmallPart) -> None:
        self.part, self.made = part, Record(part.id)
        f = part.frame
        self.origin, self.axis = f[:3, 3], f[:3, 2]
        # holes run along the part's x: its circles start on y
        self.x = f[:3, 1]
        self.rings: dict[tuple[float, float], tuple[int, int]] = {}

    def record(self) -> Record:
        sides, tube = self.part.profile, self.part.axis.pieces[0]
        holes: dict[TurnedSide, list[Loop]] = {}
        for drill in self.part.drills:
            walls = self.part.crossed(drill)
            if any(abs(s.r1 - s.r0) > SAME_POINT for s in walls):
                raise Refused("a hole crosses a taper")
            for way in drill.ways:
                ends = [edge_of(self.made, drill, way, tube, s.r0) for s in walls]
                for s, ring in zip(walls, ends, strict=True):
                    holes.setdefault(s, []).append(back(ring))
                if len(walls) == 2:
                    self._hole(drill.point, way, drill.along, drill.radius, ends[0], ends[1])
            if len(walls) == 1:
                through = holes[walls[0]][-2:]
                self._through(drill.point, drill.axis, drill.along, drill.radius, through)
        for side in sides:
            if side.flat:
                self._flat(side)
            else:
                self._lateral(side, tuple(holes.get(side, ())))
        return self.made

    def _at(self, z: float) -> Array:
        return np.asarray(self.origin + z * self.axis)

    def _ring(self, z: float, r: float) -> tuple[int, int]:
        """Vertex and edge of a circle, once for all faces that it borders."""
        key = (round(z, 9), round(r, 9))
        if key not in self.rings:
            v = self.made.vertex(self._at(z) + r * self.x)
            edge = Edge(v, v, circle(self._at(z), self.axis, self.x, r), 0.0, tau)
            self.rings[key] = v, self.made.edge(edge)
        return self.rings[key]

    def _flat(self, s: TurnedSide) -> None:
        """An end or a shoulder; it looks up where the profile comes towards the axis."""
        big, small = max(s.r0, s.r1), min(s.r0, s.r1)
        loops: list[Loop] = [((self._ring(s.z0, big)[1], True),)]
        if small > 0:
            loops.append(((self._ring(s.z0, small)[1], False),))
        plane = PlaneSurface(self._at(s.z0), self.axis, self.x)
        self.made.faces.append(Face(plane, s.r1 < s.r0, tuple(loops)))

    def _lateral(self, s: TurnedSide, holes: tuple[Loop, ...]) -> None:
        (z0, r0), (z1, r1) = sorted([(s.z0, s.r0), (s.z1, s.r1)])
        (v0, low), (v1, high) = self._ring(z0, r0), self._ring(z1, r1)
        seam = self.made.segment(v0, v1)
        walk: Loop = ((low, True), (seam, True), (high, False), (seam, False))
        if abs(r1 - r0) < SAME_POINT:
            tube = CylinderSurface(self._at(z0), self.axis, self.x, r0)
            self.made.faces.append(Face(tube, s.outside, (walk, *holes)))
            return
        if r1 > r0:
            cone = ConeSurface(self._at(z0), self.axis, self.x, r0, atan2(r1 - r0, z1 - z0))
            self.made.faces.append(Face(cone, s.outside, (walk,)))
            return
        # a cone opens along its own axis: seen from the other end it is walked the other way
        cone = ConeSurface(self._at(z1), -self.axis, self.x, r1, atan2(r0 - r1, z1 - z0))
        self.made.faces.append(Face(cone, s.outside, (walk,)))

    def _hole(
        self, point: Array, way: Array, along: Array, radius: float,
        high: tuple[int, int], low: tuple[int, int],
    ) -> None:  # fmt: skip
        """A hole's wall between an outside and a bore."""
        edges = self.made.edges
        seam = self.made.segment(edges[low[0]].first, edges[high[0]].first)
        walk: Loop = (*((e, True) for e in low), (seam, True), *back(high), (seam, False))
        self.made.faces.append(Face(CylinderSurface(point, way, along, radius), False, (walk,)))

    def _through(
        self, point: Array, way: Array, along: Array, radius: float, loops: list[Loop]
    ) -> None:
        """A hole's wall right through solid metal, from one side to the other."""
        ahead, behind = loops
        # both rings start on one line along the hole, each turns about its own way out
        starts = [self.made.edges[loop[0][0]].last for loop in (behind, ahead)]
        seam = self.made.segment(starts[0], starts[1])
        walk: Loop = (*behind, (seam, True), *ahead, (seam, False))
        self.made.faces.append(Face(CylinderSurface(point, way, along, radius), False, (walk,)))
