"""Where a branch lands on a parent: which pieces it can touch, and how the axes lie.

Frame: car axes, mm, rad.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, degrees, pi, sin

import numpy as np

from cagekit.errors import CopeError
from cagekit.geometry.arrays import cross3
from cagekit.geometry.centre_line import CentreLine, Vec
from cagekit.geometry.contact import CylinderPiece, TorusPiece, Window, tube_surfaces
from cagekit.units.tolerance import SAME_ANGLE

MIN_ANGLE = 15.0 * pi / 180.0
"""Smallest angle between the axes, rad: below it the cope is longer than seven diameters and its
tip a feather edge. A choice of this project, not of a standard."""

_SAMPLES_PER_RADIUS = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Parent:
    """A tube that runs through at a joint.

    Args:
        id: member id.
        path: centre line.
        outer_radius: outside radius, mm.
        open_a: end a is free or stands on a plate, so its surface may be thought to go on;
            False when it is coped there, so that its surface stops at its node.
        open_b: the same for end b.
    """

    id: str
    path: CentreLine
    outer_radius: float
    open_a: bool = True
    open_b: bool = True


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Landing:
    """A branch's end and one parent.

    Attributes:
        surfaces: the pieces of the parent that the branch can touch, nearest first.
        window: range of s (mm back into the branch) that belongs to this joint; the branch is
            clear of the parent at both ends of it.
        angle: acute angle between the axes, rad.
        offset: shortest distance between the axes, mm.
        node_gap: distance of the theoretical end from the parent's axis, mm.
    """

    surfaces: tuple[CylinderPiece | TorusPiece, ...]
    window: Window
    angle: float
    offset: float
    node_gap: float


def land(parent: Parent, point: Vec, out: Vec, radius: float, *, owner: str) -> Landing:
    """Find where a branch of outside ``radius`` with its end at ``point`` meets ``parent``.

    Args:
        parent: the tube that runs through.
        point: theoretical end of the branch, ``(3,)`` mm.
        out: unit vector out of the branch, ``(3,)``.
        radius: outside radius of the branch, mm.
        owner: name of the branch for messages.

    Raises:
        CopeError: the branch does not reach the parent, lies nearly parallel to it or runs along
            it without coming clear.
    """
    size = radius + parent.outer_radius
    span = 5.0 * size
    pieces = _near(parent, point, span + size)
    step = min(radius, parent.outer_radius) / _SAMPLES_PER_RADIUS
    half = int(span / step) + 1
    grid = np.arange(-half, half + 1) * step
    far = np.array([q.axis_distance(point - grid[:, None] * out) for q in pieces])
    inside = (far.min(axis=0) < size) if pieces else np.zeros(len(grid), dtype=bool)
    if not inside.any():
        gap = float(far.min()) - size if pieces else float("inf")
        raise CopeError(
            owner,
            f"does not reach {parent.id}: it passes "
            + (f"{gap:.1f} mm beside it." if gap < span else "far from it."),
            f"Let it end on the centre line of {parent.id}.",
        )
    touching = np.nonzero(inside)[0]
    middle = int(touching[np.argmin(np.abs(touching - half))])
    first = middle - int(np.argmin(inside[middle::-1])) if not inside[: middle + 1].all() else 0
    last = middle + int(np.argmin(inside[middle:])) if not inside[middle:].all() else len(grid)
    stretch = slice(first, min(last, len(grid) - 1) + 1)
    closest = far[:, stretch].min(axis=1)
    keep = [i for i in np.argsort(closest, kind="stable") if closest[i] < size + step]
    surfaces = tuple(pieces[i] for i in keep)
    apart = far[:, stretch].min(axis=0)
    nearest = int(np.argmin(apart))
    spot = float(grid[stretch][nearest])
    angle, offset = _axes(surfaces[0], point - spot * out, out)
    if angle < MIN_ANGLE - SAME_ANGLE:
        raise CopeError(
            owner,
            f"meets {parent.id} at {degrees(angle):.1f} degrees, nearly parallel; "
            f"a cope needs at least {degrees(MIN_ANGLE):.0f}.",
            "Move the far end, or join the tubes side by side instead of coping.",
        )
    if spot < -size:
        raise CopeError(
            owner,
            f"stops {-spot:.0f} mm short of {parent.id}'s centre line.",
            f"Let it end on the centre line of {parent.id}.",
        )
    leaving = apart[nearest:]
    if last == len(grid) or float((np.maximum.accumulate(leaving) - leaving).max()) > 1.0:
        raise CopeError(
            owner,
            f"runs along {parent.id} or back into it before coming clear.",
            "Let it leave on the outside of the bend, at a larger angle, or from a place farther "
            "from the bend.",
        )
    return Landing(
        surfaces=surfaces,
        window=(float(grid[first]), float(grid[last])),
        angle=angle,
        offset=offset,
        node_gap=min(float(q.axis_distance(point[None, :])[0]) for q in surfaces),
    )


def _near(parent: Parent, point: Vec, reach: float) -> list[CylinderPiece | TorusPiece]:
    every = tube_surfaces(
        parent.path,
        parent.outer_radius,
        open_a=parent.open_a,
        open_b=parent.open_b,
        owner=parent.id,
    )
    here = point[None, :]
    if len(every) == 1:
        return list(every)
    return [q for q in every if float(q.axis_distance(here)[0]) < reach]


def _axes(surface: CylinderPiece | TorusPiece, start: Vec, out: Vec) -> tuple[float, float]:
    """Acute angle (rad) and distance (mm) between the branch's axis and the parent's."""
    here = start
    angle = gap = 0.0
    # on a bend the tangent at the closest spot is not known beforehand
    for _ in range(1 if isinstance(surface, CylinderPiece) else 6):
        foot, tangent = surface.tangent_at(here)
        cross = cross3(out, tangent)
        area = float(np.sqrt(cross @ cross))
        angle = atan2(area, abs(float(out @ tangent)))
        if angle < 0.5 * sin(MIN_ANGLE):
            break
        away = foot - here
        gap = abs(float(away @ cross)) / area
        slant = float(out @ tangent)
        here = here + (float(away @ (out - slant * tangent)) / area**2) * out
    return angle, gap
