"""Plates that share steel: two of them in one place."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from itertools import combinations
from typing import NamedTuple

import numpy as np

from cagekit.cage.cage import Cage
from cagekit.cage.plate import Plate
from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import Vec
from cagekit.plates.points import kept_box

FINE = 2.0
"""Distance between the points that plates are looked at in here, mm."""
TOUCH = 0.5
"""Plates that share no more than this (mm) touch: they are welded to one tube, side by side."""
UNDER_FEET = ("floor_plate", "backing_plate")


class Shared(NamedTuple):
    """Two plates, how deep (mm) one lies in the other, and where that is, ``(3,)``."""

    plate: str
    other: str
    depth: float
    point: Vec


def shared(cage: Cage, plates: Sequence[Plate]) -> Iterator[Shared]:
    """Pairs of plates that share steel, of those that stand on tubes.

    Plates under feet are held against each other on their sheet, walls of a box and brackets of a
    swing-out bar are made to fit; what is told of a folded plate is where it runs into a flat one.

    Args:
        cage: the cage.
        plates: on it.
    """
    own = [p for p in plates if not (p.box or p.bar)]
    if len(own) < 2:
        return
    low, high = np.array([kept_box(cage, p) for p in own]).transpose(1, 0, 2)
    near = ((low[:, None] < high) & (high[:, None] > low)).all(-1)
    for i, j in combinations(range(len(own)), 2):
        a, b = own[i], own[j]
        if not near[i, j] or (a.kind in UNDER_FEET and b.kind in UNDER_FEET):
            continue
        key = ("in one place", a.body, b.body)
        found = cage.kept.once(key, partial(_deepest, a, b))
        if found is not None:
            yield Shared(b.id, a.id, *found)


def _deepest(a: Plate, b: Plate) -> tuple[float, Vec] | None:
    found = [f for f in (_into(a, b), _into(b, a)) if f is not None]
    return max(found, key=lambda f: f[0], default=None)


def _into(a: Plate, b: Plate) -> tuple[float, Vec] | None:
    """How deep the middle of plate ``a`` lies in the flat plate ``b``, and where."""
    if b.folds:
        return None
    points = _middle(a)
    local = (points - b.placement[:3, 3]) @ b.placement[:3, :3]
    depth = b.thickness / 2 - np.abs(local[:, 2] + b.thickness / 2)
    within = np.flatnonzero(depth > TOUCH)
    within = within[b.outline.contains(local[within, :2])]
    for hole in b.holes:
        within = within[~hole.loop.contains(local[within, :2])]
    if not len(within):
        return None
    edge = b.outline.sampled(FINE)
    aside = np.linalg.norm(local[within, None, :2] - edge, axis=-1).min(1)
    deep = np.minimum(depth[within], aside)
    best = int(np.argmax(deep))
    return None if deep[best] <= TOUCH else (float(deep[best]), points[within[best]])


def _middle(plate: Plate) -> Points:
    """Points all over the middle of a plate's thickness, ``(n, 3)`` mm."""
    low, high = plate.outline.box
    x, y = (np.arange(a, b, FINE) for a, b in zip(low, high, strict=True))
    grid = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
    inside = plate.outline.contains(grid)
    for hole in plate.holes:
        inside &= ~hole.loop.contains(grid)
    (middle,) = plate.folded.layers(grid[inside], (-plate.thickness / 2,))
    return plate.to_car(middle)
