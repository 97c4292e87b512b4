"""What tubes hide from a pair of eyes.

A tube is the union of balls along its centre line; seen from an eye each ball hides a round cap
of the view, and a level (or upright) line of sight crosses that cap between two angles in closed
form. The union over a close row of balls is what the tube hides on that line.

Directions: azimuth rad from straight ahead, left positive; elevation rad from level, up positive.
Something far away lies in the same direction from both eyes; it is hidden when both eyes have it
hidden. That is the *binocular* obstruction that UN R125 measures at the windscreen pillars.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property
from itertools import pairwise
from math import ceil, pi

import numpy as np
from msgspec import Struct

from cagekit.cage.member import Member
from cagekit.geometry.arrays import Bools, Points, even
from cagekit.geometry.centre_line import Vec
from cagekit.units.tolerance import ANGLE_ROUNDING, MICRON, NOISE, SAME_POINT

Interval = tuple[float, float]
MOST = 2000
"""Balls along one stretch at most."""
SPACING = 4.0
"""Balls along a centre line, mm; a 38 mm tube's outline is then right to 0.1 mm."""
_NEAR = SAME_POINT
_FEW = 16
"""So many intervals are quicker merged one by one than as an array."""


def _count(length: float) -> int:
    """How many balls a stretch of ``length`` mm gets."""
    return min(max(ceil(length / SPACING), 1), MOST) + 1


class BallRow(Struct, frozen=True, eq=False):
    """A row of balls: centres ``(n, 3)`` mm, one radius (mm), and what it is called."""

    name: str
    points: Points
    radius: float

    @classmethod
    def of(cls, member: Member, padding: float = 0.0) -> BallRow:
        """The balls of a member, with its padding."""
        n = _count(member.path.length)
        points = member.path.points(even(member.path.length, n))
        return cls(member.id, points, member.tube.outer_radius + padding)

    @classmethod
    def along(cls, name: str, corners: Sequence[Sequence[float]], radius: float) -> BallRow:
        """The balls along a polyline through ``corners``, ``(n, 3)`` mm.

        Args:
            name: what it is called.
            corners: of the line.
            radius: of the balls, mm.
        """
        p = np.asarray(corners, dtype=float)
        parts = []
        for a, b in pairwise(p):
            n = _count(float(np.linalg.norm(b - a)))
            parts.append(a + np.multiply.outer(np.linspace(0.0, 1.0, n), b - a))
        return cls(name, np.concatenate(parts), radius)

    def only(self, those: Bools) -> BallRow:
        """Some of its balls, those marked ``(n,)``."""
        return BallRow(self.name, self.points[those], self.radius)

    def by_planes(self, eye: Vec, azimuths: Sequence[float]) -> BallRow:
        """The balls that may hide something in the half planes at ``azimuths`` from an eye."""
        # a row for each half plane, and in it all balls
        ahead, aside = np.cos(azimuths)[:, None], np.sin(azimuths)[:, None]
        x, y = self.points[:, 0] - eye[0], self.points[:, 1] - eye[1]
        near = np.abs(y * ahead - x * aside) <= self.radius + MICRON
        near &= x * ahead + y * aside >= -MICRON
        return self.only(near.any(axis=0))


class Caps(Struct, frozen=True, eq=False, dict=True):
    """A row of balls as one eye sees it: directions and half angles, ``(n,)`` rad."""

    name: str
    azimuth: Vec
    elevation: Vec
    half: Vec

    @classmethod
    def seen(cls, row: BallRow, eye: Vec) -> Caps:
        """Look at ``row`` from ``eye``, ``(3,)``; a ball around the eye hides everything."""
        d = row.points - eye
        size = np.linalg.norm(d, axis=1)
        sine = np.minimum(row.radius / np.maximum(size, _NEAR), 1.0)
        half = np.where(size > row.radius, np.arcsin(sine), pi)
        azimuth = np.arctan2(d[:, 1], d[:, 0])
        elevation = np.arcsin(np.clip(d[:, 2] / np.maximum(size, _NEAR), -1.0, 1.0))
        return cls(row.name, azimuth, elevation, half)

    @cached_property
    def _level(self) -> Vec:
        return np.asarray(np.cos(self.elevation))

    @cached_property
    def _up(self) -> Vec:
        return np.asarray(np.sin(self.elevation))

    @cached_property
    def _edge(self) -> Vec:
        return np.asarray(np.cos(self.half))

    def across(self, elevation: float) -> list[Interval]:
        """Azimuths hidden on the cone at ``elevation``, as intervals in -pi to pi."""
        spread = np.cos(elevation) * self._level
        rest = self._edge - np.sin(elevation) * self._up
        met = rest <= spread
        share = np.clip(rest[met] / np.maximum(spread[met], NOISE), -1.0, 1.0)
        width = np.arccos(share)
        centre = self.azimuth[met]
        return _wrapped(centre - width, centre + width)

    def upright(self, azimuths: Sequence[float]) -> list[list[Interval]]:
        """Elevations hidden in the half plane at each of the ``azimuths``, as intervals."""
        at = np.array(azimuths)[:, None]
        # a ball a right angle or more aside is in none of the half planes
        side = np.abs(self.azimuth) < pi / 2 + np.abs(at).max(initial=0.0) + ANGLE_ROUNDING
        turn = self.azimuth[side] - at
        up, edge = np.sin(self.elevation[side]), np.cos(self.half[side])
        ahead = np.cos(self.elevation[side]) * np.cos(turn)
        size = np.hypot(ahead, up)
        met = (edge <= size) & (np.abs((turn + pi) % (2 * pi) - pi) < pi / 2)
        plane, ball = np.nonzero(met)
        width = np.arccos(np.clip(edge[ball] / size[met], -1.0, 1.0))
        centre = np.arctan2(up[ball], ahead[met])
        spans = np.column_stack([centre - width, centre + width])
        parts = np.split(spans, np.searchsorted(plane, np.arange(1, len(at))))
        return [merged(part) if len(part) else [] for part in parts]


def _wrapped(low: Vec, high: Vec) -> list[Interval]:
    """Merge azimuth intervals, cut at straight behind."""
    if (high - low >= 2 * pi).any():
        return [(-pi, pi)]
    if not ((low < -pi) | (high > pi)).any():
        return merged(np.column_stack([low, high]))
    rows: list[Interval] = []
    for a, b in zip(low, high, strict=True):
        if a < -pi:
            rows += [(float(a) + 2 * pi, pi), (-pi, float(b))]
        elif b > pi:
            rows += [(float(a), pi), (-pi, float(b) - 2 * pi)]
        else:
            rows.append((float(a), float(b)))
    return merged(rows)


def merged(rows: Iterable[Sequence[float]] | Vec) -> list[Interval]:
    """Union of intervals, in order."""
    if not isinstance(rows, np.ndarray):
        rows = sorted((float(a), float(b)) for a, b in rows)
        if len(rows) <= _FEW:
            return _merged(rows)
    table = np.asarray(rows, dtype=float).reshape(-1, 2)
    if not len(table):
        return []
    table = table[np.argsort(table[:, 0], kind="stable")]
    reach = np.maximum.accumulate(table[:, 1])
    first = np.concatenate([[True], table[1:, 0] > reach[:-1]])
    starts = np.nonzero(first)[0]
    ends = np.concatenate([starts[1:] - 1, [len(table) - 1]])
    return [(float(table[i, 0]), float(reach[j])) for i, j in zip(starts, ends, strict=True)]


def _merged(rows: Sequence[Interval]) -> list[Interval]:
    """The same of few that are in order, one by one."""
    out: list[Interval] = []
    for a, b in rows:
        if out and a <= out[-1][1]:
            out[-1] = out[-1][0], max(out[-1][1], b)
        else:
            out.append((a, b))
    return out


def both(a: Sequence[Interval], b: Sequence[Interval]) -> list[Interval]:
    """Intersection of two unions of intervals."""
    out = [(max(p, r), min(q, s)) for p, q in a for r, s in b if min(q, s) > max(p, r)]
    return merged(out)


def extent(rows: Sequence[Interval]) -> float:
    """Total length of disjoint intervals."""
    return float(sum(b - a for a, b in rows))


def within(rows: Sequence[Interval], low: float, high: float) -> list[Interval]:
    """Cut a union of intervals to a window.

    Args:
        rows: intervals in order.
        low: lower end of the window.
        high: upper end.
    """
    return both(rows, [(low, high)])


class Eyes:
    """Two eyes that look at rows of balls."""

    def __init__(self, left: Vec, right: Vec) -> None:
        self.places = (left, right)
        self._seen: dict[int, tuple[BallRow, tuple[Caps, Caps]]] = {}
        self._across: dict[tuple[int, int, float], list[Interval]] = {}

    def seen(self, row: BallRow) -> tuple[Caps, Caps]:
        """The row as each eye sees it."""
        key = id(row)
        if key not in self._seen:
            left, right = self.places
            self._seen[key] = (row, (Caps.seen(row, left), Caps.seen(row, right)))
        return self._seen[key][1]

    def hidden_across(self, rows: Sequence[BallRow], elevation: float) -> list[Interval]:
        """Azimuths that both eyes have hidden at ``elevation`` by all ``rows`` together."""
        left, right = (
            merged([i for r in rows for i in self._hidden(r, k, elevation)]) for k in (0, 1)
        )
        return both(left, right)

    def _hidden(self, row: BallRow, eye: int, elevation: float) -> list[Interval]:
        """Azimuths that one eye has hidden by a row of balls, looked for once."""
        caps = self.seen(row)[eye]
        key = (id(row), eye, elevation)
        if key not in self._across:
            self._across[key] = caps.across(elevation)
        return self._across[key]

    def hidden_upright(self, row: BallRow, azimuths: Sequence[float]) -> list[list[Interval]]:
        """Elevations that both eyes have hidden at each of the ``azimuths`` by a row of balls."""
        near = [row.by_planes(place, azimuths) for place in self.places]
        if not all(len(one.points) for one in near):
            return [[] for _ in azimuths]
        seen = (Caps.seen(one, place) for one, place in zip(near, self.places, strict=True))
        left, right = (caps.upright(azimuths) for caps in seen)
        return [both(a, b) if a and b else [] for a, b in zip(left, right, strict=True)]
