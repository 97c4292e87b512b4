"""Plates against the tubes they do not belong to: does anything run into anything."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from cagekit.cage.plate import Plate
from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import Vec

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.cage.member import Member

STEP = 5.0
"""Distance between the points that plates and centre lines are looked at in, mm."""
NEAR = 30.0
"""Tubes further from a plate than this (mm) are not told of."""
BLOCK = 500_000
"""Distances that are held at a time."""
TOUCH = 0.3
"""A gap may come out this much (mm) too small by looking at points only."""


class Clash(NamedTuple):
    """A plate, the tube nearest to it, their gap (mm) and where it is, ``(3,)``."""

    plate: str
    tube: str
    gap: float
    point: Vec


def clashes(cage: Cage) -> tuple[Clash, ...]:
    """The smallest gap of each plate to a tube that it is not made for, where there is one near."""
    lines = {m.id: _line(m) for m in cage.members.values()}
    out = []
    for plate in cage.plates:
        points = plate_points(plate)
        found = min(_gaps(plate, points, cage.members.values(), lines), default=None)
        if found is not None:
            gap, tube, i = found
            out.append(Clash(plate.id, tube, gap + TOUCH if gap > -TOUCH else gap, points[i]))
    return tuple(out)


def plate_points(plate: Plate) -> Points:
    """Points all over a plate's face and back, folded, in car axes, ``(n, 3)`` mm."""
    low, high = plate.outline.box
    x, y = (np.arange(a, b, STEP) for a, b in zip(low, high, strict=True))
    grid = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
    inside = plate.outline.contains(grid)
    for hole in plate.holes:
        inside &= ~hole.loop.contains(grid)
    flat = np.concatenate([grid[inside], plate.outline.sampled(STEP)])
    return np.concatenate([plate.car_points(flat, z) for z in (0.0, -plate.thickness)])


def _line(member: Member) -> Vec:
    path = member.path
    return path.points(np.linspace(0.0, path.length, ceil(path.length / STEP) + 1))


def _nearest(a: Points, b: Points) -> tuple[int, float]:
    """The point of ``a`` ``(n, 3)`` nearest to points ``b`` ``(m, 3)``: its row and distance, mm.

    A large plate is looked at in blocks, so that the distances never fill the memory.
    """
    rows, best = max(BLOCK // len(b), 1), (0, np.inf)
    for start in range(0, len(a), rows):
        x, y, z = (a[start : start + rows, k, None] - b[:, k] for k in range(3))
        squares = (x * x + y * y + z * z).min(1)
        i = int(np.argmin(squares))
        if squares[i] < best[1]:
            best = (start + i, float(squares[i]))
    return best[0], float(np.sqrt(best[1]))


def _gaps(
    plate: Plate, points: Points, members: Iterable[Member], lines: dict[str, Vec]
) -> Iterable[tuple[float, str, int]]:
    low, high = points.min(0), points.max(0)
    for m in members:
        if m.id in plate.members:
            continue
        reach = m.tube.outer_radius + NEAR
        line = lines[m.id]
        near = line[((line > low - reach) & (line < high + reach)).all(1)]
        if not len(near):
            continue
        i, apart = _nearest(points, near)
        gap = apart - m.tube.outer_radius
        if gap < NEAR:
            yield gap, m.id, i
