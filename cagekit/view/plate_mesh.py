"""Mesh of a plate: its flats and bend zones with holes, folded, face, back and edges."""

from __future__ import annotations

from collections.abc import Callable
from math import ceil
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cagekit.geometry.arrays import Points, cross_rows, size_rows
from cagekit.units.tolerance import MICRON, NO_LENGTH
from cagekit.view.mesh import Mesh
from cagekit.view.triangulate import triangulate

if TYPE_CHECKING:
    from cagekit.cage.plate import Plate
    from cagekit.geometry.fold import Bend
    from cagekit.geometry.outline import Outline

Placing = Callable[[Points], Points]

CHORD = 0.2
"""Deviation of an arc's chords, mm."""
BEND_STEP = 0.2
"""Turn of one facet of a bend zone, rad."""
ON_EDGE = MICRON
"""A point this near to the outline (mm) lies on the plate's edge, not on a fold line."""


def plate_mesh(plate: Plate) -> Mesh:
    """Return the folded plate in car axes; normals are those of the flat triangles."""
    parts: list[tuple[Points, NDArray[np.int64]]] = []
    if not plate.folds:
        holes = [h.loop for h in plate.holes]
        parts += _slab(plate, plate.outline, holes, lambda p: p)
    for facet in plate.facets if plate.folds else ():
        holes = [plate.holes[i].loop for i in facet.holes]
        frame = facet.frame
        parts += _slab(plate, facet.loop, holes, _framed(frame))
    for bend in plate.bends:
        for strip in _strips(bend):
            parts += _slab(plate, strip, [], _wrapped(bend, plate.thickness))
    corners = np.concatenate([points[tri].reshape(-1, 3) for points, tri in parts])
    return _flat_shaded(plate.to_car(corners))


def _framed(frame: Points) -> Placing:
    return lambda p: p @ frame[:3, :3].T + frame[:3, 3]


def _wrapped(bend: Bend, thickness: float) -> Placing:
    frame = _framed(bend.frame)
    return lambda p: frame(bend.local(p, thickness))


def _slab(
    plate: Plate, loop: Outline, holes: list[Outline], place: Placing
) -> list[tuple[Points, NDArray[np.int64]]]:
    """Face, back and edges of one part of the flat pattern, put in place."""
    outer = loop.flat_points(CHORD)
    inner = [h.flat_points(CHORD) for h in holes]
    flat, tri = triangulate(outer, inner)
    face = np.column_stack([flat, np.zeros(len(flat))])
    back = np.column_stack([flat, np.full(len(flat), -plate.thickness)])
    out = [(place(face), tri), (place(back), tri[:, ::-1])]
    at = 0
    for ring in (outer, *inner):
        n = len(ring)
        index = np.arange(n)
        after = (index + 1) % n
        a, b = flat[at : at + n], flat[at : at + n][after]
        at += n
        # of a plate without folds all of the border is its edge
        whole = ring is not outer or loop is plate.outline
        edge = True if whole else plate.outline.distance((a + b) / 2) < max(ON_EDGE, CHORD)
        keep = index[np.broadcast_to(edge, n)]
        # the metal lies left of the loop as triangulate turned it, so the wall looks right
        wall = np.concatenate(
            [
                np.column_stack([keep, keep + n, after[keep]]),
                np.column_stack([after[keep], keep + n, after[keep] + n]),
            ]
        )
        both = np.concatenate(
            [np.column_stack([a, np.zeros(n)]), np.column_stack([a, np.full(n, -plate.thickness)])]
        )
        out.append((place(both), wall))
    return out


def _strips(bend: Bend) -> list[Outline]:
    """Cut a bend zone into strips along its axis, fine enough to look round."""
    count = max(2, ceil(abs(bend.angle) / BEND_STEP))
    along = np.array([bend.side[1], -bend.side[0]])
    strips: list[Outline] = []
    rest = bend.loop
    for k in range(1, count):
        parts = rest.cut(bend.edge + bend.width * k / count * bend.side, along)
        if parts is None:
            continue
        nearer = min(parts, key=lambda q: float((q.centroid - bend.edge) @ bend.side))
        strips.append(nearer)
        rest = parts[0] if parts[1] is nearer else parts[1]
    return [*strips, rest]


def _flat_shaded(corners: Points) -> Mesh:
    """Make a mesh of loose triangles ``(3 m, 3)`` with their own normals."""
    t = corners.reshape(-1, 3, 3)
    normal = cross_rows(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    size = size_rows(normal)
    keep = size > NO_LENGTH
    t, normal = t[keep], normal[keep] / size[keep, None]
    return Mesh(
        vertices=t.reshape(-1, 3),
        normals=np.repeat(normal, 3, axis=0),
        triangles=np.arange(3 * len(t), dtype=np.int32).reshape(-1, 3),
    )
