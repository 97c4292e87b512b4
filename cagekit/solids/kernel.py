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

import numpy as np

from cagekit.errors import KernelError
from cagekit.geometry.arrays import Array
from cagekit.solids.brep import (
    ConeSurface,
    CylinderSurface,
    Edge,
    EllipseCurve,
    Face,
    LineCurve,
    PlaneSurface,
    Record,
    RuledSurface,
    TorusSurface,
    edge_uv,
)
from cagekit.solids.images import DEGREE, EdgeImage, EdgeImages, StraightImage, images
from cagekit.units.tolerance import KERNEL_ANGLE, KERNEL_POINT, SAME_POINT

if TYPE_CHECKING:
    import cadquery


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


def _point(p: Array) -> Any:
    return occ("gp").gp_Pnt(float(p[0]), float(p[1]), float(p[2]))


def _direction(d: Array) -> Any:
    return occ("gp").gp_Dir(float(d[0]), float(d[1]), float(d[2]))


def reals(values: Array) -> Any:
    """The kernel's array of real numbers."""
    out = occ("TColStd").TColStd_Array1OfReal(1, len(values))
    for i, v in enumerate(values.tolist(), 1):
        out.SetValue(i, v)
    return out


@cache
def integers(values: tuple[int, ...]) -> Any:
    """The kernel's array of whole numbers."""
    out = occ("TColStd").TColStd_Array1OfInteger(1, len(values))
    for i, v in enumerate(values, 1):
        out.SetValue(i, v)
    return out


def _curve(curve: object) -> Any:
    geom = occ("Geom")
    if isinstance(curve, LineCurve):
        return geom.Geom_Line(_point(curve.origin), _direction(curve.direction))
    if isinstance(curve, EllipseCurve):
        frame = occ("gp").gp_Ax2(_point(curve.centre), _direction(curve.axis), _direction(curve.x))
        if curve.is_circle:
            return geom.Geom_Circle(frame, curve.major)
        return geom.Geom_Ellipse(frame, curve.major, curve.minor)
    poles = occ("TColgp").TColgp_Array1OfPnt(1, len(curve.poles))  # type: ignore[attr-defined]
    pnt = occ("gp").gp_Pnt
    for i, p in enumerate(curve.poles.tolist(), 1):  # type: ignore[attr-defined]
        poles.SetValue(i, pnt(*p))
    return geom.Geom_BSplineCurve(
        poles,
        reals(curve.knots),  # type: ignore[attr-defined]
        integers(curve.multiplicities),  # type: ignore[attr-defined]
        curve.degree,  # type: ignore[attr-defined]
        False,
    )


def _surface(surface: object) -> Any:
    gp, geom = occ("gp"), occ("Geom")
    if isinstance(surface, PlaneSurface):
        frame = gp.gp_Ax3(_point(surface.origin), _direction(surface.normal), _direction(surface.x))
        return geom.Geom_Plane(frame)
    if isinstance(surface, CylinderSurface):
        frame = gp.gp_Ax3(_point(surface.origin), _direction(surface.axis), _direction(surface.x))
        return geom.Geom_CylindricalSurface(frame, surface.radius)
    if isinstance(surface, ConeSurface):
        frame = gp.gp_Ax3(_point(surface.origin), _direction(surface.axis), _direction(surface.x))
        return geom.Geom_ConicalSurface(frame, surface.half, surface.radius)
    if isinstance(surface, RuledSurface):
        return _ruled(surface)
    assert isinstance(surface, TorusSurface)
    frame = gp.gp_Ax3(_point(surface.centre), _direction(surface.axis), _direction(surface.x))
    return geom.Geom_ToroidalSurface(frame, surface.major, surface.minor)


def _ruled(surface: RuledSurface) -> Any:
    first = surface.first
    poles = occ("TColgp").TColgp_Array2OfPnt(1, len(first.poles), 1, 2)
    for j, border in enumerate((first, surface.second), 1):
        for i, p in enumerate(border.poles, 1):
            poles.SetValue(i, j, _point(p))
    return occ("Geom").Geom_BSplineSurface(
        poles, reals(first.knots), reals(np.array([0.0, 1.0])),
        integers(first.multiplicities), integers((2, 2)), first.degree, 1,
    )  # fmt: skip


def _image(image: EdgeImage) -> Any:
    """The kernel's curve in a face's parameter plane."""
    gp, geom = occ("gp"), occ("Geom2d")
    if isinstance(image, StraightImage):
        start, slope = image.start.tolist(), image.slope.tolist()
        return geom.Geom2d_Line(gp.gp_Pnt2d(*start), gp.gp_Dir2d(*slope))
    array = occ("TColgp").TColgp_Array1OfPnt2d(1, len(image.poles))
    pnt = gp.gp_Pnt2d
    for i, p in enumerate(image.poles.tolist(), 1):
        array.SetValue(i, pnt(*p))
    counts = integers(image.multiplicities)
    return geom.Geom2d_BSplineCurve(array, reals(image.knots), counts, DEGREE, False)


def _seam_lines(edge: Edge, face: Face) -> tuple[Any, Any]:
    """The two images of a seam: the one walked forward, the one walked backward.

    The face lies left of its loops, which tells on which border the forward walk runs.
    """
    t = np.linspace(edge.t0, edge.t1, 9)
    uv = edge_uv(edge, face.surface, t)
    slope = (uv[-1] - uv[0]) / (edge.t1 - edge.t0)
    along = int(abs(slope[1]) > abs(slope[0]))
    across = 1 - along
    low, high = face.lower[across], face.lower[across] + 2 * np.pi
    # walking along +v the face is left, at lower u: the forward border is the upper one
    upper_first = (slope[along] > 0) == (along == 1)
    start = uv[0, along] - slope[along] * edge.t0
    if along == 0:
        start -= (
            2 * np.pi * np.floor((uv[:, 0].mean() - face.lower[0] + KERNEL_ANGLE) / (2 * np.pi))
        )
    gp, line = occ("gp"), occ("Geom2d").Geom2d_Line
    out = []
    for border in (high, low) if upper_first else (low, high):
        at, to = [0.0, 0.0], [0.0, 0.0]
        at[along], at[across], to[along] = float(start), float(border), float(np.sign(slope[along]))
        out.append(line(gp.gp_Pnt2d(*at), gp.gp_Dir2d(*to)))
    return out[0], out[1]


def to_shape(record: Record) -> Any:
    """Build the kernel's solid (``TopoDS_Solid``) from a record: no sewing, no healing."""
    return to_shapes([record])[0]


def to_shapes(records: Sequence[Record]) -> list[Any]:
    """Build the kernel's solids from many records at one go; see :func:`to_shape`."""
    return [_Builder(*both).solid() for both in zip(records, images(records), strict=True)]


class _Builder:
    """Writes a record into the kernel's boundary structures."""

    def __init__(self, record: Record, images: EdgeImages) -> None:
        self.record, self.images = record, images
        self.tools = occ("BRep").BRep_Builder()
        self.here = occ("TopLoc").TopLoc_Location()
        topo, orient = occ("TopoDS"), occ("TopAbs")
        self.topo, self.ahead, self.back = topo, orient.TopAbs_FORWARD, orient.TopAbs_REVERSED
        self.beside: dict[int, Any] = {}
        self.vertices = [self._vertex(p) for p in record.vertices]
        self.edges = [self._edge(e) for e in record.edges]

    def _vertex(self, point: Array) -> Any:
        out = self.topo.TopoDS_Vertex()
        self.tools.MakeVertex(out, _point(point), SAME_POINT)
        return out

    def _edge(self, edge: Edge) -> Any:
        out = self.topo.TopoDS_Edge()
        self.tools.MakeEdge(out, _curve(edge.curve), max(edge.tol, KERNEL_POINT))
        self.tools.Add(out, self.vertices[edge.first].Oriented(self.ahead))
        self.tools.Add(out, self.vertices[edge.last].Oriented(self.back))
        self.tools.Range(out, float(edge.t0), float(edge.t1))
        return out

    def _face(self, k: int, face: Face) -> Any:
        surface = _surface(face.surface)
        out = self.topo.TopoDS_Face()
        self.tools.MakeFace(out, surface, KERNEL_POINT)
        if not isinstance(face.surface, PlaneSurface):
            self._give_images(k, face, surface)
        for loop in face.loops:
            wire = self.topo.TopoDS_Wire()
            self.tools.MakeWire(wire)
            for e, forward in loop:
                self.tools.Add(wire, self.edges[e].Oriented(self.ahead if forward else self.back))
            wire.Closed(True)
            self.tools.Add(out, wire)
        return out

    def _give_images(self, k: int, face: Face, surface: Any) -> None:
        """Give every edge of the face its curve in the face's parameter plane."""
        walked = [e for loop in face.loops for e, _ in loop]
        for e in dict.fromkeys(walked):
            edge = self.record.edges[e]
            if walked.count(e) == 2:
                ahead, back = _seam_lines(edge, face)
                self.tools.UpdateEdge(self.edges[e], ahead, back, surface, self.here, edge.tol)
                smooth = occ("GeomAbs").GeomAbs_CN
                here = self.here
                self.tools.Continuity(self.edges[e], surface, surface, here, here, smooth)
                continue
            image = self.images[k, e]
            tol = edge.tol if isinstance(image, StraightImage) else 4 * (edge.tol + image.off)
            self.tools.UpdateEdge(self.edges[e], _image(image), surface, self.here, tol)
            self._mark_smooth(e, surface)

    def _mark_smooth(self, e: int, surface: Any) -> None:
        if e not in self.record.smooth:
            return
        other = self.beside.setdefault(e, surface)
        if other is not surface:
            tangent = occ("GeomAbs").GeomAbs_G1
            self.tools.Continuity(self.edges[e], other, surface, self.here, self.here, tangent)

    def solid(self) -> Any:
        shell = self.topo.TopoDS_Shell()
        self.tools.MakeShell(shell)
        for k, face in enumerate(self.record.faces):
            turned = self.ahead if face.same_sense else self.back
            self.tools.Add(shell, self._face(k, face).Oriented(turned))
        tolerance = occ("BRep").BRep_Tool.Tolerance_s
        for edge, made in zip(self.record.edges, self.edges, strict=True):
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
