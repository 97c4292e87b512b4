"""Curves in the parameter planes of surfaces: where an edge runs on each of its faces.

A reader that finds none makes its own through a few points of the edge, up to some micrometres
off at a claimed tenth of a nanometre. One polynomial of high degree follows the edge to less than
any tolerance in a few poles.
"""

from __future__ import annotations

from functools import cache, lru_cache
from math import comb, floor, tau

import numpy as np

from cagekit.geometry.arrays import Array, Ints
from cagekit.solids.brep import (
    Edge,
    EllipseCurve,
    Face,
    PlaneSurface,
    RuledSurface,
    TorusSurface,
    edge_uv,
    shift_into,
)
from cagekit.units.tolerance import NOISE
from cagekit.writers.part21 import Deck, real, refs

DEGREES = (5, 7, 9, 11, 13, 15, 17, 19)
"""Degrees that are tried; the kernels that read STEP stop at 25."""
CLOSE = 4e-8
"""Distance (mm) from the edge at which no higher degree is tried; the finest tolerance that
readers claim is 1e-7 mm."""
_BETWEEN = 33


def parameter_curve(deck: Deck, edge: Edge, face: Face, surface: int, context: int) -> int | None:
    """Write where an elliptic edge runs on a face; returns the PCURVE's number.

    None where readers need none: on planes, and for lines and circles, which are exact.

    Args:
        deck: the file.
        edge: the edge.
        face: a face that it borders.
        surface: number of that face's surface.
        context: number of the context of parameter planes.
    """
    flat = isinstance(face.surface, PlaneSurface | RuledSurface)
    if flat or not isinstance(edge.curve, EllipseCurve):
        return None
    if edge.curve.is_circle:
        return None
    poles, close = _poles(edge, face)
    if not close:
        return None
    start = edge.t0 - tau * floor(edge.t0 / tau + NOISE)
    # a hundredth of a nanometre along a face of 0.2 m round
    digits = "%.10f,%.10f" if isinstance(face.surface, TorusSurface) else "%.10f,%.8f"
    form = f"#%d=CARTESIAN_POINT('',({digits}));"
    first = deck.last + 1
    deck.lines += [form % (i, u, v) for i, (u, v) in enumerate(poles.tolist(), first)]
    ids = refs(range(first, first + len(poles)))
    degree, ends = len(poles) - 1, (start, start + edge.t1 - edge.t0)
    curve = deck.add(
        f"B_SPLINE_CURVE_WITH_KNOTS('',{degree},{ids},.UNSPECIFIED.,.F.,.F.,"
        f"({degree + 1},{degree + 1}),({real(ends[0])},{real(ends[1])}),.UNSPECIFIED.)"
    )
    image = deck.add(f"DEFINITIONAL_REPRESENTATION('',(#{curve}),#{context})")
    return deck.add(f"PCURVE('',#{surface},#{image})")


@lru_cache(maxsize=2048)
def _poles(edge: Edge, face: Face) -> tuple[Array, bool]:
    """Bezier poles ``(n, 2)`` of the edge's image, and whether they follow it closely.

    Kept for the file of the part and that of the cage, which hold the same solid.
    """
    s = face.surface
    every, order = _places()
    uv = np.empty((len(every), 2))
    uv[order] = edge_uv(edge, s, edge.t0 + (edge.t1 - edge.t0) * every[order])
    uv = shift_into(uv, face.lower, s)
    between, first = uv[:_BETWEEN], _BETWEEN
    wide = s.major + s.minor if isinstance(s, TorusSurface) else getattr(s, "radius", 1.0)
    high = s.minor if isinstance(s, TorusSurface) else 1.0
    poles = np.empty((0, 2))
    for degree in DEGREES:
        nodes, to_poles, to_between = _bezier(degree)
        poles = to_poles @ uv[first : first + len(nodes)]
        first += len(nodes)
        off = to_between @ poles - between
        if float(np.hypot(off[:, 0] * wide, off[:, 1] * high).max()) < CLOSE:
            return poles, True
    return poles, False


@cache
def _places() -> tuple[Array, Ints]:
    """Where an edge is looked at, shares of its length, and the order in which these rise.

    First the places between nodes, then the nodes of one degree after the other.
    """
    between = np.linspace(0.0, 1.0, _BETWEEN)
    every = np.concatenate([between, *(_bezier(degree)[0] for degree in DEGREES)])
    return every, np.argsort(every, kind="stable")


@cache
def _bezier(degree: int) -> tuple[Array, Array, Array]:
    """Nodes on [0, 1], the matrix that takes samples there to poles, poles to points between."""
    k = np.arange(degree + 1)
    nodes = 0.5 * (1.0 - np.cos(np.pi * k / degree))
    to_poles = np.linalg.inv(_bernstein(nodes, degree))
    return nodes, np.asarray(to_poles), _bernstein(np.linspace(0.0, 1.0, _BETWEEN), degree)


def _bernstein(t: Array, degree: int) -> Array:
    k = np.arange(degree + 1)
    count = np.array([comb(degree, int(i)) for i in k], dtype=float)
    x = t[:, None]
    return np.asarray(count * x**k * (1.0 - x) ** (degree - k))
