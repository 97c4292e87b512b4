"""Follow the ridges of an end face from one of its corners to the next.

A ridge is where an end face passes from one parent to another. It starts where a rim does so,
runs through the wall, and ends on a rim or where three parents meet.
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct, field

from cagekit.geometry.arrays import Array
from cagekit.solids.brep import (
    Record,
)
from cagekit.solids.creases import (
    Crease,
    Cut,
    Refused,
    creases,
    crossing_points,
    joint,
    meeting,
)
from cagekit.solids.ridges import Beside, next_pieces, write_ridge
from cagekit.solids.rims import EndRays, Rim, face_surface
from cagekit.solids.side_by_side import RayWork
from cagekit.solids.veils import EndSurface
from cagekit.units.tolerance import MICRON, SAME_POINT, TENTH_MICRON

FIRST_STEP = 0.02
STEP = 0.6
"""Largest step along a ridge, mm."""
SHORT = 0.06
"""Largest step where a third surface may come in just before the rim, mm."""
MOST_STEPS = 900
ABOVE = SAME_POINT
"""A third parent stands above a ridge when its contact is this much earlier, mm."""
BEHIND = 1e-4
"""Share of a step by which it may lie behind the wall and still be on the ridge."""
GRAZE = 0.01
"""Distance (mm) from a rim within which a ridge must not pass by."""


class RidgeStart(Struct, eq=False):
    """A vertex of the end face's map: where a ridge can start.

    ``wanted`` holds the pairs of surfaces whose ridge leaves here and has not been drawn.
    """

    vertex: int
    point: Array
    wanted: list[frozenset[int]] = field(default_factory=list)
    on_rim: float | None = None
    """Radius of the rim it lies on, none inside the wall."""


class Ridge(Struct, frozen=True, eq=False):
    """A drawn ridge: its edges one after the other, from corner to corner.

    ``leave`` and ``arrive`` are points of it near its two ends, ``(3,)``.
    """

    edges: tuple[int, ...]
    first: int
    last: int
    leave: Array
    arrive: Array


def rim_corners(rays: EndRays, record: Record, rims: tuple[Rim, Rim]) -> list[RidgeStart]:
    """The corners where a rim passes from one surface to another.

    Args:
        rays: rays of the end.
        record: the tube so far; edges are added to it.
        rims: rims of the end, outside first.
    """
    out = []
    for rim in rims:
        for i, arc in enumerate(rim.arcs):
            pair = frozenset((rim.arcs[i - 1].surface, arc.surface))
            if len(pair) == 2:
                v = rim.starts[i]
                out.append(RidgeStart(v, record.vertices[v], [pair], rim.radius))
    return out


def draw_ridges(rays: EndRays, record: Record, rims: tuple[Rim, Rim]) -> RayWork[list[Ridge]]:
    """Follow and write all ridges of an end face.

    Args:
        rays: rays of the end.
        record: the tube so far; edges are added to it.
        rims: rims of the end, outside first.

    Raises:
        Refused: a ridge gets lost or ends nowhere.
    """
    corners = rim_corners(rays, record, rims)
    out: list[Ridge] = []
    crossings: list[RidgeStart] = []
    for _ in range(40):
        start = next((c for c in corners if c.wanted), None)
        if start is None:
            return out
        pair = start.wanted.pop()
        curve, track, end = yield from _trace(rays, record, corners, start, pair)
        beside = tuple(face_surface(rays, rays.surfaces[k])[0] for k in sorted(pair))
        stretches = yield from _divide(rays, record, crossings, pair, track, start, end)
        out += _draw(record, curve, beside, stretches)
    raise Refused("the end face has too many ridges")


def _trace(
    rays: EndRays,
    record: Record,
    corners: list[RidgeStart],
    start: RidgeStart,
    pair: frozenset[int],
) -> RayWork[tuple[Crease, list[Array], RidgeStart]]:
    """Follow one ridge from a corner to the corner where it ends."""
    curve, heading = yield from _set_out(rays, start, pair)
    way = curve, heading, pair
    try:
        track, end = yield from _arrive(rays, record, corners, start, way, STEP)
    except Refused:
        track, end = yield from _arrive(rays, record, corners, start, way, SHORT)
    end.wanted.remove(pair)
    track[-1] = end.point
    _keep_off(rays, np.array(track))
    return curve, track, end


def _arrive(
    rays: EndRays,
    record: Record,
    corners: list[RidgeStart],
    start: RidgeStart,
    way: tuple[Crease, Array, frozenset[int]],
    most: float,
) -> RayWork[tuple[list[Array], RidgeStart]]:
    """Follow one ridge and find its end, in steps of ``most`` mm at the most."""
    curve, heading, pair = way
    track, third = yield from _follow(rays, curve, start, heading, pair, most)
    if third is None:
        return track, _nearest(corners, track[-1], pair)
    return track, _meeting(rays, record, corners, track[-1], curve, pair, third)


def _keep_off(rays: EndRays, line: Array) -> None:
    """Refuse a ridge that grazes the other rim: the face would touch itself there."""
    outer, inner = rays.radii
    rho = rays.chart(line)[1]
    both_outside = min(rho[0], rho[-1]) > outer - GRAZE
    both_inside = max(rho[0], rho[-1]) < inner + GRAZE
    if (both_outside and rho.min() < inner + GRAZE) or (both_inside and rho.max() > outer - GRAZE):
        raise Refused("a ridge grazes a rim")


Stretch = tuple[RidgeStart, list[Array], RidgeStart]


def _draw(record: Record, curve: Crease, beside: Beside, stretches: list[Stretch]) -> list[Ridge]:
    out = []
    for start, track, end in stretches:
        line = np.array(track)
        edges = write_ridge(record, curve, beside, line, (start.vertex, end.vertex))
        k = min(2, len(line) - 1)
        out.append(Ridge(edges, start.vertex, end.vertex, line[k], line[-1 - k]))
    return out


def _divide(
    rays: EndRays,
    record: Record,
    crossings: list[RidgeStart],
    pair: frozenset[int],
    track: list[Array],
    start: RidgeStart,
    end: RidgeStart,
) -> RayWork[list[Stretch]]:
    """Divide a ridge where it crosses the twin of its own: tubes of one diameter meet twice."""
    i, j = sorted(pair)
    line = np.array(track)
    for spot in crossing_points(rays.surfaces[i], rays.surfaces[j], rays.node):
        gap = np.linalg.norm(line - spot, axis=1)
        k = int(np.argmin(gap))
        if gap[k] > STEP or not 0 < k < len(track) - 1 or min(gap[0], gap[-1]) < 0.05:
            continue
        s, _ = yield from rays.asking(*rays.chart(spot[None]))
        if s[0] - rays.depth(spot[None])[0] > MICRON:
            continue
        found = [c for c in crossings if float(np.linalg.norm(c.point - spot)) < SAME_POINT]
        if not found:
            found = [RidgeStart(record.vertex(spot), spot)]
            crossings += found
        ahead = (spot - line[k]) @ (line[k + 1] - line[k - 1]) > 0
        before = track[: k + 1] if ahead else track[:k]
        after = track[k + 1 :] if ahead else track[k:]
        return [(start, [*before, spot], found[0]), (found[0], [spot, *after], end)]
    return [(start, track, end)]


def _follow(
    rays: EndRays,
    curve: Crease,
    start: RidgeStart,
    heading: Array,
    pair: frozenset[int],
    most: float,
) -> RayWork[tuple[list[Array], int | None]]:
    """Walk along a ridge until it leaves the wall or meets a third surface.

    What takes the rays through its points is asked when the walk is over, of all at one go.

    Returns:
        The points walked over, and the third surface if one was met.
    """
    walk = _walk(rays, curve, start, heading, pair, most)
    within = walk.track[1:] if walk.lost is not None else walk.track[1:-1]
    met = yield from _third(rays, within, pair)
    if met is not None:
        place, third = met
        return walk.track[: place + 2], third
    if walk.lost is not None:
        raise walk.lost
    return walk.track, walk.onto


class _RidgeWalk(Struct, frozen=True, eq=False):
    """Points along a ridge from its start.

    It goes on ``onto`` the next piece of a parent, is ``lost``, or leaves the wall when neither.
    """

    track: list[Array]
    onto: int | None = None
    lost: Refused | None = None


def _walk(
    rays: EndRays,
    curve: Crease,
    start: RidgeStart,
    heading: Array,
    pair: frozenset[int],
    most: float,
) -> _RidgeWalk:
    """Walk along a ridge until it leaves the wall or a piece of a parent, or gets lost."""
    outer, inner = rays.radii
    joints = [(k, n, joint(rays.surfaces[k], rays.surfaces[n])) for k, n in _onward(rays, pair)]
    track, step = [start.point], FIRST_STEP
    for _ in range(MOST_STEPS):
        here = track[-1]
        there = curve.settle((here + step * heading)[None])[0]
        moved = there - here
        size = float(np.sqrt(moved @ moved))
        if not 0.2 * step < size < 3 * step:
            return _RidgeWalk(track, lost=Refused("a ridge jumps"))
        track.append(there)
        rho = float(rays.chart(there[None])[1][0])
        if not inner < rho < outer:
            return _RidgeWalk(track)
        for k, n, plane in joints:
            # pieces of one tube touch along their joint: the place tells, the depth cannot
            ahead = float((there - plane.point) @ plane.normal)
            if (ahead > 0) == (rays.surfaces[n].piece > rays.surfaces[k].piece):
                return _RidgeWalk(track, onto=n)
        try:
            tangent = curve.tangent(there)
        except Refused as lost:
            return _RidgeWalk(track, lost=lost)
        heading = tangent if float(tangent @ moved) > 0 else -tangent
        step = min(2 * step, most)
    return _RidgeWalk(track, lost=Refused("a ridge does not end"))


def _set_out(
    rays: EndRays, start: RidgeStart, pair: frozenset[int]
) -> RayWork[tuple[Crease, Array]]:
    """The curve of a ridge and the direction in which it runs into the wall."""
    i, j = sorted(pair)
    curves = creases(rays.surfaces[i], rays.surfaces[j], start.point)
    outer, inner = rays.radii
    for step in (FIRST_STEP, 5 * FIRST_STEP):
        for curve in curves:
            along = curve.tangent(start.point)
            ways = np.array([along, -along])
            ends = curve.settle(start.point + step * ways)
            phi, rho = rays.chart(ends)
            s, _ = yield from rays.asking(phi, rho)
            behind = s - rays.depth(ends) > BEHIND * step
            good = (rho < outer) & (rho > inner) & ~behind
            if good.sum() == 1:
                return curve, ways[int(np.argmax(good))]
    raise Refused("a ridge runs along the rim")


def _onward(rays: EndRays, pair: frozenset[int]) -> list[tuple[int, int]]:
    """Of the two surfaces of a ridge those that go on in a piece that is neither, and in which."""
    if rays.cut.count <= 2 and all(k < rays.cut.count for k in pair):
        return []
    return [(k, n) for k in pair for n in next_pieces(rays, k) if n not in pair]


def _third(
    rays: EndRays, points: list[Array], pair: frozenset[int]
) -> RayWork[tuple[int, int] | None]:
    """The first of the points of a ridge whose ray a surface takes before the ridge's own two.

    Returns:
        Its place among them, and the surface.
    """
    if not points or (rays.cut.count <= 2 and all(k < rays.cut.count for k in pair)):
        return None
    line = np.array(points)
    s, active = yield from rays.asking(*rays.chart(line))
    known = [*pair, *(n for _, n in _onward(rays, pair))]
    for i, (k, above) in enumerate(zip(active.tolist(), s - rays.depth(line), strict=True)):
        if k not in known and float(above) > ABOVE:
            return i, k
    return None


def _nearest(corners: list[RidgeStart], point: Array, pair: frozenset[int]) -> RidgeStart:
    """The corner at which a ridge that left the wall must have ended."""
    fit = [c for c in corners if pair in c.wanted and c.on_rim is not None]
    if not fit:
        raise Refused("a ridge ends nowhere")
    best = min(fit, key=lambda c: float(np.linalg.norm(c.point - point)))
    if float(np.linalg.norm(best.point - point)) > 1.5 * STEP:
        raise Refused("a ridge ends beside its corner")
    return best


def _meeting(
    rays: EndRays,
    record: Record,
    corners: list[RidgeStart],
    near: Array,
    curve: Crease,
    pair: frozenset[int],
    third: int,
) -> RidgeStart:
    """The corner inside the wall where three surfaces meet; a new one or one already found."""
    i, j = sorted(pair)
    beside = [k for k in (i, j) if third in next_pieces(rays, k)]
    limit: EndSurface | Cut = rays.surfaces[third]
    if beside:
        limit = joint(rays.surfaces[beside[0]], rays.surfaces[third])
    point = meeting((curve.first, curve.second, limit), near, within=3 * STEP)
    for c in corners:
        meets = float(np.linalg.norm(c.point - point)) < TENTH_MICRON
        if c.on_rim is None and meets and pair in c.wanted:
            return c
    pairs = [pair, frozenset((i, third)), frozenset((j, third))]
    new = RidgeStart(record.vertex(point), point, pairs)
    corners.append(new)
    return new
