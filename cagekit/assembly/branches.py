"""Which earlier branches of its node a tube runs into."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property, partial

import numpy as np

from cagekit.cage.kept import Kept
from cagekit.cage.member import CHASSIS, End, EndKind, EndName, Member
from cagekit.geometry.arrays import Bools, Points
from cagekit.geometry.centre_line import CentreLine, Vec, perpendicular, unit
from cagekit.geometry.chords import Chord, apart, chords, chords_from
from cagekit.units.tolerance import SAME_POINT

LOOK = 160.0
"""How far from a node (mm along both tubes) two branches are checked for running
into each other."""
STEP = 2.5
"""Distance of the axis points looked at, mm."""
COARSE = 4
"""Every so manieth of them is looked at first."""
TOUCH = 1.0
"""Overlap (mm) of two branches that counts as touching only."""
NEAR_NODE = 60.0
"""Branches whose nodes are further apart (mm) are judged by their axes alone."""
SHARED = 0.5
"""Depth (mm) to which one branch may reach into another's wall where it leaves the parent."""
RING = 48
"""Points looked at round a tube."""


class Branches:
    """The tubes made so far, by what they are coped to."""

    def __init__(self, tubes: Mapping[str, Member]) -> None:
        self.tubes = tubes
        self._frame = [m.id for m in tubes.values() if m.role == CHASSIS]
        self._on: dict[str, list[str]] = {}
        self._place = {id_: n for n, id_ in enumerate(tubes)}

    def note(self, member: Member) -> None:
        """Take in a member that has been added to the tubes."""
        self._place.setdefault(member.id, len(self._place))
        for parent in {p for _, e in member.ends if e.kind is EndKind.COPE for p in e.parents}:
            self._on.setdefault(parent, []).append(member.id)

    def beside(self, member: Member, end: End) -> tuple[Member, ...]:
        """Earlier tubes that are coped to a parent of this end; tubes of the frame join anywhere.

        Pieces of the member's own bar are none of them: they meet in what divides them.
        """
        tubes, parents = self.tubes, end.parents
        ids = {i for p in parents for i in self._on.get(p, ())}
        if tubes[parents[0]].role == CHASSIS:
            ids.update(self._frame)
        last = self._place.get(member.id, len(self._place))
        found = (
            i for i in sorted(ids, key=self._place.__getitem__)
            if i not in parents and self._place[i] < last
        )  # fmt: skip
        return tuple(tubes[i] for i in found if tubes[i].bar != member.bar)


def run_into(
    member: Member, name: EndName, parent: Member, others: Sequence[Member], kept: Kept
) -> tuple[str, ...]:
    """Those of these branches that overlap a member outside the parent's own tube."""
    node = _Node(member, name, parent)
    return tuple(
        other.id
        for other in others
        if kept.once(("run into", member, name, parent, other), partial(node.holds, other))
    )


class _Node:
    """The end of a member on its first parent, where other branches may be in the way."""

    def __init__(self, member: Member, end: EndName, parent: Member) -> None:
        self.member, self.end, self.parent = member, end, parent
        self.point = member.path.end_point(end)

    @cached_property
    def coarse(self) -> Vec:
        """Some axis points of the member, ``COARSE`` steps apart."""
        return _leaving(self.member, self.end)[::COARSE]

    @cached_property
    def trunk(self) -> Vec | None:
        """The parent's axis here."""
        return _stretch(self.parent.path, self.point)

    @cached_property
    def mine(self) -> Vec:
        """Axis points of the member outside its parent."""
        # of a short tube only the half at this end: what is met at the other belongs there
        axis = _leaving(self.member, self.end, self.member.path.length / 2)
        return axis[_is_outside(axis, self.trunk, _left(self.parent, self.member))]

    @cached_property
    def leaving(self) -> Sequence[Chord]:
        """Chords of what ``_leaving`` takes points of."""
        return chords_from(self.member.path, self.end, LOOK)

    def holds(self, other: Member) -> bool:
        """Whether the member runs into an earlier branch here, outside their parent."""
        reach = self.member.tube.outer_radius + other.tube.outer_radius
        if apart(self.leaving, chords(other.path), reach + SAME_POINT):
            return False
        its = _stretch(other.path, self.point)
        if its is None:
            return False
        # no point of an axis is further than this from those looked at
        between = (COARSE - 1) * STEP
        if _squares(self.coarse, its[::COARSE]).min() > (reach + 2 * between) ** 2:
            return False
        near = _squares(self.mine, its).min(axis=0, initial=np.inf)
        touch = max(reach - TOUCH, 0.0) ** 2
        if near.min() < touch:
            near = near[_is_outside(its, self.trunk, _left(self.parent, other))]
            if near.min(initial=np.inf) < touch:
                return True
        return self.shares_steel(other)

    def shares_steel(self, other: Member) -> bool:
        """Whether two branches share steel beside their parent, as on the inside of its bend.

        Points on the wall of this branch near its node that lie outside the parent and inside the
        other branch, by more than ``TOUCH``.
        """
        its = _beside(other, self.parent, self.point)
        if its is None or self.trunk is None:
            return False
        radius, deep = self.member.tube.outer_radius, other.tube.outer_radius - SHARED
        axis = _leaving(self.member, self.end)[: int(1.5 * self.member.tube.od / STEP) + 2]
        way = unit(axis[-1] - axis[0])
        # of both other axes only what can tell of a point on one of these rings
        within = (deep + radius + SAME_POINT) ** 2
        axis = axis[_squares(axis, its).min(axis=1) < within]
        its = its[_squares(its, axis).min(axis=1, initial=np.inf) < within]
        points = _rings(axis, way, radius)
        points = points[_squares(points, its).min(axis=1, initial=np.inf) < deep * deep]
        wide = self.parent.tube.outer_radius
        return bool((_squares(points, self.trunk).min(axis=1) > wide * wide).any())


def _beside(other: Member, parent: Member, node: Vec) -> Vec | None:
    """Axis points of a branch of this parent near a node; of a tube of the frame, if it is near."""
    if other.role == CHASSIS:
        return _stretch(other.path, node)
    end = next(
        (n for n, e in other.ends if e.kind is EndKind.COPE and parent.id in e.parents), None
    )
    if end is None or float(np.linalg.norm(other.path.end_point(end) - node)) > NEAR_NODE:
        return None
    return _leaving(other, end)


def _leaving(member: Member, end: EndName, most: float = LOOK) -> Vec:
    """Axis points from an end inwards, up to ``most`` mm and ``LOOK``, ``(n, 3)`` mm."""
    path = member.path
    reach = min(LOOK, most, path.length)
    along = np.linspace(0.0, reach, int(reach / STEP) + 2)
    return path.points(along if end == "a" else path.length - along)


def _rings(axis: Points, way: Vec, radius: float) -> Points:
    """Points on a tube's outside, ``RING`` round each point of its axis, ``(n, 3)`` mm."""
    across = perpendicular(way)
    turn = np.linspace(0.0, 2 * np.pi, RING, endpoint=False)
    ring = np.outer(np.cos(turn), across) + np.outer(np.sin(turn), np.cross(way, across))
    rings = axis[:, None, :] + radius * ring[None, :, :]
    return np.asarray(rings.reshape(-1, 3))


def _is_outside(points: Points, trunk: Vec | None, distance: float) -> Bools:
    """Of which points the parent's tube is not around: inside it both branches may be."""
    if trunk is None:
        return np.full(len(points), True)
    return np.asarray(_squares(points, trunk).min(axis=1) > distance * distance)


def _left(parent: Member, branch: Member) -> float:
    """Distance from the parent's axis (mm) from which a branch is outside it for the most part."""
    return parent.tube.outer_radius + 0.1 * branch.tube.outer_radius


def _squares(a: Points, b: Points) -> Vec:
    """Squares of the distances between points ``(n, 3)`` and ``(m, 3)``, shape ``(n, m)`` mm2."""
    square = a @ b.T
    square *= -2.0
    square += np.einsum("ij,ij->i", a, a)[:, None]
    square += np.einsum("ij,ij->i", b, b)
    return square


def _stretch(path: CentreLine, node: Vec) -> Vec | None:
    """Axis points of a path within ``LOOK`` of a node, ``(n, 3)``; None when it is far away."""
    if path.far_from(node, LOOK):
        return None
    spot = path.nearest(node)
    if float(np.linalg.norm(spot.point - node)) > LOOK:
        return None
    low, high = max(spot.station - LOOK, 0.0), min(spot.station + LOOK, path.length)
    return path.points(np.linspace(low, high, int((high - low) / STEP) + 2))
