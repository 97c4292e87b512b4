"""One piece of an outline: a straight or a true arc, held by its ends and its bulge.

The bulge is the tangent of a quarter of the arc's sweep, positive when the arc runs
anticlockwise, 0 for a straight.
"""

from __future__ import annotations

from functools import cached_property
from math import atan, atan2, cos, hypot, pi, sin, tan

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from cagekit.geometry.arrays import Points2
from cagekit.geometry.arrays import Vec2 as Vec2
from cagekit.units.tolerance import KERNEL_POINT, NEAR_END, NEGLIGIBLE, NEVER_ZERO, NOISE

POINT_TOL = KERNEL_POINT
"""Vertices (mm) nearer than this are one vertex."""
BULGE_TOL = NOISE
"""Bulges below this are straights."""


def vec2(value: ArrayLike) -> Vec2:
    """Return ``value`` as a read-only float array of shape ``(2,)``.

    Raises:
        ValueError: it has not two coordinates.
    """
    out = np.array(value, dtype=float)
    if out.shape != (2,):
        raise ValueError(f"a point in the flat pattern has two coordinates, got shape {out.shape}")
    out.setflags(write=False)
    return out


class Segment(Struct, frozen=True, eq=False, dict=True):
    """One piece of an outline: straight when ``bulge`` is 0, else a true arc."""

    start: Vec2
    end: Vec2
    bulge: float = 0.0

    @property
    def is_arc(self) -> bool:
        """Tell whether the piece is an arc."""
        return abs(self.bulge) > BULGE_TOL

    @cached_property
    def chord(self) -> float:
        """Distance between the two ends, mm."""
        return float(hypot(*(self.end - self.start)))

    @cached_property
    def sweep(self) -> float:
        """Signed angle of the arc, rad (anticlockwise positive); 0 for a straight."""
        return 4 * atan(self.bulge) if self.is_arc else 0.0

    @cached_property
    def radius(self) -> float:
        """Radius of the arc, mm; infinite for a straight."""
        if not self.is_arc:
            return float("inf")
        return self.chord * (1 + self.bulge**2) / (4 * abs(self.bulge))

    @cached_property
    def centre(self) -> Vec2:
        """Centre of the arc, ``(2,)`` mm."""
        mid = (self.start + self.end) / 2
        d = self.end - self.start
        left = np.array([-d[1], d[0]])
        return vec2(mid + left * (1 - self.bulge**2) / (4 * self.bulge))

    @cached_property
    def length(self) -> float:
        """Length along the piece, mm."""
        return abs(self.sweep) * self.radius if self.is_arc else self.chord

    def point(self, f: ArrayLike) -> Vec2:
        """Points at fractions ``f`` of the piece, shape ``f.shape + (2,)``."""
        f = np.asarray(f, float)
        if not self.is_arc:
            return np.asarray(self.start + np.multiply.outer(f, self.end - self.start))
        c = self.centre
        a = atan2(self.start[1] - c[1], self.start[0] - c[0]) + f * self.sweep
        ring = np.empty((*a.shape, 2))
        ring[..., 0], ring[..., 1] = np.cos(a), np.sin(a)
        return np.asarray(c + self.radius * ring)

    def tangent(self, f: float) -> Vec2:
        """Unit direction of travel at fraction ``f``, ``(2,)``."""
        d = (self.end - self.start) / self.chord
        turn = (f - 0.5) * self.sweep
        c, s = cos(turn), sin(turn)
        return vec2([c * d[0] - s * d[1], s * d[0] + c * d[1]])

    def part(self, f0: float, f1: float) -> Segment:
        """The piece between two fractions."""
        p = self.point(np.array([f0, f1]))
        start = self.start if f0 == 0.0 else p[0]
        end = self.end if f1 == 1.0 else p[1]
        return Segment(
            vec2(start), vec2(end), tan((f1 - f0) * self.sweep / 4) if self.is_arc else 0.0
        )

    def reversed(self) -> Segment:
        """The same piece walked the other way."""
        return Segment(self.end, self.start, -self.bulge)

    def distance(self, points: Points2) -> Vec2:
        """Distance of points ``(n, 2)`` to the piece, ``(n,)`` mm."""
        p = np.asarray(points, float)
        if not self.is_arc:
            d = self.end - self.start
            f = np.clip((p - self.start) @ d / max(float(d @ d), NEVER_ZERO), 0.0, 1.0)
            return np.asarray(np.hypot(*(p - self.start - f[:, None] * d).T))
        centre, (dx, dy) = self.centre, self.end - self.start
        w = p - centre
        mid = (self.start + self.end + self.bulge * np.array([dy, -dx])) / 2 - centre
        turn = np.abs(np.arctan2(mid[0] * w[:, 1] - mid[1] * w[:, 0], w @ mid))
        to_arc = np.abs(np.hypot(*w.T) - self.radius)
        to_ends = np.minimum(np.hypot(*(p - self.start).T), np.hypot(*(p - self.end).T))
        return np.asarray(np.where(turn <= abs(self.sweep) / 2, to_arc, to_ends))

    def crossings(self, origin: Vec2, direction: Vec2) -> list[float]:
        """Fractions at which the piece crosses a line; touching is no crossing.

        A vertex on the line counts as lying on its left, so that each crossing of a closed
        outline is found once and once only.
        """
        normal = np.array([-direction[1], direction[0]])
        h0, h1 = float((self.start - origin) @ normal), float((self.end - origin) @ normal)
        if abs(h0) < POINT_TOL:
            h0 = 0.0
        if abs(h1) < POINT_TOL:
            h1 = 0.0
        changes = (h0 >= 0) != (h1 >= 0)
        if not self.is_arc:
            return [h0 / (h0 - h1)] if changes else []
        c, r = self.centre, self.radius
        hc = float((c - origin) @ normal)
        if abs(hc) >= r:
            return [0.0 if h0 == 0 else 1.0] if changes else []
        # on the circle the height is hc + r sin(a - base)
        base = atan2(direction[1], direction[0])
        first = atan2(self.start[1] - c[1], self.start[0] - c[0]) - base
        root = float(np.arcsin(-hc / r))
        found = []
        for a in (root, pi - root):
            turn = (a - first) % (2 * pi)
            if self.sweep < 0:
                turn -= 2 * pi
            found.append(turn / self.sweep)
        hits = [f for f in found if 0.0 < f < 1.0]
        for end, h in ((0.0, h0), (1.0, h1)):
            if h == 0:
                hits = [f for f in hits if abs(f - end) > NEGLIGIBLE]
                if not self._leaves_left(end, normal):
                    hits.append(end)
        if (len(hits) % 2 == 1) == changes:
            return sorted(hits)
        if not changes:
            return []
        best = min(found, key=lambda f: max(0.0, -f, f - 1.0))
        return [min(max(best, 0.0), 1.0)]

    def _leaves_left(self, end: float, normal: Vec2) -> bool:
        """Tell whether the arc, next to the end that lies on a line, is on the line's left."""
        near = self.point(NEAR_END if end == 0.0 else 1 - NEAR_END)
        return float((near - (self.start if end == 0.0 else self.end)) @ normal) > 0
