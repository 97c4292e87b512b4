"""Plates among tubes: the gap of a plate to each tube that it is not made for.

By this a foot's plate is chosen, and by this it is judged.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import partial
from math import ceil

from cagekit.cage.cage import Cage
from cagekit.cage.member import Member
from cagekit.cage.plate import Plate
from cagekit.geometry.arrays import Points, even
from cagekit.geometry.centre_line import Vec
from cagekit.plates.points import STEP, boxed, kept_box, kept_points, nearest, within

NEAR = 30.0
"""Tubes further from a plate than this (mm) are not told of."""
TOUCH = 0.3
"""A gap may come out this much (mm) too small by looking at points only."""


def tube_gaps(
    cage: Cage, plate: Plate, tubes: Iterable[Member]
) -> Iterator[tuple[float, str, Vec]]:
    """Gap (mm, negative: they are in one place) to each tube near a plate, its id, and where.

    Args:
        cage: the cage.
        plate: on it.
        tubes: those to look at; the plate's own are passed over.
    """
    points, box = kept_points(cage, plate), kept_box(cage, plate)
    for m in tubes:
        if m.id in plate.members:
            continue
        reach = m.tube.outer_radius + NEAR
        line = axis_points(cage, m, STEP)
        near = line[boxed(line, *box, reach)]
        if not len(near):
            continue
        # what lies further from the line's box than the reach is told of nowhere
        beside = within(points, near, reach)
        if not len(beside):
            continue
        i, apart = nearest(points[beside], near)
        gap = apart - m.tube.outer_radius
        if gap < NEAR:
            yield gap + TOUCH if gap > -TOUCH else gap, m.id, points[beside[i]]


def axis_points(cage: Cage, member: Member, step: float) -> Points:
    """Points ``(n, 3)`` mm on the axis of a tube, ``step`` mm from each other at most; laid once.

    Args:
        cage: that the tube is of.
        member: the tube.
        step: mm.
    """
    return cage.kept.once(("line", member, step), partial(_axis_points, member, step))


def _axis_points(member: Member, step: float) -> Points:
    path = member.path
    return path.points(even(path.length, ceil(path.length / step) + 1))
