"""Tubes that cannot be written down directly, made by the kernel's booleans.

A plain cut leaves hooks behind a second parent. What a fabricator grinds is different: every ray
of the wall ends where it first touches. So from the tube is cut not the parent but its *shadow*,
the parent with everything behind it as seen from the tube. Runs in a process of its own with
limits on memory and time (:mod:`cagekit.solids.worker`), because such cuts have been seen to use
up all memory; the result's volume is compared with the integral over path and cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from msgspec import Struct

from cagekit.errors import KernelError
from cagekit.geometry.arrays import Array, Points2, cross3
from cagekit.geometry.centre_line import Arc, CentreLine, perpendicular, rotate, unit
from cagekit.geometry.contact import CylinderPiece, PlaneFace, TorusPiece
from cagekit.geometry.cope import EndCut
from cagekit.geometry.drill import Drill
from cagekit.solids.kernel import (
    count_solids,
    integers,
    is_valid,
    occ,
    reals,
    solids_of,
    to_bytes,
    volume,
)
from cagekit.solids.kernel_step import shape_text
from cagekit.solids.spline import DEGREE, interpolant
from cagekit.units.tolerance import NOISE, ROUNDING, SAME_POINT, VOLUME

WAYS = ((1e-4, 0.0), (1e-4, 0.7), (1e-5, 1.9), (1e-3, 2.6), (0.0, 0.3))
"""Ways to cut, in the order they are tried: the distance (mm) within which the kernel takes two
things as one, and the angle (rad) by which seams are turned. A cut that the kernel silently
leaves out one way is done another."""
CLOSE = VOLUME
"""Relative difference of volumes at which a cut is taken as done."""
RIBBON = 16
"""Nodes along the band that stands for a bend: at this degree they follow half a turn to 4e-11 mm,
and the kernel takes three times as long for 61."""
REACH = 400.0
"""Half size of the plane that stands for a plate, mm."""


class KernelSolid(Struct, frozen=True, kw_only=True):
    """A solid that came out of the kernel: its own binary form, its STEP text, its volume."""

    name: str
    data: bytes
    step: str
    volume: float


def boolean_tube(
    name: str,
    path: CentreLine,
    cut_a: EndCut,
    cut_b: EndCut,
    wanted: float = 0.0,
    drills: Sequence[Drill] = (),
) -> KernelSolid:
    """Make a coped tube by cutting the shadows of its parents from the bent tube.

    Args:
        name: name of the solid.
        path: centre line up to the theoretical ends.
        cut_a: how end a is cut.
        cut_b: how end b is cut.
        wanted: volume that it must have, mm3; until it does, the cut is tried in several ways.
        drills: holes right through it.

    Raises:
        KernelError: the kernel fails or its result is not one sound solid.
    """
    best: tuple[float, Any] | None = None
    problem = "the kernel's cut failed."
    for fuzzy, turn in WAYS:
        try:
            shape = _cut_tube(name, (path, cut_a, cut_b), drills, fuzzy, turn)
        except KernelError as error:
            problem = str(error)
            continue
        size = volume(shape)
        off = abs(size / wanted - 1) if wanted > 0 else 0.0
        if best is None or off < best[0]:
            best = off, shape
        if off < CLOSE:
            break
    if best is None:
        raise KernelError(problem)
    shape = best[1]
    return KernelSolid(
        name=name, data=to_bytes(shape), step=shape_text(shape), volume=volume(shape)
    )


def _cut_tube(
    name: str,
    what: tuple[CentreLine, EndCut, EndCut],
    drills: Sequence[Drill],
    fuzzy: float,
    turn: float,
) -> Any:
    shape = _tube(*what, turn)
    for cut in what[1:]:
        for tool in _tools(cut, turn):
            shape = _largest(_cut(shape, tool, fuzzy), name)
    for drill in drills:
        shape = _largest(_cut(shape, _bit(drill, 2 * what[1].outer_radius), fuzzy), name)
    if not is_valid(shape):
        raise KernelError(f"{name}: the kernel's cut is not sound.")
    return shape


def _bit(drill: Drill, reach: float) -> Any:
    """The rod that a hole takes away, ``reach`` to either side of the tube's axis."""
    frame = occ("gp").gp_Ax2(
        _pnt(drill.point - reach * drill.axis), _dir(drill.axis), _dir(drill.along)
    )
    return occ("BRepPrimAPI").BRepPrimAPI_MakeCylinder(frame, drill.radius, 2 * reach).Shape()


def _vector(v: Array) -> Any:
    return occ("gp").gp_Vec(*(float(c) for c in v))


def _pnt(p: Array) -> Any:
    return occ("gp").gp_Pnt(*(float(c) for c in p))


def _dir(d: Array) -> Any:
    return occ("gp").gp_Dir(*(float(c) for c in d))


def _extra(cut: EndCut) -> float:
    """How far the tube must go on beyond its theoretical end before it is cut, mm."""
    if _is_square(cut):
        return 0.0
    return max(0.0, -cut.shortest) + 5.0


def _is_square(cut: EndCut) -> bool:
    s = cut.surfaces[0]
    return (
        cut.count == 1
        and isinstance(s, PlaneFace)
        and abs(float(s.normal @ cut.out)) > 1 - NOISE
        and abs(float((s.point - cut.point) @ cut.out)) < ROUNDING
    )


def _tube(path: CentreLine, cut_a: EndCut, cut_b: EndCut, turn: float) -> Any:
    make = occ("BRepBuilderAPI")
    wire = make.BRepBuilderAPI_MakeWire()
    points = [path.start, path.end]
    ahead, behind = _extra(cut_a), _extra(cut_b)
    start = np.asarray(points[0] + ahead * cut_a.out)
    end = np.asarray(points[1] + behind * cut_b.out)
    if ahead:
        wire.Add(make.BRepBuilderAPI_MakeEdge(_pnt(start), _pnt(points[0])).Edge())
    for piece in path.pieces:
        if isinstance(piece, Arc):
            middle = piece.point(np.array(piece.length / 2))
            arc = (
                occ("GC")
                .GC_MakeArcOfCircle(_pnt(piece.start), _pnt(np.asarray(middle)), _pnt(piece.end))
                .Value()
            )
            wire.Add(make.BRepBuilderAPI_MakeEdge(arc).Edge())
        else:
            wire.Add(make.BRepBuilderAPI_MakeEdge(_pnt(piece.start), _pnt(piece.end)).Edge())
    if behind:
        wire.Add(make.BRepBuilderAPI_MakeEdge(_pnt(points[1]), _pnt(end)).Edge())
    ring = _ring(start, -cut_a.out, (cut_a.outer_radius, cut_a.inner_radius), turn)
    pipe = occ("BRepOffsetAPI").BRepOffsetAPI_MakePipe(wire.Wire(), ring)
    return solids_of(pipe.Shape())[0]


def _ring(centre: Array, axis: Array, radii: tuple[float, ...], turn: float) -> Any:
    gp, make = occ("gp"), occ("BRepBuilderAPI")
    frame = gp.gp_Ax2(_pnt(centre), _dir(axis), _dir(rotate(perpendicular(axis), axis, turn)))
    wires = [
        make.BRepBuilderAPI_MakeWire(
            make.BRepBuilderAPI_MakeEdge(gp.gp_Circ(frame, r)).Edge()
        ).Wire()
        for r in radii
    ]
    face = make.BRepBuilderAPI_MakeFace(wires[0], True)
    for hole in wires[1:]:
        hole.Reverse()
        face.Add(hole)
    return face.Face()


def _tools(cut: EndCut, turn: float) -> list[Any]:
    """The shadows that one end is cut with."""
    if _is_square(cut):
        return []
    out = []
    long = cut.longest + _extra(cut) + 4 * cut.outer_radius
    touched = set(np.unique(cut.active(cut.grid[None, :], _radii(cut)[:, None])).tolist())
    for k, surface in enumerate(cut.on):
        beside = cut.closures[k] in touched
        if k not in touched and not beside:
            continue
        if isinstance(surface, PlaneFace):
            out.append(_prism(_sheet(surface.point, surface.normal), -surface.normal * long))
            continue
        out += _shadow(cut, surface, long, turn)
        if beside:
            out += _closure(cut, k, long)
    return out


def _radii(cut: EndCut) -> Array:
    return np.linspace(cut.inner_radius, cut.outer_radius, 5)


def _sheet(point: Array, normal: Array) -> Any:
    plane = occ("gp").gp_Pln(_pnt(point), _dir(normal))
    face = occ("BRepBuilderAPI").BRepBuilderAPI_MakeFace
    return face(plane, -REACH, REACH, -REACH, REACH).Face()


def _prism(face: Any, way: Array) -> Any:
    return occ("BRepPrimAPI").BRepPrimAPI_MakePrism(face, _vector(way)).Shape()


def _range(cut: EndCut, piece: CylinderPiece) -> tuple[float, float]:
    """Stretch of a straight parent that can matter, as stations, mm."""
    foot = float((cut.point - piece.start) @ piece.axis)
    lean = float(np.linalg.norm(np.cross(cut.out, piece.axis)))
    reach = (piece.radius + 2 * cut.outer_radius) / max(lean, 0.2) + 50.0
    return max(piece.low, foot - reach), min(piece.high, foot + reach)


def _shadow(cut: EndCut, piece: CylinderPiece | TorusPiece, long: float, turn: float) -> list[Any]:
    """A piece of a parent with everything behind it as seen from the tube."""
    way = cut.out * long
    if isinstance(piece, CylinderPiece):
        return [_prism(face, way) for face in _front(cut, piece)]
    start = np.asarray(piece.centre + piece.major * piece.x)
    disc = _ring(start, piece.y, (piece.radius,), turn)
    axis = occ("gp").gp_Ax1(_pnt(piece.centre), _dir(piece.axis))
    solid = occ("BRepPrimAPI").BRepPrimAPI_MakeRevol(disc, axis, piece.angle).Shape()
    return [solid, *(_prism(face, way) for face in _front(cut, piece))]


def _closure(cut: EndCut, k: int, long: float) -> list[Any]:
    """What is cut beside a piece, on the plane through its axis.

    Only of rays that touch nothing and miss this piece by the least: elsewhere another one cuts.
    """
    piece = cut.surfaces[k]
    assert not isinstance(piece, PlaneFace)
    way = cut.out * long
    out = [_prism(face, way) for face in _middle(cut, piece, piece.radius + 3 * cut.outer_radius)]
    for j, other in enumerate(cut.on):
        if j == k or isinstance(other, PlaneFace):
            continue
        for face in _front(cut, other, -way):
            column = _prism(face, 2 * way)
            out = [_cut(shape, column, 0.0) for shape in out]
        if isinstance(piece, CylinderPiece) and isinstance(other, CylinderPiece):
            for column in _nearer(cut, piece, other, way):
                out = [_cut(shape, column, 0.0) for shape in out]
    return out


def _nearer(cut: EndCut, piece: CylinderPiece, other: CylinderPiece, way: Array) -> list[Any]:
    """Columns of the rays that pass ``other`` by less than ``piece``, on each side of both."""
    here, there = _passing(cut, piece), _passing(cut, other)
    more = np.array([piece.radius - other.radius, 0.0, 0.0])
    half = 3 * cut.outer_radius
    out = []
    for s, t in ((1, 1), (1, -1), (-1, 1), (-1, -1)):
        corners = half * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
        for side in (s * here, t * there, s * here - t * there - more):
            corners = _clipped(corners, side)
        if len(corners) < 3:
            continue
        wire = occ("BRepBuilderAPI").BRepBuilderAPI_MakePolygon()
        for c in corners @ np.array([cut.zero, cut.side]) + cut.point - way:
            wire.Add(_pnt(c))
        wire.Close()
        out.append(
            _prism(occ("BRepBuilderAPI").BRepBuilderAPI_MakeFace(wire.Wire()).Face(), 2 * way)
        )
    return out


def _passing(cut: EndCut, piece: CylinderPiece) -> Array:
    """How far a ray passes a straight's axis to one side: ``(3,)`` for 1, phi = 0 and 90 deg."""
    across = unit(cross3(cut.out, piece.axis))
    offset = (cut.point - piece.start) @ across
    return np.array([offset, cut.zero @ across, cut.side @ across])


def _clipped(corners: Points2, side: Array) -> Points2:
    """The part of a convex outline ``(n, 2)`` where ``side`` (1, u, v) is not negative."""
    value = side[0] + corners @ side[1:]
    out = []
    for i in range(len(corners)):
        a, b = value[i - 1], value[i]
        if a * b < 0:
            out.append(corners[i - 1] + (corners[i] - corners[i - 1]) * (a / (a - b)))
        if b >= 0:
            out.append(corners[i])
    return np.array(out).reshape(-1, 2)


def _stretch(cut: EndCut, piece: CylinderPiece) -> tuple[Array, float, float] | None:
    """The side of a straight that faces the tube, and the stations that can matter, if any do."""
    low, high = _range(cut, piece)
    if high - low < SAME_POINT:
        return None
    d = -cut.out
    return unit(d - (d @ piece.axis) * piece.axis), low, high


def _front(cut: EndCut, piece: CylinderPiece | TorusPiece, move: Array | None = None) -> list[Any]:
    """What of a piece the tube sees, as a face, moved by ``move`` mm."""
    if isinstance(piece, TorusPiece):
        return _middle(cut, piece, piece.radius, move)
    if (seen := _stretch(cut, piece)) is None:
        return []
    front, low, high = seen
    gp, make = occ("gp"), occ("BRepBuilderAPI").BRepBuilderAPI_MakeFace
    # half of the outside, seen from the tube: a quarter turn to either side of its front
    start = piece.start if move is None else piece.start + move
    frame = gp.gp_Ax3(_pnt(start), _dir(piece.axis), _dir(np.cross(front, piece.axis)))
    return [make(gp.gp_Cylinder(frame, piece.radius), 0.0, np.pi, low, high).Face()]


def _middle(
    cut: EndCut, piece: CylinderPiece | TorusPiece, width: float, move: Array | None = None
) -> list[Any]:
    """The face through a piece's axis that lies across the rays, ``width`` mm to either side."""
    shift = np.zeros(3) if move is None else move
    if isinstance(piece, TorusPiece):
        return [_ribbon(cut, piece, width, shift)]
    if (seen := _stretch(cut, piece)) is None:
        return []
    front, low, high = seen
    gp, make = occ("gp"), occ("BRepBuilderAPI").BRepBuilderAPI_MakeFace
    plane = gp.gp_Pln(gp.gp_Ax3(_pnt(piece.start + shift), _dir(front), _dir(piece.axis)))
    return [make(plane, low, high, -width, width).Face()]


def _ribbon(cut: EndCut, piece: TorusPiece, width: float, shift: Array) -> Any:
    """The band through the bend's centre line, square to the rays, that casts its shadow.

    It is ruled from side to side; both borders share their parameter.
    """
    tool = interpolant(RIBBON)
    angle = piece.angle * tool.nodes
    out = np.outer(np.cos(angle), piece.x) + np.outer(np.sin(angle), piece.y)
    along = np.outer(np.cos(angle), piece.y) - np.outer(np.sin(angle), piece.x)
    across = np.cross(cut.out, along)
    across = across / np.linalg.norm(across, axis=1)[:, None]
    middle = piece.centre + shift + piece.major * out
    poles = occ("TColgp").TColgp_Array2OfPnt(1, len(angle), 1, 2)
    for j, side in enumerate((-width, width), 1):
        for i, p in enumerate(tool.to_poles @ (middle + side * across), 1):
            poles.SetValue(i, j, _pnt(p))
    surface = occ("Geom").Geom_BSplineSurface(
        poles, reals(tool.knots.tolist()), reals([0.0, 1.0]),
        integers(tool.multiplicities), integers((2, 2)), DEGREE, 1,
    )  # fmt: skip
    return occ("BRepBuilderAPI").BRepBuilderAPI_MakeFace(surface, SAME_POINT).Face()


def _cut(shape: Any, tool: Any, fuzzy: float) -> Any:
    shapes = occ("TopTools").TopTools_ListOfShape
    whole, tools = shapes(), shapes()
    whole.Append(shape)
    tools.Append(tool)
    cut = occ("BRepAlgoAPI").BRepAlgoAPI_Cut()
    cut.SetArguments(whole)
    cut.SetTools(tools)
    if fuzzy > 0:
        cut.SetFuzzyValue(fuzzy)
    cut.Build()
    if not cut.IsDone():
        raise KernelError("the kernel's cut failed.")
    return cut.Shape()


def _largest(shape: Any, name: str) -> Any:
    if count_solids(shape) == 0:
        raise KernelError(f"{name}: the kernel's cut left nothing of the tube.")
    return max(solids_of(shape), key=volume)
