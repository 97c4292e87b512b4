"""Random joints of one to three parents, for sweeps.

Branches lean by at least 30 degrees from their parents, half of the nodes lie on or near a bend,
a fifth of them beside the axis, diameters are equal or smaller.
"""

from __future__ import annotations

from math import cos, radians, sin

import numpy as np

from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.cope import Parent

RO, WALL = 20.64, 3.4
Rng = np.random.Generator


def _way(rng: Rng) -> np.ndarray:
    v = rng.normal(size=3)
    return v / np.linalg.norm(v)


def _bent(rng: Rng) -> CentreLine:
    first, angle = _way(rng), rng.uniform(0.3, 1.9)
    axis = np.cross(first, _way(rng))
    axis /= np.linalg.norm(axis)
    second = first * cos(angle) + np.cross(axis, first) * sin(angle)
    return CentreLine.from_polyline(
        [-700 * first, np.zeros(3), 700 * second], rng.uniform(120, 220)
    )


def random_joint(rng: Rng, count: int) -> tuple[CentreLine, list[Parent], float]:
    """A tube, its parents and its outside radius."""
    parents: list[Parent] = []
    tangents: list[np.ndarray] = []
    node = np.zeros(3)
    for i in range(count):
        path = _bent(rng)
        near_bend = rng.random() < 0.5
        station = path.starts[1] + 25 * rng.normal() if near_bend else rng.uniform(200, 500)
        spot = path.spot(float(np.clip(station, 150, path.length - 150)))
        beside = rng.uniform(0, 3) if rng.random() < 0.3 else 0.0
        if i:
            path = path.mapped(np.eye(3), node - spot.point + beside * _way(rng))
        else:
            node = spot.point
        tangents.append(spot.tangent)
        parents.append(Parent(f"p{i}", path, RO if rng.random() < 0.7 else RO - 1.5))
    way = _way(rng)
    for _ in range(200):
        if all(abs(way @ t) < cos(radians(30)) for t in tangents):
            break
        way = _way(rng)
    start = node + (rng.uniform(0, 4) if rng.random() < 0.2 else 0.0) * _way(rng)
    ro = RO if rng.random() < 0.6 else rng.uniform(12.0, 20.0)
    return CentreLine.straight(start, start + 350 * way), parents, float(ro)
