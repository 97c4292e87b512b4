"""The cage as named, coloured meshes: what pictures and viewers are made of."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from cagekit.cage.colours import FRAME, PART, PLATE, Colour, member_colour
from cagekit.cage.kept import Same

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.cage.door import SmallPart


class Triangles(Protocol):
    """Triangles of one closed body.

    ``vertices`` and unit ``normals`` are ``(n, 3)`` mm in vehicle axes, ``triangles`` ``(m, 3)``
    indices, anticlockwise seen from outside.
    """

    @property
    def vertices(self) -> NDArray[np.floating]:
        """See the class."""

    @property
    def normals(self) -> NDArray[np.floating]:
        """See the class."""

    @property
    def triangles(self) -> NDArray[np.integer]:
        """See the class."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SceneBody:
    """One thing to be seen: a member, a plate or a small part."""

    name: str
    group: str
    colour: Colour
    mesh: Triangles


def bodies(cage: Cage) -> tuple[SceneBody, ...]:
    """Return every member, plate and small part in the order of the cage; meshes are kept there."""
    return tuple(_made(cage))


def _made(cage: Cage) -> Iterator[SceneBody]:
    from cagekit.view.mesh import tube_mesh

    keep = cage.kept.call
    for member in cage.members.values():
        a, b = cage.cut(member.id, "a"), cage.cut(member.id, "b")
        tube = (member.path, member.tube.outer_radius, member.tube.inner_radius, a, b)
        mesh: Triangles = cage.kept.once(
            ("mesh", member, Same(a), Same(b)),
            partial(keep, tube_mesh, *tube, drills=member.drills),
        )
        yield SceneBody(name=member.id, group="members", colour=member_colour(member), mesh=mesh)
    yield from plate_bodies(cage)


def frame_bodies(cage: Cage) -> Iterator[SceneBody]:
    """Return the tubes of the car's own frame that the cage stands on: seen, not made."""
    from cagekit.view.mesh import tube_mesh

    for m in cage.chassis.values():
        a, b = cage.cut(m.id, "a"), cage.cut(m.id, "b")
        mesh: Triangles = cage.kept.call(
            tube_mesh, m.path, m.tube.outer_radius, m.tube.inner_radius, a, b, drills=()
        )
        yield SceneBody(name=m.id, group="car", colour=FRAME, mesh=mesh)


def plate_bodies(cage: Cage) -> Iterator[SceneBody]:
    """Every plate and small part, in the order of the cage."""
    from cagekit.view.mesh import joined
    from cagekit.view.plate_mesh import plate_mesh

    keep = cage.kept.call
    for plate in cage.plates:
        yield SceneBody(name=plate.id, group="plates", colour=PLATE, mesh=keep(plate_mesh, plate))
    for part in cage.hardware:
        solid = (
            keep(_drilled, part)
            if part.drills
            else joined([keep(plate_mesh, p) for p in part.prisms()])
        )
        yield SceneBody(name=part.id, group="parts", colour=PART, mesh=solid)


def _drilled(part: SmallPart) -> Triangles:
    """A sleeve with holes right through it."""
    from cagekit.view.mesh import tube_mesh

    return tube_mesh(part.axis, *part.walls, *part.square_ends, drills=part.drills)
