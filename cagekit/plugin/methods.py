"""Methods of ``cadquery.Workplane``, in CadQuery's own conventions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cadquery as cq

from cagekit.errors import InputError
from cagekit.face.arguments import AnyLength
from cagekit.face.pieces import Piece
from cagekit.plugin.functions import cope, foot_plate, tube


def cageTube(
    self: Any,
    od: AnyLength,
    wall: AnyLength,
    points: Sequence[Sequence[float]] | None = None,
    bendRadius: AnyLength | None = None,
    combine: Any = True,
    clean: bool = False,
) -> Any:
    """Make a hollow tube along points of this plane, or along the pending wire.

    Args:
        self: the workplane.
        od: outside diameter.
        wall: wall.
        points: corners in local coordinates; the pending wire when left out.
        bendRadius: centre-line radius of sharp corners; four diameters when left out.
        combine: as in CadQuery's own methods.
        clean: as in CadQuery's own methods; cleaning can spoil coped ends.

    Raises:
        InputError: there is neither a wire nor points.
        GeometryError: the tube cannot be bent like that.
    """
    if points is not None:
        corners = [self.plane.toWorldCoords(tuple(p)).toTuple() for p in points]
        solid = tube(corners, od, wall, bendRadius)
        return self._combineWithBase(solid, combine, clean)
    wires = self._consolidateWires()
    if not wires:
        raise InputError("cageTube", problem="needs points, or a wire drawn before it.")
    self.ctx.pendingEdges, self.ctx.pendingWires = [], []
    return self._combineWithBase([tube(w, od, wall, bendRadius) for w in wires], combine, clean)


def copeTo(self: Any, *others: Any, end: Any = None) -> Any:
    """Cope the tube on the stack to other tubes, the one that holds the node first.

    Args:
        self: a workplane with one solid on its stack.
        others: workplanes or shapes; a face of another model will do.
        end: ``"a"`` or ``"b"``; the nearest when left out.

    Raises:
        InputError: the stack does not hold one solid.
        CopeError: the end does not meet the others as a cope.
    """
    solids = [s for v in self.vals() for s in getattr(v, "Solids", list)()]
    if len(solids) != 1:
        raise InputError(
            "copeTo", problem=f"wants one solid on the stack, there are {len(solids)}."
        )
    parents = [s for o in others for s in _shapes(o)]
    return self.newObject([cope(solids[0], *parents, end=end).solid])


def footPlate(
    self: Any,
    width: AnyLength = 150,
    length: AnyLength = 150,
    combine: Any = False,
    clean: bool = False,
    **dims: Any,
) -> Any:
    """Put a plate under each flat end face on the stack: ``tube.faces("<Z").footPlate()``.

    Args:
        self: a workplane with faces on its stack.
        width: of the plate.
        length: of the plate.
        combine: as in CadQuery's own methods; by default the plates stay apart.
        clean: as in CadQuery's own methods.
        **dims: as :func:`cagekit.floor_plate` takes them.

    Raises:
        InputError: the stack holds no face, or a dimension cannot be.
    """
    faces = [v for v in self.vals() if isinstance(v, cq.Face)]
    if not faces:
        raise InputError("footPlate", problem="wants faces on the stack, e.g. .faces('<Z').")
    plates = [foot_plate(f, width, length, **dims) for f in faces]
    return self._combineWithBase(plates, combine, clean)


def placePart(self: Any, part: Piece, combine: Any = False, clean: bool = False) -> Any:
    """Place a part at each point of the stack, its own axes along the plane's.

    Args:
        self: a workplane.
        part: what a function of ``cagekit`` gives.
        combine: as in CadQuery's own methods.
        clean: as in CadQuery's own methods.

    Raises:
        InputError: it is no part.
    """
    if not isinstance(part, Piece):
        problem = "is no part of this package: give cagekit.tab() or the like."
        raise InputError("placePart", "part", part, problem=problem)
    solid = part.solid()
    shape = solid if isinstance(solid, cq.Shape) else solid.toCompound()
    return self.eachpoint(lambda at: shape.moved(at), True, combine, clean)


def install() -> None:
    """Add the methods to ``cadquery.Workplane``."""
    for method in (cageTube, copeTo, footPlate, placePart):
        setattr(cq.Workplane, method.__name__, method)


def _shapes(other: Any) -> list[cq.Shape]:
    vals = other.vals() if hasattr(other, "vals") else [other]
    out: list[cq.Shape] = []
    for v in vals:
        solids = v.Solids() if hasattr(v, "Solids") else []
        out += solids or ([v] if isinstance(v, cq.Shape) else [])
    return out
