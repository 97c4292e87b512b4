"""First contact of straight rays with the outside of parent tubes and planes.

A parent tube is a union of solid pieces: a cylinder per straight, a torus sector per bend. A ray
runs ``origin + s * direction`` with the direction pointing from the node back into the branch;
its *contact* is the largest s at which it leaves a parent, which is where the branch's wall
starts when it is pushed down that ray until it touches. Frame: car axes, mm, rad.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, inf
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from cagekit.geometry.arrays import Array, Bools, Ints, Points, cross3
from cagekit.geometry.centre_line import Arc, CentreLine, PathPiece, Vec, unit, vec
from cagekit.geometry.quartic import Quartic
from cagekit.units.tolerance import (
    EXACT_EDGE,
    KERNEL_POINT,
    LAST_ANGLE,
    LAST_STEP,
    NO_LENGTH,
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


class ParallelRays(NamedTuple):
    """A bundle of parallel rays.

    Attributes:
        origins: points at s = 0, ``(n, 3)`` mm.
        direction: unit vector along all of them, ``(3,)``.
        window: depths along the rays, mm, outside of which nothing is looked for.
    """

    origins: Points
    direction: Vec
    window: Window


class Bundle(NamedTuple):
    """Rays and the surfaces that they are pushed back to; see :func:`first_contact`."""

    surfaces: Sequence[ContactSurface]
    origins: Array
    direction: Vec
    windows: Sequence[Window]


class _Samples(NamedTuple):
    """A torus along rays: its quartic, the depth of t = 0, grid, values, and brackets by ray."""

    quartic: Quartic
    middle: float
    grid: Vec
    f: Array
    exits: tuple[Ints, ...]
    dips: tuple[Ints, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CylinderPiece:
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

    def closure_normal(self, direction: Vec) -> Vec:
        """Normal of the plane on which rays that pass the tube come closest to its axis.

        The plane holds the axis and is parallel to both sides' tangent lines, so it is the
        mid-surface between entry and exit: a cope that runs off the side of the tube goes on in
        this plane without a step.
        """
        return unit(direction - (direction @ self.axis) * self.axis)

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
        return _at_straights([(self, ParallelRays(origins, direction, window))])[0]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TorusPiece:
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

    def overshoot(self, points: Points) -> Vec:
        """How far points ``(n, 3)`` lie beyond the bend's ends, mm along the centre line."""
        t = self.turn(points)
        return np.asarray(np.maximum(np.maximum(-t, t - self.angle), 0.0) * self.major)

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
        return _at_bends([(self, ParallelRays(origins, direction, window))])[0]

    def sampled(self, rays: ParallelRays) -> _Samples:
        """The quartic and its slope on a grid that finds every exit and every dip.

        Sign changes bracket exits, and minima between samples catch rays that only graze.
        """
        lo, hi = self._window(*rays)
        middle = 0.5 * (lo + hi)
        start = rays.origins + middle * rays.direction - self.centre
        quartic = Quartic.of(start, rays.direction, self.axis, major=self.major, radius=self.radius)
        half = 0.5 * (hi - lo)
        count = max(16, ceil(2 * half / (0.5 * self.radius))) + 1
        grid = np.linspace(-half, half, count)
        f, g = quartic.values(grid)
        exits = np.nonzero((f[:, :-1] <= 0.0) & (f[:, 1:] > 0.0))
        dips = (g[:, :-1] < 0.0) & (g[:, 1:] >= 0.0) & (f[:, :-1] > 0.0) & (f[:, 1:] > 0.0)
        return _Samples(quartic, middle, grid, f, exits, np.nonzero(dips))

    def best(
        self, rays: ParallelRays, samples: _Samples, exits: Vec, dips: Vec, cut: Bools
    ) -> Solution:
        """The contacts, of all places where rays leave the bend or come closest to it.

        Args:
            rays: the bundle.
            samples: what was sampled of it.
            exits: where rays leave the bend, mm from the middle of the samples.
            dips: of rays that dip between two samples, the exit or the lowest place, mm alike.
            cut: which of these leave the bend there.
        """
        origins, direction, _ = rays
        ray, gap, spot = samples.exits[0], np.zeros(len(exits)), exits
        grid, middle = samples.grid, samples.middle
        if len(dips):
            dipping = samples.dips[0]
            near = dips.copy()
            near[~cut] = (
                self._passing(origins[dipping[~cut]], direction, near[~cut] + middle) - middle
            )
            passed = self._surface_distance(origins[dipping], direction, near + middle)
            ray = np.concatenate([ray, dipping])
            spot = np.concatenate([spot, near])
            gap = np.concatenate([gap, np.where(cut, 0.0, np.maximum(passed, 0.0))])
        s = spot + middle
        over = self.overshoot(origins[ray] + s[:, None] * direction)
        met = np.zeros(len(origins), dtype=bool)
        met[ray] = True
        if not met.all():
            none = np.nonzero(~met)[0]
            rest = grid[np.argmin(samples.f[none], axis=1)] + middle
            passed = self._surface_distance(origins[none], direction, rest)
            ray, s = np.concatenate([ray, none]), np.concatenate([s, rest])
            # a ray with neither exit nor dip leaves through the end of the window, not through
            # the surface: rank it behind whatever else there is
            gap = np.concatenate([gap, np.maximum(passed, 0.0)])
            over = np.concatenate([over, np.full(len(none), grid[-1] - grid[0])])
        return _best(len(origins), ray, s, gap, over)

    def _window(self, origins: Vec, direction: Vec, window: Window) -> Window:
        """Limit the search to where rays can be near the torus at all."""
        reach = self.major + 1.05 * self.radius
        middle = (self.centre - origins) @ direction
        lo = max(window[0], float(middle.min()) - reach)
        hi = min(window[1], float(middle.max()) + reach)
        return (lo, hi) if hi > lo else (lo, lo + self.radius)

    def _passing(self, origins: Vec, direction: Vec, s: Vec) -> Vec:
        """Where rays come closest to the bend's centre line, from a guess nearby, ``(n,)`` mm.

        There the shortest line between ray and centre line is square to both, so that a cope
        goes on beside a bend as it does beside a straight.
        """
        for _ in range(20 if len(s) else 0):
            w = origins + s[:, None] * direction - self.centre
            flat = w - (w @ self.axis)[:, None] * self.axis
            ring = np.linalg.norm(flat, axis=1)
            away = w - self.major * flat / ring[:, None]
            lean = np.cross(self.axis, flat / ring[:, None]) @ direction
            step = (away @ direction) / np.maximum(1.0 - self.major / ring * lean**2, 0.1)
            s = s - np.clip(step, -self.radius, self.radius)
            if float(np.abs(step).max()) < LAST_STEP:
                break
        return s

    def _surface_distance(self, origins: Vec, direction: Vec, s: Vec) -> Vec:
        w = origins + s[:, None] * direction - self.centre
        h = w @ self.axis
        ring = np.linalg.norm(w - h[:, None] * self.axis, axis=1)
        return np.asarray(np.hypot(ring - self.major, h) - self.radius)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlaneFace:
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
        s = ((self.point - origins) @ self.normal) / float(direction @ self.normal)
        zero = np.zeros(len(s))
        return Solution(s, zero, zero)


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
    return [
        first_of(found, b.origins.shape[:-1])
        for b, found in zip(bundles, solutions(bundles), strict=True)
    ]


def solutions(bundles: Sequence[Bundle]) -> list[list[Solution]]:
    """What the rays of many bundles do at each of their own surfaces, in one array pass."""
    flat = [b.origins.reshape(-1, 3) for b in bundles]
    asked = [
        (q, ParallelRays(o, b.direction, w))
        for b, o in zip(bundles, flat, strict=True)
        for q, w in zip(b.surfaces, b.windows, strict=True)
    ]
    straight = [(q, r) for q, r in asked if isinstance(q, CylinderPiece)]
    bent = [(q, r) for q, r in asked if isinstance(q, TorusPiece)]
    straights, bends = iter(_at_straights(straight)), iter(_at_bends(bent))
    solved = iter(
        [
            next(straights)
            if isinstance(q, CylinderPiece)
            else (next(bends) if isinstance(q, TorusPiece) else q.solve(*r))
            for q, r in asked
        ]
    )
    return [[next(solved) for _ in b.surfaces] for b in bundles]


def first_of(solved: Sequence[Solution], shape: tuple[int, ...]) -> Contact:
    """The first contact of each ray among its solutions at several surfaces.

    Args:
        solved: what the rays do at each surface, arrays ``(n,)``.
        shape: of the answer.
    """
    if len(solved) == 1:
        s, gap, over = solved[0]
        ok = (gap <= TOUCH) & (over <= RANGE_TOL)
        active = np.zeros(shape, dtype=np.intp)
        return Contact(s.reshape(shape), active, ok.reshape(shape), gap.reshape(shape))
    s = np.stack([q.s for q in solved])
    gap = np.stack([q.gap for q in solved])
    over = np.stack([q.over for q in solved])
    hit = (gap <= TOUCH) & (over <= RANGE_TOL)
    ok = np.asarray(hit.any(axis=0))
    # a small lead for the surface named first keeps the choice steady where two agree
    lead = np.where(hit, s, -inf)
    best = np.argmax(lead >= lead.max(axis=0) - ROUNDING, axis=0)
    near = np.argmin(gap + over, axis=0)
    active = np.where(ok, best, near)
    pick = active[None, :]
    s = np.take_along_axis(s, pick, axis=0)[0]
    gap = np.take_along_axis(gap, pick, axis=0)[0]
    return Contact(s.reshape(shape), active.reshape(shape), ok.reshape(shape), gap.reshape(shape))


def _at_straights(asked: Sequence[tuple[CylinderPiece, ParallelRays]]) -> list[Solution]:
    """Rays at straights: closed form, the larger root of a quadratic; every bundle at once."""
    if not asked:
        return []
    rows = [(*q.start, *q.axis, *r.direction, q.radius, q.low, q.high, *r.window) for q, r in asked]
    table = np.array(rows).T
    ends = np.cumsum([len(r.origins) for _, r in asked])
    if len(asked) > 1:
        table = table[:, np.repeat(np.arange(len(asked)), np.diff(ends, prepend=0))]
    start, axis, way = table[0:3], table[3:6], table[6:9]
    radius, low, high, least, most = table[9:]
    # products by component: a ray's are the same to the last bit whatever stands beside it
    w = np.concatenate([r.origins for _, r in asked]).T - start
    along = _dot(w, axis)
    across = w - along * axis
    slope = _dot(way, axis)
    flat = way - slope * axis
    a, b = _dot(flat, flat), _dot(across, flat)
    # distance of the ray from the axis, from the part square to both: no cancellation
    side = across - b / a * flat
    miss2 = _dot(side, side)
    depth = radius**2 - miss2
    s = (-b + np.sqrt(np.maximum(depth, 0.0) * a)) / a
    gap = np.where(depth < 0.0, np.sqrt(miss2) - radius, 0.0)
    t = along + s * slope
    over = np.maximum(np.maximum(low - t, t - high), 0.0)
    over = over + np.maximum(np.maximum(least - s, s - most), 0.0)
    parts = (np.split(x, ends[:-1]) for x in (s, gap, over))
    return [Solution(*x) for x in zip(*parts, strict=True)]


def _dot(a: Array, b: Array) -> Vec:
    """Products of columns ``(3, n)``, ``(n,)``."""
    return np.asarray(a[0] * b[0] + a[1] * b[1] + a[2] * b[2])


def _at_bends(asked: Sequence[tuple[TorusPiece, ParallelRays]]) -> list[Solution]:
    """Rays at bends: roots of quartics, bracketed by bundle, closed in all at once.

    The steps are guarded Newton steps, so the first contact is found at any angle.
    """
    if not asked:
        return []
    every = [q.sampled(r) for q, r in asked]
    quartic = Quartic.joined([x.quartic for x in every])
    offsets = np.cumsum([0, *(len(x.f) for x in every[:-1])])
    ray, low, high = _brackets(every, [x.exits for x in every], offsets)
    exits = quartic.exit(ray, low, high)
    ray, low, high = _brackets(every, [x.dips for x in every], offsets)
    dips = quartic.lowest(ray, low, high)
    cut = quartic.at(ray, dips)[0] < 0.0
    dips[cut] = quartic.exit(ray[cut], dips[cut], high[cut])
    at_exit = np.cumsum([len(x.exits[0]) for x in every])[:-1]
    at_dip = np.cumsum([len(x.dips[0]) for x in every])[:-1]
    found = zip(
        np.split(exits, at_exit), np.split(dips, at_dip), np.split(cut, at_dip), strict=True
    )
    return [q.best(r, x, *f) for (q, r), x, f in zip(asked, every, found, strict=True)]


def _brackets(
    every: Sequence[_Samples], where: Sequence[tuple[Ints, ...]], offsets: Ints
) -> tuple[Ints, Vec, Vec]:
    """Rays, counted through all bundles, and the ends of their brackets on the grids."""
    ray = np.concatenate([w[0] + o for w, o in zip(where, offsets, strict=True)])
    low = np.concatenate([x.grid[w[1]] for x, w in zip(every, where, strict=True)])
    high = np.concatenate([x.grid[w[1] + 1] for x, w in zip(every, where, strict=True)])
    return ray, low, high


def _best(n: int, ray: Ints, s: Vec, gap: Vec, over: Vec) -> Solution:
    """For each ray the farthest true contact among candidates, else the nearest miss."""
    hit = (gap <= TOUCH) & (over <= RANGE_TOL)
    # sort so that the last entry of each ray is the one wanted
    rank = np.where(hit, s, -inf)
    order = np.lexsort((-(gap + over), rank, ray))
    last = np.zeros(n, dtype=np.intp)
    last[ray[order]] = order
    return Solution(s[last], gap[last], over[last])


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
    "ParallelRays",
    "PlaneFace",
    "Solution",
    "TorusPiece",
    "first_contact",
    "first_contacts",
    "first_of",
    "solutions",
    "surface_of",
    "tube_surfaces",
]  # fmt: skip
