"""Cut a polygon with holes into triangles by clipping ears.

Small, exact enough for pictures, and it keeps every boundary point, so that the walls of a plate
meet its faces without gaps.

Source: G. H. Meisters, Polygons have ears, American Mathematical Monthly 82 (1975); holes are
joined to the outer loop by bridges.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate, pairwise

import numpy as np
from numpy.typing import NDArray

from cagekit.geometry.arrays import Points
from cagekit.units.tolerance import NOISE, ROUNDING

_Spot = tuple[float, float]
"""A point in the plane, mm."""


def triangulate(outer: Points, holes: Sequence[Points] = ()) -> tuple[Points, NDArray[np.int64]]:
    """Return points ``(n, 2)`` and anticlockwise triangles ``(m, 3)`` of a polygon with holes.

    Args:
        outer: corners ``(k, 2)`` in order, either way round, the first not repeated.
        holes: corners of each hole; holes lie inside and do not touch.
    """
    loops = [_turned(outer, left=True), *(_turned(h, left=False) for h in holes)]
    points = np.concatenate(loops)
    starts = list(accumulate(len(loop) for loop in loops))
    ring = list(range(starts[0]))
    left = [list(range(a, b)) for a, b in pairwise(starts)]
    edges = np.stack([points, np.concatenate([_next(q) for q in loops])], axis=1)
    while left:
        ring = _bridged(points, ring, left, edges)
    return points, np.array(_ears(points, ring), dtype=np.int64).reshape(-1, 3)


def signed_area(loop: Points) -> float:
    """Return the area of a polygon ``(k, 2)``, positive when it runs anticlockwise."""
    x, y = loop[:, 0], loop[:, 1]
    return float(x @ _next(y) - y @ _next(x)) / 2


def _next(loop: Points) -> Points:
    """What stands after each, the first after the last; numpy's own way takes longer."""
    return np.concatenate([loop[1:], loop[:1]])


def _turned(loop: Points, *, left: bool) -> Points:
    loop = np.asarray(loop, float)
    return loop if (signed_area(loop) > 0) == left else loop[::-1]


def _bridged(
    points: Points, ring: list[int], left: list[list[int]], edges: NDArray[np.float64]
) -> list[int]:
    """Join one of the holes ``left`` to the ring by the shortest bridge that crosses nothing."""
    here = np.array([i for hole in left for i in hole])
    gaps = np.linalg.norm(points[here][:, None] - points[ring][None], axis=2)
    for flat in np.argsort(gaps, axis=None, kind="stable"):
        start, at = int(here[flat // len(ring)]), int(flat % len(ring))
        p, q = points[start], points[ring[at]]
        if _sees(p, q, edges[:, 0], edges[:, 1]) and _opens(points, ring, at, p):
            hole = next(h for h in left if start in h)
            left.remove(hole)
            first = hole.index(start)
            turned = hole[first:] + hole[:first]
            return [*ring[: at + 1], *turned, start, *ring[at:]]
    raise ValueError("a hole lies outside its polygon")


def _sees(p: Points, q: Points, a: Points, b: Points) -> bool:
    """Whether the segment p-q crosses no edge a-b (touching at q is no crossing)."""
    d = q - p

    def side(origin: Points, along: Points, to: Points) -> Points:
        w = to - origin
        return along[..., 0] * w[..., 1] - along[..., 1] * w[..., 0]

    s1, s2 = side(p, d, a), side(p, d, b)
    e = b - a
    t1, t2 = side(a, e, p[None]), side(a, e, q[None])
    scale = NOISE * max(float(d @ d), 1.0)
    return not bool(((s1 * s2 < -scale) & (t1 * t2 < -scale)).any())


def _opens(points: Points, ring: list[int], at: int, hole: Points) -> bool:
    """Whether a hole's point lies within the corner of the ring at ``at`` (matters on bridges)."""
    which = [ring[at - 1], ring[at], ring[(at + 1) % len(ring)]]
    to: list[float] = hole.tolist()
    before, here, after = points[which].tolist()
    if _cross(before, here, after) >= 0:
        return _cross(here, after, to) >= -NOISE and _cross(before, here, to) >= -NOISE
    return _cross(here, after, to) >= -NOISE or _cross(before, here, to) >= -NOISE


def _cross(a: Sequence[float], b: Sequence[float], c: Sequence[float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _ears(points: Points, ring: list[int]) -> list[tuple[int, int, int]]:
    """Clip ears until three corners are left."""
    # one corner after the other is looked at: plain numbers are quicker than arrays
    spots: list[_Spot] = [(x, y) for x, y in points.tolist()]
    ring = list(ring)
    out: list[tuple[int, int, int]] = []
    at, stuck = 0, 0
    while len(ring) > 3:
        n = len(ring)
        i, j, k = ring[at % n - 1], ring[at % n], ring[(at + 1) % n]
        turn = _cross(spots[i], spots[j], spots[k])
        if _is_ear(spots, ring, (i, j, k), turn, loose=stuck > n):
            if turn > NOISE:
                out.append((i, j, k))
            del ring[at % n]
            at, stuck = max(at % n - 1, 0), 0
            continue
        at, stuck = (at + 1) % n, stuck + 1
        if stuck > 2 * n:
            raise ValueError("the polygon crosses itself")
    if len(ring) == 3:
        out.append((ring[0], ring[1], ring[2]))
    return out


def _is_ear(
    spots: list[_Spot], ring: list[int], ear: tuple[int, int, int], turn: float, *, loose: bool
) -> bool:
    if turn <= NOISE:
        # a corner in line is dropped only when nothing better is left
        return loose and abs(turn) <= ROUNDING
    a, b, c = (spots[i] for i in ear)
    (ax, ay), (bx, by), (cx, cy) = a, b, c
    ux, uy, vx, vy, wx, wy = bx - ax, by - ay, cx - bx, cy - by, ax - cx, ay - cy
    for i in ring:
        x, y = spot = spots[i]
        if (
            ux * (y - ay) - uy * (x - ax) > -NOISE
            and vx * (y - by) - vy * (x - bx) > -NOISE
            and wx * (y - cy) - wy * (x - cx) > -NOISE
            # the corners themselves, and their twins on a bridge, do not count
            and spot not in (a, b, c)
        ):
            return False
    return True
