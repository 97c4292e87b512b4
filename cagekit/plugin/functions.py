"""Tubes, copes and foot plates as plain functions on shapes."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import replace as with_fields
from typing import Any, Literal

import cadquery as cq
import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, EndName, Member
from cagekit.errors import GeometryError, InputError, KernelError
from cagekit.face.arguments import AnyLength, length_of, point_of
from cagekit.face.kinds import make
from cagekit.face.plate_part import PlatePart
from cagekit.geometry.centre_line import CentreLine, vec
from cagekit.materials.tubes import Tube
from cagekit.solids.bodies import member_solid
from cagekit.solids.frames import location
from cagekit.solids.recognise import FoundTube, recognise, wire_corners
from cagekit.units.tolerance import ROUNDING

STEEL = "1020-dom"
"""Steel of a tube whose shape alone is known; only its mass depends on it."""


class Coped(Struct, frozen=True, eq=False):
    """A coped tube and how it was made: ``direct`` from its parents' surfaces, or by a boolean."""

    solid: cq.Solid
    way: Literal["direct", "boolean"]
    why: str = ""


def tube(
    path: Sequence[Sequence[float]] | cq.Wire | cq.Edge,
    od: AnyLength,
    wall: AnyLength,
    bend_radius: AnyLength | None = None,
) -> cq.Solid:
    """A hollow tube along corners or a wire of straights and tangent arcs.

    Args:
        path: corners ``(n, 3)`` mm, or a wire; its own arcs are kept, its sharp corners are bent.
        od: outside diameter.
        wall: wall.
        bend_radius: centre-line radius of sharp corners; four diameters when left out.

    Raises:
        InputError: a size cannot be read, or the wire has other curves.
        GeometryError: the tube cannot be bent like that; says where.
    """
    size, thick = length_of(od, "tube", "od"), length_of(wall, "tube", "wall")
    radius = 4.0 * size if bend_radius is None else length_of(bend_radius, "tube", "bend_radius")
    line = centre_line(path, radius)
    member = Member(
        id="tube", role="strut", tube=Tube(od=size, wall=thick, material=STEEL), path=line
    )
    return member_solid(Cage("tube", [member]), "tube")


def centre_line(path: Any, radius: float) -> CentreLine:
    """The centre line of corners or of a wire; ``radius`` mm rounds what is sharp.

    Raises:
        InputError: an edge is neither straight nor an arc.
        GeometryError: it cannot be bent like that.
    """
    if isinstance(path, cq.Wire | cq.Edge):
        found = wire_corners(path.Edges())
        if found is None:
            raise InputError(
                "tube", "path", problem="has a curve that is neither straight nor an arc."
            )
        points, radii = found
        return CentreLine.from_polyline(points, [r or radius for r in radii], owner="tube")
    if isinstance(path, str) or not hasattr(path, "__iter__"):
        raise InputError("tube", "path", path, problem="must be a list of points, or a wire.")
    corners = [point_of(p, "tube", f"path[{n}]") for n, p in enumerate(path)]
    return CentreLine.from_polyline(np.array(corners), radius, owner="tube")


def cope(
    branch: cq.Shape, *parents: cq.Shape, end: EndName | None = None, name: str = "branch"
) -> Coped:
    """Cope a tube to others: each a tube of this package, of a sweep, or of another model's file.

    Tubes are recognised by their cylinders and tori, and the end is then written exactly. What is
    none goes the way of a boolean cut, judged by its result; a warning says so.

    Args:
        branch: the tube to be cut; its end reaches to the first parent's centre line.
        parents: what it is cut to, the one that holds the node first.
        end: ``"a"`` or ``"b"``; the one nearest to the first parent when left out.
        name: of the tube, for messages.

    Raises:
        InputError: no parent is given, or what is given is no shape.
        CopeError: the end does not meet its parents as a cope.
        KernelError: the boolean cut does not give one sound solid.
    """
    if not parents:
        raise InputError("cope", "parents", problem="none is given.")
    for name_, shape in (("branch", branch), *(("parents", p) for p in parents)):
        if not isinstance(shape, cq.Shape):
            problem = "is no shape; of a Workplane take .val()."
            raise InputError("cope", name_, shape, problem=problem)
    if end not in (None, "a", "b"):
        raise InputError("cope", "end", end, problem="must be 'a', 'b' or left out.")
    own = recognise(branch)
    others = [recognise(p) for p in parents]
    if own is None or own.inner_radius <= 0 or any(o is None for o in others):
        which = "the branch" if own is None or own.inner_radius <= 0 else "a parent"
        return _by_boolean(branch, parents, f"{which} is no tube of cylinders and tori", name)
    found = [o for o in others if o is not None]
    member = _member(name, own)
    stubs = [_member(f"parent_{i}", o) for i, o in enumerate(found, start=1)]
    which_end = end or _nearest(own.path, found[0].path)
    cut = End.coped(*(s.id for s in stubs))
    member = with_fields(member, a=cut) if which_end == "a" else with_fields(member, b=cut)
    return Coped(member_solid(Cage(name, [*stubs, member]), name), "direct")


def foot_plate(
    face: cq.Face, width: AnyLength = 150, length: AnyLength = 150, **dims: Any
) -> cq.Solid:
    """A plate under a tube's flat end, square to the face, the tube in its middle.

    Args:
        face: the flat end of a tube.
        width: of the plate.
        length: of the plate.
        **dims: other dimensions as :func:`cagekit.floor_plate` takes them.

    Raises:
        InputError: the face is not flat, or a dimension cannot be.
    """
    if face.geomType() != "PLANE":
        raise InputError("foot_plate", "face", problem="is not flat.", hint="Take an end's face.")
    part = make("floor_plate", {"width": width, "length": length, **dims})
    assert isinstance(part, PlatePart)
    out = vec(face.normalAt().toTuple())
    middle = face.Center()
    outer = face.outerWire()
    middle = outer.Center() if outer is not None else middle
    aside = np.eye(3)[int(np.argmin(np.abs(out)))]
    solid = part.solid()
    assert isinstance(solid, cq.Solid)
    moved = solid.moved(location(middle.toTuple(), -out, aside))
    assert isinstance(moved, cq.Solid)
    return moved


def _member(name: str, found: FoundTube) -> Member:
    wall = found.outer_radius - (found.inner_radius or 0.5 * found.outer_radius)
    size = Tube(od=2 * found.outer_radius, wall=wall, material=STEEL)
    return Member(id=name, role="strut", tube=size, path=found.path)


def _nearest(path: CentreLine, parent: CentreLine) -> EndName:
    def gap(point: ArrayLike) -> float:
        return float(np.linalg.norm(parent.nearest(point).point - np.asarray(point)))

    return "a" if gap(path.start) < gap(path.end) else "b"


def _by_boolean(branch: cq.Shape, parents: Sequence[cq.Shape], why: str, name: str) -> Coped:
    """Cut by the kernel, keep the piece that the branch is, and judge it."""
    warnings.warn(f"{name}: {why}; cut by a boolean instead.", UserWarning, stacklevel=3)
    before = branch.Volume()
    try:
        cut = branch.cut(*parents)
    except Exception as error:  # the kernel raises what it likes
        raise KernelError(f"{name}: the kernel cannot cut it ({error}).") from None
    solids = cut.Solids()
    if not solids:
        raise GeometryError(name, "nothing is left of it after the cut.")
    kept = max(solids, key=lambda s: s.Volume())
    if not kept.isValid() or not 0 < kept.Volume() < before * (1 - ROUNDING):
        raise KernelError(f"{name}: the kernel's cut is not sound ({why}).")
    return Coped(kept, "boolean", why)


__all__ = ["Coped", "centre_line", "cope", "foot_plate", "tube"]
