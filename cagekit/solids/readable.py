"""How many nodes an edge needs so that readers can follow it on its faces.

A file tells where an edge runs in space; where it runs in the parameters of a face the reader
works out. The widely used open kernel lays a cubic through even places of the edge, degree + 1 to
a stretch between two knots and never fewer than 23, and starts it off with the slope of the cubic
through the first four places (from its published source). Such a cubic is worst in its first and
last stretch: there it is off by 0.043 of the fourth difference. So an edge that bends hard at its
ends gets more knots than its own accuracy asks for.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import tau

import numpy as np

from cagekit.geometry.arrays import Array
from cagekit.solids.brep import CylinderSurface, PlaneSurface, RuledSurface, TorusSurface
from cagekit.solids.spline import DEGREE, LADDER, Fit, at_ends
from cagekit.units.tolerance import READ_CURVE

FEWEST_PLACES = 23
MORE_PLACES = 22
"""Places of a reader's curve: so many, and so many more at a time until all knots have theirs."""
STEP = 0.01
"""Distance (share of the edge) of the points that tell how hard it bends at its ends."""
_FOURTH = np.array([1.0, -4.0, 6.0, -4.0, 1.0])
"""The fourth difference of five values."""
WORST = 0.043
"""Largest deviation in the first stretch of a cubic through even places that starts off with the
slope of the cubic through the first four, in fourth differences: a quarter of one is the slope's
error, and the stretch passes 0.17 of it on."""


def places(nodes: int) -> int:
    """Number of places that a reader's own curve takes on an edge with so many nodes."""
    wanted = (nodes - DEGREE) * (DEGREE + 1)
    more = -(-max(wanted - FEWEST_PLACES, 0) // MORE_PLACES)
    return FEWEST_PLACES + MORE_PLACES * more


def least_nodes(
    fit: Fit, surfaces: Sequence[PlaneSurface | CylinderSurface | TorusSurface | RuledSurface]
) -> int:
    """Number of nodes with which readers' own curves on the surfaces stay close to an edge.

    Args:
        fit: the edge.
        surfaces: of the faces that it borders; planes and ruled surfaces ask for nothing.
    """
    points = at_ends(len(fit.poles), STEP) @ fit.poles
    bend = 0.0
    for surface in surfaces:
        if not isinstance(surface, PlaneSurface | RuledSurface):
            bend = max(bend, _bend(_flat(surface, points)))
    wanted = 1.0 + (WORST * bend / READ_CURVE) ** 0.25 / STEP
    return next((n for n in LADDER if places(n) >= wanted), LADDER[-1])


def _flat(surface: CylinderSurface | TorusSurface, points: Array) -> Array:
    """Parameters of points of both ends, in mm, free of jumps within an end, ``(2, 5, 2)``."""
    uv = surface.uv(points).reshape(2, 5, 2)
    uv = uv - tau * np.round((uv - uv[:, :1]) / tau)
    if isinstance(surface, CylinderSurface):
        uv[..., 1] = (points - surface.origin).reshape(2, 5, 3) @ surface.axis
        return np.asarray(uv * np.array([surface.radius, 1.0]))
    return np.asarray(uv * np.array([surface.major + surface.minor, surface.minor]))


def _bend(ends: Array) -> float:
    """Largest fourth difference at either end, mm."""
    fourth = _FOURTH @ ends
    return float(np.hypot(fourth[:, 0], fourth[:, 1]).max())
