"""Closed outlines and open chains of lines and true arcs in a plate's flat pattern.

Frame: the flat pattern's own x, y, mm, seen from the plate's face. Each vertex carries the
*bulge* of the piece that leaves it: the tangent of a quarter of the arc's sweep, positive when
the arc runs anticlockwise, 0 for a straight. That is how a cutting table's polyline holds an arc
exactly, and a quarter turn is a bulge of tan(22.5 degrees).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import atan, ceil, cos, hypot, pi, sin, tan

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cagekit.errors import GeometryError
from cagekit.geometry.arrays import Points2
from cagekit.geometry.outline_tables import (
    NO_BOWS,
    Bows,
    Chords,
    OutlineTables,
    PlainArc,
    Straights,
    nearest,
)
from cagekit.geometry.segment import BULGE_TOL, POINT_TOL, Segment, Vec2, vec2
from cagekit.units.tolerance import (
    FLAT_POINT,
    KERNEL_POINT,
    MICRON,
    NEVER_ZERO,
    NO_LENGTH,
    NOISE,
    ROUNDING,
    SAME_ANGLE,
    SAME_POINT,
    SHOP_ANGLE,
    TENTH_MICRON,
)

__all__ = ["Crossing", "Outline", "Segment", "Vec2", "vec2"]

Crossing = tuple[float, int, float]
"""Distance along the line from its origin (mm), index of the piece, fraction of the piece."""


@dataclass(frozen=True, eq=False)
class Outline:
    """A chain of lines and arcs, closed unless told otherwise.

    Args:
        vertices: ``(n, 2)`` mm.
        bulges: ``(n,)``; the last one belongs to the closing piece and is ignored when open.
        closed: the last vertex runs back to the first.
    """

    vertices: Points2
    bulges: Vec2
    closed: bool = True

    def __post_init__(self) -> None:
        v = np.array(self.vertices, float).reshape(-1, 2)
        b = np.empty(len(v))
        b[:] = self.bulges
        if not (np.isfinite(v).all() and np.isfinite(b).all()):
            raise GeometryError("outline", "a vertex is not a finite number.")
        v.setflags(write=False)
        b.setflags(write=False)
        object.__setattr__(self, "vertices", v)
        object.__setattr__(self, "bulges", b)

    def __repr__(self) -> str:
        """Number of pieces and whether it is closed."""
        return f"<Outline {len(self.vertices)} vertices, {'closed' if self.closed else 'open'}>"

    # -- making ------------------------------------------------------------------------------

    @classmethod
    def of_segments(cls, segments: Sequence[Segment], closed: bool = True) -> Outline:
        """Chain segments that follow each other; empty ones are left out."""
        keep = [s for s in segments if s.chord > POINT_TOL]
        points = [s.start for s in keep]
        bulges = [s.bulge for s in keep]
        if not closed and keep:
            points.append(keep[-1].end)
            bulges.append(0.0)
        return cls(np.array(points).reshape(-1, 2), np.array(bulges), closed)

    @classmethod
    def polygon(
        cls, points: ArrayLike, radii: float | Sequence[float] = 0.0, *, owner: str = "outline"
    ) -> Outline:
        """A closed polygon with its corners rounded.

        Args:
            points: corners ``(n, 2)`` mm.
            radii: one radius for all corners, or one each, mm; 0 leaves the corner sharp, and so
                does a radius below a tenth of a micrometre, whose arc has no direction to tell.
            owner: name used in the error.

        Raises:
            GeometryError: fewer than three corners, or a radius that its sides cannot hold.
        """
        p = np.asarray(points, float)
        n = len(p)
        if n < 3:
            raise GeometryError(owner, f"an outline needs at least three corners, got {n}.")
        r = np.broadcast_to(np.asarray(radii, float), (n,))
        r = np.where(r < TENTH_MICRON, 0.0, r)
        step = np.roll(p, -1, 0) - p
        size = np.hypot(*step.T)
        if (size < POINT_TOL).any():
            raise GeometryError(owner, f"corners {int(np.argmin(size)) + 1} and the next coincide.")
        d = step / size[:, None]
        before = np.roll(d, 1, 0)
        turn = np.arctan2(before[:, 0] * d[:, 1] - before[:, 1] * d[:, 0], (before * d).sum(1))
        if (np.abs(np.abs(turn) - pi) < SAME_ANGLE).any():
            raise GeometryError(owner, "the outline doubles back on itself at a corner.")
        tail = r * np.tan(np.abs(turn) / 2)
        need = tail + np.roll(tail, -1)
        if (need > size + SAME_POINT).any():
            i = int(np.argmax(need - size))
            raise GeometryError(
                owner,
                f"side {i + 1} is {size[i]:.1f} mm long, its rounded corners need "
                f"{need[i]:.1f} mm.",
                "Use smaller corner radii or a longer side.",
            )
        segments: list[Segment] = []
        for i in range(n):
            a = p[i] - tail[i] * before[i]
            b = p[i] + tail[i] * d[i]
            segments.append(Segment(vec2(a), vec2(b), tan(turn[i] / 4)))
            j = (i + 1) % n
            segments.append(Segment(vec2(b), vec2(p[j] - tail[j] * d[i])))
        return cls.of_segments(segments)

    @classmethod
    def rectangle(
        cls, width: float, height: float, radius: float = 0.0, centre: ArrayLike = (0.0, 0.0)
    ) -> Outline:
        """A rectangle ``width`` along x by ``height`` along y about ``centre``, mm.

        Args:
            width: mm.
            height: mm.
            radius: of the corners, mm.
            centre: ``(2,)`` mm.
        """
        c = np.asarray(centre, float)
        corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array([width, height]) / 2
        return cls.polygon(corners + c, radius, owner="rectangle")

    @classmethod
    def circle(cls, centre: ArrayLike, diameter: float) -> Outline:
        """A full circle: two half turns, anticlockwise."""
        c = np.asarray(centre, float)
        r = np.array([diameter / 2, 0.0])
        return cls(np.array([c + r, c - r]), np.array([1.0, 1.0]))

    @classmethod
    def slot(cls, a: ArrayLike, b: ArrayLike, width: float) -> Outline:
        """A slot with round ends about the centres ``a`` and ``b``, anticlockwise, mm.

        Args:
            a: centre of one end, ``(2,)`` mm.
            b: centre of the other, ``(2,)`` mm.
            width: mm.
        """
        p, q = np.asarray(a, float), np.asarray(b, float)
        d = (q - p) / hypot(*(q - p))
        side = np.array([d[1], -d[0]]) * width / 2
        return cls(
            np.array([p + side, q + side, q - side, p - side]), np.array([0.0, 1.0, 0.0, 1.0])
        )

    # -- looking -----------------------------------------------------------------------------

    def __len__(self) -> int:
        return len(self.vertices)

    def __iter__(self) -> Iterator[Segment]:
        return iter(self.segments)

    @cached_property
    def segments(self) -> tuple[Segment, ...]:
        """The pieces in order; an open chain has one fewer than vertices."""
        return tuple(self._pieces(range(self._count)))

    def _pieces(self, which: Iterable[int]) -> Iterator[Segment]:
        n, corners, bulges = len(self.vertices), self.vertices, self.bulges.tolist()
        return (Segment(corners[i], corners[(i + 1) % n], bulges[i]) for i in which)

    @cached_property
    def _ends(self) -> tuple[Points2, Points2]:
        """Start and end of each piece, ``(k, 2)`` each."""
        following = np.concatenate([self.vertices[1:], self.vertices[:1]])
        return self.vertices[: self._count], following[: self._count]

    @property
    def _count(self) -> int:
        """Number of pieces."""
        return len(self.vertices) - (not self.closed)

    @cached_property
    def chords(self) -> tuple[float, ...]:
        """Straight distance from end to end of each piece, mm."""
        corners = self.vertices.tolist()
        following = corners[1:] + corners[: int(self.closed)]
        return tuple(
            hypot(c - a, d - b) for (a, b), (c, d) in zip(corners, following, strict=False)
        )

    @property
    def length(self) -> float:
        """Length along the outline, mm."""
        turns = (abs(b) for b in self.bulges.tolist())
        return sum(
            chord * ((1 + b * b) * atan(b) / b if b else 1.0)
            for chord, b in zip(self.chords, turns, strict=False)
        )

    @cached_property
    def _moments(self) -> tuple[float, float, float]:
        """Signed area and its first moments about the y and x axis."""
        area = mx = my = 0.0
        middle = np.array([q.first + 0.5 * q.sweep for q in self._arcs])
        arcs = zip(self._arcs, np.cos(middle).tolist(), np.sin(middle).tolist(), strict=True)
        for (x0, y0), (x1, y1), bent in self._plain:
            cross = (x0 * y1 - y0 * x1) / 2
            area += cross
            mx += cross * (x0 + x1) / 3
            my += cross * (y0 + y1) / 3
            if not bent:
                continue
            q, c, s = next(arcs)
            r, t = q.radius, abs(q.sweep)
            cap = r**2 / 2 * (t - sin(t))
            # distance of the cap's centroid from the arc's centre; series where it cancels
            if t > 0.05:
                arm = 4 * r * sin(t / 2) ** 3 / (3 * (t - sin(t)))
            else:
                cap = r**2 * t**3 / 12 * (1 - t**2 / 20 + t**4 / 1680)
                arm = r * (1 - 3 * t**2 / 40)
            sign = 1.0 if q.bulge > 0 else -1.0
            area += sign * cap
            mx += sign * cap * (q.cx + (q.cx + r * c - q.cx) / r * arm)
            my += sign * cap * (q.cy + (q.cy + r * s - q.cy) / r * arm)
        return area, mx, my

    @property
    def _plain(self) -> list[tuple[list[float], list[float], bool]]:
        """Start and end of each piece in plain numbers, and whether it is an arc."""
        start, end = self._ends
        rows = zip(start.tolist(), end.tolist(), self._curved.tolist(), strict=True)
        return list(rows)

    @property
    def area(self) -> float:
        """Signed area, mm2: positive when the outline runs anticlockwise; exact with arcs."""
        return self._moments[0]

    @property
    def centroid(self) -> Vec2:
        """Centre of area, ``(2,)`` mm."""
        area, mx, my = self._moments
        return vec2([mx / area, my / area])

    @cached_property
    def box(self) -> tuple[Vec2, Vec2]:
        """Lowest and highest corner of the bounding box, arcs included, ``(2,)`` mm each."""
        points = self.vertices
        if self._arcs:
            bows = self._bows
            x = bows.cx + bows.radius * np.array([1.0, 0.0, -1.0, 0.0])
            y = bows.cy + bows.radius * np.array([0.0, 1.0, 0.0, -1.0])
            on = bows.distances(x, y) < ROUNDING
            points = np.concatenate([points, np.column_stack([x[on], y[on]])])
        return vec2(points.min(0)), vec2(points.max(0))

    @property
    def size(self) -> Vec2:
        """Width and height of the bounding box, ``(2,)`` mm."""
        low, high = self.box
        return vec2(high - low)

    def contains(self, points: ArrayLike) -> NDArray[np.bool_]:
        """Tell which points ``(n, 2)`` lie inside, exactly, arcs included."""
        p = np.atleast_2d(np.asarray(points, float))
        x, y = p.T.copy()
        return self._chords.inside(x, y, self._bows)

    def distance(self, points: ArrayLike) -> Vec2:
        """Distance of points ``(n, 2)`` to the nearest piece, ``(n,)`` mm."""
        p = np.atleast_2d(np.asarray(points, float))
        x, y = p.T.copy()
        return nearest(self._straights, self._bows, x, y)

    @property
    def tables(self) -> OutlineTables:
        """All pieces in columns, to be asked beside those of other outlines."""
        return OutlineTables(self._straights, self._bows, self._chords)

    @cached_property
    def _straights(self) -> Straights:
        start, end = (ends[~self._curved] for ends in self._ends)
        return Straights.of(start, end)

    @cached_property
    def _bows(self) -> Bows:
        return Bows.of(self._arcs) if self._arcs else NO_BOWS

    @cached_property
    def _chords(self) -> Chords:
        return Chords.of(*self._ends, self.bulges[: self._count], self._curved)

    @cached_property
    def _arcs(self) -> tuple[PlainArc, ...]:
        if not self._curved.any():
            return ()
        bulges = self.bulges.tolist()
        rows = zip(self._plain, bulges, strict=False)
        return tuple(
            PlainArc.of(x0, y0, x1, y1, b) for ((x0, y0), (x1, y1), bent), b in rows if bent
        )

    @cached_property
    def _turns(self) -> Vec2:
        """Centre, radius, sweep and first angle of each piece, ``(5, k)``; nought of a straight."""
        out = np.zeros((5, self._count))
        out[:, self._curved] = np.array(self._arcs)[:, 5:].T
        return out

    @cached_property
    def _curved(self) -> NDArray[np.bool_]:
        """Which pieces are arcs."""
        return np.asarray(np.abs(self.bulges[: self._count]) > BULGE_TOL)

    def flat_points(self, tolerance: float = 0.05) -> Points2:
        """Vertices of a polygon within ``tolerance`` mm of the arcs, ``(m, 2)``, on the outline."""
        if not self._arcs:
            return np.array(self.vertices)
        radius = np.array([q.radius for q in self._arcs])
        steps = iter((2 * np.arccos(np.maximum(1 - tolerance / radius, -1.0))).tolist())
        counts = [
            max(1, ceil(abs(sweep) / min(max(next(steps), SHOP_ANGLE), pi / 4))) if sweep else 1
            for sweep in self._sweeps
        ]
        return self._divided(counts)

    def sampled(self, spacing: float = 2.0) -> Points2:
        """Points along the outline not further apart than ``spacing`` mm, ``(m, 2)``."""
        arcs = iter(self._arcs)
        counts = [
            max(2, ceil(abs(sweep) * next(arcs).radius / spacing))
            if sweep
            else max(1, ceil(chord / spacing))
            for chord, sweep in zip(self.chords, self._sweeps, strict=True)
        ]
        return self._divided(counts)

    @property
    def _sweeps(self) -> list[float]:
        """Angle that each piece turns by, rad; 0 for a straight."""
        arcs = iter(self._arcs)
        return [next(arcs).sweep if bent else 0.0 for bent in self._curved.tolist()]

    def _divided(self, counts: Sequence[int]) -> Points2:
        """Points that divide each piece into equal parts, its start first, ``(m, 2)``."""
        count = np.array(counts, dtype=np.intp)
        piece = np.repeat(np.arange(len(count)), count)
        share = (np.arange(len(piece)) - (np.cumsum(count) - count)[piece]) / count[piece]
        start, end = self._ends
        out = start[piece] + share[:, None] * (end - start)[piece]
        if self._arcs:
            bent = np.flatnonzero(self._curved[piece])
            cx, cy, radius, sweep, first = self._turns[:, piece[bent]]
            angle = first + share[bent] * sweep
            out[bent, 0] = cx + radius * np.cos(angle)
            out[bent, 1] = cy + radius * np.sin(angle)
        return out if self.closed else np.concatenate([out, self.segments[-1].end[None]])

    # -- changing ----------------------------------------------------------------------------

    def reversed(self) -> Outline:
        """The same outline walked the other way."""
        keep = (np.array(self.chords) > POINT_TOL)[::-1]
        to, points = (end[::-1][keep] for end in self._ends)
        bulges = -self.bulges[: self._count][::-1][keep]
        if not self.closed and len(to):
            points, bulges = np.concatenate([points, to[-1:]]), np.append(bulges, 0.0)
        return Outline(points, bulges, self.closed)

    def anticlockwise(self) -> Outline:
        """The outline walked so that its area is positive."""
        return self if self.area >= 0 else self.reversed()

    def mapped(self, matrix: ArrayLike, shift: ArrayLike = (0.0, 0.0)) -> Outline:
        """Apply a rotation or mirror ``(2, 2)``, then a shift ``(2,)`` mm."""
        m = np.asarray(matrix, float)
        sign = 1.0 if np.linalg.det(m) > 0 else -1.0
        return Outline(
            self.vertices @ m.T + np.asarray(shift, float), sign * self.bulges, self.closed
        )

    def moved(self, shift: ArrayLike) -> Outline:
        """Shift by ``(2,)`` mm."""
        return self.mapped(np.eye(2), shift)

    def turned(self, angle: float) -> Outline:
        """Turn about the origin by ``angle`` rad, anticlockwise."""
        c, s = cos(angle), sin(angle)
        return self.mapped([[c, -s], [s, c]])

    def cleaned(self) -> Outline:
        """Drop empty pieces, spikes of no width and vertices in the middle of a straight."""
        if not self._has_joinable():
            return self
        segments = [s for s in self.segments if s.chord > POINT_TOL]
        i = 0
        while len(segments) > 2 and i < len(segments) - (not self.closed):
            j = (i + 1) % len(segments)
            merged = _merged(segments[i], segments[j])
            if merged is None:
                i += 1
                continue
            segments[i : i + 1] = [merged] if merged.chord > POINT_TOL else []
            del segments[j if j < i or merged.chord > POINT_TOL else j - 1]
            # the piece before has a new neighbour
            i = max(min(i, len(segments)) - 1, 0)
        return Outline.of_segments(segments, self.closed)

    def _has_joinable(self) -> bool:
        """Tell whether pieces may be empty or go on in the one before, by a wide measure."""
        start, end = self._ends
        step = end - start
        size = np.hypot(step[:, 0], step[:, 1])
        if (size <= 2 * POINT_TOL).any():
            return True
        d = step / size[:, None]
        after = np.roll(d, -1, 0)
        bent = np.abs(d[:, 0] * after[:, 1] - d[:, 1] * after[:, 0]) > 2 * ROUNDING
        alike = self._curved == np.roll(self._curved, -1)
        joinable = alike & (self._curved | ~bent)
        return bool(joinable[: len(joinable) - (not self.closed)].any())

    def with_corners(self, points: ArrayLike) -> Outline:
        """Split pieces where points ``(n, 2)`` lie on them; the shape stays the same."""
        p = np.asarray(points, float).reshape(-1, 2)
        out: list[Segment] = []
        for s in self.segments:
            d = s.end - s.start
            t = np.sort((p - s.start) @ d / max(float(d @ d), NEVER_ZERO))
            near = s.distance(p)[np.argsort((p - s.start) @ d)] < SAME_POINT
            tol = FLAT_POINT / max(s.chord, NO_LENGTH)
            cuts = [] if s.is_arc else t[near & (t > tol) & (t < 1 - tol)].tolist()
            stops = [0.0, *(f for i, f in enumerate(cuts) if not i or f - cuts[i - 1] > tol), 1.0]
            out += [s.part(a, b) for a, b in pairwise(stops)]
        return Outline.of_segments(out, self.closed) if len(out) > len(self.segments) else self

    def line_crossings(self, origin: ArrayLike, direction: ArrayLike) -> list[Crossing]:
        """Where a line crosses the outline, in order along it."""
        o, d = np.asarray(origin, float), np.asarray(direction, float)
        d = d / hypot(*d)
        found = []
        for i, s in enumerate(self.segments):
            for f in s.crossings(o, d):
                found.append((float((s.point(f) - o) @ d), i, f))
        return sorted(found)

    def chord_through(
        self, origin: ArrayLike, direction: ArrayLike
    ) -> tuple[Crossing, Crossing] | None:
        """The two crossings that bracket ``origin`` on the line through it, or None."""
        hits = self.line_crossings(origin, direction)
        below = [h for h in hits if h[0] <= 0]
        above = [h for h in hits if h[0] > 0]
        if len(below) % 2 == 0 or not above:
            return None
        return below[-1], above[0]

    def cut(self, origin: ArrayLike, direction: ArrayLike) -> tuple[Outline, Outline] | None:
        """Cut a closed outline along its chord through ``origin``.

        Returns:
            The parts left and right of ``direction``, or None when ``origin`` is not inside.
        """
        hit = self.chord_through(origin, direction)
        if hit is None:
            return None
        (_, i, fi), (_, j, fj) = hit
        one = self._walk(j, fj, i, fi)
        two = self._walk(i, fi, j, fj)
        parts = [Outline.of_segments(w).cleaned() for w in (one, two)]
        o, d = np.asarray(origin, float), np.asarray(direction, float)
        left = [float(_cross(d, p.centroid - o)) > 0 if len(p) > 1 else False for p in parts]
        return (parts[0], parts[1]) if left[0] or not left[1] else (parts[1], parts[0])

    def _walk(self, i: int, fi: float, j: int, fj: float) -> list[Segment]:
        """Pieces from fraction ``fi`` of piece ``i`` on to ``fj`` of ``j``, closed by a chord."""
        s = self.segments
        n = len(s)
        if i == j and fj > fi:
            out = [s[i].part(fi, fj)]
        else:
            out = [s[i].part(fi, 1.0)]
            k = (i + 1) % n
            while k != j:
                out.append(s[k])
                k = (k + 1) % n
            out.append(s[j].part(0.0, fj))
        out.append(Segment(out[-1].end, out[0].start))
        return out

    def offset(self, distance: float, *, owner: str = "outline") -> Outline:
        """Move the outline outward by ``distance`` mm (inward when negative) with true arcs.

        Outside corners are rolled round with an arc, inside corners are cut where the moved
        pieces meet.

        Raises:
            GeometryError: a feature is too small for the distance.
        """
        if abs(distance) < NOISE:
            return self
        from cagekit.geometry.offset import offset_outline

        return offset_outline(self, distance, owner)

    def is_simple(self) -> bool:
        """Tell whether the outline keeps clear of itself (judged on a fine polygon)."""
        p = self.flat_points(0.02)
        a, b = p, np.concatenate([p[1:], p[:1]])
        n = len(p)
        d = b - a
        if _convex(d):
            return True
        r = a[None] - a[:, None]
        den = d[:, None, 0] * d[None, :, 1] - d[:, None, 1] * d[None, :, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (r[..., 0] * d[None, :, 1] - r[..., 1] * d[None, :, 0]) / den
            u = (r[..., 0] * d[:, None, 1] - r[..., 1] * d[:, None, 0]) / den
        hit = (
            (t > -ROUNDING)
            & (t < 1 + ROUNDING)
            & (u > -ROUNDING)
            & (u < 1 + ROUNDING)
            & (np.abs(den) > NOISE)
        )
        k = np.arange(n)
        gap = np.abs(k[:, None] - k[None])
        near = (gap <= 1) | (gap == n - 1)
        return not bool((hit & ~near).any())


def _convex(steps: Points2) -> bool:
    """Whether sides ``(n, 2)`` that close turn left at every corner, and once round in all."""
    x, y = steps.T
    u, v = np.concatenate([steps[1:], steps[:1]]).T
    cross = x * v - y * u
    if not (cross > MICRON).all():
        return False
    return abs(float(np.arctan2(cross, x * u + y * v).sum()) - 2 * pi) < 1.0


def _cross(a: Vec2, b: Vec2) -> float:
    return float(a[0] * b[1] - a[1] * b[0])


def _merged(a: Segment, b: Segment) -> Segment | None:
    """Join two pieces that are one line or one arc, or that run back over each other."""
    if a.is_arc != b.is_arc:
        return None
    if not a.is_arc:
        da, db = (a.end - a.start) / a.chord, (b.end - b.start) / b.chord
        return Segment(a.start, b.end) if abs(_cross(da, db)) < ROUNDING else None
    same = hypot(*(a.centre - b.centre)) < KERNEL_POINT and abs(a.radius - b.radius) < KERNEL_POINT
    total = a.sweep + b.sweep
    if same and a.bulge * b.bulge > 0 and abs(total) < 1.5 * pi:
        return Segment(a.start, b.end, tan(total / 4))
    return None
