"""The plan of an end face: its places, and what of its ridges and veils sets out from them.

In the chart, the plane square to the tube, the end face is a map of countries, one to each surface
that rays end on. Round every corner of that map a small ring of rays tells which countries meet
there; each border between two of them is followed until it leaves the wall or something else comes
in, which is the next corner. A border is a ridge where both surfaces meet on it, and a veil where
one lies behind the other.
"""

from __future__ import annotations

from collections.abc import Callable
from math import cos, sin, tau

import numpy as np
from msgspec import Struct, field

from cagekit.geometry.arrays import Array, Bools, Ints, Points2
from cagekit.geometry.contact import CylinderPiece, TorusPiece
from cagekit.geometry.end_cut import narrowing
from cagekit.solids.brep import Record
from cagekit.solids.creases import Refused
from cagekit.solids.rims import EndRays, Rim
from cagekit.solids.veils import Divide, Silhouette, Spine, turn
from cagekit.units.tolerance import ANGLE_ROUNDING, FLAT_POINT, MICRON, SAME_ANGLE, TENTH_MICRON

RING = 0.004
"""Radius (mm) of the ring of rays round a corner."""
RAYS = 240
"""Rays of that ring."""
GRAZE = 0.01
"""Distance (mm) from a rim within which a border must not turn round."""
LEVEL = MICRON
"""Depths (mm) at one place that differ by less are one."""
CLOSE = 0.02
"""Distance (mm) from a veil at which a border may have met it."""
REACH = 5 * CLOSE
"""How far from where a search begins three surfaces may meet, mm."""
AT_CORNER = 0.02
"""Distance (mm) within which a border that leaves the wall must find its corner on the rim."""


class Border(Struct, eq=False):
    """A border that sets out from a place.

    ``left`` and ``right`` are the countries' surfaces, seen along it in the chart, and ``depths``
    their depths where it crosses the ring at ``near``.
    """

    bearing: float
    left: int
    right: int
    near: Array
    depths: tuple[float, float]
    drawn: bool = False

    @property
    def is_veil(self) -> bool:
        """Tell whether one country lies behind the other."""
        return abs(self.depths[0] - self.depths[1]) > FLAT_POINT

    @property
    def high(self) -> int:
        """The surface in front; on a ridge the left one."""
        return self.left if self.depths[0] >= self.depths[1] else self.right

    @property
    def low(self) -> int:
        """The surface behind."""
        return self.right if self.depths[0] >= self.depths[1] else self.left


class MapCorner(Struct, eq=False):
    """A corner of the map, with the vertices that stand on it, by depth."""

    spot: Array
    levels: list[tuple[float, int]]
    on_rim: bool = False
    borders: list[Border] = field(default_factory=list)


BorderSide = tuple[tuple[int, ...], int, int]
"""Edges, first and last vertex of one side of a border."""


class DrawnBorder(Struct, frozen=True, eq=False):
    """A border between two places, written: edges and vertices of its left and right country."""

    border: Border
    left: BorderSide
    right: BorderSide
    leave: float
    """Bearing in which it sets out, in a map where the angle runs right and the radius up."""
    back: float
    """Bearing from its end back along it, likewise."""
    turn: float
    """How far it goes round the tube, rad."""


class Plan:
    """The map of one end: its places, what sets out from them, and what of that is drawn."""

    def __init__(self, record: Record, rays: EndRays, rims: tuple[Rim, Rim]) -> None:
        self.record, self.rays, self.rims = record, rays, rims
        self.chart = rays.plane
        self.cut = rays.cut
        self.count = rays.cut.count
        spines = (self._spine(k) for k in range(self.count))
        self.spines: list[Spine | None] = list(spines)
        self.posts: dict[tuple[int, int], int] = {}
        self.places = self._on_rims()
        self.drawn: list[DrawnBorder] = []
        for place in self.places:
            place.borders = self._borders(place)

    def next_border(self) -> tuple[MapCorner, Border] | None:
        """A border that is to be drawn, which counts as drawn now, and where it sets out."""
        for place in self.places:
            for border in place.borders:
                if not border.drawn:
                    border.drawn = True
                    return place, border
        return None

    def _spine(self, k: int) -> Spine | None:
        s = self.rays.surfaces[k]
        return Spine(self.chart, s) if isinstance(s, CylinderPiece | TorusPiece) else None

    def _on_rims(self) -> list[MapCorner]:
        out = []
        for rim in self.rims:
            for i, arc in enumerate(rim.arcs):
                if rim.arcs[i - 1].surface == arc.surface:
                    continue
                ends = dict.fromkeys((rim.starts[i], rim.stops[i - 1]))
                points = np.array([self.record.vertices[v] for v in ends])
                levels = list(zip(self.rays.depth(points).tolist(), ends, strict=True))
                if len(levels) == 2:
                    self.posts[rim.stops[i - 1], rim.starts[i]] = rim.steps[i]
                spot = rim.radius * np.array([cos(arc.start), sin(arc.start)])
                out.append(MapCorner(spot, levels, on_rim=True))
        return out

    def contact(self, spots: Points2) -> tuple[Array, Ints]:
        """Depths (mm) and surfaces that rays at places ``(n, 2)`` end on."""
        return self.rays.contact(
            np.arctan2(spots[:, 1], spots[:, 0]), np.hypot(spots[:, 0], spots[:, 1])
        )

    def inside(self, spots: Points2) -> Bools:
        """Tell which places ``(n, 2)`` lie in the wall."""
        rho = np.hypot(spots[:, 0], spots[:, 1])
        outer, inner = self.rays.radii
        return np.asarray((rho > inner) & (rho < outer))

    def _borders(self, place: MapCorner) -> list[Border]:
        """What sets out from a place into the wall, by a ring of rays round it."""
        others = [float(np.hypot(*(p.spot - place.spot))) for p in self.places if p is not place]
        rho = float(np.hypot(*place.spot))
        outer, inner = self.rays.radii
        room = [RING, *(0.3 * d for d in others)]
        if not place.on_rim:
            room += [0.5 * (outer - rho), 0.5 * (rho - inner)]
        size = max(min(room), TENTH_MICRON)

        def ring(angle: Array) -> Points2:
            return np.asarray(place.spot + size * np.stack([np.cos(angle), np.sin(angle)], axis=-1))

        angle = np.arange(RAYS + 1) * tau / RAYS + 0.0137
        inside = self.inside(ring(angle))
        both = inside[:-1] & inside[1:]
        out: list[Border] = []
        found = np.full(len(angle), -1)
        found[inside] = self.contact(ring(angle[inside]))[1]
        change = np.nonzero(both & (found[:-1] != found[1:]))[0]
        low, high = angle[change], angle[change + 1]
        first, last = found[change], found[change + 1]

        while len(low):
            at, past, here = self._first_change(ring, low, high, first)
            for a, k, n in zip(at.tolist(), first.tolist(), here.tolist(), strict=True):
                sides = ring(np.array([a - ANGLE_ROUNDING, a + ANGLE_ROUNDING]))
                s, _ = self.contact(sides)
                near = ring(np.array([a]))[0]
                out.append(Border(a % tau, n, k, near, (float(s[1]), float(s[0]))))
            more = (here != last) & (high - past > SAME_ANGLE)
            low, high, first, last = past[more], high[more], here[more], last[more]
        return [b for b in out if b.left != b.right]

    def _first_change(
        self, ring: Callable[[Array], Points2], low: Array, high: Array, first: Ints
    ) -> tuple[Array, Array, Ints]:
        """Where rays of a ring first end on another surface; see :func:`narrowing`."""
        search = narrowing(low, high, first, rounds=8)
        grid = next(search)
        try:
            while True:
                _, active = self.contact(ring(grid.ravel()))
                grid = search.send(active.reshape(grid.shape))
        except StopIteration as end:
            return end.value  # type: ignore[no-any-return]

    def level(self, place: MapCorner, k: int) -> int:
        """The vertex of a place at which the country of surface ``k`` has its corner.

        Args:
            place: the place.
            k: index of the surface.

        Raises:
            Refused: none stands there on the rim.
        """
        depth = self.depth(place.spot, k)
        near = min(place.levels, key=lambda q: abs(q[0] - depth), default=None)
        if near is not None and abs(near[0] - depth) < LEVEL:
            return near[1]
        if place.on_rim:
            raise Refused("a border ends beside its corner")
        v = self.record.vertex(self.chart.points(place.spot[None], np.array([depth]))[0])
        place.levels.append((depth, v))
        return v

    def depth(self, spot: Array, k: int) -> float:
        """Depth (mm) of a surface at a place; on its silhouette where the ray touches it.

        Args:
            spot: the place, ``(2,)``.
            k: index of the surface.
        """
        spine = self.spines[k] if k < self.count else None
        if spine is not None and abs(float(spine.gap(spot[None])[0][0])) < FLAT_POINT:
            t = spine.nearest(spot[None])
            return float(self.rays.depth(spine.points(t))[0])
        phi, rho = np.arctan2(spot[1:], spot[:1]), np.hypot(spot[:1], spot[1:])
        return float(self.rays.depth(self.rays.points(phi, rho, k))[0])

    def point_on(self, spot: Array, k: int) -> Array:
        """The point of a surface at a place, ``(3,)``.

        Args:
            spot: the place, ``(2,)``.
            k: index of the surface.
        """
        depth = np.array([self.depth(spot, k)])
        return np.asarray(self.chart.points(spot[None], depth)[0])

    def _arrive(self, border: Border, place: MapCorner, way: Array) -> None:
        """Mark a border as drawn at its other end."""
        back = float(np.arctan2(way[1], way[0]))
        fit = [
            b for b in place.borders
            if not b.drawn and (b.left, b.right) == (border.right, border.left)
        ]  # fmt: skip
        if not fit:
            raise Refused("a border of the end face ends nowhere")
        best = min(fit, key=lambda b: turn(b.bearing, back))
        best.drawn = True

    def place(self, spot: Array) -> MapCorner:
        """The place at a spot of the chart: one already found, or a new one."""
        for p in self.places:
            if float(np.hypot(*(p.spot - spot))) < (MICRON if p.on_rim else FLAT_POINT):
                return p
        new = MapCorner(spot, [])
        new.borders = self._borders(new)
        self.places.append(new)
        return new

    def rim_place(self, spot: Array, border: Border) -> MapCorner:
        """The corner on a rim at which a border leaves the wall.

        Args:
            spot: where it does so, ``(2,)``.
            border: the border.

        Raises:
            Refused: there is none.
        """
        fit = [
            p for p in self.places
            if p.on_rim and any(
                not b.drawn and (b.left, b.right) == (border.right, border.left)
                for b in p.borders
            )
        ]  # fmt: skip
        if fit:
            best = min(fit, key=lambda p: float(np.hypot(*(p.spot - spot))))
            if float(np.hypot(*(best.spot - spot))) < AT_CORNER:
                return best
        raise Refused("a border of the end face leaves the wall beside its corner")

    def near_veil(self, spot: Array, of: set[int]) -> Silhouette:
        """The silhouette of one of these surfaces that passes a spot.

        Args:
            spot: the spot, ``(2,)``.
            of: indices of the surfaces.

        Raises:
            Refused: none passes it.
        """
        best = None
        for k in of:
            spine = self.spines[k]
            if spine is None:
                continue
            gap = abs(float(spine.gap(spot[None])[0][0]))
            if best is None or gap < best[0]:
                best = gap, self._silhouette(k, spot)
        if best is None or best[0] > CLOSE:
            raise Refused("a border of the end face meets nothing")
        return best[1]

    def _silhouette(self, k: int, spot: Array) -> Silhouette:
        """The silhouette of surface ``k`` on the side of a spot."""
        spine = self.spines[k]
        assert spine is not None
        t = spine.nearest(spot[None])
        w = spot - self.chart.flat(spine.points(t))[0]
        return Silhouette(spine, 1.0 if float(w @ spine.normals(t)[0]) > 0 else -1.0)

    def divide(self, one: int, other: int, spot: Array) -> Divide:
        """The veil through a spot between what two copes go on along.

        Args:
            one: index of the surface that one goes on along.
            other: that of the other.
            spot: the spot, ``(2,)``.

        Raises:
            Refused: one of them goes on beside no parent.
        """
        owners = [self.parent(k) for k in (one, other)]
        spines = [self.spines[k] if k is not None else None for k in owners]
        if spines[0] is None or spines[1] is None:
            raise Refused("an end face jumps where no parent ends")
        return Divide.through(spines[0], spines[1], spot)

    def parent(self, k: int) -> int | None:
        """The contact surface beside which closure ``k`` goes on."""
        return self.rays.closures.index(k) if k >= self.count else None

    def note(
        self,
        first: MapCorner,
        last: MapCorner,
        border: Border,
        line: Points2,
        sides: tuple[BorderSide, BorderSide],
    ) -> None:
        """Take a border as drawn.

        Args:
            first: where it sets out.
            last: where it ends.
            border: the border.
            line: places along it, ``(n, 2)``.
            sides: edges and vertices of its left and of its right country.

        Raises:
            Refused: it grazes a rim, or nothing is known of it where it ends.
        """
        self._keep_off(line)
        way = line[-2] - line[-1]
        self._arrive(border, last, way)
        phi = np.unwrap(np.arctan2(line[:, 1], line[:, 0]))
        leave, back = _bearing(line[0], line[1] - line[0]), _bearing(line[-1], way)
        self.drawn.append(DrawnBorder(border, *sides, leave, back, float(phi[-1] - phi[0])))

    def _keep_off(self, line: Points2) -> None:
        """Refuse a border that turns round just beside a rim: the face would touch itself."""
        outer, inner = self.rays.radii
        rho = np.hypot(line[:, 0], line[:, 1])
        k = np.arange(1, len(rho) - 1)
        low = (rho[k] < rho[k - 1]) & (rho[k] <= rho[k + 1]) & (rho[k] < inner + GRAZE)
        high = (rho[k] > rho[k - 1]) & (rho[k] >= rho[k + 1]) & (rho[k] > outer - GRAZE)
        if low.any() or high.any():
            raise Refused("a ridge grazes a rim")


def _bearing(spot: Array, way: Array) -> float:
    """Direction of ``way`` at a spot of the chart, from round the tube to outwards, rad."""
    x, y = spot / float(np.hypot(*spot))
    return float(np.arctan2(way[0] * x + way[1] * y, way[1] * x - way[0] * y))
