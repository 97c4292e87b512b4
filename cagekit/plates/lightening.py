"""Lightening holes: a round one where a plate is widest."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cagekit.cage.plate import Hole, HolePurpose
from cagekit.errors import GeometryError
from cagekit.geometry.outline import Outline, Vec2, vec2
from cagekit.geometry.outline_tables import OutlineTables

RING = 12.0
"""Metal left round a lightening hole that is not given, mm (common practice)."""
LEAST_FREE = 6.0
"""Least radius of such a hole, mm (common practice)."""
LEAST_RING = 4.0
"""Metal left round one that is given, at least, mm (common practice)."""
FINER = 0.35
"""How much finer than the last each grid is in which the widest spot is looked for."""
_SPOTS = 9
"""Spots of such a grid along either side."""
_FINE = 0.005
"""Half the width of the last grid, mm."""


def lightened(
    owners: Sequence[str], outlines: Sequence[Outline], hole: float | None
) -> list[tuple[Hole, ...]]:
    """A round hole where each plate is widest; a given one must leave some metal round it.

    Args:
        owners: what a message names, of each plate.
        outlines: of the plates.
        hole: diameter, mm; the usual one when None, 0 for none.

    Raises:
        GeometryError: too little metal is left round the hole.
    """
    if hole is not None and hole <= 0:
        return [() for _ in outlines]
    spots = widest(outlines, above=RING + LEAST_FREE if hole is None else 0.0)
    rows = zip(owners, spots, strict=True)
    return [_hole(owner, centre, radius, hole) for owner, (centre, radius) in rows]


def _hole(owner: str, centre: Vec2, radius: float, hole: float | None) -> tuple[Hole, ...]:
    """The hole in the middle of the largest circle inside a plate."""
    if hole is None:
        free = radius - RING
        if free < LEAST_FREE:
            return ()
        return (Hole.circle(centre, round(2 * free), HolePurpose.LIGHTENING),)
    if hole / 2 > radius - LEAST_RING:
        raise GeometryError(
            owner,
            f"a lightening hole of {hole:.1f} mm leaves {radius - hole / 2:.1f} mm of metal "
            f"round it ({LEAST_RING:g} mm at least).",
            f"Use a hole of {2 * (radius - LEAST_RING):.0f} mm or less, or longer legs.",
        )
    return (Hole.circle(centre, hole, HolePurpose.LIGHTENING),)


def widest(outlines: Sequence[Outline], above: float = 0.0) -> list[tuple[Vec2, float]]:
    """Middle and radius of the largest circle inside each outline, to about 0.01 mm.

    All are looked at side by side: what one gets does not hang on the others.

    Args:
        outlines: the outlines.
        above: a circle of this radius (mm) or less is of no use: how small it is is not found out.
    """
    if not outlines:
        return []
    tables = OutlineTables.laid([o.tables for o in outlines])
    steps = [float(max(o.size)) / 12 for o in outlines]
    best = np.array([o.centroid for o in outlines])
    span, found = np.array(steps) * 6, np.zeros(len(outlines))
    left, some = np.flatnonzero(span > _FINE), tables
    while len(left):
        if len(left) < len(some.chords.x0):
            some = tables.some(left)
        wide, width = span[left], 2.0 * span[left, None]
        g = np.arange(_SPOTS) * (width / (_SPOTS - 1))
        g[:, -1:] = width
        g -= wide[:, None]
        grid = np.empty((len(left), _SPOTS, _SPOTS, 2))
        grid[..., 0] = (best[left, 0, None] + g)[:, None]
        grid[..., 1] = (best[left, 1, None] + g)[:, :, None]
        points = grid.reshape(len(left), -1, 2)
        x, y = points[:, None, :, 0], points[:, None, :, 1]
        gaps = some.distance(x, y)
        # near the best spot so far everything is inside
        open_ = np.flatnonzero(found[left] <= 1.5 * wide)
        if len(open_):
            all_of = len(open_) == len(left)
            these = some if all_of else some.some(open_)
            inside = these.contains(x[open_], y[open_])
            gaps[open_] = np.where(inside, gaps[open_], -1.0)
        at = np.argmax(gaps, axis=1)
        rows = np.arange(len(left))
        best[left], found[left] = points[rows, at], gaps[rows, at]
        span[left] *= FINER
        # no spot that is still to come lies further off, so none has more room than that more
        hopeless = found[left] + span[left] * 2**0.5 / (1 - FINER) < above
        left = left[(span[left] > _FINE) & ~hopeless]
    room = tables.distance(best[:, None, 0:1], best[:, None, 1:2])[:, 0]
    return [(vec2(b), r) for b, r in zip(best, room.tolist(), strict=True)]
