"""Tubes that run into each other where no joint was meant.

Tubes near each other are found by their centre lines; whether they touch is then told by points
on the walls that are left between the cuts, so that two branches of one node, and a branch and
what it is coped to, are held to the same measure as tubes that know nothing of each other.
Frame: car axes, mm, rad.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from cagekit.cage.cage import Cage
from cagekit.cage.member import Member
from cagekit.geometry.centre_line import Vec
from cagekit.geometry.clearance import Bar, PairGap, closest_pairs, points_gap

TOUCH = 2.0
"""Overlap of two walls, mm, that a file takes away at fit-up and that is not called a collision.
Source: common practice."""
_STEP = 4.0
"""Distance of the rings of points on a wall, mm."""
_ROUND = 36
"""Points of a ring."""
_BY = 3.0
"""Tubes that meet within this many diameters of a node are in each other's way at that node."""


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


def overlaps(cage: Cage) -> list[Overlap]:
    """Every pair of tubes whose walls are in one place, in build order."""
    members = list(cage.members.values())
    bars = [_bar(cage, m) for m in members]
    near = closest_pairs(bars, limit=-TOUCH)
    hits = (_overlap(cage, members[p.a], members[p.b], p) for p in near)
    return [h for h in hits if h is not None]


def _bar(cage: Cage, m: Member) -> Bar:
    """What is left of a tube between the tips of its ends."""
    low, high = (cage.cut(m.id, "a").shortest, m.path.length - cage.cut(m.id, "b").shortest)
    return Bar(m.path, m.tube.outer_radius, max(low, 0.0), min(high, m.path.length))


def _overlap(cage: Cage, a: Member, b: Member, pair: PairGap) -> Overlap | None:
    """How deep the walls of two tubes are in each other; None when they only touch."""
    deepest, where = 0.0, pair.found.point_a
    for one, other in ((a, b), (b, a)):
        points = _wall_near(cage, one, other)
        if len(points):
            depth = _depth(cage, other, points)
            k = int(np.argmax(depth))
            if depth[k] > deepest:
                deepest, where = float(depth[k]), points[k]
    if deepest <= TOUCH:
        return None
    return Overlap(a, b, deepest, pair.found.gap, where, _joined(a, b, where))


def _joined(a: Member, b: Member, where: Vec) -> bool:
    """Whether the place is by an end that one has on the other, or both on the same tube."""
    of_a = {p for _, e in a.ends for p in e.parents}
    of_b = {p for _, e in b.ends for p in e.parents}
    if a.id not in of_b and b.id not in of_a and not of_a & of_b:
        return False
    nodes = [m.path.end_point(name) for m in (a, b) for name, e in m.ends if e.parents]
    return min(float(np.linalg.norm(where - n)) for n in nodes) < _BY * max(a.tube.od, b.tube.od)


def _wall_near(cage: Cage, m: Member, other: Member) -> Vec:
    """Points on the outside of ``m`` that exist and may be inside ``other``, ``(n, 3)`` mm."""
    stations = np.linspace(0.0, m.path.length, int(m.path.length / _STEP) + 2)
    axis = m.path.points(stations)
    away, _ = points_gap(axis, other.path, other.tube.outer_radius)
    close = away < m.tube.outer_radius
    if not close.any():
        return np.empty((0, 3))
    axis, along = axis[close], m.path.tangents(stations[close])
    u = np.cross(along, _across(along))
    u /= np.linalg.norm(u, axis=1)[:, None]
    v = np.cross(along, u)
    phi = np.linspace(0.0, 2 * np.pi, _ROUND, endpoint=False)[None, :, None]
    ring = u[:, None] * np.cos(phi) + v[:, None] * np.sin(phi)
    points = (axis[:, None] + m.tube.outer_radius * ring).reshape(-1, 3)
    inside, _ = points_gap(points, other.path, other.tube.outer_radius)
    points = points[inside < -TOUCH]
    return points[_left_of(cage, m, points) > -1e-6] if len(points) else points


def _across(along: Vec) -> Vec:
    """Axes that are far from parallel to the directions ``(n, 3)``."""
    return np.asarray(np.eye(3)[np.argmin(np.abs(along), axis=1)])


def _depth(cage: Cage, m: Member, points: Vec) -> Vec:
    """How deep points ``(n, 3)`` are inside the wall and bore of ``m``, mm; negative outside."""
    away, _ = points_gap(points, m.path, m.tube.outer_radius)
    return np.minimum(-away, _left_of(cage, m, points))


def _left_of(cage: Cage, m: Member, points: Vec) -> Vec:
    """How far points beside ``m`` are from where its wall is cut, mm; negative: cut away there."""
    left = np.full(len(points), np.inf)
    _, station = points_gap(points, m.path)
    for name, back in (("a", station), ("b", m.path.length - station)):
        cut = cage.cut(m.id, name)  # type: ignore[arg-type]
        near = back <= cut.longest + m.tube.outer_radius
        if not near.any():
            continue
        w = points[near] - cut.point
        u, v = w @ cut.zero, w @ cut.side
        rho = np.minimum(np.hypot(u, v), cut.outer_radius)
        left[near] = np.minimum(left[near], -(w @ cut.out) - cut.trim(np.arctan2(v, u), rho))
    return left
