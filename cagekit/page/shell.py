"""The car as the page shows it: edges that were measured, and volumes that tubes keep out of."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from cagekit.cage.chassis import chassis_tubes
from cagekit.cage.colours import FRAME, Colour
from cagekit.cage.kept import Kept, Same
from cagekit.car.shell import Cylinder
from cagekit.fit.view_angles import header_edge, lower_edges
from cagekit.geometry.arrays import Points2
from cagekit.geometry.centre_line import Vec, perpendicular, unit
from cagekit.geometry.shapes import Capsule, Prism, Slab, Solid
from cagekit.inputs.car import Car
from cagekit.plates.in_car import ground_of
from cagekit.units.tolerance import NO_LENGTH
from cagekit.view.mesh import Mesh
from cagekit.view.person_mesh import capsule_mesh, slab_mesh
from cagekit.view.scene import SceneBody, Triangles
from cagekit.view.triangulate import triangulate

METAL: Colour = (0.45, 0.52, 0.60)
MOVING: Colour = (0.75, 0.55, 0.25)
ROUND = 24
"""Facets around a round keep-out."""

EdgeLine = list[list[float]]
EdgePoint = tuple[float, float, float]


def edges(car: Car) -> list[EdgeLine]:
    """Lines of the car sheet, each a list of points (mm): hoop section, roof, pillars, doors."""
    out: list[list[EdgePoint]] = []
    section: list[EdgePoint] = []
    for side, sign in (("left", 1.0), ("right", -1.0)):
        s = car.side(side)
        h = s.hoop
        wall = [(0.0, sign * y, z) for y, z in h.wall(car.floor_z)]
        section = wall if not section else [*section, *_crown(car), *reversed(wall), section[0]]
        if s.door is not None and len(s.door.outline) > 2:
            ring = [(x, sign * s.door.y_inner, z) for x, z in s.door.outline]
            out.append([*ring, ring[0]])
        if s.pillar is not None:
            out.append([(p[0], sign * p[1], p[2]) for p in (s.pillar.top, s.pillar.base)])
        corner = s.roof_corner or (s.pillar.top if s.pillar else None)
        if corner is not None and car.roof is not None and h.rail is not None:
            out.append([(0.0, sign * h.rail[0], h.rail[1]),
                        (corner[0], sign * corner[1], corner[2])])  # fmt: skip
        for y in s.sill_top_y:
            out.append([(-200.0, sign * y, 0.0), (1300.0, sign * y, 0.0)])
    out.append(section)
    header = header_edge(car)
    if header is not None:
        out.append(header)
    out += lower_edges(car)
    return [[[round(float(x), 2) for x in p] for p in line] for line in out]


def _crown(car: Car) -> list[EdgePoint]:
    return [(0.0, 0.0, car.roof.height_at_hoop)] if car.roof is not None else []


def volumes(car: Car, kept: Kept) -> Iterator[SceneBody]:
    """What of the car is a volume: sills, tunnel, dash, doors, keep-outs, tubes of its frame."""
    for surface in ground_of(kept, car).shell:
        mesh = kept.once(("mesh of the car", Same(surface)), partial(_mesh, surface.solid))
        if mesh is not None:
            colour = MOVING if surface.moves else METAL
            yield SceneBody(name=surface.name, group="car", colour=colour, mesh=mesh)
    for tube in chassis_tubes(car).values():
        solid = Cylinder(tube.path.start, tube.path.end, tube.tube.outer_radius)
        mesh = kept.call(_mesh, solid)
        if mesh is not None:
            yield SceneBody(name=tube.id, group="car", colour=FRAME, mesh=mesh)


def _mesh(solid: Solid) -> Triangles | None:
    if isinstance(solid, Slab):
        return slab_mesh(solid)
    if isinstance(solid, Capsule):
        return capsule_mesh(solid)
    if isinstance(solid, Cylinder):
        axis = unit(solid.end - solid.start)
        across = perpendicular(axis)
        turn = np.linspace(0.0, 2 * np.pi, ROUND, endpoint=False)
        ring = solid.radius * np.column_stack([np.cos(turn), np.sin(turn)])
        frame = np.array([across, np.cross(axis, across), axis])
        length = float(np.linalg.norm(solid.end - solid.start))
        return extruded(ring, frame, solid.start, (0.0, length))
    if isinstance(solid, Prism):
        return extruded(solid.outline, solid.frame, solid.origin, solid.span)
    return None


def extruded(outline: Points2, frame: Vec, origin: Vec, span: tuple[float, float]) -> Mesh:
    """Mesh of a polygon drawn out along an axis, flat faces.

    Args:
        outline: corners ``(n, 2)`` mm, either way round.
        frame: rows are the two directions of the outline and that of drawing, ``(3, 3)``.
        origin: where the outline's zero lies, ``(3,)`` mm.
        span: from, to along the third direction, mm.
    """
    low, high = min(span), max(span)
    points, faces = triangulate(outline)
    n = len(points)
    ring = np.arange(n)
    after = np.roll(ring, -1)
    flat = np.concatenate([np.column_stack([points, np.full(n, z)]) for z in (low, high)])
    triangles = np.concatenate(
        [
            faces[:, ::-1],
            faces + n,
            np.column_stack([ring, after, after + n]),
            np.column_stack([ring, after + n, ring + n]),
        ]
    )
    if np.linalg.det(frame) < 0:
        triangles = triangles[:, ::-1]
    corners = (origin + flat @ frame)[triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), NO_LENGTH)
    return Mesh(
        vertices=corners.reshape(-1, 3),
        normals=np.repeat(normals, 3, axis=0),
        triangles=np.arange(3 * len(corners), dtype=np.int32).reshape(-1, 3),
    )
