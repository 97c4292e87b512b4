"""Curves in the parameter planes of surfaces: where an edge runs on each of its faces.

A reader that finds none makes its own through a few points of the edge, up to some micrometres
off at a claimed tenth of a nanometre. One polynomial of high degree follows the edge to less than
any tolerance in a few poles.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from math import comb

import numpy as np

from cagekit.geometry.arrays import Array, Ints
from cagekit.solids.brep import (
    Edge,
    EllipseCurve,
    Face,
    PlaneSurface,
    Record,
    RuledSurface,
    TorusSurface,
)
from cagekit.solids.images import FaceUses
from cagekit.writers.part21 import Deck, real, refs

DEGREES = (5, 7, 9, 11, 13, 15, 17, 19)
"""Degrees that are tried; the kernels that read STEP stop at 25."""
CLOSE = 4e-8
"""Distance (mm) from the edge at which no higher degree is tried; the finest tolerance that
readers claim is 1e-7 mm."""
_BETWEEN = 33

Poles = dict[tuple[int, int], Array]
"""Poles ``(n, 2)`` of edges' images, by the numbers of face and edge."""


def parameter_poles(records: Sequence[Record]) -> list[Poles]:
    """Bezier poles of the images of elliptic edges, for each solid.

    None where readers need none: on planes, and for lines and circles, which are exact; nor where
    no degree follows the edge closely.
    """
    owners: list[tuple[int, int, int]] = []
    uses: list[tuple[Edge, Face]] = []
    for r, record in enumerate(records):
        for k, face in enumerate(record.faces):
            if isinstance(face.surface, PlaneSurface | RuledSurface):
                continue
            for e in dict.fromkeys(e for loop in face.loops for e, _ in loop):
                curve = record.edges[e].curve
                if isinstance(curve, EllipseCurve) and not curve.is_circle:
                    owners.append((r, k, e))
                    uses.append((record.edges[e], face))
    out: list[Poles] = [{} for _ in records]
    if uses:
        for i, poles in _followed(FaceUses(uses)).items():
            r, k, e = owners[i]
            out[r][k, e] = poles
    return out


def _followed(uses: FaceUses) -> dict[int, Array]:
    """Poles ``(m, 2)`` of those uses, by row, that a curve follows closely."""
    every, order = _places()
    left = np.arange(len(uses.scale))
    uv = np.empty((len(left), len(every), 2))
    uv[:, order] = uses.uv(every[order], left)
    first = _BETWEEN
    out: dict[int, Array] = {}
    for degree in DEGREES:
        nodes, to_poles, to_between = _bezier(degree)
        poles = to_poles @ uv[left, first : first + len(nodes)]
        first += len(nodes)
        off = (to_between @ poles - uv[left, :_BETWEEN]) * uses.scale[left, None]
        good = np.hypot(off[..., 0], off[..., 1]).max(axis=1) < CLOSE
        out.update(zip(left[good].tolist(), poles[good], strict=True))
        left = left[~good]
        if not len(left):
            break
    return out


def parameter_curve(
    deck: Deck, edge: Edge, poles: Array, face: Face, surface: int, context: int
) -> int:
    """Write where an elliptic edge runs on a face; returns the PCURVE's number.

    Args:
        deck: the file.
        edge: the edge.
        poles: of its image, see :func:`parameter_poles`.
        face: a face that it borders.
        surface: number of that face's surface.
        context: number of the context of parameter planes.
    """
    # a hundredth of a nanometre along a face of 0.2 m round
    digits = "%.10f,%.10f" if isinstance(face.surface, TorusSurface) else "%.10f,%.8f"
    form = f"#%d=CARTESIAN_POINT('',({digits}));"
    first = deck.last + 1
    deck.lines += [form % (i, u, v) for i, (u, v) in enumerate(poles.tolist(), first)]
    ids = refs(range(first, first + len(poles)))
    degree = len(poles) - 1
    curve = deck.add(
        f"B_SPLINE_CURVE_WITH_KNOTS('',{degree},{ids},.UNSPECIFIED.,.F.,.F.,"
        f"({degree + 1},{degree + 1}),({real(edge.t0)},{real(edge.t1)}),.UNSPECIFIED.)"
    )
    image = deck.add(f"DEFINITIONAL_REPRESENTATION('',(#{curve}),#{context})")
    return deck.add(f"PCURVE('',#{surface},#{image})")


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
