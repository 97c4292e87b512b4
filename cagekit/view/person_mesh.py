"""Meshes of people, seat and steering wheel: capsules, boxes and rings."""

from __future__ import annotations

from collections.abc import Iterator
from math import pi

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from cagekit.cage.colours import Colour
from cagekit.cage.kept import Kept
from cagekit.fit.cockpit import Cockpit
from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import Vec, perpendicular, unit
from cagekit.geometry.shapes import Capsule, Ring, Slab
from cagekit.people.posture import Occupant
from cagekit.units.tolerance import NO_LENGTH
from cagekit.view.scene import SceneBody

SUIT: Colour = (0.80, 0.77, 0.70)
SUIT_TWO: Colour = (0.70, 0.76, 0.80)
HELMET: Colour = (0.97, 0.96, 0.93)
SEAT: Colour = (0.42, 0.44, 0.48)
RIM: Colour = (0.20, 0.21, 0.24)

ROUND = 28
"""Facets around a limb."""
CAP = 8
"""Rings of a round end."""
LIGHT = (20, 5)
"""The same where many pictures are drawn a second: 0.3 pixels of a helmet 50 pixels wide."""
RIM_RADIUS = 15.0
"""Half the thickness of a steering wheel's rim, mm (common practice)."""


class SolidMesh(Struct, frozen=True, kw_only=True, eq=False):
    """Triangles of one closed body, see ``cagekit.view.scene.Mesh``."""

    vertices: Points
    normals: Points
    triangles: NDArray[np.int64]


def people(cockpit: Cockpit, *, light: bool = False) -> Iterator[SceneBody]:
    """Everybody, the seats they sit in and the steering wheel; ``light`` with fewer facets."""
    kept = cockpit.kept
    for who in cockpit.occupants:
        yield from person(who, kept, light=light)
    if cockpit.occupants:
        mesh = kept.call(ring_mesh, cockpit.wheel(RIM_RADIUS))
        yield SceneBody(name="wheel", group="car", colour=RIM, mesh=mesh)


def person(who: Occupant, kept: Kept, *, light: bool = False) -> Iterator[SceneBody]:
    """One person and the seat.

    Args:
        who: the person.
        kept: what was made before; each mesh is made once.
        light: with fewer facets.
    """
    facets = LIGHT if light else (ROUND, CAP)
    suit = SUIT if who.index == 0 else SUIT_TWO
    for name, part in who.parts().items():
        if name == "shoulders":
            continue  # the upper arms end in the same balls
        colour = HELMET if name == "helmet" else suit
        mesh = kept.call(capsule_mesh, part, *facets)
        yield SceneBody(name=f"{who.name} {name}", group="people", colour=colour, mesh=mesh)
    for name, slab in (("seat back", who.seat_back), ("head rest", who.head_rest)):
        if slab is not None:
            mesh = kept.call(slab_mesh, slab)
            yield SceneBody(name=f"{who.name} {name}", group="seats", colour=SEAT, mesh=mesh)


def capsule_mesh(part: Capsule, around: int = ROUND, cap: int = CAP) -> SolidMesh:
    """A capsule as rings from tip to tip.

    Args:
        part: the capsule.
        around: facets around it.
        cap: rings of each round end.
    """
    d = part.end - part.start
    length = float(np.linalg.norm(d))
    axis = unit(d) if length > NO_LENGTH else np.array([0.0, 0.0, 1.0])
    x = perpendicular(axis)
    y = np.cross(axis, x)
    turn = np.linspace(0.0, 2 * pi, around, endpoint=False)
    ring = np.multiply.outer(np.cos(turn), x) + np.multiply.outer(np.sin(turn), y)
    low, high = np.linspace(-pi / 2, 0.0, cap + 1), np.linspace(0.0, pi / 2, cap + 1)
    rows = [(a, part.start) for a in low] + [(a, part.end) for a in high]
    normals = np.array([np.cos(a) * ring + np.sin(a) * axis for a, _ in rows])
    centres = np.array([c for _, c in rows])
    vertices = centres[:, None, :] + part.radius * normals
    return _grid(vertices, normals, wrap_rows=False)


def ring_mesh(ring: Ring) -> SolidMesh:
    """A torus."""
    x = perpendicular(ring.axis)
    y = np.cross(ring.axis, x)
    around = np.linspace(0.0, 2 * pi, 72, endpoint=False)
    out = np.multiply.outer(np.cos(around), x) + np.multiply.outer(np.sin(around), y)
    turn = np.linspace(0.0, 2 * pi, 14, endpoint=False)
    normals = (
        np.cos(turn)[None, :, None] * out[:, None, :]
        - np.sin(turn)[None, :, None] * ring.axis[None, None, :]
    )
    vertices = ring.centre + ring.ring_radius * out[:, None, :] + ring.radius * normals
    return _grid(vertices, normals, wrap_rows=True)


def _grid(vertices: Points, normals: Points, *, wrap_rows: bool) -> SolidMesh:
    """Triangles over rows of rings, each ring closed."""
    n, m = vertices.shape[:2]
    i = np.arange(n if wrap_rows else n - 1)
    j = np.arange(m)
    a = (i[:, None] * m + j[None, :]).ravel()
    b = (i[:, None] * m + (j[None, :] + 1) % m).ravel()
    c = (((i[:, None] + 1) % n) * m + (j[None, :] + 1) % m).ravel()
    d = (((i[:, None] + 1) % n) * m + j[None, :]).ravel()
    triangles = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return SolidMesh(
        vertices=vertices.reshape(-1, 3), normals=normals.reshape(-1, 3), triangles=triangles
    )


def slab_mesh(slab: Slab) -> SolidMesh:
    """A box with flat faces."""
    vertices: list[Vec] = []
    normals: list[Vec] = []
    triangles: list[tuple[int, int, int]] = []
    for k in range(3):
        u, v = slab.axes[(k + 1) % 3], slab.axes[(k + 2) % 3]
        hu, hv = slab.half[(k + 1) % 3], slab.half[(k + 2) % 3]
        for sign in (1.0, -1.0):
            face = slab.centre + sign * slab.half[k] * slab.axes[k]
            corners = [face + a * hu * u + b * hv * v for a, b in _corners(sign, slab.axes)]
            start = len(vertices)
            vertices += corners
            normals += [sign * slab.axes[k]] * 4
            triangles += [(start, start + 1, start + 2), (start, start + 2, start + 3)]
    return SolidMesh(
        vertices=np.array(vertices),
        normals=np.array(normals),
        triangles=np.array(triangles, dtype=np.int64),
    )


def _corners(sign: float, axes: Vec) -> list[tuple[int, int]]:
    """Corners of a face, anticlockwise from outside whichever hand the axes have."""
    ring = [(-1, -1), (1, -1), (1, 1), (-1, 1)]
    return ring if sign * float(np.linalg.det(axes)) > 0 else ring[::-1]
