"""Plates against tubes: does anything run into anything, a folded plate into its own tube."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from cagekit.cage.near import Boxes
from cagekit.cage.plate import Plate
from cagekit.geometry.arrays import Array, Points, size_rows
from cagekit.geometry.centre_line import Vec
from cagekit.geometry.fold import Bend, Facet
from cagekit.plates.near_tubes import NEAR, TOUCH, axis_points, tube_gaps
from cagekit.plates.points import STEP, boxed, kept_box, nearest, plate_points, within
from cagekit.units.tolerance import MICRON

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.cage.member import Member
    from cagekit.geometry.outline import Outline

FINE = 2.0
"""The same where a plate may run into its own tube, mm."""
RISEN = 1.0
"""What stands higher than this (mm) over the flat under a foot is folded up."""


class Clash(NamedTuple):
    """A plate, the tube nearest to it, their gap (mm) and where it is, ``(3,)``."""

    plate: str
    tube: str
    gap: float
    point: Vec


def clashes(cage: Cage) -> tuple[Clash, ...]:
    """The smallest gap of each plate to a tube near it, to its own where it is folded into it."""
    tubes = list(cage.tubes.values())
    boxes = Boxes.of(tubes)
    out = []
    if not cage.plates:
        return ()
    low, high = np.array([kept_box(cage, plate) for plate in cage.plates]).transpose(1, 0, 2)
    for plate, those in zip(cage.plates, boxes.near(low, high, NEAR), strict=True):
        near = tuple(tubes[i] for i in np.flatnonzero(those))
        own = tuple(cage.members[m] for m in plate.members if m in cage.members)
        key = ("clash", plate, near, own)
        clash = cage.kept.once(key, partial(_clash, cage, plate, near, own))
        if clash is not None:
            out.append(clash)
    return tuple(out)


def _clash(cage: Cage, plate: Plate, near: Sequence[Member], own: Sequence[Member]) -> Clash | None:
    found = list(tube_gaps(cage, plate, near))
    if plate.kind == "floor_plate" and plate.folds:
        found += _into_own(cage, plate, own)
    if not found:
        return None
    gap, tube, point = min(found, key=lambda row: row[:2])
    return Clash(plate.id, tube, gap, point)


def _into_own(
    cage: Cage, plate: Plate, members: Iterable[Member]
) -> Iterator[tuple[float, str, Vec]]:
    """Where what is folded up runs into the tube that stands on the plate, and how deep."""
    parts: list[Facet | Bend] = [*plate.facets, *plate.bends]
    foot = parts.pop(plate.foot_face)  # flat under the tube
    boxes = _PartBoxes.of(plate, parts)
    tubes, met = [], np.zeros(len(parts), bool)
    for m in members:
        radius = m.tube.outer_radius
        line = axis_points(cage, m, FINE)
        line = line[boxed(line, *kept_box(cage, plate), radius + STEP)]
        reached = boxes.away(line) < radius + MICRON
        if reached.any():
            tubes.append((m, line[reached.any(axis=0)]))
            met |= reached.any(axis=1)
    if not tubes:
        return
    # what lies on other parts is too far away
    among = tuple(i for i, reached in enumerate(met.tolist()) if reached)
    loops = [parts[i].loop for i in among]
    key = ("what is folded up", plate.body, among)
    up = cage.kept.once(key, partial(_folded_up, plate, foot, loops))
    for m, line in tubes:
        radius = m.tube.outer_radius
        beside = up[within(up, line, radius)] if len(up) else up
        near = line[within(line, beside, radius)] if len(beside) else beside
        if not len(near):
            continue
        i, apart = nearest(beside, near)
        if apart - radius < -TOUCH:
            yield apart - radius, m.id, beside[i]


def _folded_up(plate: Plate, foot: Facet | Bend, among: Sequence[Outline]) -> Points:
    """Points on some parts of a plate that stand above what its foot stands on, ``(n, 3)``."""
    points = plate_points(plate, FINE, without=foot.loop, among=among)
    height = (points - plate.placement[:3, 3]) @ plate.placement[:3, 2]
    return points[height > RISEN]


class _PartBoxes(NamedTuple):
    """Boxes that hold parts of a folded plate, each in a frame of its own.

    ``frame`` ``(n, 4, 4)`` takes that frame to the car; corners ``low`` and ``high`` ``(n, 3)`` mm.
    """

    frame: Array
    low: Points
    high: Points

    @classmethod
    def of(cls, plate: Plate, parts: Sequence[Facet | Bend]) -> _PartBoxes:
        """Each flat as it lies; a bend zone no further from its flat pattern than it is long."""
        rows = []
        for part in parts:
            low, high = part.loop.box
            long = 0.0
            if isinstance(part, Bend):
                long = (part.radius + plate.thickness) * abs(part.angle)
            rows.append(((*low - long, -plate.thickness - long), (*high + long, long)))
        low, high = np.array(rows).transpose(1, 0, 2)
        return cls(plate.placement @ np.array([part.frame for part in parts]), low, high)

    def away(self, points: Points) -> Array:
        """Distances ``(n, m)`` mm of points ``(m, 3)`` from the boxes; 0 inside."""
        turned, origin = self.frame[:, :3, :3], self.frame[:, :3, 3]
        local = (points - origin[:, None]) @ turned
        low, high = self.low[:, None], self.high[:, None]
        return size_rows(np.maximum(np.maximum(low - local, local - high), 0.0))
