"""Plates against tubes: does anything run into anything, a folded plate into its own tube."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from math import ceil
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from cagekit.cage.plate import Plate
from cagekit.checks.quantities.near import Boxes
from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import Vec
from cagekit.plates.points import STEP, kept_points, nearest, plate_points, within

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.cage.member import Member

FINE = 2.0
"""The same where a plate may run into its own tube, mm."""
RISEN = 1.0
"""What stands higher than this (mm) over the flat under a foot is folded up."""
NEAR = 30.0
"""Tubes further from a plate than this (mm) are not told of."""
TOUCH = 0.3
"""A gap may come out this much (mm) too small by looking at points only."""


class Clash(NamedTuple):
    """A plate, the tube nearest to it, their gap (mm) and where it is, ``(3,)``."""

    plate: str
    tube: str
    gap: float
    point: Vec


def clashes(cage: Cage) -> tuple[Clash, ...]:
    """The smallest gap of each plate to a tube near it, to its own where it is folded into it."""
    tubes = list(cage.tubes.values())
    boxes = Boxes.of(cage, tubes)
    out = []
    for plate in cage.plates:
        low, high = cage.kept.once(("plate's box", plate), partial(_plate_box, cage, plate))
        near = tuple(tubes[i] for i in boxes.near(low, high, NEAR))
        own = tuple(cage.members[m] for m in plate.members if m in cage.members)
        key = ("clash", plate, near, own)
        clash = cage.kept.once(key, partial(_clash, cage, plate, near, own))
        if clash is not None:
            out.append(clash)
    return tuple(out)


def _clash(cage: Cage, plate: Plate, near: Sequence[Member], own: Sequence[Member]) -> Clash | None:
    lines = {m.id: _kept_line(cage, m) for m in near}
    found = list(_gaps(plate, kept_points(cage, plate), near, lines))
    if plate.kind == "floor_plate" and plate.folds:
        found += _into_own(plate, own)
    if not found:
        return None
    gap, tube, point = min(found, key=lambda row: row[:2])
    return Clash(plate.id, tube, gap + TOUCH if gap > -TOUCH else gap, point)


def _kept_line(cage: Cage, member: Member) -> Points:
    return cage.kept.once(("line", member), partial(_line, member, STEP))


def _plate_box(cage: Cage, plate: Plate) -> tuple[Vec, Vec]:
    points = kept_points(cage, plate)
    return points.min(0), points.max(0)


def _into_own(plate: Plate, members: Iterable[Member]) -> Iterator[tuple[float, str, Vec]]:
    """Where what is folded up runs into the tube that stands on the plate, and how deep."""
    points = plate_points(plate, FINE)
    height = (points - plate.placement[:3, 3]) @ plate.placement[:3, 2]
    up = points[height > RISEN]
    for m in members:
        line = _line(m, FINE)
        radius = m.tube.outer_radius
        beside = up[within(up, line, radius)] if len(up) else up
        near = line[within(line, beside, radius)] if len(beside) else beside
        if not len(near):
            continue
        i, apart = nearest(beside, near)
        if apart - radius < -TOUCH:
            yield apart - radius, m.id, beside[i]


def _line(member: Member, step: float) -> Vec:
    path = member.path
    return path.points(np.linspace(0.0, path.length, ceil(path.length / step) + 1))


def _gaps(
    plate: Plate, points: Points, members: Iterable[Member], lines: dict[str, Vec]
) -> Iterator[tuple[float, str, Vec]]:
    for m in members:
        if m.id in plate.members:
            continue
        reach = m.tube.outer_radius + NEAR
        line = lines[m.id]
        near = line[within(line, points, reach)]
        if not len(near):
            continue
        # what lies further from the line's box than the reach is told of nowhere
        beside = within(points, near, reach)
        if not len(beside):
            continue
        i, apart = nearest(points[beside], near)
        gap = apart - m.tube.outer_radius
        if gap < NEAR:
            yield gap, m.id, points[beside[i]]
