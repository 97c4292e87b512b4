"""Tubes that run into each other where no joint was meant, and welds that lie under other tubes.

Tubes near each other are found by their centre lines; whether they share steel is then told by
points on the walls that are left between the cuts, so that two branches of one node, and a branch
and what it is coped to, are held to the same measure as tubes that know nothing of each other.
Frame: car axes, mm, rad.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import hypot
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from cagekit.cage.cage import Cage, Joint
from cagekit.cage.kept import Same
from cagekit.cage.member import CHASSIS, EndName, Member
from cagekit.cage.near import Boxes
from cagekit.geometry.arrays import Bools, Ints, Points, Vec, dot_rows, size_rows
from cagekit.geometry.centre_line import Line
from cagekit.geometry.clearance import Lines, Rod, closest_pairs, near_pairs
from cagekit.geometry.end_cut import EndCut, edge_points, in_step, measure
from cagekit.geometry.walls import Wall, Walls
from cagekit.units.tolerance import MICRON, NEVER_ZERO, SAME_POINT, SHARED

_STEP = 4.0
"""Distance of the rings of points on a wall, mm."""
_ROUND = 36
"""Points of a ring."""
_BLOCK = 16
"""Rings one after the other that are passed over together when they are far away."""
_BETWEEN = 0.4
"""So much deeper (mm) than at points this far apart two round walls can be between them."""
_SEAT = 6.0
"""Nearer than this to its own cope (mm) a branch is not looked at against what it sits on."""
_BY = 3.0
"""Tubes that meet within this many diameters of a node are in each other's way at that node."""
_SLIVER = SHARED / 100
"""So far (mm) two tubes may reach past a plane that parts them: tips are known better."""
_SPOTS = 72
"""Spots looked at round a saddle."""
_ALONG = 17
"""Spots looked at along the axis of a tube that a weld runs round."""


def wall_of(cage: Cage, m: Member) -> Wall:
    """The wall of a member of a cage."""
    cuts = cage.cut(m.id, "a"), cage.cut(m.id, "b")
    return Wall(path=m.path, radius=m.tube.outer_radius, cut_a=cuts[0], cut_b=cuts[1])


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
        i: n for n, t in enumerate(cage.bolted) for i in (*t.pieces, *(m.id for m in t.fittings))
    }
    bars = [_bar(cage, m) for m in members]
    found = []
    for i, k in near_pairs(bars, -SHARED):
        a, b = members[i], members[k]
        if a.role == b.role == CHASSIS:
            continue  # the car's own frame is welded already
        if a.id in bolted and bolted[a.id] == bolted.get(b.id):
            continue  # what is bolted together is bored and slotted for each other
        seat = _SEAT if _coped(a, b) or _coped(b, a) else 0.0
        if seat and len(a.path.pieces) == len(b.path.pieces) == 1:
            continue  # two straights meet once, and there they are coped
        found.append((a, b, seat, (bars[i], bars[k])))
    parted = _parted(cage, [(a, b) for a, b, *_ in found])
    found = [row for row, clear in zip(found, parted, strict=True) if not clear]
    depths = _deepest(cage, [row[:3] for row in found])
    return [
        Overlap(a, b, depth, gap, where, _joined(a, b, where))
        for (a, b, _, both), (depth, where) in zip(found, depths, strict=True)
        if depth > SHARED
        for *_, (gap, *_) in closest_pairs(both, limit=-SHARED)
    ]


def grinds(cage: Cage) -> Mapping[tuple[str, str], float]:
    """Ids of a tube that is ground by a note and of one that it runs into, and how deep, mm.

    What a note names besides and it passes clear of is not ground: a note may speak of a whole bar.
    """
    if not any(m.grind for m in cage.tubes.values()):
        return {}
    return cage.kept.once(("grinds", Same(cage)), lambda: _grinds(cage))


def _grinds(cage: Cage) -> Mapping[tuple[str, str], float]:
    pairs = [(x, y) for h in overlaps(cage) for x, y in ((h.a, h.b), (h.b, h.a))]
    return {(x.id, y.id): depth for x, y in pairs if (depth := x.ground_for(y))}


def covered_welds(cage: Cage) -> list[Covered]:
    """Every weld that lies under, or within its own size of, a tube that is fitted later."""
    members = list(cage.members.values())
    place = {m.id: i for i, m in enumerate(members)}
    boxes = Boxes.of(members)
    joints = list(cage.joints)
    measure(joint.cut for joint in joints)
    branch = np.array([place[joint.branch] for joint in joints], dtype=np.intp)
    wall = np.array([members[i].tube.wall for i in branch])
    # tubes fitted later that may lie over each weld
    near = boxes.near(*_weld_boxes(joints), wall)
    near &= np.arange(len(members)) > branch[:, None]
    for row, joint in zip(near, joints, strict=True):
        row[[place[i] for i in joint.parents if i in place]] = False
    weld, by = np.nonzero(near)
    near[weld, by] = _within_reach([joints[i] for i in weld], [members[i] for i in by])
    some = np.flatnonzero(near.any(axis=1))
    if not len(some):
        return []
    saddles = np.array(_saddles(cage, [joints[i] for i in some]))
    near = near[some] & boxes.near(saddles.min(axis=1), saddles.max(axis=1), wall[some])
    over = [
        _Over(joints[some[i]], members[branch[some[i]]], members[k], saddles[i])
        for i, k in zip(*np.nonzero(near), strict=True)
    ]
    keys = [("covered", o.joint, o.branch, o.by, *_same_cuts(cage, o.by)) for o in over]
    found = cage.kept.each(keys, lambda missing: _covered(cage, [over[i] for i in missing]))
    return [f for f in found if f is not None]


class _Over(NamedTuple):
    """A weld on a branch, ``_SPOTS`` points along it, and a later tube that may lie over it."""

    joint: Joint
    branch: Member
    by: Member
    points: Points


def _covered(cage: Cage, over: Sequence[_Over]) -> list[Covered | None]:
    """What of each weld lies under the later tube; None where nothing does."""
    walls = Walls([wall_of(cage, o.by) for o in over])
    wall = np.repeat(np.arange(len(over)), _SPOTS)
    points = np.concatenate([o.points for o in over])
    away, station = walls.outside(wall, points)
    bead = np.array([o.branch.tube.wall / 2 for o in over])[wall]
    left = np.full(len(points), -np.inf)
    near = np.flatnonzero(away < bead)
    left[near] = walls.left(wall[near], wall[near], points[near], station[near])
    under = ((away < bead) & (left > -bead)).reshape(-1, _SPOTS)
    deepest = np.argmin(np.where(under, away.reshape(-1, _SPOTS), np.inf), axis=1)
    out: list[Covered | None] = []
    for o, spots, spot in zip(over, under, deepest, strict=True):
        if not spots.any():
            out.append(None)
            continue
        seated = any(o.branch.id in e.parents for _, e in o.by.ends)
        length = length_of(o.points, spots)
        out.append(Covered(o.joint, o.by, length, o.points[spot], seated))
    return out


def length_of(points: Points, those: NDArray[np.bool_]) -> float:
    """Length of those parts of a closed curve that lie at some of its points, mm.

    A point stands for half of the way to either neighbour, so that a curve and its mirror image,
    which runs the other way, give the same.

    Args:
        points: in order round the curve, ``(n, 3)`` mm.
        those: which of them count, ``(n,)``.
    """
    step = np.linalg.norm(np.concatenate([points[1:], points[:1]]) - points, axis=1)
    return float((step + np.concatenate([step[-1:], step[:-1]]))[those].sum() / 2)


def _within_reach(joints: Sequence[Joint], tubes: Sequence[Member]) -> Bools:
    """Which tubes come near enough to a weld, each to one, to lie over it, ``(n,)``.

    Told of all of the branch between the shortest and the longest line of its cut.
    """
    cuts = [joint.cut for joint in joints]
    if not cuts:
        return np.zeros(0, dtype=bool)
    rows = [(*c.point, *c.out, c.shortest, c.longest, c.outer_radius, c.inner_radius) for c in cuts]
    table = np.array(rows)
    short, long, outer, inner = table[:, 6:].T
    back = np.linspace(short, long, _ALONG, axis=1)
    points = table[:, None, 0:3] - back[..., None] * table[:, None, 3:6]
    tube = np.repeat(np.arange(len(tubes)), _ALONG)
    away, _ = Lines.of([m.path for m in tubes]).nearest(tube, points.reshape(-1, 3))
    between = (long - short) / (_ALONG - 1) / 2
    bead = (outer - inner) / 2
    reach = outer + np.array([m.tube.outer_radius for m in tubes]) + bead + SHARED
    return np.asarray(away.reshape(-1, _ALONG).min(axis=1) - between < reach)


def _weld_boxes(joints: Sequence[Joint]) -> tuple[Points, Points]:
    """Low and high corners ``(n, 3)`` mm of boxes that hold the outsides of copes' edges."""
    cuts = [joint.cut for joint in joints]
    rows = [(*c.point, *c.out, c.shortest, c.longest, c.outer_radius) for c in cuts]
    table = np.array(rows).reshape(-1, 9)
    point, out = table[:, 0:3], table[:, 3:6]
    short, long, radius = (table[:, k, None] for k in (6, 7, 8))
    ends = point - short * out, point - long * out
    reach = radius * np.sqrt(np.maximum(1.0 - out**2, 0.0)) + MICRON
    return np.minimum(*ends) - reach, np.maximum(*ends) + reach


def _saddles(cage: Cage, joints: Sequence[Joint]) -> list[Points]:
    """Points along welds, ``(n, 3)`` mm each."""

    def points(missing: Sequence[int]) -> list[Points]:
        cuts = [joints[i].cut for i in missing]
        in_step([cut.cornered() for cut in cuts])
        return edge_points(cuts, _SPOTS)

    return cage.kept.each([("saddle", joint) for joint in joints], points)


def _bar(cage: Cage, m: Member) -> Rod:
    """What is left of a tube between the tips of its ends."""
    low, high = (cage.cut(m.id, "a").shortest, m.path.length - cage.cut(m.id, "b").shortest)
    return Rod(m.path, m.tube.outer_radius, max(low, 0.0), min(high, m.path.length))


def _parted(cage: Cage, pairs: Sequence[tuple[Member, Member]]) -> Bools:
    """Which pairs of tubes are straight and lie on two sides of a plane, ``(n,)``.

    So do the two halves of a tube that another one parts, which closest lines cannot tell. Looked
    at are planes square to either axis and to the lines between the two.
    """
    clear = np.zeros(len(pairs), dtype=bool)
    straight = [
        i for i, (a, b) in enumerate(pairs) if len(a.path.pieces) == len(b.path.pieces) == 1
    ]
    if not straight:
        return clear
    # tips, axis and radius of both tubes of each pair: (n, 2, 3), (n, 2, 3) and (n, 2)
    both = [[_straight(cage, m) for m in pairs[i]] for i in straight]
    tips = np.array([[(low, high) for low, high, *_ in row] for row in both])
    axis = np.array([[q for _, _, q, _ in row] for row in both])
    radius = np.array([[r for *_, r in row] for row in both])
    a, b = axis[:, 0], axis[:, 1]
    for normal in (a, b, a + b, a - b):
        n = normal / np.maximum(size_rows(normal), NEVER_ZERO)[:, None]
        lean = dot_rows(axis, n[:, None])
        wide = radius * np.sqrt(np.maximum(1.0 - lean * lean, 0.0))
        at = dot_rows(tips, n[:, None, None])
        low, high = at.min(axis=2) - wide, at.max(axis=2) + wide
        apart = np.maximum(low[:, 1] - high[:, 0], low[:, 0] - high[:, 1])
        clear[straight] |= apart > -_SLIVER
    return clear


def _straight(cage: Cage, m: Member) -> tuple[Vec, Vec, Vec, float]:
    """Where a straight tube's axis is beside its farthest tips, its direction, and its radius."""
    a, b = (cage.cut(m.id, name) for name in ("a", "b"))
    tips = a.point - a.shortest * a.out, b.point - b.shortest * b.out
    return *tips, b.out, m.tube.outer_radius


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


Pair = tuple[Member, Member, float]
"""Two tubes, and how near to a cope (mm) nothing is looked at: the seat of a branch on its parent,
which touch there by construction."""
Deep = tuple[float, Vec]
"""How deep a wall lies in another (mm, 0 when apart), and where ``(3,)``."""


def _same_cuts(cage: Cage, *tubes: Member) -> list[Same]:
    return [Same(cage.cut(m.id, name)) for m in tubes for name, _ in m.ends]


def _deepest(cage: Cage, pairs: Sequence[Pair]) -> list[Deep]:
    """How deep the walls of each pair are in each other."""

    def looked_at(missing: Sequence[int]) -> list[Deep]:
        tubes = {m.id: m for i in missing for m in pairs[i][:2]}
        found = _Looked.at(cage, tubes, [pairs[i] for i in missing]).deepest()
        return [max(both, key=lambda f: f[0]) for both in zip(found[::2], found[1::2], strict=True)]

    keys = [("deepest", a, b, seat, *_same_cuts(cage, a, b)) for a, b, seat in pairs]
    return cage.kept.each(keys, looked_at)


class _Looked(Struct, frozen=True, kw_only=True, eq=False):
    """Points of walls looked for in other walls: one look for each wall and the other.

    Args:
        walls: of all tubes.
        own: number of the wall whose points are looked at, by look.
        other: number of the wall that they may lie in.
        seat: how near to a cope nothing is looked at, mm.
        fits_own: how far back from its ends a and b the own wall is cut to fit the other, mm.
        fits_other: how far back from its ends the other wall is cut to fit the own one, mm.
    """

    walls: Walls
    own: Ints
    other: Ints
    seat: Vec
    fits_own: tuple[Vec, Vec]
    fits_other: tuple[Vec, Vec]

    @classmethod
    def at(cls, cage: Cage, tubes: Mapping[str, Member], pairs: Sequence[Pair]) -> _Looked:
        """Both looks of each pair."""
        number = {name: i for i, name in enumerate(tubes)}
        both = [(x, y, seat) for a, b, seat in pairs for x, y in ((a, b), (b, a))]
        own = np.array([(_fitted(cage, x, y, "a"), _fitted(cage, x, y, "b")) for x, y, _ in both])
        other = own.reshape(-1, 2, 2)[:, ::-1].reshape(-1, 2)
        return cls(
            walls=Walls([wall_of(cage, m) for m in tubes.values()]),
            own=np.array([number[x.id] for x, _, _ in both]),
            other=np.array([number[y.id] for _, y, _ in both]),
            seat=np.array([seat for *_, seat in both]),
            fits_own=(own[:, 0], own[:, 1]),
            fits_other=(other[:, 0], other[:, 1]),
        )

    def deepest(self) -> list[Deep]:
        """The point that lies deepest, and how deep, of each look."""
        look, points = self._all_round()
        found = _most(look, self._depths(look, points), len(self.own))
        deep, where = np.zeros(len(self.own)), np.zeros((len(self.own), 3))
        at = np.flatnonzero(found.depth >= -_BETWEEN)
        if len(at):
            start = points[found.row[at]]
            deep[at], where[at] = self._closer(at, np.maximum(found.depth[at], 0.0), start)
        return [(float(d), w) for d, w in zip(deep, where, strict=True)]

    def _all_round(self) -> tuple[Ints, Points]:
        """Points to look at and the looks they belong to, in order: rings, and edges of tubes."""
        walls = self.walls
        look, station = self._rings()
        phi = np.linspace(0.0, 2 * np.pi, _ROUND, endpoint=False)
        points = walls.points(self.own[look], station, phi[None]).reshape(-1, 3)
        looks, found = [np.repeat(look, _ROUND)], [points]
        for i, cut in self._edges():
            found.append(cut.rim)
            looks.append(np.full(len(found[-1]), i))
        look = np.concatenate(looks)
        order = np.argsort(look, kind="stable")
        return look[order], np.concatenate(found)[order]

    def _edges(self) -> list[tuple[int, EndCut]]:
        """The looks without a seat, and ends of theirs whose edge can come near the other wall."""
        walls = self.walls.walls
        ends = [
            (int(i), cut)
            for i in np.flatnonzero(self.seat == 0.0)
            for cut in (walls[self.own[i]].cut_a, walls[self.own[i]].cut_b)
        ]
        if not ends:
            return []
        other = self.other[[i for i, _ in ends]]
        away, _ = self.walls.outside(other, np.array([cut.point for _, cut in ends]))
        # an edge lies between the smallest and the largest depth of its cut
        reach = [hypot(c.outer_radius, max(-c.shortest, c.longest)) + _BETWEEN for _, c in ends]
        return [ends[k] for k in np.flatnonzero(away < reach)]

    def _rings(self) -> tuple[Ints, Vec]:
        """The looks and stations (mm) of rings that can come near the other wall."""
        walls = self.walls
        look, station = self._in_blocks()
        own, other = self.own[look], self.other[look]
        axis, _ = walls.lines.spots(own, station)
        away, beside = walls.outside(other, axis)
        near = (away < walls.radius[own]) & ~_within(self.fits_own, walls, self.own, look, station)
        # all of a ring lies beside a straight within its radius of where its middle does
        alone = walls.lines.many[other] == 1
        near &= ~(
            alone & _within(self.fits_other, walls, self.other, look, beside, walls.radius[own])
        )
        look, own, station = look[near], own[near], station[near]
        there = walls.stands(own, station, self.seat[look])
        return look[there], station[there]

    def _in_blocks(self) -> tuple[Ints, Vec]:
        """The looks and stations (mm) of rings in blocks that come near the other wall at all."""
        walls = self.walls
        count = (walls.length / _STEP).astype(np.intp) + 2
        step = walls.length / (count - 1)
        many = -(-count // _BLOCK)[self.own]
        look = np.repeat(np.arange(len(self.own)), many)
        first = _BLOCK * (np.arange(len(look)) - np.repeat(np.cumsum(many) - many, many))
        own = self.own[look]
        last = np.minimum(first + _BLOCK, count[own]) - 1
        axis, _ = walls.lines.spots(own, (first + last) / 2 * step[own])
        away, _ = walls.outside(self.other[look], axis)
        # no ring of a block is further from its middle than half its length
        near = away < walls.radius[own] + (last - first) / 2 * step[own] + MICRON
        look, first, last = look[near], first[near], last[near]
        many = last - first + 1
        ring = np.arange(many.sum()) + np.repeat(first - (np.cumsum(many) - many), many)
        look = np.repeat(look, many)
        own = self.own[look]
        station = np.where(ring == count[own] - 1, walls.length[own], ring * step[own])
        return look, station

    def _closer(self, at: Ints, deep: Vec, where: Points) -> tuple[Vec, Points]:
        """Close in on the deepest points of some looks, from points found nearby."""
        walls, own = self.walls, self.own[at]
        rows = np.arange(len(at))
        station, angle = walls.places(own, where)
        fine = np.linspace(-1.0, 1.0, 7)
        for n in range(3):
            s = station[:, None] + fine * (_STEP / 4.0**n)
            p = angle[:, None] + fine * (2 * np.pi / _ROUND / 4.0**n)
            held = np.clip(s, 0.0, walls.length[own, None])
            grid = walls.points(np.repeat(own, 7), held.ravel(), np.repeat(p, 7, axis=0))
            grid = grid.reshape(len(at), 49, 3)
            depth = self._depths(np.repeat(at, 49), grid.reshape(-1, 3)).reshape(-1, 49)
            best = np.argmax(depth, axis=1)
            better = depth[rows, best] > deep
            deep = np.where(better, depth[rows, best], deep)
            where = np.where(better[:, None], grid[rows, best], where)
            station = np.where(better, s[rows, best // 7], station)
            angle = np.where(better, p[rows, best % 7], angle)
        return deep, where

    def _depths(self, look: Ints, points: Points) -> Vec:
        """How deep points ``(n, 3)`` of walls are inside wall and bore of the others, mm.

        Negative outside, minus infinity where a wall is cut away, and within its seat of a cope.
        """
        walls, seat = self.walls, self.seat[look]
        away, station = walls.outside(self.other[look], points)
        depth = np.full(len(points), -np.inf)
        fitted = _within(self.fits_other, walls, self.other, look, station)
        near = np.flatnonzero((away < _BETWEEN) & ~fitted)
        if not len(near):
            return depth
        at, own, other = points[near], self.own[look[near]], self.other[look[near]]
        # one look at the cuts of the walls that they may lie in and of their own
        stations = np.concatenate([station[near], walls.outside(own, at)[1]])
        part = np.concatenate([look[near], look[near] + len(self.own)])
        both = walls.left(part, np.concatenate([other, own]), np.concatenate([at, at]), stations)
        left, here = both.reshape(2, -1)
        kept = left > np.where(seat[near] > 0.0, seat[near], -_BETWEEN)
        there = kept & (here > seat[near] - SAME_POINT)
        depth[near[there]] = np.minimum(-away[near], left)[there]
        return depth


def _fitted(cage: Cage, branch: Member, parent: Member, end: EndName) -> float:
    """How far back from its end (mm) all of a branch stands clear of what it is coped to.

    On its last straight each line of its wall starts where it first touches the parent, and what
    of the parent lies in the tube there is where the wall is cut away. Told of that straight, and
    no further than the cut looks for contacts; minus infinity where the end is not coped to it.
    """
    if parent.id not in branch.end(end).parents:
        return -np.inf
    piece = branch.path.pieces[0 if end == "a" else -1]
    cut = cage.cut(branch.id, end)
    known = zip(cut.on, cut.windows, strict=False)
    reach = max((w[1] for q, w in known if q.owner == parent.id), default=-np.inf)
    return min(reach, piece.length) if isinstance(piece, Line) else -np.inf


def _within(
    fits: tuple[Vec, Vec],
    walls: Walls,
    wall: Ints,
    look: Ints,
    station: Vec,
    more: Vec | float = 0.0,
) -> Bools:
    """Whether stations (mm) of walls, and ``more`` (mm) to both sides, are where an end fits."""
    from_a, from_b = (fit[look] for fit in fits)
    back = walls.length[wall[look]] - station
    return (station + more <= from_a) | (back + more <= from_b)


class _Most(NamedTuple):
    """The largest depth of each look, and its row."""

    depth: Vec
    row: Ints


def _most(look: Ints, depth: Vec, looks: int) -> _Most:
    """The first of the deepest points of each look; minus infinity where it has none."""
    most, row = np.full(looks, -np.inf), np.zeros(looks, np.intp)
    there, first = np.unique(look, return_index=True)
    if len(there):
        most[there] = np.maximum.reduceat(depth, first)
    # written from the last to the first, so that the first of equals stays
    best = np.flatnonzero(depth == most[look])[::-1]
    row[look[best]] = best
    return _Most(most, row)
