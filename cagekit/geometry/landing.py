"""Where a branch lands on a parent: which pieces it can touch, and how the axes lie.

Frame: car axes, mm, rad.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from math import degrees, inf, pi, sin
from typing import NamedTuple

import numpy as np
from msgspec import Struct

from cagekit.errors import CopeError
from cagekit.geometry.arrays import (
    Array,
    Bools,
    Ints,
    Points,
    cross_rows,
    dot_columns,
    dot_rows,
    size_rows,
)
from cagekit.geometry.centre_line import CentreLine, Vec
from cagekit.geometry.contact import CylinderPiece, TorusPiece, Window, tube_surfaces
from cagekit.units.tolerance import SAME_ANGLE, SAME_POINT

MIN_ANGLE = 15.0 * pi / 180.0
"""Smallest angle between the axes, rad: below it the cope is longer than seven diameters and its
tip a feather edge. A choice of this project, not of a standard."""

_SAMPLES_PER_RADIUS = 3.0


class Parent(Struct, frozen=True, eq=False, dict=True):
    """A tube that runs through at a joint.

    Args:
        id: member id.
        path: centre line.
        outer_radius: outside radius, mm.
        open_a: end a is free or stands on a plate, so its surface may be thought to go on;
            False when it is coped there, so that its surface stops at its node.
        open_b: the same for end b.
    """

    id: str
    path: CentreLine
    outer_radius: float
    open_a: bool = True
    open_b: bool = True

    @cached_property
    def surfaces(self) -> tuple[TubeSurface, ...]:
        """Its outside, piece by piece."""
        return tube_surfaces(
            self.path, self.outer_radius, open_a=self.open_a, open_b=self.open_b, owner=self.id
        )

    @cached_property
    def axes(self) -> Array:
        """The axes of its surfaces as rows, see :meth:`Axes.rows`."""
        return Axes.rows(self.surfaces)


class Landing(Struct, frozen=True, kw_only=True, eq=False):
    """A branch's end and one parent.

    Attributes:
        surfaces: the pieces of the parent that the branch can touch, nearest first.
        window: range of s (mm back into the branch) that belongs to this joint; the branch is
            clear of the parent at both ends of it.
        angle: acute angle between the axes, rad.
        offset: shortest distance between the axes, mm.
        node_gap: distance of the theoretical end from the parent's axis, mm.
    """

    surfaces: tuple[CylinderPiece | TorusPiece, ...]
    window: Window
    angle: float
    offset: float
    node_gap: float


class Branch(NamedTuple):
    """A branch that lands on a parent.

    ``point`` ``(3,)`` mm is its theoretical end, ``out`` ``(3,)`` the unit vector out of it,
    ``radius`` its outside radius, mm, ``owner`` its name for messages.
    """

    point: Vec
    out: Vec
    radius: float
    owner: str


TubeSurface = CylinderPiece | TorusPiece


class Axes(NamedTuple):
    """Centre lines of n pieces as columns.

    ``at`` ``(n, 3)`` is a straight's start or a bend's centre, ``along`` ``(n, 3)`` the direction
    of the one or the axis of the other, ``low`` and ``high`` ``(n,)`` mm or rad; a bend has
    ``major`` ``(n,)`` mm and its frame ``x`` and ``y``, ``(n, 3)``. Products go by component, so
    that what a piece gives is the same to the last bit whatever stands beside it.
    """

    bent: Bools
    at: Array
    along: Array
    x: Array
    y: Array
    major: Vec
    low: Vec
    high: Vec

    @staticmethod
    def rows(pieces: Sequence[TubeSurface]) -> Array:
        """The axes of these pieces as rows ``(n, 16)``, the columns one after the other."""
        rows = [
            (True, *q.centre.tolist(), *q.axis.tolist(), *q.x.tolist(), *q.y.tolist(),
             q.major, 0.0, q.angle)
            if isinstance(q, TorusPiece)
            else (False, *q.start.tolist(), *q.axis.tolist(), *_NONE, *_NONE, 0.0, q.low, q.high)
            for q in pieces
        ]  # fmt: skip
        return np.array(rows, dtype=float).reshape(-1, 16)

    @classmethod
    def of(cls, rows: Array) -> Axes:
        """The columns of such rows."""
        t = rows
        return cls(
            t[:, 0] > 0, t[:, 1:4], t[:, 4:7], t[:, 7:10], t[:, 10:13], t[:, 13], t[:, 14], t[:, 15]
        )

    def pick(self, rows: Ints | Bools) -> Axes:
        """Some of them."""
        where = np.flatnonzero(rows) if rows.dtype == bool else rows
        return Axes(*(column.take(where, axis=0) for column in self))  # type: ignore[arg-type]

    def distance(self, points: Array) -> Array:
        """Distances ``(n, m)`` mm of points in columns ``(3, n, m)``, a row for each piece."""
        out = np.empty(points.shape[1:])
        for bent, of in ((False, _straight_distance), (True, _bend_distance)):
            rows = np.nonzero(self.bent == bent)[0]
            if len(rows):
                out[rows] = of(self.pick(rows), points[:, rows])
        return out

    def tangent_at(self, points: Points) -> tuple[Points, Points]:
        """Points of the axes nearest to points ``(n, 3)``, and the directions there."""
        if self.bent.all():
            return self._tangent_at_bends(points)
        foot, along = np.empty_like(points), self.along.copy()
        s = np.nonzero(~self.bent)[0]
        station = dot_rows(points[s] - self.at[s], along[s])
        foot[s] = self.at[s] + station[:, None] * along[s]
        b = np.nonzero(self.bent)[0]
        if len(b):
            foot[b], along[b] = self.pick(b)._tangent_at_bends(points[b])
        return foot, along

    def _tangent_at_bends(self, points: Points) -> tuple[Points, Points]:
        """The same where all of them are bends."""
        turn = self.turn(points.T[:, :, None] - _columns(self.at))
        out = self.ring(np.clip(turn, 0.0, self.high[:, None]))[:, :, 0].T
        return self.at + self.major[:, None] * out, cross_rows(self.along, out)

    def turn(self, away: Array) -> Array:
        """Angles ``(n, m)`` (rad from the bend's start, nearest turn) of points.

        Args:
            away: the points from the bends' centres, in columns ``(3, n, m)``.
        """
        half = 0.5 * self.high[:, None]
        raw = np.arctan2(dot_columns(away, _columns(self.y)), dot_columns(away, _columns(self.x)))
        ahead = raw - half + np.pi  # a remainder would take five times as long
        return np.asarray(np.where(ahead < 0.0, ahead + 2 * np.pi, ahead) - np.pi + half)

    def ring(self, turn: Array) -> Array:
        """Directions from the bends' centres at angles ``(n, m)``, in columns ``(3, n, m)``."""
        return np.asarray(np.cos(turn) * _columns(self.x) + np.sin(turn) * _columns(self.y))


_NONE = (0.0, 0.0, 0.0)


def _columns(rows: Array) -> Array:
    """Rows ``(n, 3)`` as columns for many points of each, ``(3, n, 1)``."""
    return rows.T[:, :, None]


def _straight_distance(a: Axes, points: Array) -> Array:
    away, along = points - _columns(a.at), _columns(a.along)
    away -= np.clip(dot_columns(away, along), a.low[:, None], a.high[:, None]) * along
    return np.sqrt(dot_columns(away, away))


def _bend_distance(a: Axes, points: Array) -> Array:
    away = points - _columns(a.at)
    away -= a.major[:, None] * a.ring(np.clip(a.turn(away), 0.0, a.high[:, None]))
    return np.sqrt(dot_columns(away, away))


def land_all(asked: Sequence[tuple[Parent, Branch]]) -> list[Landing | CopeError]:
    """Where many branches meet their parents, in one array pass; the error of one that does not.

    What a branch gets hangs on itself and its parent alone, to the last bit.

    Args:
        asked: each branch with its parent; a branch of several parents once for each.
    """
    if not asked:
        return []
    ends = _Ends.of(asked)
    pieces, axes, owner, away = _pieces_near(asked, ends)
    walk = _Walk.along(ends, axes, owner)
    surfaces = [
        tuple(pieces[i] for i in keep) if met else ()
        for met, keep in zip(walk.met.tolist(), walk.keep, strict=True)
    ]
    met = np.nonzero(walk.met)[0]
    firsts = np.array([walk.keep[k][0] for k in met.tolist()], dtype=np.intp)
    out = ends.out[met]
    angle, offset = np.zeros(len(asked)), np.zeros(len(asked))
    start = ends.point[met] - walk.spot[met, None] * out
    angle[met], offset[met] = _axes(axes.pick(firsts), start, out)
    gaps = away.tolist()
    numbers = (walk.low.tolist(), walk.high.tolist(), angle.tolist(), offset.tolist())
    found: list[Landing | CopeError] = []
    for k, ((parent, branch), low, high, slant, aside) in enumerate(
        zip(asked, *numbers, strict=True)
    ):
        refused = walk.refused(k, parent, branch, slant)
        found.append(
            refused
            or Landing(
                surfaces=surfaces[k],
                window=(low, high),
                angle=slant,
                offset=aside,
                node_gap=min([gaps[i] for i in walk.keep[k]]),
            )
        )
    return found


class _Ends(NamedTuple):
    """Branches' ends and the sizes of both tubes, one for each that is asked.

    ``point`` and ``out`` are ``(n, 3)``, the outside radii of branch and parent ``(n,)`` mm.
    """

    point: Points
    out: Points
    radius: Vec
    wide: Vec

    @classmethod
    def of(cls, asked: Sequence[tuple[Parent, Branch]]) -> _Ends:
        t = np.array([(*b.point.tolist(), *b.out.tolist(), b.radius, p.outer_radius)
                      for p, b in asked])  # fmt: skip
        return cls(t[:, 0:3], t[:, 3:6], t[:, 6], t[:, 7])


def _pieces_near(
    asked: Sequence[tuple[Parent, Branch]], ends: _Ends
) -> tuple[list[TubeSurface], Axes, Ints, Vec]:
    """Pieces of the parents that branches may touch, whose each is, and their distances, mm."""
    of_parent: dict[int, range] = {}
    every: list[TubeSurface] = []
    tables: list[Array] = []
    for parent, _ in asked:
        if id(parent) not in of_parent:
            first = len(every)
            every += parent.surfaces
            tables.append(parent.axes)
            of_parent[id(parent)] = range(first, len(every))
    own = [of_parent[id(parent)] for parent, _ in asked]
    counts = np.array([len(numbers) for numbers in own])
    which = np.array([i for numbers in own for i in numbers])
    owner = np.repeat(np.arange(len(asked)), counts)
    axes = Axes.of(np.concatenate(tables).take(which, axis=0))
    away = axes.distance(_columns(ends.point[owner]))[:, 0]
    size = ends.radius + ends.wide
    near = (away < (_SPAN + 1.0) * size[owner]) | (counts[owner] == 1)
    rows = np.nonzero(near)[0]
    return [every[i] for i in which[rows].tolist()], axes.pick(rows), owner[rows], away[rows]


_SPAN = 5.0
"""How far to both sides of its end a branch's axis is followed, in radii of both tubes."""


class _Walk(NamedTuple):
    """Axes of branches followed past their parents.

    Attributes:
        met: whether the branch comes near its parent at all, ``(n,)``.
        gap: how far it stays away, mm; infinite with no piece near.
        keep: for each branch the pieces that it can touch, nearest first.
        low: depth at which it is clear of the parent on the outside, mm.
        high: depth at which it is clear of it inwards.
        spot: depth at which the axes are nearest.
        again: it comes nearer once more, or is not clear within reach.
    """

    met: Bools
    gap: Vec
    keep: list[list[int]]
    low: Vec
    high: Vec
    spot: Vec
    again: Bools

    @classmethod
    def along(cls, ends: _Ends, axes: Axes, owner: Ints) -> _Walk:
        """Follow the branches past pieces' axes, of which ``owner`` tells whose each is."""
        point, out, radius, wide = ends
        n, size = len(point), radius + wide
        step = np.minimum(radius, wide) / _SAMPLES_PER_RADIUS
        half = (_SPAN * size / step).astype(int) + 1
        count = 2 * half + 1
        k = np.arange(int(count.max()))
        grid = (k - half[:, None]) * step[:, None]
        there = k < count[:, None]
        far = axes.distance(_columns(point[owner]) - grid[owner] * _columns(out[owner]))
        nearest = np.full((n, len(k)), inf)
        starts = np.nonzero(np.diff(owner, prepend=-1))[0]
        if len(starts):
            nearest[owner[starts]] = np.minimum.reduceat(far, starts, axis=0)
        nearest[~there] = inf
        inside = nearest < size[:, None]
        middle = np.argmin(np.where(inside, np.abs(k - half[:, None]), len(k)), axis=1)
        left = there & ~inside
        first = np.where(left & (k <= middle[:, None]), k, 0).max(axis=1)
        last = np.where(left & (k >= middle[:, None]), k, count[:, None]).min(axis=1)
        stretch = (k >= first[:, None]) & (k <= last[:, None]) & there
        closest = np.where(stretch[owner], far, inf).min(axis=1)
        apart = np.where(stretch, nearest, inf)
        spot = np.argmin(apart, axis=1)
        leaving = stretch & (k >= spot[:, None])
        farthest = np.maximum.accumulate(np.where(leaving, apart, 0.0), axis=1)
        back = np.where(leaving, farthest - apart, 0.0)
        every = np.arange(n)
        return cls(
            met=np.asarray(inside.any(axis=1)),
            gap=nearest.min(axis=1) - size,
            keep=_nearest_first(closest, owner, size + step),
            low=grid[every, first],
            high=grid[every, np.minimum(last, count - 1)],
            spot=grid[every, spot],
            again=np.asarray((last == count) | (back.max(axis=1) > 1.0)),
        )

    def refused(self, k: int, parent: Parent, branch: Branch, angle: float) -> CopeError | None:
        """Why branch ``k`` cannot be coped to its parent; None when it can."""
        if not self.met[k]:
            gap = float(self.gap[k])
            return CopeError(
                branch.owner,
                f"does not reach {parent.id}: it passes "
                + (
                    f"{gap:.1f} mm beside it."
                    if gap < _SPAN * (branch.radius + parent.outer_radius)
                    else "far from it."
                ),
                f"Let it end on the centre line of {parent.id}.",
            )
        apart = self.gap[k] + branch.radius + parent.outer_radius
        if angle < SAME_ANGLE and apart < SAME_POINT:
            return CopeError(
                branch.owner,
                f"runs along the axis of {parent.id}.",
                "Give one of the two another place, or leave it out.",
            )
        if angle < MIN_ANGLE - SAME_ANGLE:
            return CopeError(
                branch.owner,
                f"meets {parent.id} at {degrees(angle):.1f} degrees, nearly parallel; "
                f"a cope needs at least {degrees(MIN_ANGLE):.0f}.",
                "Move the far end, or join the tubes side by side instead of coping.",
            )
        spot = float(self.spot[k])
        if spot < -(branch.radius + parent.outer_radius):
            return CopeError(
                branch.owner,
                f"stops {-spot:.0f} mm short of {parent.id}'s centre line.",
                f"Let it end on the centre line of {parent.id}.",
            )
        if self.again[k]:
            return CopeError(
                branch.owner,
                f"runs along {parent.id} or back into it before coming clear.",
                "Let it leave on the outside of the bend, at a larger angle, or from a place "
                "farther from the bend.",
            )
        return None


def _nearest_first(closest: Vec, owner: Ints, reach: Vec) -> list[list[int]]:
    """For each branch its pieces that come within reach, the nearest first."""
    keep: list[list[int]] = [[] for _ in reach]
    order = np.lexsort((np.arange(len(closest)), closest, owner))
    for i in order[closest[order] < reach[owner[order]]].tolist():
        keep[owner[i]].append(i)
    return keep


def _axes(axes: Axes, start: Points, out: Points) -> tuple[Vec, Vec]:
    """Acute angles (rad) and distances (mm) of the branches' axes to the pieces', ``(n,)``."""
    angle, gap = np.zeros(len(start)), np.zeros(len(start))
    left, at, way = np.arange(len(start)), start, out
    # on a bend the tangent at the closest spot is not known beforehand
    for _ in range(_TURNS):
        foot, tangent = axes.tangent_at(at)
        cross = cross_rows(way, tangent)
        area, slant = size_rows(cross), dot_rows(way, tangent)
        angle[left] = lean = np.arctan2(area, np.abs(slant))
        on = lean >= 0.5 * sin(MIN_ANGLE)
        away = foot - at
        with np.errstate(divide="ignore", invalid="ignore"):
            beside = np.abs(dot_rows(away, cross)) / area
            further = dot_rows(away, way - slant[:, None] * tangent) / area**2
        gap[left] = np.where(on, beside, gap[left])
        at = at + further[:, None] * way
        # until the spot moves by less than would show in the last digit of the angle
        more = on & axes.bent & (np.abs(further) >= 0.1 * np.spacing(axes.major))
        if not more.any():
            break
        if not more.all():
            rows = np.flatnonzero(more)
            left, at, way, axes = left[rows], at[rows], way[rows], axes.pick(rows)
    return angle, gap


_TURNS = 6
"""How often the closest spot of a bend is looked for anew."""
