"""The plan of an end face that drops: its ridges and veils, followed from place to place.

In the chart, the plane square to the tube, the end face is a map of countries, one to each surface
that rays end on. Round every corner of that map a small ring of rays tells which countries meet
there; each border between two of them is followed until it leaves the wall or something else comes
in, which is the next corner. A border is a ridge where both surfaces meet on it, and a veil where
one lies behind the other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import cos, sin, tau

import numpy as np

from cagekit.geometry.arrays import Array, Bools, Ints, Points2
from cagekit.geometry.contact import CylinderPiece, PlaneFace, TorusPiece, first_contact
from cagekit.geometry.end_cut import narrowing
from cagekit.solids.brep import (
    Edge,
    Face,
    Loop,
    PlaneSurface,
    Record,
    RuledSurface,
    SplineCurve,
)
from cagekit.solids.creases import (
    Crease,
    Refused,
    creases,
    crossing_points,
    distance,
    joint,
    meeting,
)
from cagekit.solids.ridges import GRAZE, Beside, next_pieces, write_ridge
from cagekit.solids.rims import FINE, EndRays, Rim, face_surface
from cagekit.solids.spline import DEGREE, fitted
from cagekit.solids.veils import Divide, Silhouette, Spine, Veil, turn
from cagekit.units.tolerance import (
    ANGLE_ROUNDING,
    FLAT_POINT,
    MICRON,
    NOISE,
    SAME_ANGLE,
    SAME_POINT,
    TENTH_MICRON,
)

RING = 0.004
"""Radius (mm) of the ring of rays round a corner."""
RAYS = 240
"""Rays of that ring."""
STEP = 0.4
"""Largest step along a border, mm."""
HALVINGS = 36
"""How often the last step before a corner is halved."""
LEVEL = MICRON
"""Depths (mm) at one place that differ by less are one."""
CLOSE = 0.02
"""Distance (mm) from a veil at which a border may have met it."""
AT_CORNER = 0.02
"""Distance (mm) within which a border that leaves the wall must find its corner on the rim."""
OVER = 2 * SAME_POINT
"""By how much (mm) a ray must end before a ridge for something to cover it."""
HEADROOM = 30.0
"""How far the surface of a veil goes on above its crest and below its foot, mm."""
MOST = 80
"""Borders of an end face at the most."""


@dataclass(slots=True, eq=False)
class Border:
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


@dataclass(slots=True, eq=False)
class MapCorner:
    """A corner of the map, with the vertices that stand on it, by depth."""

    spot: Array
    levels: list[tuple[float, int]]
    on_rim: bool = False
    borders: list[Border] = field(default_factory=list)


@dataclass(frozen=True, slots=True, eq=False)
class DrawnBorder:
    """A border between two places, written: edges and vertices of its left and right country."""

    border: Border
    left: tuple[tuple[int, ...], int, int]
    right: tuple[tuple[int, ...], int, int]
    leave: float
    """Bearing in which it sets out, in a map where the angle runs right and the radius up."""
    back: float
    """Bearing from its end back along it, likewise."""
    turn: float
    """How far it goes round the tube, rad."""


@dataclass(frozen=True, slots=True, eq=False)
class VeilWall:
    """A veil between two places: edges and vertices of its crest and its foot."""

    first: MapCorner
    last: MapCorner
    crest: tuple[tuple[int, ...], tuple[int, int]]
    foot: tuple[tuple[int, ...], tuple[int, int]]
    surface: PlaneSurface | RuledSurface
    turned: bool
    """Whether the loop over the foot and back along the crest runs against its normal."""
    same_sense: bool


class Plan:
    """Draws the map of one end."""

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
        self.walls: list[VeilWall] = []

    def draw(self) -> list[DrawnBorder]:
        """Follow every border; writes ridges and veils.

        Raises:
            Refused: a border gets lost.
        """
        for place in self.places:
            place.borders = self._borders(place)
        for _ in range(MOST):
            found = next(((p, b) for p in self.places for b in p.borders if not b.drawn), None)
            if found is None:
                return self.drawn
            place, border = found
            border.drawn = True
            if border.is_veil or self._goes_on(border):
                self._follow_veil(place, border)
            else:
                self._follow_ridge(place, border)
        raise Refused("an end face has too many borders")

    # -- places --------------------------------------------------------------------------------

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

    def _contact(self, spots: Points2) -> tuple[Array, Ints]:
        return self.rays.contact(
            np.arctan2(spots[:, 1], spots[:, 0]), np.hypot(spots[:, 0], spots[:, 1])
        )

    def _inside(self, spots: Points2) -> Bools:
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
        inside = self._inside(ring(angle))
        both = inside[:-1] & inside[1:]
        out: list[Border] = []
        found = np.full(len(angle), -1)
        found[inside] = self._contact(ring(angle[inside]))[1]
        change = np.nonzero(both & (found[:-1] != found[1:]))[0]
        low, high = angle[change], angle[change + 1]
        first, last = found[change], found[change + 1]

        while len(low):
            at, past, here = self._first_change(ring, low, high, first)
            for a, k, n in zip(at.tolist(), first.tolist(), here.tolist(), strict=True):
                sides = ring(np.array([a - ANGLE_ROUNDING, a + ANGLE_ROUNDING]))
                s, _ = self._contact(sides)
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
                _, active = self._contact(ring(grid.ravel()))
                grid = search.send(active.reshape(grid.shape))
        except StopIteration as end:
            return end.value  # type: ignore[no-any-return]

    def _level(self, place: MapCorner, k: int) -> int:
        """The vertex of a place at which the country of surface ``k`` has its corner."""
        depth = self._depth(place.spot, k)
        near = min(place.levels, key=lambda q: abs(q[0] - depth), default=None)
        if near is not None and abs(near[0] - depth) < LEVEL:
            return near[1]
        if place.on_rim:
            raise Refused("a border ends beside its corner")
        v = self.record.vertex(self.chart.points(place.spot[None], np.array([depth]))[0])
        place.levels.append((depth, v))
        return v

    def _depth(self, spot: Array, k: int) -> float:
        """Depth (mm) of a surface at a place; on its silhouette where the ray touches it."""
        spine = self.spines[k] if k < self.count else None
        if spine is not None and abs(float(spine.gap(spot[None])[0][0])) < FLAT_POINT:
            t = spine.nearest(spot[None])
            return float(self.rays.depth(spine.points(t))[0])
        phi, rho = np.arctan2(spot[1:], spot[:1]), np.hypot(spot[:1], spot[1:])
        return float(self.rays.depth(self.rays.points(phi, rho, k))[0])

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

    def _place(self, spot: Array) -> MapCorner:
        """The place at a spot of the chart: one already found, or a new one."""
        for p in self.places:
            if float(np.hypot(*(p.spot - spot))) < (MICRON if p.on_rim else FLAT_POINT):
                return p
        new = MapCorner(spot, [])
        new.borders = self._borders(new)
        self.places.append(new)
        return new

    def _rim_place(self, spot: Array, border: Border) -> MapCorner:
        """The corner on a rim at which a border leaves the wall."""
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

    # -- ridges --------------------------------------------------------------------------------

    def _follow_ridge(self, place: MapCorner, border: Border) -> None:
        curve, track = self._set_out(place, border)
        pair = frozenset((border.left, border.right))
        crossings = self._crossings(pair)
        step = 4 * RING
        while len(track) < 900:
            here = track[-1]
            heading = here - track[-2]
            heading = heading / float(np.sqrt(heading @ heading))
            for spot in crossings:
                ahead = spot - here
                far = float(np.sqrt(ahead @ ahead))
                if TENTH_MICRON < far < 1.5 * step and float(ahead @ heading) > 0.8 * far:
                    self._end_ridge(place, border, curve, track, spot)
                    return
            there = curve.settle((here + step * heading)[None])[0]
            moved = there - here
            size = float(np.sqrt(moved @ moved))
            if not 0.5 * step < size < 2 * step or float(moved @ heading) < 0.7 * size:
                step /= 2
                if step < TENTH_MICRON:
                    raise Refused("a ridge jumps")
                continue
            if self._stopped(there, pair) is not None:
                good, bad = self._halved(curve, here, there, pair)
                if float(np.linalg.norm(good - track[-1])) > FLAT_POINT:
                    track.append(good)
                self._end_ridge(place, border, curve, track, self._met(curve, pair, good, bad))
                return
            track.append(there)
            step = min(1.6 * step, STEP)
        raise Refused("a ridge does not end")

    def _set_out(self, place: MapCorner, border: Border) -> tuple[Crease, list[Array]]:
        """The curve of a ridge, and its first two points."""
        start = self.record.vertices[self._level(place, border.left)]
        there = self.chart.points(border.near[None], np.array(border.depths[:1]))
        left, right = (self.rays.surfaces[k] for k in (border.left, border.right))
        best = None
        for curve in creases(left, right, start):
            point = curve.settle(there)[0]
            off = float(np.linalg.norm(point - there[0]))
            if best is None or off < best[0]:
                best = off, curve, point
        assert best is not None
        if best[0] > RING:
            raise Refused("a ridge does not set out from its corner")
        return best[1], [start, best[2]]

    def _crossings(self, pair: frozenset[int]) -> list[Array]:
        i, j = sorted(pair)
        spots = crossing_points(self.rays.surfaces[i], self.rays.surfaces[j], self.rays.node)
        return [
            s for s in spots
            if self._inside(self.chart.flat(s[None]))[0]
            and float(self._contact(self.chart.flat(s[None]))[0][0] - self.rays.depth(s[None])[0])
            < MICRON
        ]  # fmt: skip

    def _stopped(self, point: Array, pair: frozenset[int]) -> int | None:
        """What ends a ridge before a point of it: a surface's index, -1 for the wall's end."""
        spot = self.chart.flat(point[None])
        if not self._inside(spot)[0]:
            return -1
        for k in pair:
            for n in next_pieces(self.rays, k):
                if n in pair:
                    continue
                plane = joint(self.rays.surfaces[k], self.rays.surfaces[n])
                ahead = float((point - plane.point) @ plane.normal)
                if (ahead > 0) == (self.rays.surfaces[n].piece > self.rays.surfaces[k].piece):
                    return n
        s, active = self._contact(spot)
        if float(s[0] - self.rays.depth(point[None])[0]) > OVER:
            return int(active[0])
        beside = min(pair) >= self.count and int(active[0]) not in pair
        return int(active[0]) if beside else None

    def _halved(
        self, curve: Crease, good: Array, bad: Array, pair: frozenset[int]
    ) -> tuple[Array, Array]:
        """Close in on where a ridge ends: the last point of it and the first beyond."""
        for _ in range(HALVINGS):
            middle = curve.settle(0.5 * (good + bad)[None])[0]
            if self._stopped(middle, pair) is None:
                good = middle
            else:
                bad = middle
        return good, bad

    def _met(self, curve: Crease, pair: frozenset[int], good: Array, bad: Array) -> Array:
        """The exact end of a ridge, ``(3,)``, near its last point ``good``."""
        third = self._stopped(bad, pair)
        i, j = sorted(pair)
        first, second = curve.first, curve.second
        if third is None or third < 0:
            return good
        spot = self.chart.flat(good[None])
        if third in pair:
            other = self.rays.surfaces[i if third == j else j]
            veil = self._near_veil(spot[0], {third})
            return self._on_crest(veil, spot[0], other)
        beside = [k for k in pair if third in next_pieces(self.rays, k)]
        if beside:
            limit = joint(self.rays.surfaces[beside[0]], self.rays.surfaces[third])
            return meeting((first, second, limit), good, within=REACH)
        s, _ = self._contact(self.chart.flat(bad[None]))
        if float(s[0] - self.rays.depth(bad[None])[0]) < LEVEL:
            return meeting((first, second, self.rays.surfaces[third]), good, within=REACH)
        if third >= self.count:
            divide = self._divide(i, third, spot[0])
            return meeting((first, second, divide), good, within=REACH)
        return meeting((first, second, self._near_veil(spot[0], {third})), good, within=REACH)

    def _near_veil(self, spot: Array, of: set[int]) -> Silhouette:
        """The silhouette of one of these surfaces that passes a spot."""
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

    def _on_crest(self, veil: Silhouette, spot: Array, other: object) -> Array:
        """Where the crest of a veil runs through another surface, ``(3,)``."""

        def off(t: float) -> float:
            return float(distance(other, veil.crest(np.array([t])))[0][0])  # type: ignore[arg-type]

        t = _root(off, veil.parameter(spot), CLOSE / veil.pace(veil.parameter(spot)))
        return np.asarray(veil.crest(np.array([t]))[0])

    def _end_ridge(
        self, place: MapCorner, border: Border, curve: Crease, track: list[Array], end: Array
    ) -> None:
        spot = self.chart.flat(end[None])[0]
        if not self._inside(self.chart.flat(track[-1][None]))[0] or self._at_rim(spot):
            last = self._rim_place(spot, border)
        else:
            last = self._place(spot)
        v, w = self._level(place, border.left), self._level(last, border.left)
        if float(np.linalg.norm(track[-1] - self.record.vertices[w])) < TENTH_MICRON:
            track = track[:-1]
        line = np.array([*track, self.record.vertices[w]])
        beside = self._beside(border)
        edges = write_ridge(self.record, curve, beside, line, (v, w))
        self._note(place, last, border, self.chart.flat(line), (edges, v, w), (edges, v, w))

    def _at_rim(self, spot: Array) -> bool:
        rho = float(np.hypot(*spot))
        return min(abs(rho - r) for r in self.rays.radii) < SAME_POINT

    def _beside(self, border: Border) -> Beside:
        pair = sorted((border.left, border.right))
        return tuple(face_surface(self.rays, self.rays.surfaces[k])[0] for k in pair)

    def _note(
        self,
        first: MapCorner,
        last: MapCorner,
        border: Border,
        line: Points2,
        left: tuple[tuple[int, ...], int, int],
        right: tuple[tuple[int, ...], int, int],
    ) -> None:
        self._keep_off(line)
        way = line[-2] - line[-1]
        self._arrive(border, last, way)
        phi = np.unwrap(np.arctan2(line[:, 1], line[:, 0]))
        leave, back = _bearing(line[0], line[1] - line[0]), _bearing(line[-1], way)
        self.drawn.append(DrawnBorder(border, left, right, leave, back, float(phi[-1] - phi[0])))

    def _keep_off(self, line: Points2) -> None:
        """Refuse a border that turns round just beside a rim: the face would touch itself."""
        outer, inner = self.rays.radii
        rho = np.hypot(line[:, 0], line[:, 1])
        k = np.arange(1, len(rho) - 1)
        low = (rho[k] < rho[k - 1]) & (rho[k] <= rho[k + 1]) & (rho[k] < inner + GRAZE)
        high = (rho[k] > rho[k - 1]) & (rho[k] >= rho[k + 1]) & (rho[k] > outer - GRAZE)
        if low.any() or high.any():
            raise Refused("a ridge grazes a rim")

    # -- veils ---------------------------------------------------------------------------------

    def _veil(self, place: MapCorner, border: Border) -> Veil:
        high, low = border.high, border.low
        if not border.is_veil:
            high = min(high, low)
        if high < self.count:
            return self._near_veil(place.spot, {high})
        return self._divide(high, low, place.spot)

    def _divide(self, one: int, other: int, spot: Array) -> Divide:
        """The veil through a spot between what two copes go on along."""
        owners = [self._parent(k) for k in (one, other)]
        spines = [self.spines[k] if k is not None else None for k in owners]
        if spines[0] is None or spines[1] is None:
            raise Refused("an end face jumps where no parent ends")
        return Divide.through(spines[0], spines[1], spot)

    def _goes_on(self, border: Border) -> bool:
        """Tell whether a border is a silhouette beside which the cope goes on."""
        pair = border.left, border.right
        return any(a < self.count and self.rays.closures[a] == b for a, b in (pair, pair[::-1]))

    def _parent(self, k: int) -> int | None:
        """The contact surface beside which closure ``k`` goes on."""
        return self.rays.closures.index(k) if k >= self.count else None

    def _follow_veil(self, place: MapCorner, border: Border) -> None:
        veil = self._veil(place, border)
        start = veil.parameter(place.spot)
        ahead = veil.spots(np.array([start + MICRON / veil.pace(start)]))[0] - place.spot
        way = np.array([cos(border.bearing), sin(border.bearing)])
        sense = 1.0 if float(ahead @ way) > 0 else -1.0
        unit_ = sense / veil.pace(start)
        limit = veil.ends[1] if sense > 0 else veil.ends[0]
        size = float(np.hypot(*(border.near - place.spot)))
        outer = self.rays.radii[0]
        steps = np.concatenate([[size], np.arange(1, int(2.2 * outer / STEP)) * STEP + size])
        t = start + unit_ * steps
        past = (t - limit) * sense > 0
        state = self._state(veil, border)
        kinds = state(t)
        kinds = np.where(past, PAST, kinds)
        behind = border.low if border.is_veil else MISSED
        other = np.nonzero(kinds != behind)[0]
        if not len(other):
            raise Refused("a veil does not end")
        k = int(other[0])
        if k == 0:
            raise Refused("a veil ends where it begins")
        good, bad = float(t[k - 1]), float(t[k])
        for _ in range(HALVINGS):
            middle = 0.5 * (good + bad)
            beyond = (middle - limit) * sense > 0
            if not beyond and int(state(np.array([middle]))[0]) == behind:
                good = middle
            else:
                bad = middle
        what = PAST if (bad - limit) * sense > 0 else int(state(np.array([bad]))[0])
        end = self._veil_end(veil, border, good, bad, what, limit)
        inner_t = np.array([x for x in t[:k].tolist() if (end - x) * sense > SAME_ANGLE])
        run = np.concatenate([[start], inner_t, [end]])
        self._write_veil(place, border, veil, run, what)

    def _state(self, veil: Veil, border: Border) -> Callable[[Array], Ints]:
        """What lies behind a veil at parameters ``(n,)``: a surface, or what ends it."""

        def behind(t: Array) -> Ints:
            spots = veil.spots(t)
            inside = self._inside(spots)
            out = np.full(len(t), OUTSIDE)
            if not inside.any():
                return out
            if isinstance(veil, Divide):
                active = self._contact(spots[inside])[1]
                pair = (active == border.high) | (active == border.low)
                out[inside] = np.where(pair, border.low, active)
                return out
            s, kind = self._others(border.high, spots[inside])
            top = self.rays.depth(veil.crest(t[inside]))
            out[inside] = np.where((kind >= 0) & (s > top), COVERED, kind)
            return out

        return behind

    def _others(self, k: int, spots: Points2) -> tuple[Array, Ints]:
        """Depths and surfaces that rays end on if the parent of surface ``k`` is away."""
        owner = self.rays.surfaces[k].owner
        others = [n for n in range(self.count) if self.rays.surfaces[n].owner != owner]
        if not others:
            return np.zeros(len(spots)), np.full(len(spots), MISSED)
        c = first_contact(
            [self.cut.surfaces[n] for n in others],
            self.chart.points(spots, np.zeros(len(spots))),
            self.rays.inward,
            [self.cut.windows[n] for n in others],
        )
        return c.s, np.where(c.ok, np.asarray(others)[c.active], MISSED)

    def _veil_end(
        self, veil: Veil, border: Border, good: float, bad: float, what: int, limit: float
    ) -> float:
        """The exact parameter at which a veil ends or changes, between ``good`` and ``bad``."""
        if what == PAST:
            return limit
        if what == OUTSIDE:
            return self._rim_crossing(veil, good, bad)
        span = CLOSE / veil.pace(good)
        spot = veil.spots(np.array([good]))[0]
        if isinstance(veil, Divide):
            return self._divide_end(veil, border, good, what, span)
        after = veil.spots(np.array([bad]))
        if what == COVERED:
            s, found = self._others(border.high, after)
            cover = int(found[0])
            top = float(self.rays.depth(veil.crest(np.array([bad])))[0])
            if float(s[0]) - top > LEVEL:
                return self._through(veil, self._near_veil(spot, {cover}), good, span)
            low = self.rays.surfaces[cover]
            return _root(
                lambda t: float(distance(low, veil.crest(np.array([t])))[0][0]), good, span
            )
        if not border.is_veil:
            return self._through(veil, self._near_veil(spot, {what}), good, span)
        if what == MISSED:
            return self._through(veil, self._near_veil(spot, {border.low}), good, span)
        before = self._depth(spot, border.low)
        beyond = self._depth(after[0], what)
        if abs(before - beyond) > LEVEL:
            front = border.low if before > beyond else what
            return self._through(veil, self._near_veil(spot, {front}), good, span)
        a, b = self.rays.surfaces[border.low], self.rays.surfaces[what]
        if a.owner == b.owner and what in next_pieces(self.rays, border.low):
            limit_ = joint(a, b)
            near = self._solve_at(spot, border.low)
            third = meeting((a, limit_, veil), near, within=REACH)
        else:
            third = meeting((a, b, veil), self._solve_at(spot, border.low), within=REACH)
        return veil.parameter(self.chart.flat(third[None])[0])

    def _solve_at(self, spot: Array, k: int) -> Array:
        depth = np.array([self._depth(spot, k)])
        return np.asarray(self.chart.points(spot[None], depth)[0])

    def _divide_end(
        self, veil: Divide, border: Border, good: float, what: int, span: float
    ) -> float:
        if what >= self.count:
            k = self._parent(what)
            spine = None if k is None else self.spines[k]
            if spine is None:
                raise Refused("three parents pass the tube at one place")

            def off(t: float) -> float:
                q = veil.spots(np.array([t]))
                return float(veil.first.gap(q)[0][0] - spine.gap(q)[0][0])

            return _root(off, good, span)
        return _root(lambda t: float(veil.first.gap(veil.spots(np.array([t])))[0][0]), good, span)

    def _through(self, veil: Silhouette, other: Silhouette, good: float, span: float) -> float:
        """Where one veil meets another."""
        return _root(lambda t: float(other.spine.gap(veil.spots(np.array([t])))[0][0]), good, span)

    def _rim_crossing(self, veil: Veil, good: float, bad: float) -> float:
        rho = float(np.hypot(*veil.spots(np.array([bad]))[0]))
        radius = min(self.rays.radii, key=lambda r: abs(r - rho))
        return _root(
            lambda t: float(np.hypot(*veil.spots(np.array([t]))[0])) - radius, good,
            AT_CORNER / veil.pace(good),
        )  # fmt: skip

    def _write_veil(
        self, place: MapCorner, border: Border, veil: Veil, run: Array, what: int
    ) -> None:
        spots = veil.spots(run)
        last = self._rim_place(spots[-1], border) if what == OUTSIDE else self._place(spots[-1])
        spots[0], spots[-1] = place.spot, last.spot
        high, low = border.high, border.low
        tops = self._level(place, high), self._level(last, high)
        if not border.is_veil:
            ridge = self._crest(veil, run, spots, tops, high)
            self._note(place, last, border, spots, (ridge, *tops), (ridge, *tops))
            return
        feet = self._level(place, low), self._level(last, low)
        surface = self._wall(veil, run, spots)
        ridge = self._crest(veil, run, spots, tops, high)
        sole = self._foot(veil, spots, feet, low)
        along = self.chart.lifted((spots[-1] - spots[0])[None])[0]
        turned = float(np.cross(along, self.rays.inward) @ self._left(spots)) < 0
        self.walls.append(
            VeilWall(
                place, last, (ridge, tops), (sole, feet), surface, turned, border.left == high
            )
        )  # fmt: skip
        sides = {high: (ridge, *tops), low: (sole, *feet)}
        self._note(place, last, border, spots, sides[border.left], sides[border.right])

    def _wall(self, veil: Veil, run: Array, spots: Points2) -> PlaneSurface | RuledSurface:
        """The surface of a veil; its normal points to the left of the way along it."""
        along = self.chart.lifted((spots[-1] - spots[0])[None])[0]
        left = self._left(spots)
        if veil.is_flat:
            origin = self.chart.points(spots[:1], np.zeros(1))[0]
            return PlaneSurface(origin, left, self.rays.inward)
        fit = fitted(lambda u: self.chart.points(_along(veil, run, u), np.zeros(len(u))), FINE)
        flat = SplineCurve(DEGREE, fit.poles, fit.tool.knots, fit.tool.multiplicities)
        depths = self._depths(spots)
        room = float(np.ptp(depths)) + HEADROOM
        way = room if float(np.cross(along, self.rays.inward) @ left) > 0 else -room
        low, high = (
            replace(flat, poles=flat.poles + (float(depths.mean()) + s) * self.rays.inward)
            for s in (-way, way)
        )
        return RuledSurface(low, high)

    def _left(self, spots: Points2) -> Array:
        """Unit vector to the left of the way from the first of some spots to the last."""
        along = spots[-1] - spots[0]
        left = self.chart.lifted(np.array([[-along[1], along[0]]]))[0]
        return np.asarray(left / float(np.sqrt(left @ left)))

    def _depths(self, spots: Points2) -> Array:
        """Depths of all vertices at the two ends of a border."""
        return np.array(
            [
                s for p in self.places for s, _ in p.levels
                if min(float(np.hypot(*(p.spot - q))) for q in spots[[0, -1]]) < MICRON
            ]
        )  # fmt: skip

    def _crest(
        self, veil: Veil, run: Array, spots: Points2, ends: tuple[int, int], high: int
    ) -> tuple[int, ...]:
        if veil.is_flat:
            return (self.record.segment(*ends),)
        if isinstance(veil, Divide):
            return self._foot(veil, spots, ends, high)
        silhouette = veil
        fit = fitted(lambda u: silhouette.crest(run[0] + u * (run[-1] - run[0])), FINE)
        tips = np.array([self.record.vertices[v] for v in ends])
        off = float(np.linalg.norm(fit.poles[[0, -1]] - tips, axis=1).max())
        if max(off, fit.off) > MICRON:
            raise Refused(f"a silhouette misses its corner by {off:.2g} mm")
        spline = SplineCurve(DEGREE, fit.poles, fit.tool.knots, fit.tool.multiplicities)
        tol = max(SAME_POINT, 2 * off, 4 * fit.off)
        return (self.record.edge(Edge(*ends, spline, 0.0, 1.0, tol)),)

    def _foot(self, veil: Veil, spots: Points2, ends: tuple[int, int], low: int) -> tuple[int, ...]:
        surface = self.rays.surfaces[low]
        if isinstance(surface, PlaneFace) and veil.is_flat:
            return (self.record.segment(*ends),)
        phi, rho = np.arctan2(spots[:, 1], spots[:, 0]), np.hypot(spots[:, 0], spots[:, 1])
        line = self.rays.points(phi, rho, low)
        line[0], line[-1] = (self.record.vertices[v] for v in ends)
        plane = PlaneFace(
            owner="", point=self.chart.points(spots[:1], np.zeros(1))[0], normal=self._left(spots)
        )
        curve = Crease(surface, plane if veil.is_flat else veil)
        beside = (face_surface(self.rays, surface)[0],)
        if len(line) < 3:
            middle = 0.5 * (spots[0] + spots[-1])
            line = np.array([line[0], self._solve_at(middle, low), line[-1]])
        return write_ridge(self.record, curve, beside, line, ends)

    def veils(self) -> list[Face]:
        """The faces of all veils, once every border is drawn: foot, crest, posts at both ends."""
        out = []
        for w in self.walls:
            ahead = [(e, True) for e in w.foot[0]]
            back = [(e, False) for e in reversed(w.crest[0])]
            rise = self._post(w.last, w.foot[1][1], w.crest[1][1])
            fall = self._post(w.first, w.crest[1][0], w.foot[1][0])
            loop: Loop = (*ahead, *rise, *back, *fall)
            if w.turned:
                loop = tuple((e, not forward) for e, forward in reversed(loop))
            out.append(Face(w.surface, w.same_sense, (loop,)))
        return out

    def _post(self, place: MapCorner, start: int, stop: int) -> list[tuple[int, bool]]:
        """Edges along the tube from one vertex of a place to another."""
        order = [v for _, v in sorted(place.levels)]
        i, j = order.index(start), order.index(stop)
        path = order[i : j + 1] if i <= j else order[j : i + 1][::-1]
        out = []
        for v, w in pairwise(path):
            if (v, w) in self.posts:
                out.append((self.posts[v, w], True))
            elif (w, v) in self.posts:
                out.append((self.posts[w, v], False))
            else:
                self.posts[v, w] = self.record.segment(v, w)
                out.append((self.posts[v, w], True))
        return out


OUTSIDE, COVERED, MISSED, PAST = -2, -3, -4, -5
"""What ends a veil: a rim, something in front of it, nothing behind it, the end of its piece."""
REACH = 5 * CLOSE
"""How far from where a search begins three surfaces may meet, mm."""


def _along(veil: Veil, run: Array, u: Array) -> Points2:
    """Places of a veil at shares ``(n,)`` of the way from end to end."""
    return veil.spots(run[0] + u * (run[-1] - run[0]))


def _bearing(spot: Array, way: Array) -> float:
    """Direction of ``way`` at a spot of the chart, from round the tube to outwards, rad."""
    x, y = spot / float(np.hypot(*spot))
    return float(np.arctan2(way[0] * x + way[1] * y, way[1] * x - way[0] * y))


def _root(off: Callable[[float], float], guess: float, span: float) -> float:
    """A root near a guess, by secants; Refused when there is none within ``span``."""
    a, b = guess, guess + span / 1000
    fa, fb = off(a), off(b)
    for _ in range(60):
        if abs(fb) < NOISE or fb == fa:
            break
        c = b - fb * (b - a) / (fb - fa)
        if not abs(c - guess) < span:
            raise Refused("a border of the end face gets lost")
        a, fa, b, fb = b, fb, c, off(c)
        if abs(b - a) < NOISE:
            break
    if abs(fb) > TENTH_MICRON:
        raise Refused("a border of the end face gets lost")
    return b
