"""The boundary of a bent, hollow, coped tube, written down from its path and its cuts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import atan2, tau

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from cagekit.geometry.arrays import Array, cross3
from cagekit.geometry.centre_line import Arc, CentreLine, Line
from cagekit.geometry.contact import PlaneFace
from cagekit.geometry.cope import EndCut
from cagekit.geometry.drill import Drill
from cagekit.solids.breaks import breaks
from cagekit.solids.brep import (
    CylinderSurface,
    Edge,
    Face,
    LineCurve,
    Loop,
    Record,
    TorusSurface,
    circle,
)
from cagekit.solids.caps import end_faces
from cagekit.solids.creases import Refused
from cagekit.solids.holes import drilled
from cagekit.solids.rims import EndRays, Graze, Rim, grazes, shape, split, write
from cagekit.solids.side_by_side import RayWork, done, together
from cagekit.units.tolerance import NOISE, SAME_POINT

SEAMS = 48
"""Places around the tube that are tried for the seam."""
BESIDE_TURN = 0.85
"""How far (rad) from a soft turn of a rim the seam is best: of 0.7 to 1.2 tried, the rims of the
demos need the fewest nodes here."""


class TubeToWrite(Struct, frozen=True, kw_only=True, eq=False):
    """A tube whose boundary is wanted.

    Attributes:
        name: name of the solid.
        path: centre line up to the theoretical ends.
        cut_a: how end a is cut; it also holds the radii.
        cut_b: how end b is cut.
        drills: holes right through a straight of it.
    """

    name: str
    path: CentreLine
    cut_a: EndCut
    cut_b: EndCut
    drills: Sequence[Drill] = ()


def tube_record(
    name: str,
    path: CentreLine,
    cut_a: EndCut,
    cut_b: EndCut,
    *,
    drills: Sequence[Drill] = (),
) -> Record:
    """Write down the boundary of a tube.

    Args:
        name: name of the solid.
        path: centre line up to the theoretical ends.
        cut_a: how end a is cut; it also holds the radii.
        cut_b: how end b is cut.
        drills: holes right through a straight of it.

    Raises:
        Refused: the end faces are of a kind that is left to the kernel's booleans.
    """
    tube = TubeToWrite(name=name, path=path, cut_a=cut_a, cut_b=cut_b, drills=drills)
    return done(_written(tube))


def tube_records(tubes: Sequence[TubeToWrite]) -> list[Record | Refused]:
    """Write down the boundaries of many tubes side by side; for one that cannot be, why."""
    return done(together([_or_refused(tube) for tube in tubes]))


def _or_refused(tube: TubeToWrite) -> RayWork[Record | Refused]:
    try:
        return (yield from _written(tube))
    except Refused as reason:
        return reason


def _written(tube: TubeToWrite) -> RayWork[Record]:
    """The boundary of a tube; the rims of both ends side by side."""
    path, cuts = tube.path, (tube.cut_a, tube.cut_b)
    lines = path.reference_lines()
    ends = tuple(
        EndRays.of(cut, lines[k], _room(path, k, cut)) for cut, k in zip(cuts, (0, -1), strict=True)
    )
    sharp = [grazes(e, r) for e in ends for r in e.radii]
    four = [(e, side) for e in ends for side in (0, 1)]
    marks = yield from together(
        [breaks(e, side, g) for (e, side), g in zip(four, sharp, strict=True)]
    )
    walls = cuts[0].outer_radius, cuts[0].inner_radius
    taken = [a for group in marks for a in group]
    taken += [a for d in tube.drills for a in _taken(d, path, lines, walls[1])]
    every = [g for group in sharp for g in group]
    taken += [g.angle for g in every if not g.is_soft]
    seam = _seam(taken, [g.angle for g in every if g.is_soft])
    lines = np.array([_turned(path, lines, i, seam) for i in range(len(lines))])
    turned = [EndRays.of(e.cut, lines[k], e.room) for e, k in zip(ends, (0, -1), strict=True)]
    rims = yield from together(
        [
            _rim(turned[i // 2], side, _less(b, seam), _later(g, seam))
            for i, ((_, side), b, g) in enumerate(zip(four, marks, sharp, strict=True))
        ]
    )
    record = Record(tube.name)
    pairs = (rims[0], rims[1]), (rims[2], rims[3])
    for rays, pair in zip(turned, pairs, strict=True):
        for rim in pair:
            write(record, rim)
        yield from end_faces(record, rays, pair)
    holes = drilled(record, path, tube.drills, walls)
    for side, radius in enumerate(walls):
        _wall(
            record, path, lines, radius, pairs[0][side], pairs[1][side], holes[side],
            outside=side == 0,
        )  # fmt: skip
    return record


def _rim(
    rays: EndRays, side: int, at_breaks: Sequence[float], sharp: Sequence[Graze]
) -> RayWork[Rim]:
    """One rim of an end, divided and shaped; arguments as :func:`split`."""
    rim = yield from split(rays, rays.radii[side], at_breaks, sharp)
    yield from shape(rays, rim)
    return rim


def _later(sharp: Sequence[Graze], seam: float) -> list[Graze]:
    return [replace(g, angle=_turn(g.angle, seam)) for g in sharp]


def _room(path: CentreLine, k: int, cut: EndCut) -> float:
    """Length of straight that an end may use up, mm; a bend is only cut square at its end."""
    piece = path.pieces[k]
    if isinstance(piece, Line):
        return piece.length
    surface = cut.surfaces[0]
    square = (
        cut.count == 1
        and isinstance(surface, PlaneFace)
        and abs(float(surface.normal @ cut.out)) > 1 - NOISE
        and abs(float((surface.point - cut.point) @ cut.out)) < SAME_POINT
    )
    if not square:
        raise Refused("an end that is a bend is not cut square")
    return 1.0


def _taken(drill: Drill, path: CentreLine, lines: Array, inner: float) -> list[float]:
    """Angles about the direction of travel over which a hole reaches, so that no seam meets it."""
    i = drill.piece_of(path)
    x, d = lines[i], path.pieces[i].direction
    half = float(np.arcsin(min(drill.radius / inner, 1.0)))
    middle = [atan2(float(w @ cross3(d, x)), float(w @ x)) for w in drill.ways]
    return [m + s for m in middle for s in (-half, -half / 2, 0.0, half / 2, half)]


def _less(angles: list[float], seam: float) -> list[float]:
    return [_turn(a, seam) for a in angles]


def _turn(angle: float, seam: float) -> float:
    return float((angle - seam) % tau)


def _seam(taken: list[float], soft: list[float]) -> float:
    """The angle farthest from everything that happens around the tube.

    Of soft turns, at whose places a rim has its nodes crowded, it keeps a set distance: where
    they are sparsest a reader follows the ends of the rim least.
    """
    if not taken and not soft:
        return 0.0
    tries = np.arange(SEAMS) * tau / SEAMS + 0.0123
    gap = _nearest(tries, taken) if taken else np.full(SEAMS, tau)
    if soft:
        gap = np.minimum(gap, BESIDE_TURN) - np.abs(_nearest(tries, soft) - BESIDE_TURN)
    return float(tries[int(np.argmax(gap))])


def _nearest(angles: Array, marks: list[float]) -> Array:
    """Turn from each angle ``(n,)`` to the nearest of the marks, rad."""
    return np.asarray(
        np.abs((angles[:, None] - np.array(marks) + tau / 2) % tau - tau / 2).min(axis=1)
    )


def _turned(path: CentreLine, lines: Array, i: int, seam: float) -> Array:
    piece = path.pieces[min(i, len(path.pieces) - 1)]
    travel = piece.direction if i < len(path.pieces) else path.out_direction("b")
    x = lines[i]
    return np.asarray(np.cos(seam) * x + np.sin(seam) * cross3(travel, x))


class _Ring:
    """The border between two pieces of the wall: its edges, first vertex and place."""

    def __init__(self, edges: list[int], vertex: int, station: float) -> None:
        self.edges, self.vertex, self.station = edges, vertex, station


def _wall(
    record: Record,
    path: CentreLine,
    lines: Array,
    radius: float,
    a: Rim,
    b: Rim,
    holes: Mapping[int, tuple[Loop, ...]],
    *,
    outside: bool,
) -> None:
    """Add the faces of the outside or the bore, piece by piece."""
    ring = _Ring(a.edges, a.starts[0], a.station)
    last = len(path.pieces) - 1
    for i, piece in enumerate(path.pieces):
        if i < last:
            after = _joint_ring(record, path, lines, i + 1, radius)
        else:
            after = _Ring(b.edges, b.starts[0], -b.station)
        if isinstance(piece, Line):
            _straight(record, piece, lines[i], radius, (ring, after), outside, holes.get(i, ()))
        else:
            _bend(record, piece, lines[i], radius, (ring, after), outside)
        ring = after


def _joint_ring(record: Record, path: CentreLine, lines: Array, i: int, radius: float) -> _Ring:
    piece = path.pieces[i]
    v = record.vertex(np.asarray(piece.start + radius * lines[i]))
    ring = circle(piece.start, piece.direction, lines[i], radius)
    e = record.edge(Edge(v, v, ring, 0.0, tau))
    record.smooth.add(e)
    return _Ring([e], v, 0.0)


def _loop(rings: tuple[_Ring, _Ring], seam: int) -> tuple[tuple[int, bool], ...]:
    first, last = rings
    return (
        *((e, True) for e in first.edges),
        (seam, True),
        *((e, False) for e in reversed(last.edges)),
        (seam, False),
    )


def _straight(
    record: Record,
    piece: Line,
    x: Array,
    radius: float,
    rings: tuple[_Ring, _Ring],
    outside: bool,
    holes: tuple[Loop, ...],
) -> None:
    start, d = piece.start, piece.direction
    low, high = rings[0].station, piece.length + rings[1].station
    if high - low < SAME_POINT:
        raise Refused("the copes of both ends meet")
    line = LineCurve(np.asarray(start + radius * x), d)
    seam = record.edge(Edge(rings[0].vertex, rings[1].vertex, line, low, high, SAME_POINT))
    surface = CylinderSurface(start, d, x, radius)
    record.faces.append(Face(surface, outside, (_loop(rings, seam), *holes)))


def _bend(
    record: Record,
    piece: Arc,
    x: Array,
    radius: float,
    rings: tuple[_Ring, _Ring],
    outside: bool,
) -> None:
    out, axis = piece.radial, piece.axis
    # around the tube the torus counts against the direction of travel
    turn = atan2(float(x @ axis), float(x @ out))
    centre = np.asarray(piece.centre + radius * np.sin(turn) * axis)
    ring = circle(centre, axis, out, piece.radius + radius * float(np.cos(turn)))
    seam = record.edge(Edge(rings[0].vertex, rings[1].vertex, ring, 0.0, piece.angle, SAME_POINT))
    surface = TorusSurface(piece.centre, axis, out, piece.radius, radius)
    record.faces.append(Face(surface, outside, (_loop(rings, seam),), (0.0, turn)))
