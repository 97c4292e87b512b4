"""The end faces of a coped tube: the map that rims and ridges draw on the wall's end."""

from __future__ import annotations

from collections.abc import Iterator
from math import atan2, pi, tau

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from cagekit.geometry.arrays import Array, Points2
from cagekit.solids.brep import Face, Loop, Record
from cagekit.solids.creases import Refused
from cagekit.solids.plan import DrawnBorder, Plan
from cagekit.solids.ridges import follow_ridge
from cagekit.solids.rim_ridges import Ridge, draw_ridges
from cagekit.solids.rims import EndRays, Rim, face_surface
from cagekit.solids.rows import EdgeRows
from cagekit.solids.side_by_side import RayWork
from cagekit.solids.walls import VeilWall, follow_veil, is_wall, wall_faces
from cagekit.units.tolerance import ANGLE_ROUNDING

_SECTION = np.linspace(0.0, 1.0, 41)
"""Where an edge is looked at, shares of its length, to tell what lies within a face."""
MOST = 80
"""Borders of an end face at the most."""


class _Walk(Struct, frozen=True, eq=False):
    """One way along an edge of the map, with the face on its left.

    In the map the angle around the tube runs to the right and the radius up. ``leave`` is the
    direction in which it sets out, ``back`` the one that leads back from where it arrives,
    ``turn`` the angle it goes around the tube.
    """

    edges: tuple[tuple[int, bool], ...]
    first: int
    last: int
    leave: float
    back: float
    turn: float
    surface: int | None


_Groups = list[tuple[int, list[list[_Walk]]]]
"""Surfaces, and the loops of the face on each."""


def end_faces(record: Record, rays: EndRays, rims: tuple[Rim, Rim]) -> RayWork[None]:
    """Add the faces of one end, given its written rims (outside first).

    Args:
        record: the tube so far; faces are added to it.
        rays: rays of the end.
        rims: rims of the end, outside first.
    """
    groups, veils = yield from _map(record, rays, rims)
    at_start = rays.cut.which == "a"
    record.faces += veils
    for surface, group in groups:
        made: list[Loop] = []
        for loop in group:
            edges = [e for w in loop for e in w.edges]
            # the map is seen from within the tube, which at end b is against the surface
            if at_start:
                edges = [(e, not forward) for e, forward in reversed(edges)]
            made.append(tuple(edges))
        shape, lower = face_surface(rays, rays.surfaces[surface])
        record.faces.append(Face(shape, False, tuple(made), lower))


def _map(
    record: Record, rays: EndRays, rims: tuple[Rim, Rim]
) -> RayWork[tuple[_Groups, list[Face]]]:
    """The loops of every end face, and the faces of the veils between them.

    Where every parent meets the next in a ridge that starts on a rim these are followed; the plan
    of places does whatever else there is.
    """
    known = len(record.vertices), len(record.edges)
    if not any(rim.steps for rim in rims):
        try:
            ridges = yield from draw_ridges(rays, record, rims)
            walks = [w for r in ridges for w in _ridge_walks(record, rays, r)]
            return (yield from _checked(record, rays, rims, walks)), []
        except Refused:
            del record.vertices[known[0] :], record.edges[known[1] :]
    plan = Plan(record, rays, rims)
    veils = _drawn(plan)
    walks = [w for d in plan.drawn for w in _border_walks(d)]
    groups = yield from _checked(record, rays, rims, walks)
    return groups, wall_faces(plan, veils)


def _drawn(plan: Plan) -> list[VeilWall]:
    """Follow every border of a plan, and write its ridges and veils; the walls of the veils.

    Raises:
        Refused: a border gets lost.
    """
    veils: list[VeilWall] = []
    for _ in range(MOST):
        found = plan.next_border()
        if found is None:
            return veils
        if is_wall(plan, found[1]):
            wall = follow_veil(plan, *found)
            veils += [wall] if wall is not None else []
        else:
            follow_ridge(plan, *found)
    raise Refused("an end face has too many borders")


def _checked(
    record: Record, rays: EndRays, rims: tuple[Rim, Rim], inner: list[_Walk]
) -> RayWork[_Groups]:
    """Close the walks to the loops of faces, and probe them."""
    groups = _group(_loops(_rim_walks(rims) + inner))
    if inner or rays.cut.count > 1:
        yield from _check_map(record, rays, groups)
    return groups


def _border_walks(drawn: DrawnBorder) -> list[_Walk]:
    # the map's angle runs to the right and its radius up: seen in it the chart is mirrored
    edges, first, last = drawn.right
    ahead = tuple((e, True) for e in edges)
    there = _Walk(ahead, first, last, drawn.leave, drawn.back, drawn.turn, drawn.border.right)
    edges, first, last = drawn.left
    behind = tuple((e, False) for e in reversed(edges))
    back = _Walk(behind, last, first, drawn.back, drawn.leave, -drawn.turn, drawn.border.left)
    return [there, back]


def _rim_walks(rims: tuple[Rim, Rim]) -> list[_Walk]:
    out = []
    for rim, outside in zip(rims, (True, False), strict=True):
        for i, arc in enumerate(rim.arcs):
            v, w = rim.starts[i], rim.stops[i]
            edge = ((rim.arc_edges[i], not outside),)
            if outside:
                out.append(_Walk(edge, w, v, pi, 0.0, arc.start - arc.stop, arc.surface))
            else:
                out.append(_Walk(edge, v, w, 0.0, pi, arc.stop - arc.start, arc.surface))
    return out


def _ridge_walks(record: Record, rays: EndRays, ridge: Ridge) -> list[_Walk]:
    leave = _bearing(rays, record.vertices[ridge.first], ridge.leave)
    back = _bearing(rays, record.vertices[ridge.last], ridge.arrive)
    phi, _ = rays.chart(np.array([record.vertices[ridge.first], record.vertices[ridge.last]]))
    turn = float((phi[1] - phi[0] + pi) % tau - pi)
    ahead = tuple((e, True) for e in ridge.edges)
    behind = tuple((e, False) for e in reversed(ridge.edges))
    return [
        _Walk(ahead, ridge.first, ridge.last, leave, back, turn, None),
        _Walk(behind, ridge.last, ridge.first, back, leave, -turn, None),
    ]


def _bearing(rays: EndRays, start: Array, towards: Array) -> float:
    """Direction in the map from one point to another close by, rad."""
    phi, rho = rays.chart(np.array([start, towards]))
    turn = (phi[1] - phi[0] + pi) % tau - pi
    return atan2(float(rho[1] - rho[0]), float(turn * rho.mean()))


def _loops(walks: list[_Walk]) -> list[list[_Walk]]:
    """Close the walks to loops, each time turning off as far to the left as there is."""
    leaving: dict[int, list[_Walk]] = {}
    for w in walks:
        leaving.setdefault(w.first, []).append(w)
    left = dict.fromkeys(walks)
    out = []
    while left:
        loop = [next(iter(left))]
        del left[loop[0]]
        while True:
            here = loop[-1]
            options = leaving[here.last]
            # the next one clockwise from the way back keeps the face on the left
            best = min(options, key=lambda w: _clockwise(here.back, w.leave))
            if best is loop[0]:
                break
            if best not in left:
                raise Refused("the ridges of an end face cross")
            del left[best]
            loop.append(best)
        out.append(loop)
    return out


def _clockwise(start: float, stop: float) -> float:
    """Angle turned clockwise from one direction to another, in (0, 2 pi]."""
    turn = (start - stop) % tau
    return turn if turn > ANGLE_ROUNDING else tau


def _group(loops: list[list[_Walk]]) -> _Groups:
    """Put together the loops that bound one face: a face all the way round has two."""
    rings: list[tuple[float, int, list[_Walk]]] = []
    out = []
    for loop in loops:
        surfaces = {w.surface for w in loop if w.surface is not None}
        if len(surfaces) != 1:
            raise Refused("an end face belongs to no single parent")
        (surface,) = surfaces
        around = sum(w.turn for w in loop)
        if abs(around) > pi:
            rings.append((around, surface, loop))
        else:
            out.append((surface, [loop]))
    if not rings:
        return out
    # the ring along the outside turns backward and comes first
    rings.sort(key=lambda r: r[0])
    if len(rings) != 2 or rings[0][1] != rings[1][1]:
        raise Refused("the rings of an end face do not match")
    return [*out, (rings[0][1], [rings[0][2], rings[1][2]])]


def _check_map(record: Record, rays: EndRays, groups: _Groups) -> RayWork[None]:
    """Probe the wall's section: every ray must end on the surface whose face it runs into.

    Raises:
        Refused: the map is wrong, for instance because a parent only shows inside the wall.
    """
    outer, inner = rays.radii
    rho = inner + (outer - inner) * np.array([0.07, 0.3, 0.5, 0.7, 0.93])
    phi = np.arange(36) * tau / 36 + 0.05
    p, r = (q.ravel() for q in np.meshgrid(phi, rho))
    s, active = yield from rays.asking(p, r)
    here = np.stack([r * np.cos(p), r * np.sin(p)], axis=1)
    sections = _sections(record, rays, [loop for _, loops in groups for loop in loops])
    for surface, loops in groups:
        walls = np.concatenate([next(sections) for _ in loops])
        odd = (active != surface) == _inside(here, walls)
        if not odd.any():
            continue
        depth = rays.depth(rays.points(p[odd], r[odd], surface))
        if float(np.abs(depth - s[odd]).max()) > 0.05:
            raise Refused("the map of an end face is wrong")


def _sections(record: Record, rays: EndRays, loops: list[list[_Walk]]) -> Iterator[Array]:
    """Each loop's segments in the tube's section, ``(n, 2, 2)`` mm."""
    walked = [[pair for w in loop for pair in w.edges] for loop in loops]
    edges = list(dict.fromkeys(e for pairs in walked for e, _ in pairs))
    parts = EdgeRows([record.edges[e] for e in edges]).at(_SECTION)
    flat = (parts - rays.node) @ np.stack([rays.x, rays.y], axis=1)
    ways = dict(zip(edges, flat, strict=True))
    for pairs in walked:
        points = np.concatenate([ways[e] if forward else ways[e][::-1] for e, forward in pairs])
        yield np.stack([points, np.roll(points, -1, axis=0)], axis=1)


def _inside(points: Points2, segments: Array) -> NDArray[np.bool_]:
    """Even-odd test of points ``(n, 2)`` against segments ``(m, 2, 2)``."""
    (x0, y0), (x1, y1) = segments[:, 0].T, segments[:, 1].T
    x, y = points.T
    # few segments span the height of a point: only those are looked at
    of, k = np.nonzero((y0 > y[:, None]) != (y1 > y[:, None]))
    cross = x0[k] + (y[of] - y0[k]) * (x1 - x0)[k] / (y1 - y0)[k]
    passed = np.bincount(of[x[of] < cross], minlength=len(points))
    return np.asarray(passed % 2 == 1)
