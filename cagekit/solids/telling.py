"""Records put into the plain numbers that the kernel is told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import assert_never

from cagekit.solids.brep import (
    AnySurface,
    ConeSurface,
    CylinderSurface,
    Edge,
    EllipseCurve,
    Face,
    LineCurve,
    PlaneSurface,
    Record,
    RuledSurface,
    SplineCurve,
    TorusSurface,
)
from cagekit.solids.images import (
    CLOSE_ENOUGH,
    DEGREE,
    CurvedImage,
    EdgeImage,
    EdgeImages,
    SeamImage,
    StraightImage,
    images,
)
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
from cagekit.units.tolerance import KERNEL_POINT, TENTH_MICRON

JUDGED = TENTH_MICRON
"""Deviation (mm) of a curved image that is enough for a verdict: faults of two micrometres are
found as with five times finer ones, in three quarters of the time."""


def to_judge(solids: Mapping[str, Record]) -> dict[str, PlainSolid]:
    """Put solids into plain numbers for the kernel's verdict, by name."""
    return dict(zip(solids, told(list(solids.values()), JUDGED), strict=True))


def told(records: Sequence[Record], close: float = CLOSE_ENOUGH) -> list[PlainSolid]:
    """Put records into plain numbers, at one go.

    Args:
        records: the solids.
        close: how far (mm) an edge may lie off its curve in a face's parameters.
    """
    found = images(records, close)
    return [_solid(record, of) for record, of in zip(records, found, strict=True)]


def _solid(record: Record, found: EdgeImages) -> PlainSolid:
    edges = [
        PlainEdge(
            e.first, e.last, _curve(e.curve), float(e.t0), float(e.t1), max(e.tol, KERNEL_POINT)
        )
        for e in record.edges
    ]
    faces = [_face(record.edges, k, face, found) for k, face in enumerate(record.faces)]
    return PlainSolid([v.tolist() for v in record.vertices], edges, faces, record.smooth)


def _face(edges: Sequence[Edge], k: int, face: Face, found: EdgeImages) -> PlainFace:
    used = dict.fromkeys(e for loop in face.loops for e, _ in loop)
    plain = [_image(e, edges[e], found[k, e]) for e in used if (k, e) in found]
    return PlainFace(_surface(face.surface), face.same_sense, face.loops, plain)


def _image(number: int, edge: Edge, image: EdgeImage) -> PlainImage:
    if isinstance(image, CurvedImage):
        poles, knots = image.poles.tolist(), image.knots.tolist()
        spline = PlainSpline(DEGREE, poles, knots, image.multiplicities)
        return PlainImage(number, (spline,), 4 * (edge.tol + image.off))
    lines = (image.ahead, image.back) if isinstance(image, SeamImage) else (image,)
    return PlainImage(number, tuple(map(_line, lines)), edge.tol)


def _line(image: StraightImage) -> PlainLine:
    return PlainLine(image.start.tolist(), image.slope.tolist())


def _curve(curve: LineCurve | EllipseCurve | SplineCurve) -> PlainShape | PlainSpline:
    if isinstance(curve, LineCurve):
        return PlainShape("line", [curve.origin.tolist(), curve.direction.tolist()], [])
    if isinstance(curve, EllipseCurve):
        frame = [q.tolist() for q in (curve.centre, curve.axis, curve.x)]
        return PlainShape("ring", frame, [curve.major, curve.minor])
    return PlainSpline(
        curve.degree, curve.poles.tolist(), curve.knots.tolist(), curve.multiplicities
    )


def _surface(surface: AnySurface) -> PlainShape | PlainRuled:
    match surface:
        case PlaneSurface(origin, axis, x):
            kind, sizes = "plane", list[float]()
        case CylinderSurface(origin, axis, x, radius):
            kind, sizes = "cylinder", [radius]
        case ConeSurface(origin, axis, x, radius, half):
            kind, sizes = "cone", [radius, half]
        case TorusSurface(origin, axis, x, major, minor):
            kind, sizes = "torus", [major, minor]
        case RuledSurface(first, second):
            both = [_curve(c) for c in (first, second)]
            return PlainRuled(*(c for c in both if isinstance(c, PlainSpline)))
        case _:
            assert_never(surface)
    return PlainShape(kind, [origin.tolist(), axis.tolist(), x.tolist()], sizes)
