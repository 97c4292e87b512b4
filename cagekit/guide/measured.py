"""Which distance of a part an argument measures: found by making the part a little larger."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct

from cagekit.errors import CagekitError
from cagekit.face.kinds import read_dims, typed_values
from cagekit.inputs.messages import unit_of
from cagekit.parts.kinds import part_kind
from cagekit.units.tolerance import MICRON, NOISE, SAME_POINT, SHOP_ANGLE

if TYPE_CHECKING:
    from cagekit.cage.plate import Plate
    from cagekit.geometry.centre_line import Vec

STEP = 1.0
"""How much larger an argument is made, mm."""
ALONG = -1
"""Axis of a distance that is measured straight from point to point."""
NEAR = SAME_POINT
"""Within this two distances are the same, mm."""


class Measured(Struct, frozen=True, kw_only=True, eq=False):
    """A distance along an axis between two points, and the argument that says it.

    ``axis`` is 0, 1 or 2, or :data:`ALONG`. ``of`` is the plate whose flat pattern the points
    ``(2,)`` lie on, empty for points ``(3,)`` of a tube's centre line.
    """

    name: str
    value: float
    start: Vec
    end: Vec
    axis: int
    of: str = ""


def measured(kind: str, dims: Mapping[str, Any]) -> list[Measured]:
    """Every argument that is the distance of two points along an axis, the shortest first.

    Args:
        kind: name of a kind of part.
        dims: what is not left at its default.
    """
    values = typed_values(kind, dims, "mm")
    model = part_kind(kind).dims
    base = _points(kind, dims)
    found: list[Measured] = []
    for name, value in values.items():
        known = isinstance(value, int | float) and not isinstance(value, bool) and value
        if not known or unit_of(model, (name,)) != "mm":
            continue
        for by in (STEP, -STEP):
            try:
                other = _points(kind, {**dims, name: value + by})
            except CagekitError:
                continue
            one = next(_same(name, value, by, base, other), None)
            if one is not None:
                found.append(one)
                break
    return sorted(found, key=lambda m: abs(m.value))


def _points(kind: str, dims: Mapping[str, Any]) -> dict[str, Vec]:
    """Points that sizes run between: corners of a centre line; corners and holes of each plate."""
    chosen = part_kind(kind)
    part = chosen.make(read_dims(chosen, dims, "mm"))
    if part.made:
        return {"": part.cage.member(part.made[0]).path.corners()}
    return {plate.id: _marks(plate) for plate in part.cage.plates}


def _marks(plate: Plate) -> Vec:
    """Corners, those that a chamfer took too, holes with their width, folds, and the origin."""
    edges = plate.outline.segments
    corners = [s.start for s in edges]
    taken = [
        _meeting(edges[n - 2].start, edges[n - 2].end, edges[n].start, edges[n].end)
        for n in range(len(edges))
    ]
    holes = [
        h.centre + np.array([d * h.diameter / 2, 0.0]) for h in plate.holes for d in (-1, 0, 1)
    ]
    folds = [p for f in plate.folds for p in (f.start, f.end)]
    low, high = plate.outline.box
    return np.array([low, high, *corners, *taken, *holes, *folds, (0.0, 0.0)], float)


def _meeting(a: Vec, b: Vec, c: Vec, d: Vec) -> Vec:
    """Where the lines through a, b and c, d meet; ``a`` when they hardly do."""
    p, q = b - a, d - c
    cross = float(p[0] * q[1] - p[1] * q[0])
    if abs(cross) < SHOP_ANGLE * float(np.hypot(*p) * np.hypot(*q)) + NOISE:
        return np.asarray(a, float)
    s = float((c - a)[0] * q[1] - (c - a)[1] * q[0]) / cross
    return np.asarray(a + s * p, float)


def _same(
    name: str, value: float, by: float, base: Mapping[str, Vec], other: Mapping[str, Vec]
) -> Iterator[Measured]:
    """Pairs ``value`` apart, and ``value + by`` in the larger part, the nearest first."""
    for of, points in base.items():
        grown = other.get(of)
        if grown is None or len(grown) != len(points):
            continue
        pairs = []
        for i, j in combinations(range(len(points)), 2):
            was, now = np.abs(points[j] - points[i]), np.abs(grown[j] - grown[i])
            fits = (np.abs(was - abs(value)) < NEAR) & (np.abs(now - abs(value + by)) < NEAR)
            straight = float(np.linalg.norm(points[j] - points[i]))
            aside = straight - abs(value)
            pairs += [(aside, i, j, int(axis)) for axis in np.flatnonzero(fits)]
            after = float(np.linalg.norm(grown[j] - grown[i]))
            if len(was) == 2 and abs(aside) < NEAR and abs(after - abs(value + by)) < NEAR:
                pairs.append((MICRON, i, j, ALONG))
        for _, i, j, axis in sorted(pairs):
            yield Measured(name=name, value=value, start=points[i], end=points[j], axis=axis, of=of)
