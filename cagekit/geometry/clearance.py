"""Clearances between tubes, and between tubes and points.

A tube is its centre line with a radius all along it, its ends therefore balls; a gap is the
smallest distance between surfaces (negative where they overlap), right to 0.01 mm. Bends are cut
into chords for a first pass over all pairs at once, and the chords that can hold the smallest gap
are cut finer until their sagitta does not matter. Frame: car axes, mm.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from math import acos, inf
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike, NDArray

from cagekit.errors import GeometryError
from cagekit.geometry.arrays import Array, Ints, Points, dot_columns
from cagekit.geometry.centre_line import Arc, CentreLine, Vec, vec
from cagekit.units.tolerance import MICRON, NEVER_ZERO, NOISE, ROUNDING, SAME_POINT

_PAIRS = 8192
"""Points beside pieces looked at in one pass: their arrays stay in the processor's cache."""
_SAGITTA = 0.5
"""Largest distance (mm) between bend and chord in the first pass."""
_SPLIT = 8
"""Parts that a chord is cut into in each later pass; two passes bring the sagitta to 1/4096."""


class Rod(Struct, frozen=True, eq=False):
    """A tube for clearance: centre line, outside radius, and the stretch of it that exists.

    Args:
        path: centre line.
        radius: outside radius, mm.
        low: station at which it starts, mm (a coped end starts ``shortest`` inside its path).
        high: station at which it ends, mm; the end of the path by default.
    """

    path: CentreLine
    radius: float
    low: float = 0.0
    high: float = inf


class Gap(NamedTuple):
    """Smallest gap between two bodies.

    Attributes:
        gap: distance of the surfaces, mm; negative when they overlap.
        station_a: where on the first body's centre line, mm from its end a.
        station_b: where on the second's, mm.
        point_a: that place on the first centre line, ``(3,)`` mm.
        point_b: the same on the second.
    """

    gap: float
    station_a: float
    station_b: float
    point_a: Vec
    point_b: Vec


class PairGap(NamedTuple):
    """A gap and the two bodies' positions in the list given."""

    a: int
    b: int
    found: Gap


def gap(path_a: CentreLine, radius_a: float, path_b: CentreLine, radius_b: float) -> Gap:
    """Smallest gap between two tubes.

    Args:
        path_a: centre line of the first.
        radius_a: its outside radius, mm.
        path_b: centre line of the second.
        radius_b: its outside radius, mm.
    """
    (pair,) = closest_pairs([Rod(path_a, radius_a), Rod(path_b, radius_b)])
    return pair.found


def point_gap(point: ArrayLike, path: CentreLine, radius: float = 0.0) -> Gap:
    """Smallest gap between a point ``(3,)`` mm and a tube; the point is the first body.

    Args:
        point: ``(3,)`` mm.
        path: centre line of the tube.
        radius: of the tube around it, mm.
    """
    p = vec(point)
    spot = path.nearest(p)
    away = float(np.linalg.norm(p - spot.point))
    return Gap(away - radius, 0.0, spot.station, p, spot.point)


def points_gap(points: ArrayLike, path: CentreLine, radius: float = 0.0) -> tuple[Vec, Vec]:
    """Gaps between points ``(n, 3)`` and a tube, and the stations nearest to them, ``(n,)`` mm.

    Args:
        points: ``(n, 3)`` mm.
        path: centre line of the tube.
        radius: of the tube around it, mm.
    """
    p = np.atleast_2d(np.asarray(points, float))
    away, station = Lines.of([path]).nearest(np.zeros(len(p), np.intp), p)
    return away - radius, station


def segment_gap(
    start: ArrayLike, end: ArrayLike, path: CentreLine, radius: float = 0.0, thickness: float = 0.0
) -> Gap:
    """Smallest gap between a straight segment (with a radius ``thickness``) and a tube, mm.

    Args:
        start: of the segment, ``(3,)`` mm.
        end: of the segment, ``(3,)`` mm.
        path: centre line of the tube.
        radius: of the tube around it, mm.
        thickness: radius of the rod around the segment, mm.
    """
    a, b = vec(start), vec(end)
    if float(np.linalg.norm(b - a)) < SAME_POINT:
        found = point_gap(a, path, radius)
        return found._replace(gap=found.gap - thickness)
    return gap(CentreLine.straight(a, b), thickness, path, radius)


def closest_pairs(
    bars: Sequence[Rod],
    *,
    limit: float = inf,
    skip: Collection[tuple[int, int]] = (),
) -> list[PairGap]:
    """Smallest gap of every pair of tubes, all pairs at once.

    Args:
        bars: the tubes.
        limit: leave out pairs whose gap is larger than this, mm.
        skip: pairs of positions that are not asked for, in either order (tubes that are joined).

    Returns:
        One entry per pair, by position in the list.
    """
    if len(bars) < 2:
        return []
    table = _Chords.of(bars)
    stretch = _first_pass(table, len(bars), limit, skip)
    if not len(stretch.pair):
        return []
    for _ in range(2):
        stretch = _finer(table, stretch, len(bars) ** 2)
    return _report(table, stretch, bars, limit)


def near_pairs(bars: Sequence[Rod], limit: float) -> list[tuple[int, int]]:
    """Positions of the pairs of tubes whose gap may be as small as ``limit``, mm.

    None of those is left out; that of others is larger by twice the sagitta of a chord at most.

    Args:
        bars: the tubes.
        limit: mm.
    """
    if len(bars) < 2:
        return []  # a check goes on without what cannot be made, and that may be all
    found = _first_pass(_Chords.of(bars), len(bars), limit, ()).pair
    # not np.unique: without an index asked for it loads masked arrays, 10 ms of a check
    return [divmod(pair, len(bars)) for pair in sorted(set(found.tolist()))]


# --- tables of chords ----------------------------------------------------------------------


class _Chords(NamedTuple):
    """Every chord of every tube; one row per chord, pieces in their own table."""

    p: Vec
    q: Vec
    radius: Vec
    sagitta: Vec
    bar: Ints
    piece: Ints
    low: Vec
    high: Vec
    pieces: _Pieces

    @classmethod
    def of(cls, bars: Sequence[Rod]) -> _Chords:
        pieces = _Pieces.of(bars)
        count = np.where(
            pieces.curved, np.ceil((pieces.high - pieces.low) / pieces.step - ROUNDING), 1.0
        ).astype(np.intp)
        count = np.maximum(count, 1)
        piece = np.repeat(np.arange(len(count)), count)
        k = np.arange(len(piece)) - np.repeat(np.cumsum(count) - count, count)
        width = ((pieces.high - pieces.low) / count)[piece]
        low = pieces.low[piece] + k * width
        high = low + width
        sagitta = np.where(pieces.curved[piece], width**2 / (8.0 * pieces.bend[piece]) * 1.001, 0.0)
        return cls(
            pieces.at(piece, low), pieces.at(piece, high), pieces.radius[piece], sagitta,
            pieces.bar[piece], piece, low, high, pieces,
        )  # fmt: skip


class _Pieces(NamedTuple):
    """Every straight and bend: where it is, local stations that exist, and its tube."""

    origin: Vec
    x: Vec
    y: Vec
    bend: Vec
    curved: NDArray[np.bool_]
    low: Vec
    high: Vec
    start: Vec
    step: Vec
    radius: Vec
    bar: Ints

    @classmethod
    def of(cls, bars: Sequence[Rod]) -> _Pieces:
        rows = []
        for k, b in enumerate(bars):
            kept = 0
            for i, q in enumerate(b.path.pieces):
                start = float(b.path.starts[i])
                low, high = max(b.low - start, 0.0), min(b.high - start, q.length)
                if high - low < ROUNDING:
                    continue
                kept += 1
                if isinstance(q, Arc):
                    r = q.radius
                    step = 2.0 * r * acos(max(1.0 - _SAGITTA / r, 0.0))
                    rows.append(
                        (q.centre, q.radial, q.direction, r, True, low, high, start, step, k)
                    )
                else:
                    d = q.direction
                    rows.append((q.start, d, d, 1.0, False, low, high, start, inf, k))
            if not kept:
                raise GeometryError(f"tube {k + 1}", "nothing is left of it between its cuts.")
        columns = list(zip(*rows, strict=True))
        origin, x, y = (np.array(c) for c in columns[:3])
        bar = np.array(columns[9], dtype=np.intp)
        radius = np.array([b.radius for b in bars])[bar]
        bend, curved, low_, high_, start_, step_ = (np.array(c) for c in columns[3:9])
        return cls(origin, x, y, bend, curved, low_, high_, start_, step_, radius, bar)

    def at(self, piece: Ints, s: Vec) -> Vec:
        """Points of pieces ``(n,)`` at local stations ``(n,)`` or ``(n, m)``."""
        more = (None,) * (s.ndim - 1)
        bend = self.bend[(piece, *more)]
        curved = self.curved[(piece, *more)]
        turn = s / bend
        along_x = np.where(curved, bend * np.cos(turn), s)
        along_y = np.where(curved, bend * np.sin(turn), 0.0)
        origin, x, y = (a[(piece, *more)] for a in (self.origin, self.x, self.y))
        return np.asarray(origin + along_x[..., None] * x + along_y[..., None] * y)


class Lines(NamedTuple):
    """Whole centre lines for many points at once, each beside a line of its own.

    ``first`` piece of each line and how ``many`` it has, ``(n,)``.

    What a point gets is the same to the last bit whatever points and lines stand beside it.
    """

    pieces: _Pieces
    first: Ints
    many: Ints

    @classmethod
    def of(cls, paths: Sequence[CentreLine]) -> Lines:
        """The table of these lines."""
        pieces = _Pieces.of([Rod(path, 0.0) for path in paths])
        count = np.bincount(pieces.bar, minlength=len(paths))
        return cls(pieces, np.cumsum(count) - count, count)

    def nearest(self, line: Ints, points: Points) -> tuple[Vec, Vec]:
        """Distances of points from their lines, and the stations nearest to them, ``(n,)`` mm.

        Args:
            line: number of each point's line, ``(n,)``.
            points: ``(n, 3)`` mm.
        """
        past = np.cumsum(self.many[line])
        if len(past) and past[-1] <= _PAIRS:
            return self._nearest(line, points)
        lots = np.searchsorted(past, np.arange(_PAIRS, int(past[-1]) if len(past) else 0, _PAIRS))
        parts = np.split(np.arange(len(points)), lots)
        found = [self._nearest(line[rows], points[rows]) for rows in parts if len(rows)]
        if not found:
            return np.empty(0), np.empty(0)
        away, station = zip(*found, strict=True)
        return np.concatenate(away), np.concatenate(station)

    def _nearest(self, line: Ints, points: Points) -> tuple[Vec, Vec]:
        """The same; every point beside every piece of its line, in one pass."""
        count = self.many[line]
        if (count == 1).all():
            piece = self.first[line]
            local, away = self._beside(piece, points.T - _picked(self.pieces.origin, piece))
            return away, local + self.pieces.start[piece]
        past = np.cumsum(count)
        begin = past - count
        point = np.repeat(np.arange(len(points)), count)
        piece = np.arange(len(point)) + np.repeat(self.first[line] - begin, count)
        w = _picked(points, point) - _picked(self.pieces.origin, piece)
        local, away = self._beside(piece, w)
        # where two are as near the piece that comes first
        least = np.minimum.reduceat(away, begin)
        first = np.where(away <= least[point] + NOISE, np.arange(len(point)), len(point))
        best = np.minimum.reduceat(first, begin)
        return away[best], local[best] + self.pieces.start[piece[best]]

    def _beside(self, piece: Ints, w: Array) -> tuple[Vec, Vec]:
        """Local stations and distances of points ``w`` ``(3, n)`` from the origins of pieces."""
        curved = self.pieces.curved[piece]
        if not curved.any():
            return self._beside_straight(piece, w)
        local, away = np.empty(len(piece)), np.empty(len(piece))
        for some, of in ((~curved, self._beside_straight), (curved, self._beside_bend)):
            rows = np.flatnonzero(some)
            local[rows], away[rows] = of(piece[rows], w.take(rows, axis=1))
        return local, away

    def _beside_straight(self, piece: Ints, w: Array) -> tuple[Vec, Vec]:
        """The same where all of them are straights."""
        x = _picked(self.pieces.x, piece)
        local = np.clip(dot_columns(w, x), 0.0, self.pieces.high[piece])
        beside = w - local * x
        return local, np.sqrt(dot_columns(beside, beside))

    def _beside_bend(self, piece: Ints, w: Array) -> tuple[Vec, Vec]:
        """The same where all of them are bends: from their centres."""
        x, y = _picked(self.pieces.x, piece), _picked(self.pieces.y, piece)
        bend, high = self.pieces.bend[piece], self.pieces.high[piece]
        half = 0.5 * high / bend
        turn = np.arctan2(dot_columns(w, y), dot_columns(w, x)) - half
        ahead = turn + np.pi  # a remainder would take five times as long
        turn = np.where(ahead < 0.0, ahead + 2 * np.pi, ahead) - np.pi + half
        local = np.clip(turn * bend, 0.0, high)
        turn = local / bend
        beside = w - bend * (np.cos(turn) * x + np.sin(turn) * y)
        return local, np.sqrt(dot_columns(beside, beside))

    def spots(self, line: Ints, station: Vec) -> tuple[Points, Points]:
        """Points of lines and unit tangents there, ``(n, 3)``, at stations ``(n,)`` mm."""
        piece = self.first[line]
        rows = np.flatnonzero(self.many[line] > 1)
        first, many, there = piece[rows], self.many[line[rows]], station[rows]
        for k in range(1, int(many.max(initial=0))):
            next_ = np.minimum(first + k, len(self.pieces.start) - 1)
            beyond = (many > k) & (there >= self.pieces.start[next_])
            piece[rows[beyond]] = next_[beyond]
        local = station - self.pieces.start[piece]
        along = _picked(self.pieces.x, piece)
        points = _picked(self.pieces.origin, piece)
        b = np.flatnonzero(self.pieces.curved[piece])
        shift = local * along
        if len(b):
            piece = piece[b]
            x, y, bend = along[:, b], _picked(self.pieces.y, piece), self.pieces.bend[piece]
            turn = local[b] / bend
            c, s = np.cos(turn), np.sin(turn)
            shift[:, b], along[:, b] = bend * (c * x + s * y), c * y - s * x
        points += shift
        return np.ascontiguousarray(points.T), np.ascontiguousarray(along.T)


def _picked(rows: Points, some: Ints) -> Array:
    """Some of rows ``(n, 3)``, which may come more than once, as columns ``(3, m)``."""
    return rows.T.take(some, axis=1)


class _Stretches(NamedTuple):
    """Pairs of chords that may hold the smallest gap of their pair of tubes."""

    pair: Ints
    piece_a: Ints
    piece_b: Ints
    range_a: Vec
    range_b: Vec
    reach: Vec
    u: Vec
    v: Vec
    slack: Vec


def _candidates(
    table: _Chords, n: int, limit: float, skip: Collection[tuple[int, int]]
) -> tuple[Ints, Ints]:
    """Pairs of chords of different tubes that can be nearer than ``limit``."""
    wanted = np.triu(np.ones((n, n), dtype=bool), 1)
    for a, b in skip:
        wanted[min(a, b), max(a, b)] = False
    middle = 0.5 * (table.p + table.q)
    half = 0.5 * np.linalg.norm(table.q - table.p, axis=1) + table.sagitta
    square = np.einsum("ij,ij->i", middle, middle)
    away = np.sqrt(np.maximum(square[:, None] + square - 2.0 * (middle @ middle.T), 0.0)) + MICRON
    # chords of a tube follow each other, so the nearest middles of two tubes are a block's least
    first = np.searchsorted(table.bar, np.arange(n))
    bound = np.minimum.reduceat(np.minimum.reduceat(away, first, axis=0), first, axis=1)
    radius = table.radius[first]
    bound = np.minimum(bound + 2.02 * _SAGITTA, limit + radius[:, None] + radius)
    bound[~wanted] = -inf
    i, j = np.nonzero(
        away - half[:, None] - half <= bound[np.ix_(table.bar, table.bar)] + 2 * MICRON
    )
    return i, j


def _first_pass(
    table: _Chords, n: int, limit: float, skip: Collection[tuple[int, int]]
) -> _Stretches:
    """Pairs of chords that can hold the smallest gap of their pair of tubes, and it the limit."""
    i, j = _candidates(table, n, limit, skip)
    apart, u, v = _segments_apart(table.p[i], table.q[i], table.p[j], table.q[j])
    reach = apart - table.radius[i] - table.radius[j]
    slack = table.sagitta[i] + table.sagitta[j]
    pair = table.bar[i] * n + table.bar[j]
    least = np.full(n**2, inf)
    np.minimum.at(least, pair, reach + slack)
    keep = (reach - slack <= least[pair] + ROUNDING) & (reach - slack <= limit)
    i, j = i[keep], j[keep]
    return _Stretches(
        pair[keep], table.piece[i], table.piece[j],
        np.stack([table.low[i], table.high[i]], axis=1),
        np.stack([table.low[j], table.high[j]], axis=1),
        reach[keep], u[keep], v[keep], slack[keep],
    )  # fmt: skip


def _segments_apart(p1: Vec, q1: Vec, p2: Vec, q2: Vec) -> tuple[Vec, Vec, Vec]:
    """Distances of segments ``(..., 3)`` and where: shares of the first and second, ``(...)``."""
    d1, d2, r = q1 - p1, q2 - p2, p1 - p2
    a = np.maximum(np.einsum("...i,...i", d1, d1), NEVER_ZERO)
    e = np.maximum(np.einsum("...i,...i", d2, d2), NEVER_ZERO)
    b = np.einsum("...i,...i", d1, d2)
    c = np.einsum("...i,...i", d1, r)
    f = np.einsum("...i,...i", d2, r)
    area = a * e - b * b
    skew = area > NOISE * a * e
    u = np.where(skew, (b * f - c * e) / np.where(skew, area, 1.0), 0.0)
    u = np.clip(u, 0.0, 1.0)
    v = (b * u + f) / e
    held = np.clip(v, 0.0, 1.0)
    u = np.where(v == held, u, np.clip((b * held - c) / a, 0.0, 1.0))
    away = r + u[..., None] * d1 - held[..., None] * d2
    return np.sqrt(np.einsum("...i,...i", away, away)), u, held


def _finer(table: _Chords, old: _Stretches, pairs: int) -> _Stretches:
    """Cut the chords of bends into parts and keep the parts that still matter."""
    bent = table.pieces.curved[old.piece_a] | table.pieces.curved[old.piece_b]
    if not bent.any():
        return old
    straight = _Stretches._make(column[~bent] for column in old)
    old = _Stretches._make(column[bent] for column in old)
    share = np.arange(_SPLIT + 1) / _SPLIT
    ends_a = old.range_a[:, :1] + np.diff(old.range_a, axis=1) * share
    ends_b = old.range_b[:, :1] + np.diff(old.range_b, axis=1) * share
    a, b = table.pieces.at(old.piece_a, ends_a), table.pieces.at(old.piece_b, ends_b)
    apart, u, v = _segments_apart(a[:, :-1, None], a[:, 1:, None], b[:, None, :-1], b[:, None, 1:])
    thick = table.pieces.radius[old.piece_a] + table.pieces.radius[old.piece_b]
    reach = apart - thick[:, None, None]
    slack = old.slack / _SPLIT**2
    least = np.full(pairs, inf)
    np.minimum.at(least, straight.pair, straight.reach)
    np.minimum.at(least, old.pair, reach.min(axis=(1, 2)) + slack)
    row, i, j = np.nonzero(
        reach - (slack + ROUNDING)[:, None, None] <= least[old.pair][:, None, None]
    )
    parts = _Stretches(
        old.pair[row], old.piece_a[row], old.piece_b[row],
        np.stack([ends_a[row, i], ends_a[row, i + 1]], axis=1),
        np.stack([ends_b[row, j], ends_b[row, j + 1]], axis=1),
        reach[row, i, j], u[row, i, j], v[row, i, j], slack[row],
    )  # fmt: skip
    return _Stretches._make(np.concatenate(both) for both in zip(straight, parts, strict=True))


def _report(table: _Chords, found: _Stretches, bars: Sequence[Rod], limit: float) -> list[PairGap]:
    order = np.lexsort((found.reach, found.pair))
    pair, first = np.unique(found.pair[order], return_index=True)
    best = order[first]
    local_a = found.range_a[best, 0] + found.u[best] * np.diff(found.range_a[best], axis=1)[:, 0]
    local_b = found.range_b[best, 0] + found.v[best] * np.diff(found.range_b[best], axis=1)[:, 0]
    piece_a, piece_b = found.piece_a[best], found.piece_b[best]
    point_a, point_b = table.pieces.at(piece_a, local_a), table.pieces.at(piece_b, local_b)
    thick = table.pieces.radius[piece_a] + table.pieces.radius[piece_b]
    gaps = np.linalg.norm(point_a - point_b, axis=1) - thick
    station_a = table.pieces.start[piece_a] + local_a
    station_b = table.pieces.start[piece_b] + local_b
    return [
        PairGap(
            int(pair[k]) // len(bars), int(pair[k]) % len(bars),
            Gap(float(gaps[k]), float(station_a[k]), float(station_b[k]), point_a[k], point_b[k]),
        )
        for k in range(len(pair))
        if gaps[k] <= limit
    ]  # fmt: skip


def bars_of(tubes: Iterable[tuple[CentreLine, float]]) -> list[Rod]:
    """Make bars of centre lines and outside radii."""
    return [Rod(path, radius) for path, radius in tubes]


__all__ = [
    "Gap", "Lines", "PairGap", "Rod", "bars_of", "closest_pairs", "gap", "near_pairs",
    "point_gap", "points_gap", "segment_gap",
]  # fmt: skip
