"""Chords of centre lines: how far two tubes are apart at least, in plain numbers.

For one question at a time, where numpy takes ten times as long to begin.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from math import cos, nan, pi
from typing import NamedTuple

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


class ChordBox(NamedTuple):
    """Low and high corner of a box that holds pieces, mm."""

    low: Numbers
    high: Numbers

    @classmethod
    def of(cls, rows: Iterable[Chord]) -> ChordBox:
        """The box of the pieces of these chords."""
        lows, highs = [], []
        for (x, y, z), (u, v, w), off in rows:
            lows.append((min(x, x + u) - off, min(y, y + v) - off, min(z, z + w) - off))
            highs.append((max(x, x + u) + off, max(y, y + v) + off, max(z, z + w) + off))
        if len(lows) == 1:
            return cls(lows[0], highs[0])
        (a, b, c), (d, e, f) = map(min, zip(*lows, strict=True)), map(max, zip(*highs, strict=True))
        return cls((a, b, c), (d, e, f))

    def beyond(self, other: ChordBox, by: float) -> bool:
        """Whether it is further than this (mm) from another along one axis."""
        (a, b, c), (d, e, f) = self
        (g, h, i), (j, k, m) = other
        return a - j > by or g - d > by or b - k > by or h - e > by or c - m > by or i - f > by


@lru_cache(maxsize=2048)
def chords(path: CentreLine) -> tuple[Chord, ...]:
    """A chord for each piece of a path."""
    return tuple(map(Chord.of, path.pieces))


@lru_cache(maxsize=2048)
def box(path: CentreLine) -> ChordBox:
    """A box that holds a path."""
    return ChordBox.of(chords(path))


@lru_cache(maxsize=4096)
def chords_from(path: CentreLine, end: str, reach: float) -> tuple[Sequence[Chord], ChordBox]:
    """Chords of what a path has within reach of an end along it, and a box; of a bend, all of it.

    Args:
        path: the centre line.
        end: ``a`` or ``b``.
        reach: mm.
    """
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
    return out, ChordBox.of(out)


def apart(ours: Sequence[Chord], theirs: Sequence[Chord], by: float) -> bool:
    """Whether no point of some pieces comes near any point of others; False where untold.

    Args:
        ours: chords of some pieces.
        theirs: of others.
        by: how near counts, mm.
    """
    for a in ours:
        for b in theirs:
            if not square_gap(a, b) > (by + a.off + b.off) ** 2:
                return False
    return True


def square_gap(one: Chord, other: Chord) -> float:
    """Square of the distance of two segments, mm2; nan where they are side by side.

    Source: closed form of two lines, held to both lengths one after the other.
    """
    (a, b, c), (u, v, w), _ = one
    (d, e, f), (x, y, z), _ = other
    g, h, i = a - d, b - e, c - f
    uu, xx, ux = u * u + v * v + w * w, x * x + y * y + z * z, u * x + v * y + w * z
    ug, xg = u * g + v * h + w * i, x * g + y * h + z * i
    across = uu * xx - ux * ux
    if across <= ROUNDING * uu * xx:
        return nan  # side by side, or of no length: that is not told here
    s = min(max((ux * xg - ug * xx) / across, 0.0), 1.0)
    t = (ux * s + xg) / xx
    if not 0.0 <= t <= 1.0:
        t = min(max(t, 0.0), 1.0)
        s = min(max((ux * t - ug) / uu, 0.0), 1.0)
    g, h, i = g + s * u - t * x, h + s * v - t * y, i + s * w - t * z
    return g * g + h * h + i * i
