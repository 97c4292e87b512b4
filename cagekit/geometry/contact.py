"""First contact of straight rays with the outside of parent tubes and planes.

A parent tube is a union of solid pieces: a cylinder per straight, a torus sector per bend. A ray
runs ``origin + s * direction`` with the direction pointing from the node back into the branch;
its *contact* is the largest s at which it leaves a parent, which is where the branch's wall
starts when it is pushed down that ray until it touches. Frame: car axes, mm, rad.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from math import inf, sqrt
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from cagekit.geometry.arrays import Array, Bools, Ints, Points, cross3, dot_columns
from cagekit.geometry.centre_line import Arc, CentreLine, PathPiece, Vec, unit, vec
from cagekit.geometry.torus import RaysAtBends, Toruses
from cagekit.units.tolerance import (
    EXACT_EDGE,
    KERNEL_POINT,
    LAST_ANGLE,
    NO_LENGTH,
    NOISE,
    ROUNDING,
)

Window = tuple[float, float]

TOUCH = EXACT_EDGE
"""A ray that passes a surface by less than this (mm) is tangent to it."""
RANGE_TOL = KERNEL_POINT
"""Overlap (mm along the axis) of pieces that follow each other, so that no ray falls between."""


class Solution(NamedTuple):
    """What each of n rays does at one surface, arrays ``(n,)``.

    Attributes:
        s: contact, or for a ray that misses the place where it comes closest, mm (on a bend
            about there).
        gap: by how much the ray passes the surface, mm (0 on a hit).
        over: how far beyond the piece's ends the contact lies, mm (0 within).
    """

    s: Vec
    gap: Vec
    over: Vec


class Contact(NamedTuple):
    """First contact of rays with several surfaces; arrays of the rays' shape.

    Attributes:
        s: where the ray touches, mm; for a ray that misses everything where it comes closest.
        active: index of the surface touched (or of the one it misses least).
        ok: False for a ray that touches nothing.
        gap: by how much a missing ray passes surface ``active``, mm.
    """

    s: Vec
    active: Ints
    ok: Bools
    gap: Vec

    def part(self, rays: slice, shape: tuple[int, ...]) -> Contact:
        """Those of some rays of a row ``(n,)``, in another shape."""
        s, active, ok, gap = self
        return Contact(
            s[rays].reshape(shape),
            active[rays].reshape(shape),
            ok[rays].reshape(shape),
            gap[rays].reshape(shape),
        )


class Bundle(NamedTuple):
    """Rays and the surfaces that they are pushed back to; see :func:`first_contact`."""

    surfaces: Sequence[ContactSurface]
    origins: Array
    direction: Vec
    windows: Sequence[Window]


class CylinderPiece(Struct, frozen=True, kw_only=True, eq=False):
    """The outside of a straight.

    Args:
        owner: id of the tube.
        piece: index of the straight in the tube's path; -1 or the number of pieces for the
            imagined continuation of an open end that is a bend.
        start: point of the axis at station 0, ``(3,)`` mm.
        axis: unit direction of the axis, ``(3,)``.
        radius: outside radius, mm.
        low: station where the surface starts, mm (``-inf`` when it is thought to go on).
        high: station where it ends, mm (``inf`` likewise).
    """

    owner: str
    piece: int
    start: Vec
    axis: Vec
    radius: float
    low: float
    high: float

    def station(self, points: Points) -> Vec:
        """Stations (mm from ``start``) of points ``(n, 3)``, shape ``(n,)``."""
        return np.asarray((points - self.start) @ self.axis)

    def axis_distance(self, points: Points) -> Vec:
        """Distances (mm) of points ``(n, 3)`` from the piece's axis, shape ``(n,)``."""
        w = points - self.start
        foot = np.clip(w @ self.axis, self.low, self.high)
        return np.asarray(np.linalg.norm(w - foot[:, None] * self.axis, axis=1))

    def normals(self, points: Points) -> Vec:
        """Unit normals out of the tube at points ``(n, 3)`` of the surface, shape ``(n, 3)``."""
        w = points - self.start
        w = w - (w @ self.axis)[:, None] * self.axis
        return np.asarray(w / np.linalg.norm(w, axis=1)[:, None])

    def tangent_at(self, point: Vec) -> tuple[Vec, Vec]:
        """The axis' point nearest to ``point`` (end ignored) and its direction there."""
        return vec(self.start + ((point - self.start) @ self.axis) * self.axis), self.axis

    def closure(self, point: Vec, out: Vec) -> tuple[Vec, Vec]:
        """A point and the normal of the plane on which rays that pass the tube come closest to it.

        The plane holds the axis and is parallel to both sides' tangent lines, so it is the
        mid-surface between entry and exit: a cope that runs off the side of the tube goes on in
        this plane without a step.

        Args:
            point: theoretical end of the tube that is cut, ``(3,)`` mm; the axis' nearest point
                to it is the one returned.
            out: unit vector out of that tube, ``(3,)``.

        Raises:
            ValueError: that tube goes along the axis.
        """
        (x, y, z), (u, v, w) = self.start.tolist(), self.axis.tolist()
        (a, b, c), (d, e, f) = point.tolist(), out.tolist()
        t = (a - x) * u + (b - y) * v + (c - z) * w
        lean = d * u + e * v + f * w
        n = (lean * u - d, lean * v - e, lean * w - f)
        size = sqrt(n[0] * n[0] + n[1] * n[1] + n[2] * n[2])
        if size < NOISE:
            raise ValueError("a direction needs a length")
        return vec((x + t * u, y + t * v, z + t * w)), vec([k / size for k in n])

    def passing(self, node: Vec, direction: Vec, rho: float, side: float) -> tuple[Vec, float]:
        """The ray of a bundle around ``node`` that passes the axis farthest to one side.

        Args:
            node: middle of the bundle at s = 0, ``(3,)``.
            direction: unit direction of the rays, ``(3,)``.
            rho: radius of the bundle, mm.
            side: which side, 1 or -1.

        Returns:
            The unit vector from the middle to that ray and the ray's distance from the axis, mm;
            both zero for rays along the axis.
        """
        across = cross3(direction, self.axis)
        size = float(np.sqrt(across @ across))
        if size < NO_LENGTH:
            return vec(np.zeros(3)), 0.0
        out = side * across / size
        return vec(out), float((node - self.start) @ out) + rho

    def solve(self, origins: Points, direction: Vec, window: Window = (-inf, inf)) -> Solution:
        """Contact of rays ``(n, 3)``.

        Args:
            origins: of the rays, ``(n, 3)`` mm.
            direction: unit vector along all of them, ``(3,)``.
            window: depths along the rays, mm, outside of which nothing is looked for.
        """
        return _solved(self, origins, direction, window)


class TorusPiece(Struct, frozen=True, kw_only=True, eq=False):
    """The outside of a bend.

    Args:
        owner: id of the tube.
        piece: index of the bend in the tube's path.
        centre: centre of the bend, ``(3,)`` mm.
        axis: unit axis about which the bend turns right-handed, ``(3,)``.
        x: unit vector from the centre to the bend's start, ``(3,)``.
        y: unit tangent at the start, ``(3,)``.
        major: centre-line radius, mm.
        radius: outside radius of the tube, mm.
        angle: bend angle, rad.
    """

    owner: str
    piece: int
    centre: Vec
    axis: Vec
    x: Vec
    y: Vec
    major: float
    radius: float
    angle: float

    def turn(self, points: Points) -> Vec:
        """Angles (rad from the bend's start, nearest turn) of points ``(n, 3)``."""
        w = points - self.centre
        half = 0.5 * self.angle
        raw = np.arctan2(w @ self.y, w @ self.x) - half
        return np.asarray((raw + np.pi) % (2 * np.pi) - np.pi + half)

    def axis_distance(self, points: Points) -> Vec:
        """Distances (mm) of points ``(n, 3)`` from the bend's centre line, shape ``(n,)``."""
        t = np.clip(self.turn(points), 0.0, self.angle)
        ring = np.outer(np.cos(t), self.x) + np.outer(np.sin(t), self.y)
        return np.asarray(np.linalg.norm(points - self.centre - self.major * ring, axis=1))

    def normals(self, points: Points) -> Vec:
        """Unit normals out of the tube at points ``(n, 3)`` of the surface, shape ``(n, 3)``."""
        w = points - self.centre
        q = w - (w @ self.axis)[:, None] * self.axis
        n = w - self.major * q / np.linalg.norm(q, axis=1)[:, None]
        return np.asarray(n / np.linalg.norm(n, axis=1)[:, None])

    def tangent_at(self, point: Vec) -> tuple[Vec, Vec]:
        """The centre line's point nearest to ``point`` and its direction there."""
        t = float(np.clip(self.turn(point[None, :])[0], 0.0, self.angle))
        out = np.cos(t) * self.x + np.sin(t) * self.y
        return vec(self.centre + self.major * out), vec(cross3(self.axis, out))

    def passing(self, node: Vec, direction: Vec, rho: float, side: float) -> tuple[Vec, float]:
        """As for a straight; the centre line counts as a whole circle.

        The shortest line between ray and circle is square to both, so the ray is found by going
        from spot to ray and back until they agree.

        Args:
            node: theoretical end of the tube that is cut, ``(3,)`` mm.
            direction: unit vector along all of them, ``(3,)``.
            rho: distance of the ray from the axis of the cut tube, mm.
            side: +1 or -1: on which side of the parent the ray passes.
        """
        foot, along = self._spot(node)
        out = np.zeros(3)
        distance = 0.0
        for _ in range(30):
            before = out
            across = cross3(direction, along)
            size = float(np.sqrt(across @ across))
            if size < NO_LENGTH:
                return vec(np.zeros(3)), 0.0
            out = side * across / size
            start = node + rho * out
            lean = float(direction @ along)
            here = start + float((foot - start) @ (direction - lean * along)) / size**2 * direction
            foot, along = self._spot(here)
            distance = float((here - foot) @ out)
            if float(np.abs(out - before).max()) < LAST_ANGLE:
                break
        return vec(out), distance

    def _spot(self, point: Vec) -> tuple[Vec, Vec]:
        """The spot of the whole circle nearest to a point, and the direction there."""
        w = point - self.centre
        out = unit(w - (w @ self.axis) * self.axis)
        return np.asarray(self.centre + self.major * out), cross3(self.axis, out)

    def solve(self, origins: Points, direction: Vec, window: Window = (-inf, inf)) -> Solution:
        """Contact of rays ``(n, 3)`` within ``window``: largest root of a quartic.

        Args:
            origins: of the rays, ``(n, 3)`` mm.
            direction: unit vector along all of them, ``(3,)``.
            window: depths along the rays, mm, outside of which nothing is looked for.
        """
        return _solved(self, origins, direction, window)


class PlaneFace(Struct, frozen=True, kw_only=True, eq=False):
    """A half-space: solid below ``point``, unit ``normal`` ``(3,)`` pointing to the tube.

    ``closure`` marks the plane on which a cope goes on where the tube misses its parent.
    """

    owner: str
    piece: int = 0
    point: Vec
    normal: Vec
    closure: bool = False

    def axis_distance(self, points: Points) -> Vec:
        """Heights (mm) of points ``(n, 3)`` above the plane, 0 below it, shape ``(n,)``."""
        return np.asarray(np.maximum((points - self.point) @ self.normal, 0.0))

    def normals(self, points: Points) -> Vec:
        """The plane's normal for every point ``(n, 3)``, shape ``(n, 3)``."""
        return np.broadcast_to(self.normal, points.shape)

    def solve(self, origins: Points, direction: Vec, window: Window = (-inf, inf)) -> Solution:
        """Contact of rays ``(n, 3)``; every ray that is not parallel meets the plane.

        Args:
            origins: of the rays, ``(n, 3)`` mm.
            direction: unit vector along all of them, ``(3,)``.
            window: depths along the rays, mm, outside of which nothing is looked for.
        """
        return _solved(self, origins, direction, window)


ContactSurface = CylinderPiece | TorusPiece | PlaneFace


def surface_of(
    piece: PathPiece, index: int, radius: float, owner: str
) -> CylinderPiece | TorusPiece:
    """The outside of one piece of tube ``owner``, between the piece's own ends.

    Args:
        piece: line or arc of the parent.
        index: of that piece along the parent.
        radius: outside radius of the parent, mm.
        owner: name of the parent.
    """
    if isinstance(piece, Arc):
        return TorusPiece(
            owner=owner, piece=index, centre=piece.centre, axis=piece.axis, x=piece.radial,
            y=piece.direction, major=piece.radius, radius=radius, angle=piece.angle,
        )  # fmt: skip
    return CylinderPiece(
        owner=owner, piece=index, start=piece.start, axis=piece.direction, radius=radius,
        low=0.0, high=piece.length,
    )  # fmt: skip


def tube_surfaces(
    path: CentreLine, radius: float, *, open_a: bool = False, open_b: bool = False, owner: str = ""
) -> tuple[CylinderPiece | TorusPiece, ...]:
    """The outside of a tube, piece by piece.

    Args:
        path: centre line.
        radius: outside radius, mm.
        open_a: the surface is thought to go on beyond end a (a free end, or one on a plate).
        open_b: the same at end b.
        owner: id that the surfaces carry.
    """
    out = [surface_of(q, i, radius, owner) for i, q in enumerate(path.pieces)]
    n = len(out)
    if open_a:
        first = out[0]
        if isinstance(first, CylinderPiece):
            out[0] = _stretched(first, low=-inf)
        else:
            out.insert(0, _onward(path.start, path.out_direction("a"), radius, owner, -1))
    if open_b:
        last = out[-1]
        if isinstance(last, CylinderPiece):
            out[-1] = _stretched(last, high=inf)
        else:
            out.append(_onward(path.end, path.out_direction("b"), radius, owner, n))
    return tuple(out)


def first_contact(
    surfaces: Sequence[ContactSurface],
    origins: ArrayLike,
    direction: ArrayLike,
    windows: Sequence[Window] | None = None,
) -> Contact:
    """Push a bundle of parallel rays back to the first of several surfaces.

    Args:
        surfaces: pieces of parents, at least one.
        origins: points at s = 0, ``(..., 3)`` mm.
        direction: unit vector from the node back into the branch, ``(3,)``.
        windows: for each surface the range of s in which its contact counts, mm. Outside of it
            the same bend may be met again, far from the node.

    Returns:
        Contacts of shape ``(...)``. A ray that touches nothing has ``ok`` False and the values
        of the surface it misses least.
    """
    o = np.asarray(origins, dtype=float)
    d = np.asarray(direction, dtype=float)
    ranges = windows if windows is not None else [(-inf, inf)] * len(surfaces)
    return first_contacts([Bundle(surfaces, o, d, ranges)])[0]


def first_contacts(bundles: Sequence[Bundle]) -> list[Contact]:
    """The first contacts of many bundles, each with its own surfaces, in one array pass.

    What a bundle gets hangs on itself alone, to the last bit: the others only save calls.
    """
    return _firsts(bundles, *_pushed_back(bundles))


def contacts_and_solutions(
    bundles: Sequence[Bundle],
) -> tuple[list[Contact], Callable[[int], list[Solution]]]:
    """The first contacts of many bundles, and what a bundle's rays do at each of its surfaces."""
    asked, met = _pushed_back(bundles)
    return _firsts(bundles, asked, met), partial(_at_each, bundles, asked, met)


def _firsts(bundles: Sequence[Bundle], asked: _Asked, met: Sequence[Vec]) -> list[Contact]:
    counts = np.array([len(b.surfaces) for b in bundles], dtype=np.intp)
    first = asked.first
    found = _alone(bundles, np.flatnonzero(counts == 1), asked, met)
    for count in sorted({*counts.tolist()} - {1}):
        these = np.flatnonzero(counts == count)
        # a row for each surface, the rays of all these bundles one after the other
        rays = asked.rays[first[these]]
        begin = np.cumsum(rays) - rays
        rows = asked.begin[first[these] + np.arange(count)[:, None]] - begin
        spots = np.repeat(rows, rays, axis=1)
        spots += np.arange(spots.shape[1])
        one = _first(*(column.take(spots) for column in met))
        for i, low, many in zip(these.tolist(), begin.tolist(), rays.tolist(), strict=True):
            shape = bundles[i].origins.shape[:-1]
            found[i] = one.part(slice(low, low + many), shape)
    return [found[i] for i in range(len(bundles))]


def _alone(
    bundles: Sequence[Bundle], those: Ints, asked: _Asked, met: Sequence[Vec]
) -> dict[int, Contact]:
    """The first contacts of those bundles that have one surface: what was found, as it stands."""
    s, gap, over = met
    hit = (gap <= TOUCH) & (over <= RANGE_TOL)
    only = asked.first[those]
    begin, rays = asked.begin[only], asked.rays[only]
    found = {}
    for i, low, many in zip(those.tolist(), begin.tolist(), rays.tolist(), strict=True):
        shape, here = bundles[i].origins.shape[:-1], slice(low, low + many)
        none = np.zeros(shape, dtype=np.intp)
        found[i] = Contact(s[here].reshape(shape), none, hit[here].reshape(shape),
                           gap[here].reshape(shape))  # fmt: skip
    return found


def solutions(bundles: Sequence[Bundle]) -> list[list[Solution]]:
    """What the rays of many bundles do at each of their own surfaces, in one array pass."""
    asked, met = _pushed_back(bundles)
    return [_at_each(bundles, asked, met, i) for i in range(len(bundles))]


def _at_each(
    bundles: Sequence[Bundle], asked: _Asked, met: Sequence[Vec], number: int
) -> list[Solution]:
    """What the rays of one of the bundles do at each of its surfaces."""
    first = asked.first[number]
    these = slice(first, first + len(bundles[number].surfaces))
    ends = zip(asked.begin[these].tolist(), asked.rays[these].tolist(), strict=True)
    return [Solution(*(c[low : low + many] for c in met)) for low, many in ends]


def first_of(solved: Sequence[Solution], shape: tuple[int, ...]) -> Contact:
    """The first contact of each ray among its solutions at several surfaces.

    Args:
        solved: what the rays do at each surface, arrays ``(n,)``.
        shape: of the answer.
    """
    s, gap, over = zip(*solved, strict=True)
    return _first(np.array(s), np.array(gap), np.array(over)).part(slice(None), shape)


def _first(s: Array, gap: Array, over: Array) -> Contact:
    """The first contact of each of n rays; a row ``(n,)`` for each surface."""
    hit = (gap <= TOUCH) & (over <= RANGE_TOL)
    ok = np.asarray(hit.any(axis=0))
    # a small lead for the surface named first keeps the choice steady where two agree
    lead = np.where(hit, s, -inf)
    leads = lead >= lead.max(axis=0) - ROUNDING
    # the first that leads; numpy's own search takes long down columns of two or three
    active, behind = np.zeros(s.shape[1], dtype=np.intp), np.ones(s.shape[1], dtype=bool)
    for row in leads[:-1]:
        behind &= ~row
        active += behind
    if not ok.all():
        none = np.flatnonzero(~ok)
        active[none] = np.argmin(gap[:, none] + over[:, none], axis=0)
    columns = np.arange(s.shape[1])
    return Contact(s[active, columns], active, ok, gap[active, columns])


class _Asked(NamedTuple):
    """Bundles pushed back to their surfaces; what is found stands one kind of them after the other.

    Attributes:
        surfaces: of all bundles, in order.
        whose: number of each one's bundle.
        first: number of each bundle's first surface.
        begin: number of each one's first ray in what is found, ``(m,)``.
        rays: how many it has, ``(m,)``.
        kinds: for each kind the numbers of those that have rays.
    """

    surfaces: list[ContactSurface]
    whose: list[int]
    first: Ints
    begin: Ints
    rays: Ints
    kinds: dict[type, list[int]]

    @classmethod
    def of(cls, bundles: Sequence[Bundle]) -> _Asked:
        surfaces = [q for b in bundles for q in b.surfaces]
        whose = [k for k, b in enumerate(bundles) for _ in b.surfaces]
        sizes = [b.origins.size // 3 for b in bundles]
        kinds: dict[type, list[int]] = {}
        for k, q in enumerate(surfaces):
            if sizes[whose[k]]:
                kinds.setdefault(type(q), []).append(k)
        rays = np.array(sizes, dtype=np.intp)[whose]
        order = [k for these in kinds.values() for k in these]
        begin = np.zeros(len(surfaces), dtype=np.intp)
        begin[order] = np.cumsum(rays[order]) - rays[order]
        counts = np.array([len(b.surfaces) for b in bundles], dtype=np.intp)
        return cls(surfaces, whose, np.cumsum(counts) - counts, begin, rays, kinds)


def _pushed_back(bundles: Sequence[Bundle]) -> tuple[_Asked, Sequence[Vec]]:
    """What all rays do at all their surfaces: ``s``, ``gap`` and ``over``, as asked one by one."""
    asked = _Asked.of(bundles)
    windows = [w for b in bundles for w in b.windows]
    origins = [b.origins.reshape(-1, 3).T for b in bundles]
    ways = [b.direction.tolist() for b in bundles]
    found: list[Sequence[Vec]] = []
    for kind, these in asked.kinds.items():
        if kind not in _PUSHED:
            for k in these:
                rays, way = origins[asked.whose[k]].T, bundles[asked.whose[k]].direction
                found.append(asked.surfaces[k].solve(rays, way, windows[k]))
            continue
        table = [
            (*_ROW[kind](asked.surfaces[k]), *ways[asked.whose[k]], *windows[k]) for k in these
        ]
        columns = np.concatenate([origins[asked.whose[k]] for k in these], axis=1)
        found.append(_PUSHED[kind](np.array(table).T, asked.rays[these], columns))
    if len(found) == 1:
        return asked, found[0]
    if not found:
        return asked, [np.empty(0) for _ in Solution._fields]
    return asked, [np.concatenate(columns) for columns in zip(*found, strict=True)]


def _solved(q: ContactSurface, origins: Points, direction: Vec, window: Window) -> Solution:
    return solutions([Bundle((q,), origins, direction, (window,))])[0][0]


def _straight_row(q: CylinderPiece) -> tuple[float, ...]:
    return (*q.start.tolist(), *q.axis.tolist(), q.radius, q.low, q.high)


def _bend_row(q: TorusPiece) -> tuple[float, ...]:
    ways = (q.centre, q.axis, q.x, q.y)
    return (*(c for way in ways for c in way.tolist()), q.major, q.radius, q.angle)


def _plane_row(q: PlaneFace) -> tuple[float, ...]:
    return (*q.point.tolist(), *q.normal.tolist())


def _to_straights(table: Array, rays: Ints, origins: Array) -> tuple[Vec, Vec, Vec]:
    """Rays at straights: closed form, the larger root of a quadratic; every bundle at once."""
    start, axis, way = table[0:3], table[3:6], table[9:12]
    # what hangs on the bundle alone; products by component: a ray's are the same to the last bit
    # whatever stands beside it
    slope = dot_columns(way, axis)
    flat = way - slope * axis
    a = dot_columns(flat, flat)
    each = np.repeat(np.concatenate([table[:9], table[12:14], flat, [slope, a]]), rays, axis=1)
    start, axis, flat = each[0:3], each[3:6], each[11:14]
    radius, low, high, least, most = each[6:11]
    slope, a = each[14:16]
    w = np.subtract(origins, start, out=start)
    along = dot_columns(w, axis)
    axis *= along
    w -= axis
    b = dot_columns(w, flat)
    # distance of the ray from the axis, from the part square to both: no cancellation
    flat *= b / a
    w -= flat
    miss2 = dot_columns(w, w)
    depth = radius * radius - miss2
    s = (-b + np.sqrt(np.maximum(depth, 0.0) * a)) / a
    gap, misses = np.zeros(len(s)), np.flatnonzero(depth < 0.0)
    gap[misses] = np.sqrt(miss2[misses]) - radius[misses]
    t = along + s * slope
    over = np.maximum(np.maximum(low - t, t - high), 0.0)
    over = over + np.maximum(np.maximum(least - s, s - most), 0.0)
    return s, gap, over


def _to_bends(table: Array, rays: Ints, origins: Array) -> tuple[Vec, Vec, Vec]:
    """Rays at bends: roots of quartics; every bundle at once."""
    asked = RaysAtBends(
        bends=Toruses.of(table[:15]),
        directions=table[15:18],
        windows=table[18:20],
        rays=rays,
        bundle=np.repeat(np.arange(len(rays)), rays),
        origins=origins,
    )
    return asked.met(TOUCH, RANGE_TOL)


def _to_planes(table: Array, rays: Ints, origins: Array) -> tuple[Vec, Vec, Vec]:
    """Rays at planes; none is parallel to its own."""
    point, normal = (np.repeat(t, rays, axis=1) for t in (table[0:3], table[3:6]))
    rise = np.repeat(dot_columns(table[6:9], table[3:6]), rays)
    s = dot_columns(point - origins, normal) / rise
    return s, np.zeros(len(s)), np.zeros(len(s))


_ROW: Mapping[type, Callable[..., tuple[float, ...]]] = {
    CylinderPiece: _straight_row,
    TorusPiece: _bend_row,
    PlaneFace: _plane_row,
}
_PUSHED: Mapping[type, Callable[[Array, Ints, Array], tuple[Vec, Vec, Vec]]] = {
    CylinderPiece: _to_straights,
    TorusPiece: _to_bends,
    PlaneFace: _to_planes,
}
"""What is done at each kind of surface: a column for each bundle, its number of rays, and all
origins ``(3, n)`` in order."""


def _stretched(
    piece: CylinderPiece, low: float | None = None, high: float | None = None
) -> CylinderPiece:
    return CylinderPiece(
        owner=piece.owner, piece=piece.piece, start=piece.start, axis=piece.axis,
        radius=piece.radius, low=piece.low if low is None else low,
        high=piece.high if high is None else high,
    )  # fmt: skip


def _onward(start: Vec, axis: Vec, radius: float, owner: str, index: int) -> CylinderPiece:
    return CylinderPiece(
        owner=owner, piece=index, start=start, axis=axis, radius=radius, low=0.0, high=inf
    )


__all__ = [
    "RANGE_TOL",
    "TOUCH",
    "Bundle",
    "Contact",
    "ContactSurface",
    "CylinderPiece",
    "PlaneFace",
    "Solution",
    "TorusPiece",
    "contacts_and_solutions",
    "first_contact",
    "first_contacts",
    "first_of",
    "solutions",
    "surface_of",
    "tube_surfaces",
]  # fmt: skip
