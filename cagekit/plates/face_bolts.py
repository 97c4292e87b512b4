"""Bolts in the faces of a folded plate that the foot does not stand on."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cagekit.cage.plate import Hole, HolePurpose, Plate
from cagekit.geometry.arrays import Points2
from cagekit.geometry.centre_line import vec
from cagekit.geometry.fold import Facet
from cagekit.geometry.outline import Vec2

ONE_FACE = 3.0
"""A face of the backing plate belongs to one above it where they are apart by the sheet and no more
than this, mm."""
APART = 3.0
"""Two bolts go into a face where they are this many bolt diameters apart at least (common
practice); else one."""


def face_holes(
    plate: Plate, below: Plate | None, sheet: float, size: tuple[float, float, float, float]
) -> list[tuple[Hole, Hole | None]]:
    """Holes in every folded face that is large enough, each with the one in the backing plate.

    Two at the ends of a face, one in the middle of a short one. A face whose backing is too small
    for the hole gets none.

    Args:
        plate: folded, without holes in those faces.
        below: its backing plate, or None.
        sheet: thickness of the metal between them, mm.
        size: the bolt's diameter, its hole, hole centre to an edge, hole centre to a bend zone, mm.
    """
    diameter, clearance, edge, fold = size
    out: list[tuple[Hole, Hole | None]] = []
    for number in range(len(plate.facets)):
        if number == plate.foot_face:
            continue
        for spot in _spots(plate, number, diameter, edge, fold):
            hole = Hole.circle(spot, clearance, HolePurpose.BOLT)
            if below is None:
                out.append((hole, None))
                continue
            under = _under(plate, spot, below, sheet, clearance)
            if under is not None:
                out.append((hole, Hole.circle(under, clearance, HolePurpose.BOLT)))
    return out


def _spots(
    plate: Plate, number: int, diameter: float, edge: float, fold: float
) -> Iterator[tuple[float, float]]:
    """Middles of the bolts in a face: along its fold, well inside its edges."""
    low, high = (np.array(v) for v in plate.facets[number].loop.box)
    inset_low, inset_high = np.full(2, edge), np.full(2, edge)
    axis = 1
    for bend in plate.bends:
        if number not in (bend.inner, bend.outer):
            continue
        to_bend = bend.side if number == bend.inner else -bend.side
        across = int(abs(to_bend[1]) > abs(to_bend[0]))
        (inset_high if to_bend[across] > 0 else inset_low)[across] = fold
        axis = across
    low, high = low + inset_low, high - inset_high
    along = 1 - axis
    if high[axis] < low[axis] or high[along] < low[along]:
        return
    middle = (low + high) / 2
    twice = high[along] - low[along] >= APART * diameter
    for at in (low[along], high[along]) if twice else (middle[along],):
        spot = middle.copy()
        spot[along] = at
        yield float(spot[0]), float(spot[1])


def _under(
    plate: Plate, spot: tuple[float, float], below: Plate, sheet: float, clearance: float
) -> tuple[float, float] | None:
    """Where a hole of a plate comes out on the pattern of its backing plate."""
    point = plate.car_points(np.array([spot]), -plate.thickness)[0]
    way = plate.car_points(np.array([spot]), 0.0)[0] - point
    place = np.linalg.inv(below.placement)
    local = vec(place[:3, :3] @ point + place[:3, 3])
    along = vec(place[:3, :3] @ way)
    for facet in below.facets:
        found = _on(facet, local, along)
        if found is None or abs(found[1] - sheet) > ONE_FACE:
            continue
        flat = found[0]
        room = float(below.outline.distance(flat[None])[0])
        if facet.loop.contains(flat[None])[0] and room > clearance:
            return float(flat[0]), float(flat[1])
    return None


def _on(facet: Facet, point: Points2, way: Points2) -> tuple[Vec2, float] | None:
    """A point laid square on a face: its place in the pattern and its height over it, mm."""
    back = np.linalg.inv(facet.frame)
    flat = back[:3, :3] @ point + back[:3, 3]
    turned = back[:3, :3] @ way
    if abs(float(turned[2])) < 0.99 * float(np.linalg.norm(way)):
        return None
    return np.asarray(flat[:2]), float(flat[2])
