"""Meshes of round parts with tapers, a blind bore and holes right across."""

from __future__ import annotations

from collections.abc import Sequence
from math import pi, tau
from typing import TYPE_CHECKING

import numpy as np

from cagekit.geometry.arrays import Ints, Points, Vec
from cagekit.geometry.drill import Drill
from cagekit.geometry.profile import TurnedSide
from cagekit.units.tolerance import NO_LENGTH, SAME_ANGLE
from cagekit.view.drilled import FACETS
from cagekit.view.mesh import SIDES, Mesh, joined
from cagekit.view.triangulate import signed_area, triangulate

if TYPE_CHECKING:
    from cagekit.cage.door import SmallPart

SPARE = 1.15
"""Window in a wall over the hole in it."""


def revolved_mesh(part: SmallPart) -> Mesh:
    """The mesh of a round part, in car axes; closed."""
    walls: dict[TurnedSide, list[tuple[Drill, Vec]]] = {}
    parts: list[Mesh] = []
    for drill in part.drills:
        crossed = part.crossed(drill)
        for side in crossed:
            walls.setdefault(side, []).extend((drill, way) for way in drill.ways)
        parts += _hole_walls(drill, crossed)
    frame = part.frame
    psi = _angles(part, [w for rows in walls.values() for w in rows])
    ring = np.outer(np.cos(psi), frame[:3, 0]) + np.outer(np.sin(psi), frame[:3, 1])
    for side in part.profile:
        parts.append(_swept(part, side, psi, ring, walls.get(side, [])))
    return joined(parts)


def _angles(part: SmallPart, holes: Sequence[tuple[Drill, Vec]]) -> Vec:
    """Angles of the facets, with the borders of the windows round holes among them."""
    base = np.arange(SIDES) * tau / SIDES
    borders = [a for drill, way in holes for a in _window(part, drill, way)]
    every = np.unique(np.round(np.mod([*base, *borders], tau), 9))
    return np.asarray(every)


def _window(part: SmallPart, drill: Drill, way: Vec) -> tuple[float, float]:
    """Angles between which a hole lies, on the narrowest wall that it crosses."""
    least = min(s.r0 for s in part.crossed(drill))
    half = float(np.arcsin(min(SPARE * drill.radius / least, 1.0)))
    middle = float(np.arctan2(way @ part.frame[:3, 1], way @ part.frame[:3, 0]))
    return middle - half, middle + half


def _swept(
    part: SmallPart, side: TurnedSide, psi: Vec, ring: Points, holes: Sequence[tuple[Drill, Vec]]
) -> Mesh:
    """One stretch of the profile swept round, less what lies round its holes, and that anew."""
    origin, axis = part.frame[:3, 3], part.frame[:3, 2]
    rows = [origin + z * axis + r * ring for z, r in ((side.z0, side.r0), (side.z1, side.r1))]
    n = len(psi)
    kept, meshes = np.ones(n, dtype=bool), []
    for drill, way in holes:
        low, high = _window(part, drill, way)
        past = np.mod(psi - low + SAME_ANGLE, tau)
        inside = past <= high - low + 2 * SAME_ANGLE
        kept &= ~(inside & np.roll(inside, -1))
        columns = np.nonzero(inside)[0]
        columns = columns[np.argsort(past[columns])]
        meshes.append(_pierced(part, side, drill, way, [rows[0][columns], rows[1][columns]]))
    i = np.nonzero(kept)[0]
    j = (i + 1) % n
    triangles = np.concatenate([np.stack([i, j, n + i], 1), np.stack([j, n + j, n + i], 1)])
    return joined([_facets(np.concatenate(rows), triangles), *meshes])


def _facets(points: Points, triangles: Ints) -> Mesh:
    """Flat shaded triangles, those of no size left out."""
    corners = points[triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normals, axis=1)
    full = size > NO_LENGTH
    corners, normals = corners[full], normals[full] / size[full, None]
    flat = np.arange(3 * len(corners), dtype=np.int32).reshape(-1, 3)
    return Mesh(corners.reshape(-1, 3), np.repeat(normals, 3, axis=0), flat)


def _pierced(
    part: SmallPart, side: TurnedSide, drill: Drill, way: Vec, rims: Sequence[Points]
) -> Mesh:
    """The wall round a hole, between the borders of its window."""
    theta = np.arange(FACETS) * (tau / FACETS)
    hole = drill.edge(way, side.r0, theta)
    rim = np.concatenate([rims[0], rims[1][::-1]])
    across = np.cross(part.frame[:3, 2], way)

    def flat(points: Points) -> Points:
        w = points - drill.point
        turned = np.arctan2(w @ across, w @ way) * side.r0
        return np.column_stack([turned, w @ part.frame[:3, 2]])

    rim = rim if signed_area(flat(rim)) > 0 else rim[::-1]
    hole = hole if signed_area(flat(hole)) < 0 else hole[::-1]
    _, triangles = triangulate(flat(rim), [flat(hole)])
    # seen from outside they are anticlockwise; a bore is seen from the axis
    return _facets(np.concatenate([rim, hole]), triangles if side.outside else triangles[:, ::-1])


def _hole_walls(drill: Drill, crossed: Sequence[TurnedSide]) -> list[Mesh]:
    """The hole's own wall: on each side between outside and bore, else right through."""
    theta = np.arange(FACETS) * (2 * pi / FACETS)
    ahead, behind = drill.ways
    if len(crossed) > 1:
        pairs = [[drill.edge(w, s.r0, theta) for s in crossed] for w in drill.ways]
    else:
        radius = crossed[0].r0
        # the far ring turns the other way round
        pairs = [[drill.edge(ahead, radius, theta), drill.edge(behind, radius, -theta)]]
    i = np.arange(FACETS)
    j = np.roll(i, -1)
    triangles = np.concatenate(
        [np.stack([i, j, FACETS + i], 1), np.stack([j, FACETS + j, FACETS + i], 1)]
    )
    return [_inward(np.concatenate(rings), triangles, drill) for rings in pairs]


def _inward(points: Points, triangles: Ints, drill: Drill) -> Mesh:
    """A hole's wall seen from its axis."""
    mesh = _facets(points, triangles)
    out = mesh.vertices - drill.point
    out = out - np.outer(out @ drill.axis, drill.axis)
    inward = float((mesh.normals * out).sum()) < 0
    return mesh if inward else _facets(points, triangles[:, ::-1])
