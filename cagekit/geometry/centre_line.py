"""Centre line of a tube: straights and tangent arcs in space.

Frame: ISO 8855 vehicle axes (X forward, Y left, Z up), mm, radians. A path runs from end ``a``
(station 0) to end ``b`` (station ``length``).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import accumulate, chain, pairwise
from math import acos, atan2, cos, hypot, isfinite, pi, sin, sqrt, tan

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from cagekit.errors import GeometryError
from cagekit.geometry.arrays import Points, cross3, dot3
from cagekit.geometry.arrays import Vec as Vec
from cagekit.units.tolerance import (
    ALONG,
    ANGLE_ROUNDING,
    KERNEL_POINT,
    NOISE,
    ROUNDING,
    SAME_POINT,
    SHOP_ANGLE,
)

STRAIGHT_TOL = ANGLE_ROUNDING
"""Turns (rad) below this are no bend."""


def vec(value: ArrayLike) -> Vec:
    """Return ``value`` as a read-only float array of shape ``(3,)``.

    Raises:
        ValueError: it has not three coordinates.
    """
    out = np.array(value, dtype=float)
    if out.shape != (3,):
        raise ValueError(f"a point has three coordinates, got shape {out.shape}")
    out.setflags(write=False)
    return out


def _fixed(point: Sequence[float]) -> Vec:
    out = np.array(point)
    out.setflags(write=False)
    return out


def unit(value: ArrayLike) -> Vec:
    """Return the unit vector of ``value``, shape ``(3,)``; zero length raises ValueError.

    Raises:
        ValueError: it has no length, or not three coordinates.
    """
    v = np.asarray(value, dtype=float)
    if v.shape != (3,):
        raise ValueError(f"a direction has three coordinates, got shape {v.shape}")
    n = sqrt(v @ v)
    if n < NOISE:
        raise ValueError("a direction needs a length")
    out = v / n
    out.setflags(write=False)
    return out


_NO_WAY = [0.0, 0.0, 0.0]


def _way(start: Vec, end: Vec) -> tuple[float, list[float]]:
    """Distance of two points and the unit vector from one to the other, in plain numbers.

    Raises:
        ValueError: they are the same.
    """
    (x, y, z), (u, v, w) = start.tolist(), end.tolist()
    along = (u - x, v - y, w - z)
    length = sqrt(dot3(along, along))
    if length < NOISE:
        raise ValueError("a direction needs a length")
    return length, [c / length for c in along]


def _cross(a: Sequence[float], b: Sequence[float]) -> tuple[float, float, float]:
    """Cross product of two vectors of numbers."""
    (ax, ay, az), (bx, by, bz) = a, b
    return ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx


def rotate(v: ArrayLike, axis: ArrayLike, angle: float) -> Vec:
    """Rotate vectors ``(..., 3)`` about the unit ``axis`` by ``angle`` rad (Rodrigues).

    Args:
        v: vectors, ``(..., 3)``.
        axis: unit vector, ``(3,)``.
        angle: rad, right-handed about the axis.
    """
    x = np.asarray(v, dtype=float)
    k = np.asarray(axis, dtype=float)
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(
        x * c
        + (cross3(k, x) if x.ndim == 1 else np.cross(k, x)) * s
        + np.multiply.outer(x @ k, k) * (1 - c)
    )


def perpendicular(direction: ArrayLike) -> Vec:
    """Return a unit vector square to ``direction``: the one nearest to up, else to forward."""
    # plain numbers: numpy takes longer to begin
    x, y, z = np.asarray(direction, dtype=float).tolist()
    for a, b, c in ((-z * x, -z * y, 1.0 - z * z), (1.0 - x * x, -x * y, -x * z)):
        square = a * a + b * b + c * c
        if square > ALONG:
            size = sqrt(square)
            return _fixed((a / size, b / size, c / size))
    raise AssertionError("a direction cannot be parallel to both axes")


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A straight piece from ``start`` to ``end``, each ``(3,)`` mm."""

    start: Vec
    end: Vec
    length: float = field(init=False)
    direction: Vec = field(init=False)
    """Unit vector of travel, ``(3,)``."""

    def __post_init__(self) -> None:
        length, along = _way(self.start, self.end)
        object.__setattr__(self, "length", length)
        object.__setattr__(self, "direction", _fixed(along))

    def point(self, s: ArrayLike) -> Vec:
        """Points at local stations ``s`` (mm), shape ``s.shape + (3,)``; extrapolates."""
        return np.asarray(self.start + np.multiply.outer(np.asarray(s, float), self.direction))

    def tangent(self, s: ArrayLike) -> Vec:
        """Unit tangents at local stations, shape ``s.shape + (3,)``."""
        s = np.asarray(s, float)
        return np.broadcast_to(self.direction, (*s.shape, 3))

    def at(self, s: float) -> tuple[Vec, Vec]:
        """Point and unit tangent at a local station, ``(3,)`` each."""
        return self.start + s * self.direction, self.direction

    def nearest(self, p: Vec) -> float:
        """Local station (mm, within the piece) of the point nearest to ``p``."""
        return min(max(float((p - self.start) @ self.direction), 0.0), self.length)

    def reversed(self) -> Line:
        """The piece walked from its other end."""
        return Line(self.end, self.start)

    def part(self, s0: float, s1: float) -> Line:
        """The piece between two local stations."""
        return Line(vec(self.point(s0)), vec(self.point(s1)))

    def mapped(self, rotation: Vec, shift: Vec) -> Line:
        """Apply an orthogonal ``(3, 3)`` map, then a shift ``(3,)`` mm."""
        return Line(vec(rotation @ self.start + shift), vec(rotation @ self.end + shift))


@dataclass(frozen=True, slots=True, eq=False)
class Arc:
    """A bend: from ``start`` about ``centre``, right-handed about ``axis`` by ``angle`` rad."""

    start: Vec
    centre: Vec
    axis: Vec
    angle: float
    radius: float = field(init=False)
    """Centre-line radius, mm."""
    radial: Vec = field(init=False)
    """Unit vector from the centre to the start, ``(3,)`` (outside of the bend)."""
    direction: Vec = field(init=False)
    """Unit tangent at the start, ``(3,)``."""

    def __post_init__(self) -> None:
        radius, radial = _way(self.centre, self.start)
        object.__setattr__(self, "radius", radius)
        object.__setattr__(self, "radial", _fixed(radial))
        object.__setattr__(self, "direction", _fixed(_cross(self.axis.tolist(), radial)))

    @property
    def length(self) -> float:
        """Length of the centre line, mm."""
        return self.radius * self.angle

    @property
    def end(self) -> Vec:
        """Where the bend ends, ``(3,)`` mm."""
        return vec(self.point(self.length))

    def point(self, s: ArrayLike) -> Vec:
        """Points at local stations ``s`` (mm along the arc), shape ``s.shape + (3,)``."""
        a = np.asarray(s, float) / self.radius
        x, y = self.radial, self.direction
        ring = np.multiply.outer(np.cos(a), x) + np.multiply.outer(np.sin(a), y)
        return np.asarray(self.centre + self.radius * ring)

    def tangent(self, s: ArrayLike) -> Vec:
        """Unit tangents at local stations, shape ``s.shape + (3,)``."""
        a = np.asarray(s, float) / self.radius
        x, y = self.radial, self.direction
        return np.asarray(np.multiply.outer(np.cos(a), y) - np.multiply.outer(np.sin(a), x))

    def at(self, s: float) -> tuple[Vec, Vec]:
        """Point and unit tangent at a local station, ``(3,)`` each."""
        c, s = np.cos(s / self.radius), np.sin(s / self.radius)
        x, y = self.radial, self.direction
        return self.centre + self.radius * (c * x + s * y), c * y - s * x

    def nearest(self, p: Vec) -> float:
        """Local station (mm, within the bend) of the point nearest to ``p``."""
        w = p - self.centre
        a = atan2(float(w @ self.direction), float(w @ self.radial))
        if a < 0.5 * self.angle - pi:
            a += 2 * pi
        return min(max(a, 0.0), self.angle) * self.radius

    def reversed(self) -> Arc:
        """The bend walked from its other end."""
        return Arc(self.end, self.centre, vec(-self.axis), self.angle)

    def part(self, s0: float, s1: float) -> Arc:
        """The piece between two local stations."""
        return Arc(vec(self.point(s0)), self.centre, self.axis, (s1 - s0) / self.radius)

    def mapped(self, rotation: Vec, shift: Vec) -> Arc:
        """Apply an orthogonal ``(3, 3)`` map, then a shift ``(3,)`` mm."""
        # an axis is a pseudo-vector: a mirror turns it round
        axis = rotation @ self.axis * np.sign(np.linalg.det(rotation))
        start, centre = rotation @ self.start + shift, rotation @ self.centre + shift
        return Arc(vec(start), vec(centre), vec(axis), self.angle)


PathPiece = Line | Arc


class Spot(Struct, frozen=True, eq=False):
    """A spot on a path: station (mm), centre-line ``point`` and unit ``tangent``, ``(3,)`` each.

    ``piece`` is the index of the straight or bend and ``local`` the station within it.
    """

    station: float
    point: Vec
    tangent: Vec
    piece: int
    local: float


@dataclass(frozen=True, eq=False)
class CentreLine:
    """A centre line made of pieces that follow each other tangentially."""

    pieces: tuple[PathPiece, ...]
    length: float = field(init=False)
    """Length of the centre line, mm."""
    _starts: list[float] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        starts = list(accumulate([q.length for q in self.pieces], initial=0.0))
        object.__setattr__(self, "_starts", starts)
        object.__setattr__(self, "length", starts[-1])

    @classmethod
    def from_polyline(
        cls, points: ArrayLike, radii: float | Sequence[float], *, owner: str = "path"
    ) -> CentreLine:
        """Round the inner corners of a polyline.

        Args:
            points: corners ``(n, 3)``, mm, n >= 2, the first and last being the tube's ends.
            radii: centre-line radius per inner corner ``(n - 2,)``, or one for all, mm.
            owner: name used in the error.

        Raises:
            GeometryError: points coincide, the tube doubles back, bends overlap, or a bend
                needs more straight than there is; names the bend (counted from 1 at end a).
        """
        p = np.asarray(points, dtype=float)
        if p.ndim != 2 or p.shape[0] < 2 or p.shape[1] != 3:
            raise GeometryError(owner, f"needs at least two points in space, got {p.shape}.")
        # plain numbers: numpy takes longer to begin than a tube of few corners takes
        rows: list[list[float]] = p.tolist()
        if not all(map(isfinite, chain.from_iterable(rows))):
            raise GeometryError(owner, "a point is not a finite number.")
        n = len(rows)
        if isinstance(radii, int | float):
            r = [float(radii)] * max(n - 2, 0)
        else:
            r = np.broadcast_to(np.asarray(radii, dtype=float), (max(n - 2, 0),)).tolist()
        if r and not (all(map(isfinite, r)) and min(r) > 0):
            raise GeometryError(owner, f"bend radius {min(r):g} mm must be above zero.")
        d: list[list[float]] = []
        lengths: list[float] = []
        for (x, y, z), (u, v, w) in pairwise(rows):
            way = [u - x, v - y, w - z]
            lengths.append(sqrt(dot3(way, way)))
            if lengths[-1] < SAME_POINT:
                i = len(lengths)
                raise GeometryError(
                    owner,
                    f"points {i} and {i + 1} lie on the same spot.",
                    hint="Move one of them, or leave it out.",
                )
            d.append([c / lengths[-1] for c in way])
        if n == 2:
            return cls((Line(_fixed(rows[0]), _fixed(rows[1])),))
        turn, tail = [0.0] * n, [0.0] * n
        for i in range(1, n - 1):
            along = dot3(d[i - 1], d[i])
            t = acos(min(max(along, -1.0), 1.0))
            t = atan2(hypot(*_cross(d[i - 1], d[i])), along) if t < 0.1 else t
            if t > pi - SHOP_ANGLE:
                raise GeometryError(owner, f"doubles back on itself at bend {i}.")
            turn[i] = 0.0 if t < STRAIGHT_TOL else t
            tail[i] = r[i - 1] * tan(turn[i] / 2)
        for i in range(n - 1):
            need = tail[i] + tail[i + 1]
            if need > lengths[i] + SAME_POINT:
                bends = [str(k) for k in (i, i + 1) if turn[k] > 0]
                what = (
                    f"bend {bends[0]} needs"
                    if len(bends) == 1
                    else f"bends {' and '.join(bends)} need"
                )
                raise GeometryError(
                    owner,
                    f"{what} {need:.1f} mm of the leg from point {i + 1} to point {i + 2}, "
                    f"only {lengths[i]:.1f} mm available.",
                    "Use a smaller bend radius, a longer leg or a smaller bend angle.",
                )
        pieces: list[PathPiece] = []
        here = rows[0]
        for i in range(1, n):
            way = d[i - 1]
            stop = [x - tail[i] * u for x, u in zip(rows[i], way, strict=True)]
            if dot3([x - y for x, y in zip(stop, here, strict=True)], way) > KERNEL_POINT:
                pieces.append(Line(_fixed(here), _fixed(stop)))
            if i < n - 1 and turn[i] > 0:
                across = _cross(way, d[i])
                size = sqrt(dot3(across, across))
                axis = [c / size for c in across]
                out = _cross(way, axis)
                centre = [x - r[i - 1] * c for x, c in zip(stop, out, strict=True)]
                pieces.append(Arc(_fixed(stop), _fixed(centre), _fixed(axis), turn[i]))
                here = [x + tail[i] * u for x, u in zip(rows[i], d[i], strict=True)]
            elif i < n - 1:
                here = stop
        return cls(tuple(_merge(pieces)))

    @classmethod
    def straight(cls, start: ArrayLike, end: ArrayLike, *, owner: str = "path") -> CentreLine:
        """One straight from ``start`` to ``end``, ``(3,)`` mm each.

        Args:
            start: point ``(3,)`` mm.
            end: point ``(3,)`` mm.
            owner: name of the tube in messages.
        """
        return cls.from_polyline([vec(start), vec(end)], 0.0, owner=owner)

    def __repr__(self) -> str:
        """Length and number of bends."""
        bends = sum(isinstance(q, Arc) for q in self.pieces)
        return f"<CentreLine {self.length:.1f} mm, {bends} bend{'s' * (bends != 1)}>"

    @cached_property
    def starts(self) -> Vec:
        """Station at which each piece starts, and the length last, ``(n_pieces + 1,)`` mm."""
        return np.array(self._starts)

    @property
    def start(self) -> Vec:
        """End a, ``(3,)`` mm."""
        return self.pieces[0].start

    @property
    def end(self) -> Vec:
        """End b, ``(3,)`` mm."""
        return self.pieces[-1].end

    @property
    def bends(self) -> tuple[Arc, ...]:
        """The bends, in order from end a."""
        return tuple(q for q in self.pieces if isinstance(q, Arc))

    @cached_property
    def bend_middles(self) -> tuple[Vec, ...]:
        """The middle of each bend, ``(3,)`` mm."""
        return tuple(q.point(q.length / 2) for q in self.bends)

    def end_point(self, end: str) -> Vec:
        """Theoretical end point at end ``"a"`` or ``"b"``, ``(3,)`` mm."""
        return self.start if end == "a" else self.end

    def out_direction(self, end: str) -> Vec:
        """Unit vector that points out of the tube at end ``"a"`` or ``"b"``, ``(3,)``."""
        return self._ways_out[end != "a"]

    @cached_property
    def _ways_out(self) -> tuple[Vec, Vec]:
        (x, y, z), last = self.pieces[0].direction.tolist(), self.pieces[-1]
        straight = isinstance(last, Line)
        return _fixed((-x, -y, -z)), last.direction if straight else vec(last.tangent(last.length))

    def locate(self, station: float) -> tuple[int, float]:
        """Piece index and local station of ``station`` (clamped to the path), mm."""
        s = min(max(float(station), 0.0), self.length)
        starts = self._starts
        i = min(max(bisect_right(starts, s) - 1, 0), len(self.pieces) - 1)
        return i, s - starts[i]

    def spot(self, station: float) -> Spot:
        """The spot at ``station`` mm from end a; raises GeometryError when off the path.

        Raises:
            GeometryError: the station is off the tube.
        """
        if not -SAME_POINT <= station <= self.length + SAME_POINT:
            raise GeometryError(
                "path", f"station {station:.1f} mm is off the tube (0 to {self.length:.1f} mm)."
            )
        i, local = self.locate(station)
        return self._spot(i, local)

    def _spot(self, piece: int, local: float) -> Spot:
        q = self.pieces[piece]
        tangent = q.direction if isinstance(q, Line) else self._tangent(piece, local)
        point = self._point(piece, local)
        return Spot(self._starts[piece] + local, _fixed(point), tangent, piece, local)

    def _point(self, piece: int, local: float) -> tuple[float, float, float]:
        q, ((a, b, c), (u, v, w), (x, y, z)) = self.pieces[piece], self._rows[piece]
        if isinstance(q, Line):
            return a + local * u, b + local * v, c + local * w
        m, n, r = cos(local / q.radius), sin(local / q.radius), q.radius
        return a + r * (m * x + n * u), b + r * (m * y + n * v), c + r * (m * z + n * w)

    def _tangent(self, bend: int, local: float) -> Vec:
        (_, (u, v, w), (x, y, z)), turn = self._rows[bend], local / self.pieces[bend].radius  # type: ignore[union-attr]
        m, n = cos(turn), sin(turn)
        return _fixed((m * u - n * x, m * v - n * y, m * w - n * z))

    @cached_property
    def _rows(self) -> list[tuple[list[float], list[float], list[float]]]:
        """Of each straight start and direction, of each bend centre, tangent and way out.

        One spot is found in plain numbers; numpy takes ten times as long to begin.
        """
        return [
            (q.start.tolist(), q.direction.tolist(), _NO_WAY)
            if isinstance(q, Line)
            else (q.centre.tolist(), q.direction.tolist(), q.radial.tolist())
            for q in self.pieces
        ]

    def points(self, stations: ArrayLike) -> Vec:
        """Centre-line points at stations ``(n,)`` mm, shape ``(n, 3)``."""
        return self._map(stations, lambda q, s: q.point(s))

    def tangents(self, stations: ArrayLike) -> Vec:
        """Unit tangents at stations ``(n,)`` mm, shape ``(n, 3)``."""
        return self._map(stations, lambda q, s: q.tangent(s))

    def _map(self, stations: ArrayLike, f) -> Vec:  # type: ignore[no-untyped-def]
        s = np.minimum(np.maximum(np.atleast_1d(np.asarray(stations, float)), 0.0), self.length)
        if len(self.pieces) == 1:
            return np.array(f(self.pieces[0], s))
        which = np.searchsorted(self.starts, s, side="right") - 1
        which = np.minimum(np.maximum(which, 0), len(self.pieces) - 1)
        first = int(which[0])
        if (which == first).all():
            return np.array(f(self.pieces[first], s - self.starts[first]))
        out = np.empty((len(s), 3))
        for i, piece in enumerate(self.pieces):
            m = which == i
            if m.any():
                out[m] = f(piece, s[m] - self.starts[i])
        return out

    def nearest(self, point: ArrayLike) -> Spot:
        """The spot on the centre line nearest to ``point``, ``(3,)`` mm."""
        return self._spot(*self._nearest(point))

    def nearest_points(self, points: Points) -> Points:
        """Points of the centre line nearest to each of ``points``, ``(n, 3)`` mm."""
        if len(self.pieces) > 1 or isinstance(self.pieces[0], Arc):
            return np.array([self._point(*self._nearest(p)) for p in points]).reshape(-1, 3)
        ((a, b, c), (u, v, w), _), (x, y, z) = self._rows[0], points.T
        along = (x - a) * u + (y - b) * v + (z - c) * w
        s = np.minimum(np.maximum(along, 0.0), self.length)
        return np.ascontiguousarray(np.array([a + s * u, b + s * v, c + s * w]).T)

    def station(self, point: ArrayLike) -> float:
        """Station (mm from end a) of the spot nearest to ``point``, ``(3,)`` mm."""
        piece, local = self._nearest(point)
        return self._starts[piece] + local

    def _nearest(self, point: ArrayLike) -> tuple[int, float]:
        """The piece that comes nearest to a point, and the station within it, mm."""
        x, y, z = np.asarray(point, float).tolist()
        best: tuple[float, int, float] | None = None
        for i, q in enumerate(self.pieces):
            (a, b, c), along, aside = self._rows[i]
            way = x - a, y - b, z - c
            if isinstance(q, Line):
                s = min(max(dot3(way, along), 0.0), q.length)
            else:
                turn = atan2(dot3(way, along), dot3(way, aside))
                if turn < 0.5 * q.angle - pi:
                    turn += 2 * pi
                s = min(max(turn, 0.0), q.angle) * q.radius
            if len(self.pieces) == 1:
                return i, s
            a, b, c = self._point(i, s)
            away = a - x, b - y, c - z
            gap = sqrt(dot3(away, away))
            if best is None or gap < best[0] - ROUNDING:
                best = (gap, i, s)
        assert best is not None
        return best[1], best[2]

    def distances(self, points: ArrayLike) -> Vec:
        """Distance of points ``(n, 3)`` to the centre line, ``(n,)`` mm."""
        p = np.asarray(points, float)
        best = np.full(len(p), np.inf)
        for q in self.pieces:
            if isinstance(q, Line):
                along = np.clip((p - q.start) @ q.direction, 0.0, q.length)
                spots = q.start + along[:, None] * q.direction
            else:
                w = p - q.centre
                turn = np.arctan2(w @ q.direction, w @ q.radial)
                turn = np.where(turn < 0.5 * q.angle - pi, turn + 2 * pi, turn)
                spots = q.point(np.clip(turn, 0.0, q.angle) * q.radius)
            x, y, z = (p - spots).T
            best = np.minimum(best, x * x + y * y + z * z)
        return np.asarray(np.sqrt(best))

    def crossings(self, point: ArrayLike, normal: ArrayLike) -> tuple[Spot, ...]:
        """Every spot where the centre line meets the plane through ``point`` square to ``normal``.

        Pieces that lie in the plane give none.

        Raises:
            ValueError: the normal has no length.
        """
        return tuple(self.spot(s) for s in self.crossing_stations(point, normal))

    def crossing_stations(self, point: ArrayLike, normal: ArrayLike) -> list[float]:
        """The stations (mm) of these spots, rising.

        Args:
            point: of the plane, ``(3,)`` mm.
            normal: of the plane, ``(3,)``, of any length.

        Raises:
            ValueError: the normal has no length.
        """
        p, n = np.asarray(point, float).tolist(), np.asarray(normal, float).tolist()
        size = sqrt(dot3(n, n))
        if size < NOISE:
            raise ValueError("a direction needs a length")
        n = [c / size for c in n]
        rows = self._rows
        return self._crossings(
            [
                (dot3((p[0] - q[0], p[1] - q[1], p[2] - q[2]), n), dot3(d, n), dot3(o, n))
                for q, d, o in rows
            ]
        )

    def level_stations(self, axis: int, value: float) -> list[float]:
        """The stations (mm), rising, at which one coordinate has a value.

        Args:
            axis: which, 0 to 2.
            value: mm.
        """
        return self._crossings([(value - p[axis], d[axis], o[axis]) for p, d, o in self._rows])

    def _crossings(self, pieces: Sequence[tuple[float, float, float]]) -> list[float]:
        """Stations in a plane, rising.

        Args:
            pieces: of each the plane's height (mm) over where it starts or is bent about, and along
                the plane's normal its direction there and its way out.
        """
        found: list[float] = []
        for s0, q, (c, rise, aside) in zip(self._starts, self.pieces, pieces, strict=False):
            if isinstance(q, Line):
                if abs(rise) < NOISE:
                    continue
                s = c / rise
                if -KERNEL_POINT <= s <= q.length + KERNEL_POINT:
                    found.append(s0 + min(max(s, 0.0), q.length))
                continue
            a, b = q.radius * aside, q.radius * rise
            amp = hypot(a, b)
            if amp < NOISE or abs(c) > amp:
                continue
            mid, half = atan2(b, a), acos(min(max(c / amp, -1.0), 1.0))
            for t in (mid - half, mid + half):
                t = (t + ANGLE_ROUNDING) % (2 * pi) - ANGLE_ROUNDING
                if t <= q.angle + ANGLE_ROUNDING:
                    found.append(s0 + min(max(t, 0.0), q.angle) * q.radius)
        if len(found) < 2:
            return found
        out: list[float] = []
        for s in sorted(found):
            if not out or s - out[-1] > SAME_POINT:
                out.append(s)
        return out

    @cached_property
    def foremost(self) -> float:
        """How far ahead its ends and where its pieces meet reach, x mm."""
        return float(max(*[q.start[0] for q in self.pieces], self.end[0]))

    @cached_property
    def mids(self) -> tuple[Spot, ...]:
        """Every spot in the car's centre plane, in order from end a."""
        return tuple(map(self.spot, self.level_stations(1, 0.0)))

    def at_height(self, z: float) -> tuple[Spot, ...]:
        """Every spot at height ``z`` mm, in order from end a."""
        return tuple(map(self.spot, self.level_stations(2, z)))

    def reversed(self) -> CentreLine:
        """The same centre line walked from the other end."""
        return CentreLine(tuple(q.reversed() for q in reversed(self.pieces)))

    def mapped(self, rotation: ArrayLike, shift: ArrayLike = (0.0, 0.0, 0.0)) -> CentreLine:
        """Apply an orthogonal ``(3, 3)`` map (mirrors allowed), then a shift ``(3,)`` mm."""
        m, t = np.asarray(rotation, float), np.asarray(shift, float)
        return CentreLine(tuple(q.mapped(m, t) for q in self.pieces))

    def mirrored(self) -> CentreLine:
        """The centre line on the other side of the car's centre plane (Y to -Y)."""
        return self.mapped(np.diag([1.0, -1.0, 1.0]))

    def part(self, s0: float, s1: float) -> CentreLine:
        """The path between two stations, mm, ``s0 < s1``.

        Raises:
            GeometryError: nothing is left between the stations.
        """
        if s1 - s0 < SAME_POINT:
            raise GeometryError("path", f"nothing left between {s0:.1f} and {s1:.1f} mm.")
        pieces: list[PathPiece] = []
        for i, q in enumerate(self.pieces):
            lo = max(s0 - float(self.starts[i]), 0.0)
            hi = min(s1 - float(self.starts[i]), q.length)
            if hi - lo > KERNEL_POINT:
                whole = lo == 0.0 and hi == q.length
                pieces.append(q if whole else q.part(lo, hi))
        return CentreLine(tuple(pieces))

    def split(self, *stations: float) -> tuple[CentreLine, ...]:
        """Cut at the given stations, mm; returns one path more than stations."""
        cuts = [0.0, *sorted(stations), self.length]
        return tuple(self.part(a, b) for a, b in pairwise(cuts))

    def corners(self) -> Vec:
        """The polyline that the path was rounded from: ends and bend corners, ``(n, 3)`` mm."""
        out = [self.start]
        for q in self.pieces:
            if isinstance(q, Arc):
                tail = q.radius * tan(q.angle / 2)
                out.append(vec(q.start + tail * q.direction))
        return np.array([*out, self.end])

    @cached_property
    def box(self) -> tuple[Vec, Vec]:
        """Low and high corner of a box that holds the centre line, ``(3,)`` mm each."""
        held = [self.start, self.end]
        for q in self.pieces:
            held.append(q.start)
            if isinstance(q, Arc):
                # a bend lies within its ends and the corner of its tangents, a wide one in its ring
                if q.angle < pi / 2:
                    held.append(vec(q.start + q.radius * tan(q.angle / 2) * q.direction))
                else:
                    held += [vec(q.centre - q.radius), vec(q.centre + q.radius)]
        points = np.array(held)
        return points.min(axis=0), points.max(axis=0)

    def reference_lines(self, zero: ArrayLike | None = None) -> Vec:
        """Carry one reference line along the tube, ``(n_pieces + 1, 3)`` unit vectors.

        Row i is the direction from the centre line to the reference line at the start of piece
        i, the last row that at end b: constant on a straight, turned with the tube on a bend.
        Without ``zero`` the line starts on the outside of the first bend, or for a straight tube
        on the side nearest to up (forward for an upright tube).
        """
        if zero is None:
            return self._lines
        x = np.asarray(zero, float)
        return self._carried(x - (x @ self.pieces[0].direction) * self.pieces[0].direction)

    @cached_property
    def _lines(self) -> Vec:
        """The lines that start where nobody says where, for all who ask."""
        bends = self.bends
        lines = self._carried(bends[0].radial if bends else perpendicular(self.pieces[0].direction))
        lines.setflags(write=False)
        return lines

    def _carried(self, across: Vec) -> Vec:
        """Lines that start in a direction square to the first piece."""
        rows = [last := unit(across)]
        for q in self.pieces:
            last = unit(rotate(last, q.axis, q.angle)) if isinstance(q, Arc) else last
            rows.append(last)
        return np.array(rows)


def _merge(pieces: list[PathPiece]) -> list[PathPiece]:
    """Join straights that follow each other in line."""
    out: list[PathPiece] = []
    for q in pieces:
        last = out[-1] if out else None
        if isinstance(q, Line) and isinstance(last, Line):
            out[-1] = Line(last.start, q.end)
        else:
            out.append(q)
    return out
