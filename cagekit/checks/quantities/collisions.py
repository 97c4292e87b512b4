"""Tubes that run into each other where no joint was meant, and welds that lie under other tubes.

Tubes near each other are found by their centre lines; whether they share steel is then told by
points on the walls that are left between the cuts, so that two branches of one node, and a branch
and what it is coped to, are held to the same measure as tubes that know nothing of each other.
Frame: car axes, mm, rad.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from cagekit.cage.cage import Cage, Joint
from cagekit.cage.kept import Kept, Same, content
from cagekit.cage.member import CHASSIS, Member
from cagekit.checks.quantities.near import Boxes
from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import CentreLine, Vec
from cagekit.geometry.clearance import Rod, closest_pairs, points_gap
from cagekit.geometry.end_cut import CutWork, EndCut, in_step, measure
from cagekit.units.tolerance import SAME_POINT, SHARED

_STEP = 4.0
"""Distance of the rings of points on a wall, mm."""
_ROUND = 36
"""Points of a ring."""
_BETWEEN = 0.4
"""So much deeper (mm) than at points this far apart two round walls can be between them."""
_SEAT = 6.0
"""Nearer than this to its own cope (mm) a branch is not looked at against what it sits on."""
_BY = 3.0
"""Tubes that meet within this many diameters of a node are in each other's way at that node."""
_SPOTS = 72
"""Spots looked at round a saddle."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Wall:
    """The outside of a tube between its two cuts; ``radius`` in mm."""

    path: CentreLine
    radius: float
    cut_a: EndCut
    cut_b: EndCut

    @classmethod
    def of(cls, cage: Cage, m: Member) -> Wall:
        """The wall of a member of a cage."""
        cuts = cage.cut(m.id, "a"), cage.cut(m.id, "b")
        return cls(path=m.path, radius=m.tube.outer_radius, cut_a=cuts[0], cut_b=cuts[1])

    @property
    def cuts(self) -> tuple[EndCut, EndCut]:
        """Cut of end a and of end b."""
        return self.cut_a, self.cut_b

    @cached_property
    def rims(self) -> Points:
        """Points of both edges, ``(n, 3)`` mm."""
        return np.concatenate([c.rim for c in self.cuts])

    def points(self, stations: Vec, phi: Vec) -> Points:
        """Points ``(n * m, 3)`` mm of the outside: all angles ``(m,)`` at each station ``(n,)``.

        Angles count from some line at each station.
        """
        axis, along = self.path.points(stations), self.path.tangents(stations)
        # an axis of the car that is far from parallel to the tube
        u = np.cross(along, np.eye(3)[np.argmin(np.abs(along), axis=1)])
        u /= np.linalg.norm(u, axis=1)[:, None]
        v = np.cross(along, u)
        ring = u[:, None] * np.cos(phi)[:, None] + v[:, None] * np.sin(phi)[:, None]
        return np.asarray(axis[:, None] + self.radius * ring).reshape(-1, 3)

    def place_of(self, point: Vec) -> tuple[float, float]:
        """Station (mm) and angle of a point ``(3,)`` of the outside, as ``points`` counts."""
        station = self.path.nearest(point).station
        zero, side = self.points(np.array([station]), np.array([0.0, np.pi / 2]))
        w, axis = point - self.path.spot(station).point, self.path.spot(station).point
        return station, float(np.arctan2(w @ (side - axis), w @ (zero - axis)))

    def left(self, points: Points, station: Vec | None = None) -> CutWork[Vec]:
        """How far points ``(n, 3)`` beside the tube are from its cuts, mm; negative: cut away.

        Args:
            points: in car axes, mm.
            station: of the axis nearest to each, ``(n,)`` mm; found when None.
        """
        left = np.full(len(points), np.inf)
        if station is None:
            station = points_gap(points, self.path)[1]
        for cut, back in zip(self.cuts, (station, self.path.length - station), strict=True):
            near = back <= cut.longest + self.radius
            if not near.any():
                continue
            w = points[near] - cut.point
            u, v = w @ cut.zero, w @ cut.side
            rho = np.minimum(np.hypot(u, v), cut.outer_radius)
            met = yield cut, np.arctan2(v, u), rho
            left[near] = np.minimum(left[near], -(w @ cut.out) - met.s)
        return left


class Overlap(NamedTuple):
    """Two tubes in one place: how deep (mm), where ``(3,)``, and whether by a node of theirs.

    ``gap`` is the gap of the two surfaces as if both were whole, mm, negative.
    """

    a: Member
    b: Member
    depth: float
    gap: float
    point: Vec
    joined: bool


class Covered(NamedTuple):
    """A weld under a tube fitted later: length covered (mm), where ``(3,)``; whether it seats.

    ``seated``: the later tube is coped to the branch of the weld as well, so that the weld has
    to be dressed before it is fitted and nothing else.
    """

    joint: Joint
    by: Member
    length: float
    point: Vec
    seated: bool


def overlaps(cage: Cage) -> list[Overlap]:
    """Every pair of tubes whose walls are in one place, in build order."""
    members = list(cage.tubes.values())
    measure(cage.cut(m.id, name) for m in members for name, _ in m.ends)
    bolted = {
        i: n
        for n, t in enumerate(cage.bolted)
        for i in (*t.pieces, *(m.id for m in t.fittings))
    }
    bars = [_bar(cage, m) for m in members]
    near = closest_pairs(bars, limit=-SHARED)
    walls = {m.id: Wall.of(cage, m) for m in members}
    found = []
    for pair in near:
        a, b = members[pair.a], members[pair.b]
        if a.role == b.role == CHASSIS:
            continue  # the car's own frame is welded already
        if a.id in bolted and bolted[a.id] == bolted.get(b.id):
            continue  # what is bolted together is bored and slotted for each other
        seat = _SEAT if _coped(a, b) or _coped(b, a) else 0.0
        if seat and len(a.path.pieces) == len(b.path.pieces) == 1:
            continue  # two straights meet once, and there they are coped
        found.append((a, b, pair.found.gap, (walls[a.id], walls[b.id], seat)))
    depths = _deepest(cage.kept, [pair for *_, pair in found])
    return [
        Overlap(a, b, depth, gap, where, _joined(a, b, where))
        for (a, b, gap, _), (depth, where) in zip(found, depths, strict=True)
        if depth > SHARED
    ]


def covered_welds(cage: Cage) -> Iterator[Covered]:
    """Every weld that lies under, or within its own size of, a tube that is fitted later."""
    members = list(cage.members.values())
    order = {m.id: i for i, m in enumerate(members)}
    boxes = Boxes.of(cage, members)
    for joint, points in zip(cage.joints, _saddles(cage), strict=True):
        branch = cage.member(joint.branch)
        for i in boxes.near(points.min(0), points.max(0), branch.tube.wall):
            m = members[i]
            if i <= order[branch.id] or m.id in joint.parents:
                continue
            wall = Wall.of(cage, m)
            key = ("covered", joint, branch, m, Same(wall.cut_a), Same(wall.cut_b))
            found = cage.kept.once(key, partial(_covered, joint, branch, m, wall, points))
            if found is not None:
                yield found


def _covered(joint: Joint, branch: Member, m: Member, wall: Wall, points: Points) -> Covered | None:
    """What of a weld lies under a tube that is fitted later; None when nothing does."""
    away, _ = points_gap(points, m.path, m.tube.outer_radius)
    bead = branch.tube.wall / 2
    if not (away < bead).any():
        return None
    (left,) = in_step([wall.left(points)])
    under = (away < bead) & (left > -bead)
    if not under.any():
        return None
    deepest = points[int(np.argmin(np.where(under, away, np.inf)))]
    seated = any(branch.id in e.parents for _, e in m.ends)
    return Covered(joint, m, length_of(points, under), deepest, seated)


def length_of(points: Points, those: NDArray[np.bool_]) -> float:
    """Length of those parts of a closed curve that lie at some of its points, mm.

    A point stands for half of the way to either neighbour, so that a curve and its mirror image,
    which runs the other way, give the same.

    Args:
        points: in order round the curve, ``(n, 3)`` mm.
        those: which of them count, ``(n,)``.
    """
    step = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    return float((step + np.roll(step, 1))[those].sum() / 2)


def _saddles(cage: Cage) -> list[Points]:
    """Points along every weld, ``(n, 3)`` mm each."""

    def points(missing: Sequence[int]) -> list[Points]:
        cuts = [cage.joints[i].cut for i in missing]
        in_step([cut.cornered() for cut in cuts])
        return in_step([cut.outer_points(_SPOTS) for cut in cuts])

    return cage.kept.each([("saddle", joint) for joint in cage.joints], points)


def _bar(cage: Cage, m: Member) -> Rod:
    """What is left of a tube between the tips of its ends."""
    low, high = (cage.cut(m.id, "a").shortest, m.path.length - cage.cut(m.id, "b").shortest)
    return Rod(m.path, m.tube.outer_radius, max(low, 0.0), min(high, m.path.length))


def _coped(branch: Member, parent: Member) -> bool:
    return any(parent.id in e.parents for _, e in branch.ends)


def _joined(a: Member, b: Member, where: Vec) -> bool:
    """Whether the place is by an end that one has on the other, or both on the same tube."""
    of_a = {p for _, e in a.ends for p in e.parents}
    of_b = {p for _, e in b.ends for p in e.parents}
    if a.id not in of_b and b.id not in of_a and not of_a & of_b:
        return False
    nodes = [m.path.end_point(name) for m in (a, b) for name, e in m.ends if e.parents]
    return min(float(np.linalg.norm(where - n)) for n in nodes) < _BY * max(a.tube.od, b.tube.od)


Pair = tuple[Wall, Wall, float]
"""Two walls, and how near to a cope (mm) nothing is looked at: the seat of a branch on its parent,
which touch there by construction."""
Deep = tuple[float, Vec]
"""How deep a wall lies in another (mm, 0 when apart), and where ``(3,)``."""


def _deepest(kept: Kept, pairs: Sequence[Pair]) -> list[Deep]:
    """How deep the walls of each pair are in each other."""

    def looked_at(missing: Sequence[int]) -> list[Deep]:
        works = [
            _in_other(*walls, seat)
            for a, b, seat in (pairs[i] for i in missing)
            for walls in ((a, b), (b, a))
        ]
        found = in_step(works)
        return [max(both, key=lambda f: f[0]) for both in zip(found[::2], found[1::2], strict=True)]

    keys = [("deepest", content(pair)) for pair in pairs]
    return kept.each(keys, looked_at)


def _in_other(m: Wall, other: Wall, seat: float) -> CutWork[Deep]:
    """The point of the outside of ``m`` that lies deepest in ``other``, and how deep, mm."""
    stations = np.linspace(0.0, m.path.length, int(m.path.length / _STEP) + 2)
    away, _ = points_gap(m.path.points(stations), other.path, other.radius)
    close = stations[away < m.radius]
    phi = np.linspace(0.0, 2 * np.pi, _ROUND, endpoint=False)
    points = m.points(close, phi)
    if not seat:
        points = np.concatenate([m.rims, points])
    depth = yield from _depths(m, other, points, seat)
    if not len(depth) or depth.max() < -_BETWEEN:
        return 0.0, np.zeros(3)
    best = int(np.argmax(depth))
    deep, point = max(float(depth[best]), 0.0), points[best]
    at = np.array(m.place_of(point))
    size = np.array([_STEP, 2 * np.pi / _ROUND])
    fine = np.linspace(-1.0, 1.0, 7)
    for _ in range(3):
        s, p = at[0] + fine * size[0], at[1] + fine * size[1]
        points = m.points(np.clip(s, 0.0, m.path.length), p)
        depth = yield from _depths(m, other, points, seat)
        best = int(np.argmax(depth))
        if depth[best] > deep:
            i, k = divmod(best, len(p))
            at, deep, point = np.array([s[i], p[k]]), float(depth[best]), points[best]
        size = size / 4.0
    return deep, point


def _depths(m: Wall, other: Wall, points: Points, seat: float) -> CutWork[Vec]:
    """How deep points ``(n, 3)`` of the outside of ``m`` are inside wall and bore of ``other``, mm.

    Negative outside, minus infinity where ``m`` is cut away, and within ``seat`` of a cope.
    """
    away, station = points_gap(points, other.path, other.radius)
    depth = np.full(len(points), -np.inf)
    near = np.nonzero(away < _BETWEEN)[0]
    if len(near):
        left = yield from other.left(points[near], station[near])
        kept = left > (seat or -_BETWEEN)
        near, left = near[kept], left[kept]
    if len(near):
        there = (yield from m.left(points[near])) > seat - SAME_POINT
        depth[near[there]] = np.minimum(-away[near], left)[there]
    return depth
