"""A bent tube as rows of feed, rotation and angle, and the tube rebuilt from them.

Rows run from end a to end b. Feed is the straight from the previous tangent point (the blank's
end for the first bend) to this bend's first tangent point. Rotation turns the bend's plane,
right-handed about the direction of travel from a to b: the tube, fed with end a first, is turned
right-handed about the direction it is fed in by the same angle.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import atan2, pi

import numpy as np
from msgspec import Struct

from cagekit.errors import GeometryError
from cagekit.geometry.arrays import cross3
from cagekit.geometry.centre_line import Arc, CentreLine, Line, PathPiece, Vec, rotate, vec
from cagekit.units.tolerance import ANGLE_ROUNDING, ROUNDING

TINY = ROUNDING


class BendRow(Struct, frozen=True, kw_only=True):
    """One row: feed (mm), rotation (rad), angle (rad) and centre-line radius (mm).

    The last row of a tube has the final straight as feed and no angle.
    """

    row: int
    feed: float
    rotation: float = 0.0
    angle: float | None = None
    clr: float | None = None

    @property
    def arc(self) -> float:
        """Centre-line length of the bend, mm; 0 for the last row."""
        return 0.0 if self.angle is None or self.clr is None else self.angle * self.clr


def trimmed(path: CentreLine, tip_a: float = 0.0, tip_b: float = 0.0) -> CentreLine:
    """Return the path between the outermost tips of its ends.

    Args:
        path: centre line between the theoretical ends.
        tip_a: distance from the theoretical end a back into the tube to the outermost wall, mm;
            negative where the wall reaches past it.
        tip_b: the same at end b.
    """
    low, high = max(tip_a, 0.0), path.length - max(tip_b, 0.0)
    out = path.part(low, high) if (low, high) != (0.0, path.length) else path
    pieces = list(out.pieces)
    if tip_a < 0:
        pieces = _longer(pieces, -tip_a)
    if tip_b < 0:
        back = _longer([q.reversed() for q in reversed(pieces)], -tip_b)
        pieces = [q.reversed() for q in reversed(back)]
    return CentreLine(tuple(pieces))


def bend_rows(path: CentreLine) -> tuple[BendRow, ...]:
    """Return the rows of a path, from end a to end b; one row more than bends."""
    rows: list[BendRow] = []
    feed, last = 0.0, None
    for q in path.pieces:
        if isinstance(q, Line):
            feed += q.length
            continue
        turn = 0.0 if last is None else turn_about(q.direction, last.axis, q.axis)
        rows.append(
            BendRow(row=len(rows) + 1, feed=feed, rotation=turn, angle=q.angle, clr=q.radius)
        )
        feed, last = 0.0, q
    rows.append(BendRow(row=len(rows) + 1, feed=feed))
    return tuple(rows)


def rebuild(rows: Sequence[BendRow], *, owner: str = "tube") -> CentreLine:
    """Rebuild a path from its rows: it starts at the origin along +X, first bend towards +Y.

    Raises:
        GeometryError: a row that no tube can have, or nothing to build.
    """
    here = np.zeros(3)
    along, axis = np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])
    pieces: list[PathPiece] = []
    for r in rows:
        if r.feed < -TINY:
            raise GeometryError(owner, f"row {r.row}: feed {r.feed:.3f} mm is below zero.")
        if r.feed > TINY:
            stop = here + r.feed * along
            pieces.append(Line(vec(here), vec(stop)))
            here = stop
        if r.angle is None:
            continue
        if r.clr is None or r.clr <= 0 or r.angle <= 0:
            raise GeometryError(owner, f"row {r.row}: a bend needs an angle and a radius.")
        axis = rotate(axis, along, r.rotation)
        centre = here + r.clr * cross3(axis, along)
        bend = Arc(vec(here), vec(centre), vec(axis), r.angle)
        pieces.append(bend)
        here, along = bend.end, rotate(along, axis, r.angle)
    if not pieces:
        raise GeometryError(owner, "the rows make no tube at all.")
    return CentreLine(tuple(pieces))


def turn_about(along: Vec, before: Vec, after: Vec) -> float:
    """Angle (rad, above -pi up to pi) that turns ``before`` into ``after`` about ``along``.

    Args:
        along: unit vector along the tube, ``(3,)``.
        before: direction of the bend before, square to it, ``(3,)``.
        after: direction of the bend after, square to it, ``(3,)``.
    """
    sine = float(cross3(before, after) @ along)
    angle = atan2(sine, float(before @ after))
    return pi if angle <= -pi + ANGLE_ROUNDING else angle


def _longer(pieces: list[PathPiece], extra: float) -> list[PathPiece]:
    """Lengthen a tube ahead of its first piece by a straight of ``extra`` mm."""
    first = pieces[0]
    start = vec(first.start - extra * first.direction)
    if isinstance(first, Line):
        return [Line(start, first.end), *pieces[1:]]
    return [Line(start, first.start), *pieces]
