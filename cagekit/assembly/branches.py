"""Which earlier branches of its node a tube runs into."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
from msgspec import Struct

from cagekit.cage.member import CHASSIS, End, EndKind, EndName, Member
from cagekit.geometry.arrays import Array, Bools, Ints, Points, dot_rows, size3, size_rows
from cagekit.geometry.centre_line import Vec, perpendicular, unit
from cagekit.geometry.chords import ChordRows, apart, chords, chords_from
from cagekit.geometry.clearance import Lines
from cagekit.units.tolerance import SAME_POINT

LOOK = 160.0
"""How far from a node (mm along both tubes) two branches are checked for running
into each other."""
STEP = 2.5
"""Distance of the axis points looked at, mm."""
TOUCH = 1.0
"""Overlap (mm) of two branches that counts as touching only."""
NEAR_NODE = 60.0
"""Branches whose nodes are further apart (mm) are judged by their axes alone."""
SHARED = 0.5
"""Depth (mm) to which one branch may reach into another's wall where it leaves the parent."""
RING = 48
"""Points looked at round a tube."""
OPPOSITE = -0.5
"""Cosine between the ways of two branches below which they most likely do not meet."""
FEW = 24
"""So many samples from a node on are looked at first."""
LOT = 64
"""Meetings looked at in one pass: what their samples take stays small."""


class Branches:
    """The tubes made so far, by what they are coped to."""

    def __init__(self, tubes: Mapping[str, Member]) -> None:
        self.tubes = dict(tubes)
        self._frame = [m.id for m in tubes.values() if m.role == CHASSIS]
        self._on: dict[str, dict[str, None]] = {}
        self._place = {id_: n for n, id_ in enumerate(tubes)}

    def note(self, member: Member) -> None:
        """Take in a member that has been made."""
        self.tubes[member.id] = member
        self._place.setdefault(member.id, len(self._place))
        a, b = (e.parents if e.kind is EndKind.COPE else () for e in (member.a, member.b))
        for parent in {*a, *b}:
            self._on.setdefault(parent, {})[member.id] = None

    def beside(self, member: Member, end: End) -> tuple[Member, ...]:
        """Earlier tubes that are coped to a parent of this end; tubes of the frame join anywhere.

        Pieces of the member's own bar are none of them: they meet in what divides them.
        """
        tubes, parents = self.tubes, end.parents
        place, bar = self._place, member.bar
        # what is on one parent, as nearly always, stands in order already
        ids: Iterable[str] = self._on.get(parents[0], ())
        if len(parents) > 1 or tubes[parents[0]].role == CHASSIS:
            frame = self._frame if tubes[parents[0]].role == CHASSIS else ()
            every = set(frame).union(*[self._on.get(p, ()) for p in parents])
            ids = sorted(every, key=place.__getitem__)
        last = place.get(member.id, len(place))
        found = [tubes[i] for i in ids if place[i] < last and i not in parents]
        return tuple([tube for tube in found if tube.bar != bar])


class Meeting(NamedTuple):
    """A member's end on its first parent, and an earlier branch that may be in the way there."""

    member: Member
    end: EndName
    parent: Member
    other: Member

    @property
    def key(self) -> Hashable:
        """All that tells whether they meet."""
        return ("run into", *self)

    @property
    def likely(self) -> bool:
        """Whether they most likely meet: they leave one node, and not to opposite sides."""
        path, radius = self.member.path, self.member.tube.od / 2
        (x, y, z), way = path.end_point(self.end).tolist(), None
        for name, _ in self.other.ends:
            u, v, w = self.other.path.end_point(name).tolist()
            if abs(u - x) < radius and abs(v - y) < radius and abs(w - z) < radius:
                way = path.out_direction(self.end) if way is None else way
                if float(self.other.path.out_direction(name) @ way) > OPPOSITE:
                    return True
        return False


def run_into(asked: Sequence[Meeting]) -> list[bool]:
    """Of each member, whether it overlaps the other branch outside the parent's own tube.

    All are looked at side by side; what one gets does not hang on the others.
    """
    lots = (_Nodes.of(asked[n : n + LOT]) for n in range(0, len(asked), LOT))
    return [found for nodes in lots for found in nodes.answers()]


def within_reach(
    ends: Sequence[tuple[Member, EndName]], others: Sequence[Sequence[Member]]
) -> list[tuple[int, Member]]:
    """Which branches cannot be told to be out of reach of ends, all in one pass.

    Args:
        ends: the ends.
        others: for each the branches.

    Returns:
        Numbers of ends, rising, each with a branch.
    """
    flat = [other for row in others for other in row]
    if not flat:
        return []
    alike: dict[tuple[Member, EndName], int] = {}
    tubes: dict[Member, int] = {}
    mine = np.array([alike.setdefault(end, len(alike)) for end in ends], np.intp)
    number = np.repeat(np.arange(len(ends)), [len(row) for row in others])
    i, j = mine[number], np.array([tubes.setdefault(m, len(tubes)) for m in flat], np.intp)
    radius = np.array([m.tube.od / 2 for m, _ in alike]), np.array([m.tube.od / 2 for m in tubes])
    leaving = ChordRows.of([chords_from(m.path, name, LOOK) for m, name in alike])
    whole = ChordRows.of([chords(m.path) for m in tubes])
    near = ~apart(leaving, whole, (i, j), radius[0][i] + radius[1][j] + SAME_POINT)
    rows = np.flatnonzero(near)
    return [(n, flat[k]) for n, k in zip(number[rows].tolist(), rows.tolist(), strict=True)]


class _Nodes(Struct, frozen=True, eq=False, dict=True):
    """Meetings side by side.

    Samples along axes decide; exact distances only tell beforehand which of them can. Rows of
    arrays are meetings, ``(n, ...)``: the numbers of their lines, the node, whether parent and
    other branch are within ``LOOK`` of it, where they are nearest to it, ``(2, n)``, and from
    where to where they are within reach, mm.
    """

    asked: Sequence[Meeting]
    lines: Lines
    member: Ints
    parent: Ints
    other: Ints
    node: Points
    there: Bools
    near: Bools
    at: Array
    reach: Array
    its: Array

    @classmethod
    def of(cls, asked: Sequence[Meeting]) -> _Nodes:
        """These meetings."""
        paths = {id(m.path): m.path for q in asked for m in (q.member, q.parent, q.other)}
        place = {key: i for i, key in enumerate(paths)}
        lines = Lines.of(list(paths.values()))
        members, parents, others = (
            [q.member for q in asked], [q.parent for q in asked], [q.other for q in asked]
        )  # fmt: skip
        member, parent, other = (
            np.array([place[id(m.path)] for m in row], np.intp)
            for row in (members, parents, others)
        )
        node = np.array([q.member.path.end_point(q.end) for q in asked])
        away, at = lines.nearest(np.concatenate([parent, other]), np.tile(node, (2, 1)))
        length = np.array([m.path.length for m in (*parents, *others)])
        there, near = (away <= LOOK).reshape(2, -1)
        low, high = np.maximum(at - LOOK, 0.0), np.minimum(at + LOOK, length)
        reach, its = np.stack([low, high], axis=1).reshape(2, -1, 2)
        at = at.reshape(2, -1)
        return cls(asked, lines, member, parent, other, node, there, near, at, reach, its)

    def some(self, rows: Ints) -> _Nodes:
        """Some of the meetings."""
        return _Nodes(
            [self.asked[i] for i in rows.tolist()], self.lines,
            self.member[rows], self.parent[rows], self.other[rows], self.node[rows],
            self.there[rows], self.near[rows], self.at[:, rows], self.reach[rows], self.its[rows],
        )  # fmt: skip

    @cached_property
    def trunk(self) -> Array:
        """Axis points of the parents near the nodes, ``(n, m, 3)`` mm."""
        return self._points(self.parent, _steps(*self.reach.T))

    @cached_property
    def touch(self) -> Vec:
        """How near axes come where branches run into each other, ``(n,)`` mm."""
        return np.array([max(self._reach(q) - TOUCH, 0.0) for q in self.asked])

    @cached_property
    def left(self) -> Vec:
        """Distances from the parents' axes outside of which members, then branches are, mm."""
        left = [_left(q.parent, q.member) for q in self.asked]
        return np.array(left + [_left(q.parent, q.other) for q in self.asked])

    def answers(self) -> list[bool]:
        """Whether each member runs into the other branch."""
        out = self._plainly()
        rest = np.flatnonzero(~out)
        if len(rest):
            out[rest] = self.some(rest)._closely()
        return [bool(hit) for hit in out]

    def _plainly(self) -> Bools:
        """Where the pair of samples that is likeliest to tells that a member runs into the branch.

        Of those near the node that are near enough to each other, the pair that is furthest out of
        a straight parent.
        """
        n, stations = len(self.asked), self._stations
        mid = np.argmin(np.abs(stations[n:] - self.at[1][:, None]), axis=1)
        window = np.clip(mid[:, None] + np.arange(-FEW, FEW + 1), 0, stations.shape[1] - 1)
        mine = self._points(self.member, stations[:n, : FEW + 1])
        its = self._points(self.other, np.take_along_axis(stations[n:], window, axis=1))
        _, way = self.lines.spots(self.parent, self.at[0])
        a, b = mine - self.node[:, None], its - self.node[:, None]
        square = dot_rows(a, a)[:, :, None] + dot_rows(b, b)[:, None] - 2 * a @ b.swapaxes(1, 2)
        far = square >= np.square(np.maximum(self.touch - SAME_POINT, 0.0))[:, None, None]
        left, right = (
            size_rows(w - dot_rows(w, way[:, None])[..., None] * way[:, None]) - least[:, None]
            for w, least in zip((a, b), self.left.reshape(2, n), strict=True)
        )
        out = np.where(far, -np.inf, np.minimum(left[:, :, None], right[:, None])).reshape(n, -1)
        best, rows = np.argmax(out, axis=1), np.arange(n)
        some = np.concatenate([mine[rows, best // b.shape[1]], its[rows, best % b.shape[1]]])
        away, _ = self.lines.nearest(np.tile(self.parent, 2), some)
        free = (away > self.left + SAME_POINT).reshape(2, n).all(axis=0)
        return np.asarray(free & (out[rows, best] > 0.0) & self.near & self.there)

    def _closely(self) -> list[bool]:
        """Whether each member runs into the branch, told by all samples."""
        n = len(self.asked)
        samples = self._points(self._both, self._stations)
        mine, its = np.split(samples, 2)
        within = self._within(samples, np.roll(self._both, n), np.tile(self.touch, 2))
        free = self._outside(samples, within)
        out = []
        for i in range(n):
            a, b = mine[i][free[i]], its[i][free[n + i]]
            hit = bool(self.near[i] and len(a) and len(b))
            out.append(hit and bool(_squares(a, b).min() < self.touch[i] ** 2))
        rest = [i for i in np.flatnonzero(self.near & self.there).tolist() if not out[i]]
        for i in self._sharing_steel(rest, its):
            out[i] = True
        return out

    @property
    def _both(self) -> Ints:
        """The members' lines, then the other branches'."""
        return np.concatenate([self.member, self.other])

    @cached_property
    def _stations(self) -> Array:
        """Stations along members from the nodes on, then along other branches there.

        They are ``(2 n, m)`` mm.
        """
        n = len(self.asked)
        length = np.array([q.member.path.length for q in self.asked])
        low, high = self.its.T
        # of a short tube only the half at this end: what is met at the other belongs there
        high = np.concatenate([np.minimum(LOOK, length / 2), high])
        stations = _steps(np.concatenate([np.zeros(n), low]), high)
        back = np.flatnonzero([q.end == "b" for q in self.asked])
        stations[back] = length[back, None] - stations[back]
        return stations

    def _sharing_steel(self, some: Sequence[int], its: Array) -> list[int]:
        """Meetings in which branches share steel beside their parent, as on the inside of its bend.

        Points on the wall of this branch near its node that lie outside the parent and inside the
        other branch, by more than ``TOUCH``.

        Args:
            some: numbers of the meetings that are looked at.
            its: axis points of the other branches near the nodes, ``(n, m, 3)`` mm.
        """
        ends = {i: self._other_end(i) for i in some}
        some = [i for i in some if ends[i] is not None]
        if not some:
            return []
        asked = [self.asked[i] for i in some]
        axis = self._leaving([(q.member, q.end) for q in asked], self.member[some])
        radius = np.array([q.member.tube.outer_radius for q in asked])
        deep = np.array([q.other.tube.outer_radius - SHARED for q in asked])
        count = [int(1.5 * q.member.tube.od / STEP) + 2 for q in asked]
        last = np.minimum(count, axis.shape[1]) - 1
        ways = [unit(a[n] - a[0]) for a, n in zip(axis, last.tolist(), strict=True)]
        axis = axis[:, : last.max() + 1]
        on = np.arange(axis.shape[1]) <= last[:, None]
        row, col = np.nonzero(self._within(axis, self.other[some], deep + radius) & on)
        points = (axis[row, col][:, None] + radius[row, None, None] * _rings(ways)[row]).reshape(
            -1, 3
        )
        row = np.repeat(row, RING)
        away, _ = self.lines.nearest(self.other[some][row], points)
        inside = np.flatnonzero(away < deep[row] + SAME_POINT)
        left = list(dict.fromkeys(row[inside].tolist()))
        if not left:
            return []
        leaving = self._leaving(
            [(asked[n].other, ends[some[n]] or "a") for n in left],
            self.other[[some[n] for n in left]],
        )
        out = []
        for n, its_own in zip(left, leaving, strict=True):
            i, q = some[n], asked[n]
            mine = points[inside[row[inside] == n]]
            mine = mine[_least(mine, its[i] if q.other.role == CHASSIS else its_own) < deep[n]]
            if (_least(mine, self.trunk[i]) > q.parent.tube.outer_radius).any():
                out.append(i)
        return out

    def _other_end(self, i: int) -> EndName | None:
        """The end of the other branch beside the node, any of a tube of the frame; None if away."""
        _, _, parent, other = self.asked[i]
        if other.role == CHASSIS:
            return "a"
        on = (n for n, e in other.ends if e.kind is EndKind.COPE and parent.id in e.parents)
        end = next(on, None)
        if end is None:
            return None
        away = size3(other.path.end_point(end) - self.node[i])
        return end if away <= NEAR_NODE else None

    @staticmethod
    def _reach(q: Meeting) -> float:
        return q.member.tube.outer_radius + q.other.tube.outer_radius

    def _within(self, points: Array, line: Ints, by: Vec) -> Bools:
        """Which points ``(n, m, 3)`` may be nearer than this to a sample of a line of each."""
        n, m, _ = points.shape
        away, _ = self.lines.nearest(np.repeat(line, m), points.reshape(-1, 3))
        return np.asarray(away.reshape(n, m) < by[:, None] + SAME_POINT)

    def _outside(self, points: Array, of: Bools) -> Bools:
        """Those of points ``(2 n, m, 3)`` that the parent's tube is not around.

        Inside it both branches may be.
        """
        n, left = len(self.asked), self.left
        row, col = np.nonzero(of & np.tile(self.there, 2)[:, None])
        some, least, own = points[row, col], left[row], row % n
        away, at = self.lines.nearest(self.parent[own], some)
        low, high = self.reach.T
        # no sample is further than half a step from the nearest point of the stretch
        inside = (away + STEP / 2 < least) & (low[own] <= at) & (at <= high[own])
        out = of.copy()
        out[row[inside], col[inside]] = False
        close = np.flatnonzero((away <= least + SAME_POINT) & ~inside)
        for i in dict.fromkeys(row[close].tolist()):
            at = close[row[close] == i]
            out[i, col[at]] = _least(some[at], self.trunk[i % n]) > left[i]
        return out

    def _leaving(self, ends: Sequence[tuple[Member, EndName]], line: Ints) -> Array:
        """Axis points from ends inwards as far as ``LOOK``, ``(n, m, 3)`` mm.

        Args:
            ends: members and which end of each.
            line: their numbers.
        """
        length = np.array([m.path.length for m, _ in ends])
        along = _steps(np.zeros(len(ends)), np.minimum(LOOK, length))
        back = np.array([end == "b" for _, end in ends])[:, None]
        return self._points(line, np.where(back, length[:, None] - along, along))

    def _points(self, line: Ints, stations: Array) -> Array:
        """Points of lines at stations ``(n, m)`` mm, ``(n, m, 3)``."""
        n, m = stations.shape
        points, _ = self.lines.spots(np.repeat(line, m), stations.ravel())
        return points.reshape(n, m, 3)


def _steps(low: Vec, high: Vec) -> Array:
    """Stations from low to high ``STEP`` apart at most, the last again and again, ``(n, m)``."""
    count = ((high - low) / STEP).astype(np.intp) + 2
    k = np.minimum(np.arange(count.max()), count[:, None] - 1)
    out = k * ((high - low) / (count - 1))[:, None] + low[:, None]
    return np.where(k == count[:, None] - 1, high[:, None], out)


def _rings(ways: Sequence[Vec]) -> Array:
    """Directions square to each of these, ``RING`` all round, ``(n, RING, 3)``."""
    across = np.array([perpendicular(way) for way in ways])
    beside = np.cross(np.array(ways), across)
    turn = np.linspace(0.0, 2 * np.pi, RING, endpoint=False)[:, None]
    return np.asarray(np.cos(turn) * across[:, None] + np.sin(turn) * beside[:, None])


def _left(parent: Member, branch: Member) -> float:
    """Distance from the parent's axis (mm) from which a branch is outside it for the most part."""
    return parent.tube.outer_radius + 0.1 * branch.tube.outer_radius


def _least(points: Points, samples: Points) -> Vec:
    """Distance of each point ``(n, 3)`` from the nearest of samples ``(m, 3)``, ``(n,)`` mm."""
    if not len(points):
        return np.empty(0)
    return np.asarray(np.sqrt(np.maximum(_squares(points, samples).min(axis=1), 0.0)))


def _squares(a: Points, b: Points) -> Array:
    """Squares of the distances between points ``(n, 3)`` and ``(m, 3)``, ``(n, m)`` mm2."""
    square = a @ b.T
    square *= -2.0
    square += np.einsum("ij,ij->i", a, a)[:, None]
    square += np.einsum("ij,ij->i", b, b)
    return np.asarray(square)
