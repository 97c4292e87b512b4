"""Plates against tubes: does anything run into anything, a folded plate into its own tube."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from cagekit.cage.plate import Plate
from cagekit.checks.quantities.near import Boxes
from cagekit.geometry.arrays import Bools, Points, size_rows
from cagekit.geometry.centre_line import Vec
from cagekit.plates.near_tubes import NEAR, TOUCH, axis_points, tube_gaps
from cagekit.plates.points import kept_points, nearest, plate_points, within

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
    found = list(tube_gaps(cage, plate, near))
    if plate.kind == "floor_plate" and plate.folds:
        found += _into_own(plate, own)
    if not found:
        return None
    gap, tube, point = min(found, key=lambda row: row[:2])
    return Clash(plate.id, tube, gap, point)


def _plate_box(cage: Cage, plate: Plate) -> tuple[Vec, Vec]:
    points = kept_points(cage, plate)
    return points.min(0), points.max(0)


def _into_own(plate: Plate, members: Iterable[Member]) -> Iterator[tuple[float, str, Vec]]:
    """Where what is folded up runs into the tube that stands on the plate, and how deep."""
    parts = [*(f.loop for f in plate.facets), *(b.loop for b in plate.bends)]
    foot = parts.pop(plate.foot_face)  # flat under the tube
    low, high = _folded_boxes(plate, parts)
    tubes, met = [], np.zeros(len(parts), bool)
    for m in members:
        radius = m.tube.outer_radius
        line = axis_points(m, FINE)
        line = line[within(line, np.concatenate([low, high]), radius)]
        reached = _reached(line, low, high, radius)
        if reached.any():
            tubes.append((m, line))
            met |= reached
    if not tubes:
        return
    # what lies on other parts is too far away
    among = [part for part, reached in zip(parts, met.tolist(), strict=True) if reached]
    points = plate_points(plate, FINE, without=foot, among=among)
    height = (points - plate.placement[:3, 3]) @ plate.placement[:3, 2]
    up = points[height > RISEN]
    for m, line in tubes:
        radius = m.tube.outer_radius
        beside = up[within(up, line, radius)] if len(up) else up
        near = line[within(line, beside, radius)] if len(beside) else beside
        if not len(near):
            continue
        i, apart = nearest(beside, near)
        if apart - radius < -TOUCH:
            yield apart - radius, m.id, beside[i]


def _folded_boxes(plate: Plate, parts: Sequence[Outline]) -> tuple[Points, Points]:
    """Low and high corners ``(n, 3)`` mm in the car of boxes that hold parts of a flat pattern.

    A facet lies within its edge, and a bend zone is drawn straight from edge to edge.
    """
    edges = [part.sampled(FINE) for part in parts]
    # of points on the edge FINE apart an arc leaves its box by less than that
    first = np.cumsum([0, *map(len, edges[:-1])])
    face, back = plate.faces(np.concatenate(edges))
    low = np.minimum.reduceat(np.minimum(face, back), first) - FINE
    high = np.maximum.reduceat(np.maximum(face, back), first) + FINE
    return low, high


def _reached(line: Points, low: Points, high: Points, radius: float) -> Bools:
    """Which of some boxes a line of points ``(m, 3)`` mm comes within ``radius`` mm of."""
    low, high = low[:, None], high[:, None]
    away = np.maximum(np.maximum(low - line, line - high), 0.0)
    return np.asarray((size_rows(away) < radius).any(axis=1))
