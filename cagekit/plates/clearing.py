"""Where a flat floor plate has to lie so that it does not run into sill, tunnel or floor's edge."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from cagekit.car.shell import surfaces
from cagekit.geometry.centre_line import Vec
from cagekit.geometry.shapes import Solid
from cagekit.inputs.car import Car
from cagekit.plates.floor_plate import FloorPlateSpec
from cagekit.plates.foot import Foot

INTO = 1.3
"""A plate may reach this far (mm) into a surface of the car: sheet metal gives."""
WELD_ROOM = 6.0
"""Plate left beside the tube's foot for its weld, mm (common practice)."""
EDGE_STEP = 10.0
"""Distance of the points looked at along the plate's edge, mm."""
CLOSE = 0.25
"""How near (mm) a shift is found."""
BELOW = 18.0
"""What lies further (mm) below a floor's face is beside its edge, not in it."""


def cleared(spec: FloorPlateSpec, foot: Foot, car: Car) -> FloorPlateSpec:
    """The plate shifted across the car by the least that clears the shell.

    As it is when it is clear already, when no shift clears it (the check then tells), or when the
    file says its own shift or folds it.
    """
    if spec.style != "flat" or spec.shift != (0.0, 0.0):
        return spec
    most = spec.width / 2 - foot.od / 2 - WELD_ROOM
    solids = [(s.solid, s.stood_on) for s in surfaces(car) if not s.trimmed and not s.moves]
    edge = _edge(spec)

    def clear(outboard: float) -> bool:
        points = (edge + np.array((0.0, outboard * foot.side, 0.0))) @ foot.frame[:3, :3].T
        return _clear(points + foot.frame[:3, 3], solids)

    if most <= 0 or clear(0.0):
        return spec
    for way in (-1.0, 1.0):
        if not clear(way * most):
            continue
        low, high = 0.0, most
        while high - low > CLOSE:
            middle = (low + high) / 2
            low, high = (low, middle) if clear(way * middle) else (middle, high)
        return replace(spec, shift=(0.0, way * float(np.ceil(high))))
    return spec


def _edge(spec: FloorPlateSpec) -> Vec:
    """Points round the plate on its face and its back in the foot's frame, ``(n, 3)`` mm."""
    x, y = spec.length / 2, spec.width / 2
    corners = np.array([(x, y), (-x, y), (-x, -y), (x, -y), (x, y)])
    rows = [
        a + np.outer(np.linspace(0, 1, int(np.hypot(*(b - a)) / EDGE_STEP) + 2)[:-1], b - a)
        for a, b in pairwise(corners)
    ]
    flat = np.concatenate(rows)
    sheets = [np.column_stack([flat, np.full(len(flat), z)]) for z in (0.0, -spec.thickness)]
    return np.concatenate(sheets)


def _clear(points: Vec, solids: list[tuple[Solid, bool]]) -> bool:
    for solid, floor in solids:
        gaps = solid.gap(points)
        if floor:
            gaps = gaps[gaps > -BELOW]
        if len(gaps) and float(gaps.min()) < -INTO:
            return False
    return True
