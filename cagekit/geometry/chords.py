"""Chords of centre lines: how far tubes are apart at least, many pairs of them in one pass."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from math import cos, hypot, inf, pi
from typing import NamedTuple

import numpy as np

from cagekit.geometry.arrays import Array, Bools, Ints
from cagekit.geometry.centre_line import Arc, CentreLine, Line, Vec
from cagekit.units.tolerance import ROUNDING

Numbers = tuple[float, float, float]


class Chord(NamedTuple):
    """A straight from ``start`` on by ``way``, mm, which its piece leaves by ``off`` at most."""

    start: Numbers
    way: Numbers
    off: float

    @classmethod
    def of(cls, piece: Line | Arc) -> Chord:
        """The chord of a piece."""
        if isinstance(piece, Line):
            (a, b, c), (u, v, w) = piece.start.tolist(), piece.direction.tolist()
            return cls((a, b, c), (u * piece.length, v * piece.length, w * piece.length), 0.0)
        rise = piece.radius * (1 - cos(piece.angle / 2)) if piece.angle < pi else 2 * piece.radius
        return cls.between(piece.start, piece.end)._replace(off=rise)

    @classmethod
    def between(cls, start: Vec, end: Vec) -> Chord:
        """The straight between two points, ``(3,)`` mm each."""
        (a, b, c), (x, y, z) = start.tolist(), end.tolist()
        return cls((a, b, c), (x - a, y - b, z - c), 0.0)

    def first(self, share: float) -> Chord:
        """This share of it, from its start."""
        u, v, w = self.way
        return Chord(self.start, (share * u, share * v, share * w), self.off)

    def turned(self) -> Chord:
        """The same from its other end."""
        (a, b, c), (u, v, w) = self.start, self.way
        return Chord((a + u, b + v, c + w), (-u, -v, -w), self.off)


@lru_cache(maxsize=2048)
def chords(path: CentreLine) -> tuple[Chord, ...]:
    """A chord for each piece of a path."""
    return tuple(map(Chord.of, path.pieces))


@lru_cache(maxsize=4096)
def chords_from(path: CentreLine, end: str, reach: float) -> Sequence[Chord]:
    """Chords of what a path has within reach of an end along it; of a bend, all of it.

    Args:
        path: the centre line.
        end: ``a`` or ``b``.
        reach: mm.
    """
    if len(path.pieces) == 1:
        (chord,), (only,) = chords(path), path.pieces
        chord = chord if end == "a" else chord.turned()
        long = isinstance(only, Line) and only.length > reach
        return [chord.first(reach / only.length) if long else chord]
    rows: Iterable[tuple[Chord, Line | Arc]] = zip(chords(path), path.pieces, strict=True)
    if end == "b":
        rows = ((c.turned(), q) for c, q in reversed(list(rows)))
    out = []
    for chord, piece in rows:
        long = isinstance(piece, Line) and piece.length > reach
        out.append(chord.first(reach / piece.length) if long else chord)
        reach -= piece.length
        if reach <= 0:
            break
    return out


class ChordRows(NamedTuple):
    """Chords of many stretches of tubes, one after the other.

    ``chords`` are columns ``(7, n)`` of start, way and off, mm; ``first`` and ``many``, ``(m,)``,
    tell where those of a stretch begin and how many it has, ``low`` and ``high`` ``(3, m)`` mm are
    the corners of a box round it.
    """

    chords: Array
    first: Ints
    many: Ints
    low: Array
    high: Array

    @classmethod
    def of(cls, stretches: Sequence[Sequence[Chord]]) -> ChordRows:
        """The chords of these, one stretch at least."""
        table = np.array([(*c.start, *c.way, c.off) for row in stretches for c in row]).T
        count = np.array([len(row) for row in stretches], dtype=np.intp)
        first = np.cumsum(count) - count
        start, end, off = table[0:3], table[0:3] + table[3:6], table[6]
        low, high = np.minimum(start, end) - off, np.maximum(start, end) + off
        return cls(
            np.ascontiguousarray(table), first, count,
            np.minimum.reduceat(low, first, axis=1), np.maximum.reduceat(high, first, axis=1),
        )  # fmt: skip


def apart(ours: ChordRows, theirs: ChordRows, pairs: tuple[Ints, Ints], by: Vec) -> Bools:
    """Whether no point of a stretch comes near any point of another, ``(n,)``; False where untold.

    What a pair gets hangs on it alone.

    Args:
        ours: chords of some stretches.
        theirs: of others.
        pairs: numbers of the one and of the other, ``(n,)`` each.
        by: how near counts, ``(n,)`` mm.
    """
    i, j = pairs
    before, behind = ours.low[:, i] - theirs.high[:, j], theirs.low[:, j] - ours.high[:, i]
    far = np.asarray((np.maximum(before, behind) > by).any(axis=0))
    left = np.flatnonzero(~far)
    if not len(left):
        return far
    i, j = i[left], j[left]
    wide = theirs.many[j]
    many = ours.many[i] * wide
    pair, begin = np.repeat(np.arange(len(left)), many), np.cumsum(many) - many
    number = np.arange(len(pair)) - begin[pair]
    one = ours.chords[:, ours.first[i[pair]] + number // wide[pair]]
    other = theirs.chords[:, theirs.first[j[pair]] + number % wide[pair]]
    near = by[left][pair] + one[6] + other[6]
    clear = square_gap(one[:6], other[:6]) > near * near
    far[left] = np.logical_and.reduceat(clear, begin)
    return far


def segment_gap(one: Chord, other: Chord) -> float:
    """Distance of two chords, mm, as :func:`square_gap` has it; infinite of two side by side.

    In plain numbers: numpy takes ten times as long to begin.
    """
    ((a, b, c), (u, v, w), _), ((d, e, f), (x, y, z), _) = one, other
    g, h, i = a - d, b - e, c - f
    uu, xx, ux = u * u + v * v + w * w, x * x + y * y + z * z, u * x + v * y + w * z
    ug, xg = u * g + v * h + w * i, x * g + y * h + z * i
    across = uu * xx - ux * ux
    if across <= ROUNDING * uu * xx:
        return inf
    s = min(max((ux * xg - ug * xx) / across, 0.0), 1.0)
    t = (ux * s + xg) / xx
    held = min(max(t, 0.0), 1.0)
    if held != t:
        s = min(max((ux * held - ug) / uu, 0.0), 1.0)
    return hypot(g + s * u - held * x, h + s * v - held * y, i + s * w - held * z)


def square_gap(one: Array, other: Array) -> Vec:
    """Squares of the distances of segments, ``(n,)`` mm2; nan where two are side by side.

    Source: closed form of two lines, held to both lengths one after the other.

    Args:
        one: start and way of segments in columns, ``(6, n)`` mm.
        other: of others, likewise, or of one for all, ``(6, 1)``.
    """
    a, b, c, u, v, w = one
    d, e, f, x, y, z = other
    g, h, i = a - d, b - e, c - f
    uu, xx, ux = u * u + v * v + w * w, x * x + y * y + z * z, u * x + v * y + w * z
    ug, xg = u * g + v * h + w * i, x * g + y * h + z * i
    across = uu * xx - ux * ux
    with np.errstate(divide="ignore", invalid="ignore"):
        s = np.clip((ux * xg - ug * xx) / across, 0.0, 1.0)
        t = (ux * s + xg) / xx
        held = np.clip(t, 0.0, 1.0)
        s = np.where(t == held, s, np.clip((ux * held - ug) / uu, 0.0, 1.0))
    g, h, i = g + s * u - held * x, h + s * v - held * y, i + s * w - held * z
    # side by side, or of no length: that is not told here
    return np.where(across <= ROUNDING * uu * xx, np.nan, g * g + h * h + i * i)
