"""Read a tube back from somebody else's solid: its centre line and radii, from its faces alone.

A solid from another program's file, or one swept in a script, can so be the parent of a cope, and
the branch too. What is no cylinder or torus is not guessed at.
"""

from __future__ import annotations

from math import pi
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from cagekit.geometry.centre_line import Arc, CentreLine, Line, PathPiece, Vec, unit, vec
from cagekit.units.tolerance import ALIGNED, MICRON, ROUNDING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    import cadquery

SAME = MICRON
"""Distance (mm) and share of a turn within which faces count as one surface or as joined."""


class FoundTube(Struct, frozen=True, eq=False):
    """A tube that was recognised: its centre line, outside radius and inside radius (0: a rod)."""

    path: CentreLine
    outer_radius: float
    inner_radius: float


def recognise(shape: cadquery.Shape) -> FoundTube | None:
    """The tube that a solid, shell or face is; None when it is no single tube or rod.

    Args:
        shape: any shape; of a single face the tube is as long as the face.
    """
    by_radius: dict[float, list[PathPiece]] = {}
    for piece, radius in _pieces(shape.Faces()):
        near = next((r for r in by_radius if abs(r - radius) < SAME), radius)
        by_radius.setdefault(near, []).append(piece)
    paths = {r: _chain(_merged(found)) for r, found in by_radius.items()}
    whole = {r: p for r, p in paths.items() if p is not None}
    if not whole:
        return None
    longest = max(p.length for p in whole.values())
    outer = max(r for r, p in whole.items() if p.length > 0.5 * longest)
    inside = [r for r, p in whole.items() if r < outer - SAME and p.length > 0.5 * longest]
    path = whole[outer]
    assert path is not None
    return FoundTube(path, outer, max(inside, default=0.0))


def wire_corners(edges: Iterable[cadquery.Edge]) -> tuple[Vec, list[float]] | None:
    """Corners ``(n, 3)`` of a wire of straights and tangent arcs, and the radius at each inner one.

    A sharp corner has radius 0; None when an edge is neither straight nor an arc.
    """
    points: list[Vec] = []
    radii: list[float] = []
    for edge in edges:
        start, end = (vec(p.toTuple()) for p in (edge.startPoint(), edge.endPoint()))
        if not points:
            points.append(start)
        elif float(np.linalg.norm(points[-1] - start)) > SAME:
            start, end = end, start
        kind = edge.geomType()
        if kind == "CIRCLE":
            arc = _arc_of(edge)
            tail = arc.radius * np.tan(arc.angle / 2)
            forward = float(np.linalg.norm(arc.start - points[-1])) < SAME
            arc = arc if forward else arc.reversed()
            if len(points) > 1 and radii and len(radii) == len(points) - 1:
                radii.pop()  # the straight before ends in a tangent, not in a corner
                points.pop()
            points.append(vec(arc.start + tail * arc.direction))
            radii.append(arc.radius)
            points.append(arc.end)
            radii.append(0.0)
        elif kind == "LINE":
            if radii and radii[-1] == 0.0 and len(points) > 1 and len(radii) == len(points) - 1:
                before = unit(points[-1] - points[-2])
                if float(before @ unit(end - start)) > 1 - ROUNDING:
                    points[-1] = end
                    continue
            points.append(end)
            radii.append(0.0)
        else:
            return None
    return np.array(points), radii[:-1]


def _arc_of(edge: cadquery.Edge) -> Arc:
    circle = edge._geomAdaptor().Circle()
    centre = circle.Location()
    middle = vec((centre.X(), centre.Y(), centre.Z()))
    start = vec(edge.startPoint().toTuple())
    along = vec(edge.tangentAt(0.0).toTuple())
    axis = unit(np.cross(start - middle, along))
    return Arc(start, middle, vec(axis), float(edge.Length()) / float(circle.Radius()))


def _pieces(faces: Iterable[cadquery.Face]) -> Iterator[tuple[PathPiece, float]]:
    """Centre-line pieces of the cylinders and tori, with their radii."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface

    for face in faces:
        kind = face.geomType()
        if kind not in ("CYLINDER", "TORUS"):
            continue
        adaptor = BRepAdaptor_Surface(face.wrapped)
        u0, u1, v0, v1 = face._uvBounds()
        if kind == "CYLINDER":
            cylinder = adaptor.Cylinder()
            axis = cylinder.Axis()
            at, along = axis.Location(), axis.Direction()
            base = vec((at.X(), at.Y(), at.Z()))
            way = vec((along.X(), along.Y(), along.Z()))
            if v1 - v0 > SAME:
                yield Line(vec(base + v0 * way), vec(base + v1 * way)), float(cylinder.Radius())
            continue
        torus = adaptor.Torus()
        at, along = torus.Location(), torus.Axis().Direction()
        x = torus.XAxis().Direction()
        centre = vec((at.X(), at.Y(), at.Z()))
        spin = vec((along.X(), along.Y(), along.Z()))
        radial = vec((x.X(), x.Y(), x.Z()))
        side = np.cross(spin, radial) * (1.0 if torus.Position().Direct() else -1.0)
        start = centre + float(torus.MajorRadius()) * (np.cos(u0) * radial + np.sin(u0) * side)
        turn = spin if torus.Position().Direct() else -spin
        if SAME < u1 - u0 < pi:
            yield Arc(vec(start), centre, vec(turn), u1 - u0), float(torus.MinorRadius())


def _merged(pieces: list[PathPiece]) -> list[PathPiece]:
    """Faces on one surface as one piece: halves of a cylinder, straights in line."""
    out: list[PathPiece] = []
    for piece in pieces:
        for i, other in enumerate(out):
            both = _union(piece, other)
            if both is not None:
                out[i] = both
                break
        else:
            out.append(piece)
    return out


def _union(a: PathPiece, b: PathPiece) -> PathPiece | None:
    """Two pieces of one straight or bend as one; None when they are not."""
    if isinstance(a, Line) and isinstance(b, Line):
        off = a.start - b.start
        off = off - (off @ b.direction) * b.direction
        if abs(abs(float(a.direction @ b.direction)) - 1) > ROUNDING or np.linalg.norm(off) > SAME:
            return None
        s = [0.0, b.length, *(float((p - b.start) @ b.direction) for p in (a.start, a.end))]
        own = sorted(s[2:])
        if own[0] > b.length + SAME or own[1] < -SAME:
            return None
        return Line(vec(b.point(min(s))), vec(b.point(max(s))))
    if isinstance(a, Arc) and isinstance(b, Arc):
        same = np.linalg.norm(a.centre - b.centre) < SAME and abs(a.radius - b.radius) < SAME
        flat = abs(abs(float(a.axis @ b.axis)) - 1) < ROUNDING
        ends = {_key(a.start), _key(a.end)} == {_key(b.start), _key(b.end)}
        return b if same and flat and ends else None
    return None


def _key(point: Vec) -> tuple[int, int, int]:
    x, y, z = (round(float(c) / (10 * SAME)) for c in point)
    return x, y, z


def _chain(pieces: list[PathPiece]) -> CentreLine | None:
    """Pieces end to end in one line; None when they fork, close or leave a gap."""
    left = list(pieces)
    if not left:
        return None
    line: list[PathPiece] = [left.pop(0)]
    grown = True
    while left and grown:
        grown = False
        for i, piece in enumerate(left):
            for one in (piece, piece.reversed()):
                if _meet(line[-1].end, one.start) and _along(line[-1], one):
                    line.append(one)
                elif _meet(line[0].start, one.end) and _along(one, line[0]):
                    line.insert(0, one)
                else:
                    continue
                left.pop(i)
                grown = True
                break
            if grown:
                break
    return None if left else CentreLine(tuple(line))


def _meet(a: Vec, b: Vec) -> bool:
    return float(np.linalg.norm(a - b)) < 5 * SAME


def _along(first: PathPiece, second: PathPiece) -> bool:
    before = vec(first.tangent(first.length))
    after = vec(second.tangent(0.0))
    return float(before @ after) > 1 - ALIGNED
