"""The door to the CAD kernel: records become kernel solids, solids are measured and checked.

The kernel is loaded on first use; importing this module costs nothing.
"""

from __future__ import annotations

import gc
import importlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING, Any

from cagekit.errors import KernelError
from cagekit.solids.plain import (
    PlainEdge,
    PlainFace,
    PlainImage,
    PlainLine,
    PlainRuled,
    PlainShape,
    PlainSolid,
    PlainSpline,
)
from cagekit.units.tolerance import KERNEL_POINT, SAME_POINT

if TYPE_CHECKING:
    import cadquery

    from cagekit.solids.brep import Record


VOLUME_EPS = 1e-6
"""Relative error asked of the kernel's volume integral; its default is off by up to a percent."""


@contextmanager
def _calm_collector() -> Iterator[None]:
    """Keep the garbage collector from walking thousands of classes while they are loaded."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
        gc.freeze()


@cache
def occ(module: str) -> Any:
    """Load a module of the kernel's Python layer, e.g. ``occ("gp")``.

    Raises:
        KernelError: the kernel is not installed or cannot be loaded.
    """
    try:
        with _calm_collector():
            return importlib.import_module(f"OCP.{module}")
    except ImportError as error:
        raise KernelError(
            f"the CAD kernel cannot be loaded ({error}). Run 'cagekit doctor'."
        ) from error


def _point(p: Sequence[float]) -> Any:
    return occ("gp").gp_Pnt(*p)


def _direction(d: Sequence[float]) -> Any:
    return occ("gp").gp_Dir(*d)


def reals(values: Sequence[float]) -> Any:
    """The kernel's array of real numbers."""
    out = occ("TColStd").TColStd_Array1OfReal(1, len(values))
    for i, v in enumerate(values, 1):
        out.SetValue(i, v)
    return out


@cache
def integers(values: tuple[int, ...]) -> Any:
    """The kernel's array of whole numbers."""
    out = occ("TColStd").TColStd_Array1OfInteger(1, len(values))
    for i, v in enumerate(values, 1):
        out.SetValue(i, v)
    return out


def _curve(curve: PlainShape | PlainSpline) -> Any:
    geom = occ("Geom")
    if isinstance(curve, PlainSpline):
        poles = occ("TColgp").TColgp_Array1OfPnt(1, len(curve.poles))
        pnt = occ("gp").gp_Pnt
        for i, p in enumerate(curve.poles, 1):
            poles.SetValue(i, pnt(*p))
        counts = integers(curve.multiplicities)
        return geom.Geom_BSplineCurve(poles, reals(curve.knots), counts, curve.degree, False)
    if curve.kind == "line":
        origin, direction = curve.frame
        return geom.Geom_Line(_point(origin), _direction(direction))
    centre, axis, x = curve.frame
    frame = occ("gp").gp_Ax2(_point(centre), _direction(axis), _direction(x))
    major, minor = curve.sizes
    if major == minor:
        return geom.Geom_Circle(frame, major)
    return geom.Geom_Ellipse(frame, major, minor)


def _surface(surface: PlainShape | PlainRuled) -> Any:
    if isinstance(surface, PlainRuled):
        return _ruled(surface)
    geom, (origin, axis, x) = occ("Geom"), surface.frame
    frame = occ("gp").gp_Ax3(_point(origin), _direction(axis), _direction(x))
    if surface.kind == "cone":
        radius, half = surface.sizes
        return geom.Geom_ConicalSurface(frame, half, radius)
    make = {
        "plane": geom.Geom_Plane,
        "cylinder": geom.Geom_CylindricalSurface,
        "torus": geom.Geom_ToroidalSurface,
    }
    return make[surface.kind](frame, *surface.sizes)


def _ruled(surface: PlainRuled) -> Any:
    first = surface.first
    poles = occ("TColgp").TColgp_Array2OfPnt(1, len(first.poles), 1, 2)
    for j, border in enumerate(surface, 1):
        for i, p in enumerate(border.poles, 1):
            poles.SetValue(i, j, _point(p))
    return occ("Geom").Geom_BSplineSurface(
        poles, reals(first.knots), reals([0.0, 1.0]),
        integers(first.multiplicities), integers((2, 2)), first.degree, 1,
    )  # fmt: skip


def _image(image: PlainLine | PlainSpline) -> Any:
    """The kernel's curve in a face's parameter plane."""
    gp, geom = occ("gp"), occ("Geom2d")
    if isinstance(image, PlainLine):
        return geom.Geom2d_Line(gp.gp_Pnt2d(*image.start), gp.gp_Dir2d(*image.slope))
    array = occ("TColgp").TColgp_Array1OfPnt2d(1, len(image.poles))
    pnt = gp.gp_Pnt2d
    for i, p in enumerate(image.poles, 1):
        array.SetValue(i, pnt(*p))
    counts = integers(image.multiplicities)
    return geom.Geom2d_BSplineCurve(array, reals(image.knots), counts, image.degree, False)


def to_shape(record: Record) -> Any:
    """Build the kernel's solid (``TopoDS_Solid``) from a record: no sewing, no healing."""
    from cagekit.solids.telling import told  # the kernel's own process is told, and needs no arrays

    return built(told([record])[0])


def built(solid: PlainSolid) -> Any:
    """Build the kernel's solid from what it is told of one."""
    return _Builder(solid).solid()


class _Builder:
    """Writes a solid into the kernel's boundary structures."""

    def __init__(self, solid: PlainSolid) -> None:
        self.told = solid
        self.tools = occ("BRep").BRep_Builder()
        self.here = occ("TopLoc").TopLoc_Location()
        topo, orient = occ("TopoDS"), occ("TopAbs")
        self.topo, self.ahead, self.back = topo, orient.TopAbs_FORWARD, orient.TopAbs_REVERSED
        self.beside: dict[int, Any] = {}
        self.vertices = [self._vertex(p) for p in solid.vertices]
        self.edges = [self._edge(e) for e in solid.edges]

    def _vertex(self, point: Sequence[float]) -> Any:
        out = self.topo.TopoDS_Vertex()
        self.tools.MakeVertex(out, _point(point), SAME_POINT)
        return out

    def _edge(self, edge: PlainEdge) -> Any:
        out = self.topo.TopoDS_Edge()
        self.tools.MakeEdge(out, _curve(edge.curve), edge.tol)
        self.tools.Add(out, self.vertices[edge.first].Oriented(self.ahead))
        self.tools.Add(out, self.vertices[edge.last].Oriented(self.back))
        self.tools.Range(out, edge.t0, edge.t1)
        return out

    def _face(self, face: PlainFace) -> Any:
        surface = _surface(face.surface)
        out = self.topo.TopoDS_Face()
        self.tools.MakeFace(out, surface, KERNEL_POINT)
        for image in face.images:
            self._give_image(image, surface)
        for loop in face.loops:
            wire = self.topo.TopoDS_Wire()
            self.tools.MakeWire(wire)
            for e, forward in loop:
                self.tools.Add(wire, self.edges[e].Oriented(self.ahead if forward else self.back))
            wire.Closed(True)
            self.tools.Add(out, wire)
        return out

    def _give_image(self, image: PlainImage, surface: Any) -> None:
        """Give an edge its curve in a face's parameter plane, or two where it is a seam."""
        edge, curves = self.edges[image.edge], map(_image, image.curves)
        self.tools.UpdateEdge(edge, *curves, surface, self.here, image.tol)
        if len(image.curves) == 2:
            smooth = occ("GeomAbs").GeomAbs_CN
            self.tools.Continuity(edge, surface, surface, self.here, self.here, smooth)
        else:
            self._mark_smooth(image.edge, surface)

    def _mark_smooth(self, e: int, surface: Any) -> None:
        if e not in self.told.smooth:
            return
        other = self.beside.setdefault(e, surface)
        if other is not surface:
            tangent = occ("GeomAbs").GeomAbs_G1
            self.tools.Continuity(self.edges[e], other, surface, self.here, self.here, tangent)

    def solid(self) -> Any:
        shell = self.topo.TopoDS_Shell()
        self.tools.MakeShell(shell)
        for face in self.told.faces:
            turned = self.ahead if face.same_sense else self.back
            self.tools.Add(shell, self._face(face).Oriented(turned))
        tolerance = occ("BRep").BRep_Tool.Tolerance_s
        for edge, made in zip(self.told.edges, self.edges, strict=True):
            for v in (edge.first, edge.last):
                self.tools.UpdateVertex(self.vertices[v], tolerance(made))
        shell.Closed(True)
        out = self.topo.TopoDS_Solid()
        self.tools.MakeSolid(out)
        self.tools.Add(out, shell)
        return out


def is_valid(shape: Any) -> bool:
    """Ask the kernel whether a shape is sound."""
    return bool(occ("BRepCheck").BRepCheck_Analyzer(shape).IsValid())


def volume(shape: Any) -> float:
    """Volume of a kernel shape, mm3, to about 1e-8 of itself."""
    props = occ("GProp").GProp_GProps()
    occ("BRepGProp").BRepGProp.VolumeProperties_s(shape, props, VOLUME_EPS)
    return float(props.Mass())


def count_solids(shape: Any) -> int:
    """Number of solids in a kernel shape."""
    return len(solids_of(shape))


def solids_of(shape: Any) -> list[Any]:
    """The solids in a kernel shape."""
    topo = occ("TopoDS").TopoDS
    walk = occ("TopExp").TopExp_Explorer(shape, occ("TopAbs").TopAbs_SOLID)
    out = []
    while walk.More():
        out.append(topo.Solid_s(walk.Current()))
        walk.Next()
    return out


def to_bytes(shape: Any) -> bytes:
    """The kernel's own binary form of a shape."""
    import io

    out = io.BytesIO()
    occ("BinTools").BinTools.Write_s(shape, out)
    return out.getvalue()


def from_bytes(data: bytes) -> Any:
    """The shape that :func:`to_bytes` wrote."""
    import io

    out = occ("TopoDS").TopoDS_Shape()
    occ("BinTools").BinTools.Read_s(out, io.BytesIO(data))
    return out


def as_cadquery(shape: Any) -> cadquery.Solid:
    """Wrap a kernel solid for CadQuery.

    Raises:
        KernelError: the kernel cannot make or read it; names the part.
    """
    with _calm_collector():
        import cadquery as cq
    solids = solids_of(shape)
    if len(solids) != 1:
        raise KernelError(f"expected one solid, the kernel made {len(solids)}.")
    return cq.Solid(solids[0])
