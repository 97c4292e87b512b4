"""The cage as named, coloured meshes: what pictures and viewers are made of."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING, Protocol

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from cagekit.cage.colours import FRAME, PART, PLATE, Colour, member_colour
from cagekit.cage.kept import Same, content

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.cage.door import SmallPart
    from cagekit.cage.member import Member


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


class SceneBody(Struct, frozen=True, kw_only=True, eq=False):
    """One thing to be seen: a member, a plate or a small part."""

    name: str
    group: str
    colour: Colour
    mesh: Triangles


def bodies(cage: Cage) -> tuple[SceneBody, ...]:
    """Return every member, plate and small part in the order of the cage; meshes are kept there."""
    return (*tube_bodies(cage), *plate_bodies(cage))


def tube_bodies(cage: Cage, *, rough: bool = False) -> Iterator[SceneBody]:
    """Every member, in the order of the cage; with ``rough`` new ones with edges that are near."""
    members = list(cage.members.values())
    for member, mesh in zip(members, _tube_meshes(cage, members, rough), strict=True):
        yield SceneBody(name=member.id, group="members", colour=member_colour(member), mesh=mesh)


def _tube_meshes(cage: Cage, members: Sequence[Member], rough: bool = False) -> list[Triangles]:
    """Meshes of tubes of a cage, those that are not kept made at one go."""
    from cagekit.view.mesh import TubeShape, tube_meshes
    from cagekit.view.rough import rough_meshes

    kept = cage.kept
    cuts = cage.cuts([m.id for m in members])
    keys = [(m, *map(Same, c)) for m, c in zip(members, cuts, strict=True)]

    def tubes(those: Sequence[int]) -> list[TubeShape]:
        shapes = ((members[i], cuts[i]) for i in those)
        return [
            TubeShape(path=m.path, ro=m.tube.outer_radius, ri=m.tube.inner_radius, cuts=c,
                 drills=m.drills)
            for m, c in shapes
        ]  # fmt: skip

    def meshes(missing: Sequence[int]) -> list[Triangles]:
        new = tubes(missing)
        # alike in shape, though a member differs elsewhere
        alike = [("mesh", content(tube)) for tube in new]
        return kept.each(alike, lambda left: tube_meshes([new[i] for i in left]))

    exact = [("mesh", *k) for k in keys]
    if not rough:
        return kept.each(exact, meshes)
    # an exact mesh that is there already is as quick as a rough one
    which = [e if kept.holds(e) else ("rough mesh", *k) for e, k in zip(exact, keys, strict=True)]
    return kept.each(which, lambda missing: rough_meshes(tubes(missing)))


def frame_bodies(cage: Cage) -> Iterator[SceneBody]:
    """Return the tubes of the car's own frame that the cage stands on: seen, not made."""
    tubes = list(cage.chassis.values())
    for m, mesh in zip(tubes, _tube_meshes(cage, tubes), strict=True):
        yield SceneBody(name=m.id, group="car", colour=FRAME, mesh=mesh)


def plate_bodies(cage: Cage) -> Iterator[SceneBody]:
    """Every plate and small part, in the order of the cage."""
    from cagekit.view.plate_mesh import plate_mesh
    from cagekit.view.revolved import revolved_mesh

    keep = cage.kept.call
    for plate in cage.plates:
        mesh = cage.kept.once(("plate's mesh", plate.body), partial(plate_mesh, plate))
        yield SceneBody(name=plate.id, group="plates", colour=PLATE, mesh=mesh)
    for part in cage.hardware:
        solid: Triangles
        if part.revolved:
            solid = keep(revolved_mesh, part)
        elif part.drills:
            solid = keep(_drilled, part)
        else:
            solid = keep(_prisms, part)
        yield SceneBody(name=part.id, group="parts", colour=PART, mesh=solid)


def _prisms(part: SmallPart) -> Triangles:
    """A part of straight walls."""
    from cagekit.view.mesh import joined
    from cagekit.view.plate_mesh import plate_mesh

    return joined([plate_mesh(p) for p in part.prisms()])


def _drilled(part: SmallPart) -> Triangles:
    """A sleeve with holes right through it."""
    from cagekit.view.mesh import tube_mesh

    return tube_mesh(part.axis, *part.walls, *part.square_ends, drills=part.drills)
