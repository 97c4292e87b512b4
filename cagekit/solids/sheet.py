"""Plates as records: a flat pattern given its thickness, folded or not.

The pattern's facets and bend zones share their edges, top and bottom; every other edge gets a
wall. Facets are planes, bend zones are cylinders.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import pi, tau

import numpy as np

from cagekit.cage.plate import Hole, Plate
from cagekit.geometry.arrays import Array
from cagekit.geometry.fold import Bend, Facet
from cagekit.geometry.outline import Segment
from cagekit.solids.brep import (
    CylinderSurface,
    Edge,
    Face,
    Loop,
    PlaneSurface,
    Record,
    circle,
)
from cagekit.solids.creases import Refused
from cagekit.units.tolerance import NOISE, SAME_ANGLE

VertexKey = tuple[float, float, bool]
"""A vertex of the flat pattern, rounded, and whether it lies on the face."""

KEY_DIGITS = 5
SQUARE = SAME_ANGLE
"""Lean (rad) of an edge to its bend above which its wall is no plane."""


def plate_record(plate: Plate) -> Record:
    """Write down the boundary of a plate as folded, in car axes.

    Raises:
        Refused: an edge crosses a bend zone other than square, so that its wall is twisted.
    """
    return _PlateFaces(plate).record()


class _PlateFaces:
    """Collects vertices, edges and faces of one plate."""

    def __init__(self, plate: Plate) -> None:
        self.plate, self.made = plate, Record(plate.id)
        self.t = plate.thickness
        self.vertices: dict[VertexKey, int] = {}
        self.edges: dict[tuple[VertexKey, VertexKey, float], int] = {}
        self.posts: dict[tuple[float, float], int] = {}

    def record(self) -> Record:
        for facet in self._facets():
            self._facet(facet)
        for bend in self.plate.bends:
            self._bend(bend)
        errors = self.made.closure_errors()
        if errors:
            raise Refused(f"the folded sheet does not close: {errors[0]}")
        return self.made

    def _facets(self) -> Iterable[Facet]:
        if self.plate.folds:
            return self.plate.facets
        every = tuple(range(len(self.plate.holes)))
        return (Facet(loop=self.plate.outline, frame=np.eye(4), holes=every),)

    # -- pieces --------------------------------------------------------------------------------

    def _facet(self, facet: Facet) -> None:
        frame = self.plate.placement @ facet.frame
        loops: dict[bool, list[Loop]] = {True: [], False: []}
        inner = self._fold_lines()
        for top in (True, False):
            loops[top].append(tuple(self._flat_edge(s, top, frame) for s in facet.loop))
        for s in facet.loop:
            if _ends(s) not in inner:
                self._flat_wall(s, frame)
        for i in facet.holes:
            hole = self.plate.holes[i]
            if hole.round_:
                self._drill(hole, frame, loops)
                continue
            edge = hole.loop.anticlockwise().reversed()
            for top in (True, False):
                loops[top].append(tuple(self._flat_edge(s, top, frame) for s in edge))
            for s in edge:
                self._flat_wall(s, frame)
        for top in (True, False):
            origin = _at(frame, (0.0, 0.0), 0.0 if top else -self.t)
            plane = PlaneSurface(origin, frame[:3, 2], frame[:3, 0])
            self.made.faces.append(Face(plane, top, tuple(loops[top])))

    def _bend(self, bend: Bend) -> None:
        point, axis = bend.axis(self.t)
        place = self.plate.placement
        point = place[:3, :3] @ point + place[:3, 3]
        axis = place[:3, :3] @ axis
        up_fold = bend.angle > 0
        lines = self._fold_lines()
        walks: dict[bool, list[tuple[int, bool]]] = {True: [], False: []}
        for s in bend.loop:
            for top in (True, False):
                walks[top].append(self._bend_edge(s, top, bend, point, axis, lines))
            if _ends(s) not in lines:
                self._bend_wall(s, bend)
        for top in (True, False):
            radius = bend.radius + (self.t if top != up_fold else 0.0)
            # the cylinder's own normal points to the face when the fold goes away from it
            loop = tuple(walks[top])
            if up_fold:
                loop = tuple((e, not forward) for e, forward in reversed(loop))
            middle = self._space(bend, _middle(bend), top)
            w = middle - point
            x = -(w - (w @ axis) * axis)
            surface = CylinderSurface(point, axis, x / np.linalg.norm(x), radius)
            self.made.faces.append(Face(surface, top != up_fold, (loop,)))

    def _drill(self, hole: Hole, frame: Array, loops: dict[bool, list[Loop]]) -> None:
        r, radius = self.made, hole.diameter / 2
        axis, x = frame[:3, 2], frame[:3, 0]
        rings: dict[bool, tuple[int, int]] = {}
        for top in (False, True):
            centre = _at(frame, hole.centre, 0.0 if top else -self.t)
            v = r.vertex(centre + radius * x)
            ring = r.edge(Edge(v, v, circle(centre, axis, x, radius), 0.0, tau))
            rings[top] = v, ring
            loops[top].append(((ring, False),))
        seam = r.segment(rings[False][0], rings[True][0])
        low, high = rings[False][1], rings[True][1]
        surface = CylinderSurface(_at(frame, hole.centre, -self.t), axis, x, radius)
        walk: Loop = ((low, True), (seam, True), (high, False), (seam, False))
        r.faces.append(Face(surface, False, (walk,)))

    # -- walls ---------------------------------------------------------------------------------

    def _flat_wall(self, s: Segment, frame: Array) -> None:
        low, low_way = self._flat_edge(s, False, frame)
        high, high_way = self._flat_edge(s, True, frame)
        walk: Loop = (
            (low, low_way),
            (self._post(s.end), True),
            (high, not high_way),
            (self._post(s.start), False),
        )
        if not s.is_arc:
            d = (s.end - s.start) / s.chord
            normal = frame[:3, :3] @ np.array([d[1], -d[0], 0.0])
            plane = PlaneSurface(_at(frame, s.start, 0.0), normal, frame[:3, :3] @ [*d, 0.0])
            self.made.faces.append(Face(plane, True, (walk,)))
            return
        out = (s.start - s.centre) / s.radius
        surface = CylinderSurface(
            _at(frame, s.centre, 0.0), frame[:3, 2], frame[:3, :3] @ [*out, 0.0], s.radius
        )
        convex = s.sweep > 0
        loop = walk if convex else tuple((e, not f) for e, f in reversed(walk))
        # the patch stays in one piece: it begins half a turn before its middle
        self.made.faces.append(Face(surface, convex, (loop,), (s.sweep / 2 - pi, 0.0)))

    def _bend_wall(self, s: Segment, bend: Bend) -> None:
        low, low_way = self._edge_at(s, False)
        high, high_way = self._edge_at(s, True)
        walk: Loop = (
            (low, low_way),
            (self._post(s.end), True),
            (high, not high_way),
            (self._post(s.start), False),
        )
        turn = self.plate.placement[:3, :3] @ bend.frame[:3, :3]
        d = (s.end - s.start) / s.chord
        normal = turn @ np.array([d[1], -d[0], 0.0])
        plane = PlaneSurface(
            self._space(bend, s.start, True), normal, turn @ np.array([0.0, 0.0, 1.0])
        )
        self.made.faces.append(Face(plane, True, (walk,)))

    # -- vertices and edges --------------------------------------------------------------------

    def _fold_lines(self) -> set[frozenset[tuple[float, float]]]:
        """Segments of bend zones that lie on a facet's border."""
        facets = {_ends(s) for f in self._facets() for s in f.loop}
        return {_ends(s) for b in self.plate.bends for s in b.loop if _ends(s) in facets}

    def _space(self, bend: Bend, xy: Array, top: bool) -> Array:
        flat = np.array([[xy[0], xy[1], 0.0 if top else -self.t]])
        frame = self.plate.placement @ bend.frame
        return np.asarray(frame[:3, :3] @ bend.local(flat, self.t)[0] + frame[:3, 3])

    def _vertex(self, xy: Array, top: bool, place: Array) -> VertexKey:
        key = (*_round(xy), top)
        if key not in self.vertices:
            self.vertices[key] = self.made.vertex(place)
        return key

    def _add(
        self, first: VertexKey, last: VertexKey, edge: Edge | None = None, bulge: float = 0.0
    ) -> tuple[int, bool]:
        pair = (self.vertices[first], self.vertices[last])
        made = self.made.segment(*pair) if edge is None else self.made.edge(edge)
        self.edges[first, last, round(bulge, KEY_DIGITS)] = made
        return made, True

    def _known(
        self, first: VertexKey, last: VertexKey, bulge: float = 0.0
    ) -> tuple[int, bool] | None:
        # two half circles share both ends and differ in their bulge only
        b = round(bulge, KEY_DIGITS) + 0.0
        if (first, last, b) in self.edges:
            return self.edges[first, last, b], True
        if (last, first, -b + 0.0) in self.edges:
            return self.edges[last, first, -b + 0.0], False
        return None

    def _edge_at(self, s: Segment, top: bool) -> tuple[int, bool]:
        """The edge made for a segment."""
        found = self._known((*_round(s.start), top), (*_round(s.end), top))
        if found is None:
            raise Refused("a bend's edge is missing")
        return found

    def _flat_edge(self, s: Segment, top: bool, frame: Array) -> tuple[int, bool]:
        z = 0.0 if top else -self.t
        first = self._vertex(s.start, top, _at(frame, s.start, z))
        last = self._vertex(s.end, top, _at(frame, s.end, z))
        found = self._known(first, last, s.bulge)
        if found is not None:
            return found
        if not s.is_arc:
            return self._add(first, last)
        out = (s.start - s.centre) / s.radius
        x = frame[:3, :3] @ np.array([*out, 0.0])
        ring = circle(_at(frame, s.centre, z), frame[:3, 2] * np.sign(s.sweep), x, s.radius)
        pair = (self.vertices[first], self.vertices[last])
        return self._add(first, last, Edge(*pair, ring, 0.0, abs(s.sweep)), s.bulge)

    def _bend_edge(
        self,
        s: Segment,
        top: bool,
        bend: Bend,
        point: Array,
        axis: Array,
        lines: set[frozenset[tuple[float, float]]],
    ) -> tuple[int, bool]:
        first = self._vertex(s.start, top, self._space(bend, s.start, top))
        last = self._vertex(s.end, top, self._space(bend, s.end, top))
        found = self._known(first, last)
        if found is not None:
            return found
        if _ends(s) in lines:
            return self._add(first, last)
        d = (s.end - s.start) / s.chord
        along = float(d @ bend.side)
        if s.is_arc or abs(abs(along) - 1.0) > SQUARE**2 + NOISE:
            raise Refused("an edge crosses a bend other than square to it")
        p = self.made.vertices[self.vertices[first]]
        centre = point + ((p - point) @ axis) * axis
        w = p - centre
        radius = float(np.linalg.norm(w))
        turn = abs(bend.angle) * s.chord / bend.width
        ring = circle(centre, axis * np.sign(along), w / radius, radius)
        pair = (self.vertices[first], self.vertices[last])
        return self._add(first, last, Edge(*pair, ring, 0.0, turn))

    def _post(self, xy: Array) -> int:
        key = _round(xy)
        if key not in self.posts:
            low, high = self.vertices[(*key, False)], self.vertices[(*key, True)]
            self.posts[key] = self.made.segment(low, high)
        return self.posts[key]


def _at(frame: Array, xy: Array | tuple[float, float], z: float) -> Array:
    return np.asarray(frame[:3, :3] @ np.array([xy[0], xy[1], z]) + frame[:3, 3])


def _round(xy: Array) -> tuple[float, float]:
    return round(float(xy[0]), KEY_DIGITS) + 0.0, round(float(xy[1]), KEY_DIGITS) + 0.0


def _ends(s: Segment) -> frozenset[tuple[float, float]]:
    return frozenset((_round(s.start), _round(s.end)))


def _middle(bend: Bend) -> Array:
    """A point in the middle of a bend zone."""
    ends = bend.loop.vertices
    t = (ends - bend.edge) @ np.array([-bend.side[1], bend.side[0]])
    along = np.array([-bend.side[1], bend.side[0]])
    return np.asarray(bend.edge + bend.width / 2 * bend.side + t.mean() * along)
