"""Where rays leave bends, or pass them: all rays at all bends of many bundles in one array pass.

Products go by component, so that what a ray gets is the same to the last bit whatever stands
beside it. Frame: car axes, mm, rad.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from cagekit.geometry.arrays import Array, Ints, Vec, cross_columns, dot_columns
from cagekit.geometry.quartic import Quartic, Valleys
from cagekit.units.tolerance import LAST_STEP, NO_LENGTH

_STEPS = 20
"""Most steps to where a ray passes a bend."""
_BESIDE = 1.05
"""So many outside radii beyond its ring a bend is out of every ray's way."""


class Toruses(NamedTuple):
    """Bends as columns, one for each of n rays or of n bundles.

    ``centre``, unit ``axis``, unit vectors ``x`` to the start and ``y`` along the tangent there
    are ``(3, n)``; the radii ``major`` of centre line and ``radius`` of the outside, mm, and the
    ``angle`` are ``(n,)``.
    """

    centre: Array
    axis: Array
    x: Array
    y: Array
    major: Vec
    radius: Vec
    angle: Vec

    @classmethod
    def of(cls, table: Array) -> Toruses:
        """From the columns ``(15, n)`` one below the other."""
        return cls(table[0:3], table[3:6], table[6:9], table[9:12], *table[12:15])

    def pick(self, columns: Ints) -> Toruses:
        """Some of them, which may come more than once."""
        return Toruses(*(c.take(columns, axis=-1) for c in self))

    def turn(self, points: Array) -> Vec:
        """Angles (rad from the bend's start, nearest turn) of points ``(3, n)``, one each."""
        w = points - self.centre
        half = 0.5 * self.angle
        raw = np.arctan2(dot_columns(w, self.y), dot_columns(w, self.x)) - half
        ahead = raw + np.pi  # a remainder would take five times as long
        return np.where(ahead < 0.0, ahead + 2 * np.pi, ahead) - np.pi + half

    def overshoot(self, points: Array) -> Vec:
        """How far points ``(3, n)`` lie beyond the bends' ends, mm along the centre line."""
        t = self.turn(points)
        return np.asarray(np.maximum(np.maximum(-t, t - self.angle), 0.0) * self.major)

    def above(self, points: Array) -> Vec:
        """Distances (mm) of points ``(3, n)`` from the whole torus' outside, negative inside."""
        w = points - self.centre
        h = dot_columns(w, self.axis)
        flat = w - h * self.axis
        ring = np.sqrt(dot_columns(flat, flat)) - self.major
        return np.asarray(np.sqrt(ring * ring + h * h) - self.radius)

    def passing(self, origins: Array, direction: Array, s: Vec) -> Vec:
        """Where rays come closest to the centre lines, from guesses ``s`` nearby, ``(n,)`` mm.

        There the shortest line between ray and centre line is square to both, so that a cope
        goes on beside a bend as it does beside a straight. A centre line counts as a whole circle.

        Args:
            origins: points of the rays at s = 0, ``(3, n)`` mm.
            direction: unit directions, ``(3, n)``.
            s: guesses, mm.
        """
        s, going, bend = s.copy(), np.arange(len(s)), self
        for _ in range(_STEPS):
            if not len(going):
                break
            here = s[going]
            w = origins + here * direction - bend.centre
            flat = w - dot_columns(w, bend.axis) * bend.axis
            ring = np.maximum(np.sqrt(dot_columns(flat, flat)), NO_LENGTH)
            out = flat / ring
            # along the centre line goes axis x out
            lean = dot_columns(cross_columns(bend.axis, out), direction)
            share = np.maximum(1.0 - bend.major / ring * lean * lean, 0.1)
            step = dot_columns(w - bend.major * out, direction) / share
            s[going] = here - np.clip(step, -bend.radius, bend.radius)
            more = np.flatnonzero(np.abs(step) >= LAST_STEP)
            if len(more) < len(going):
                going, bend = going[more], bend.pick(more)
                origins, direction = (t.take(more, axis=1) for t in (origins, direction))
        return s


class Met(NamedTuple):
    """What rays do at bends, ``(n,)`` each: see ``Solution`` in ``contact.py``."""

    s: Vec
    gap: Vec
    over: Vec

    def begin(self, found: Sequence[tuple[Ints, Vec, Vec]]) -> list[tuple[Ints, Vec, Vec]]:
        """Write in depths and gaps of rays of which nothing is known; returned are further ones.

        Args:
            found: numbers of rays, ``(m,)``, each once, depths and gaps, ``(m,)`` mm.
        """
        more = []
        for rows, s, gap in found:
            new = np.isinf(self.gap[rows])
            if not new.all():
                again = ~new
                more.append((rows[again], s[again], gap[again]))
                rows, s, gap = rows[new], s[new], gap[new]
            self.s[rows], self.gap[rows] = s, gap
        return more

    def put(self, rows: Ints, s: Vec, gap: Vec, over: Vec, *, touch: float, beyond: float) -> None:
        """Write in what was found of some rays where it is better than what stands there.

        Better is a true contact, the farther one of two, else the nearer miss.

        Args:
            rows: numbers of the rays, ``(m,)``, each once.
            s: depths, ``(m,)`` mm.
            gap: by how much the rays pass, ``(m,)`` mm.
            over: how far past the bends' ends, ``(m,)`` mm.
            touch: a ray that passes by less than this is tangent, mm.
            beyond: so far past the bend's ends a contact counts, mm.
        """
        old_s, old_gap, old_over = self.s[rows], self.gap[rows], self.over[rows]
        was = (old_gap <= touch) & (old_over <= beyond)
        hit = (gap <= touch) & (over <= beyond)
        both = np.where(hit, s >= old_s, gap + over <= old_gap + old_over)
        better = np.flatnonzero((hit & ~was) | ((hit == was) & both))
        at = rows[better]
        self.s[at], self.gap[at], self.over[at] = s[better], gap[better], over[better]


class RaysAtBends(NamedTuple):
    """Rays, each with the bend that it is pushed back to.

    Attributes:
        bends: one for each bundle of rays.
        directions: of the bundles, ``(3, m)``.
        windows: of the bundles, depths ``(2, m)`` mm outside of which nothing is looked for.
        rays: how many each bundle has, ``(m,)``; none is empty.
        bundle: of each ray, ``(n,)``.
        origins: points of the rays at s = 0, ``(3, n)`` mm.
    """

    bends: Toruses
    directions: Array
    windows: Array
    rays: Ints
    bundle: Ints
    origins: Array

    def met(self, touch: float, beyond: float) -> Met:
        """Where each ray leaves its bend, or comes closest to it.

        Args:
            touch: a ray that passes by less than this is tangent, mm.
            beyond: so far past the bend's ends a contact counts, mm.
        """
        origins, bends, ways, count = self.origins, self.bends, self.directions, self.rays
        # what hangs on the bundle alone is worked out of it
        rise = dot_columns(ways, bends.axis)
        each = np.repeat(np.vstack([*bends, ways, rise]), count, axis=1)
        every, direction, rise = Toruses.of(each), each[15:18], each[18]
        middle = dot_columns(every.centre - origins, direction)
        low, high = (np.repeat(ends, count) for ends in self._window(middle))
        foot = middle * direction
        foot += origins
        foot -= every.centre
        h = dot_columns(foot, every.axis)
        foot -= h * every.axis
        quartic = Quartic.of(foot, h, rise, every.major, every.radius)
        valleys = quartic.valleys()
        end = 2.0 * (every.major + every.radius)
        found = self._through(quartic, valleys, low - middle, high - middle, middle, end)
        met = Met(*(np.full(len(middle), v) for v in (0.0, np.inf, np.inf)))
        twice = met.begin(found)
        over = every.overshoot(origins + met.s * direction)
        np.copyto(met.over, over, where=np.isfinite(met.gap))
        for rows, s, gap in twice:
            o, d, those = self._picked(rows)
            beside = those.overshoot(o + s * d)
            met.put(rows, s, gap, beside, touch=touch, beyond=beyond)
        none = np.flatnonzero(np.isinf(met.gap))
        if len(none):
            low, high = low[none], high[none]
            s = _lowest(quartic.pick(none), valleys, none, low - middle[none], high - middle[none])
            met.s[none] = s = s + middle[none]
            o, d, bends = self._picked(none)
            # a ray with neither exit nor dip leaves through the end of the window, not through
            # the surface: rank it behind whatever else there is
            met.gap[none] = np.maximum(bends.above(o + s * d), 0.0)
            met.over[none] = high - low
        return met

    def _picked(self, rows: Ints) -> tuple[Array, Array, Toruses]:
        """Origins, directions and bends of some rays."""
        of = self.bundle[rows]
        ways = self.directions.take(of, axis=1)
        return self.origins.take(rows, axis=1), ways, self.bends.pick(of)

    def _window(self, middle: Vec) -> tuple[Vec, Vec]:
        """Limit the search to where the rays of each bundle can be near its torus at all."""
        reach = self.bends.major + _BESIDE * self.bends.radius
        first = np.cumsum(self.rays) - self.rays
        low = np.maximum(self.windows[0], np.minimum.reduceat(middle, first) - reach)
        high = np.minimum(self.windows[1], np.maximum.reduceat(middle, first) + reach)
        return low, np.where(high > low, high, low + self.bends.radius)

    def _through(
        self, quartic: Quartic, valleys: Valleys, low: Vec, high: Vec, middle: Vec, end: Vec
    ) -> list[tuple[Ints, Vec, Vec]]:
        """Rays that leave or pass their bends within the window: number, depth and gap of each."""
        two, last = np.flatnonzero(valleys.two), valleys.high
        first, hill, both = valleys.low[two], valleys.hill[two], quartic.pick(two)
        one, beside = _at(both, first, hill, low[two], high[two])
        one = one[both.height(hill)[one] > 0.0]
        rows, dips = _at(quartic, last, end, low, high)
        leave = [(two[one], first[one], hill[one]), (rows, last[rows], end[rows])]
        dip = [
            (two[beside], first[beside] + middle[two[beside]]),
            (dips, last[dips] + middle[dips]),
        ]
        out = []
        for (leaving, t), (dipping, s, gap) in zip(
            self._leaving(quartic, leave), self._dipping(dip), strict=True
        ):
            inside = (t >= low[leaving]) & (t <= high[leaving])
            rows, t = leaving[inside], t[inside]
            out += [(rows, t + middle[rows], np.zeros(len(rows))), (dipping, s, gap)]
        return out

    @staticmethod
    def _leaving(
        quartic: Quartic, asked: Sequence[tuple[Ints, Vec, Vec]]
    ) -> list[tuple[Ints, Vec]]:
        """Where rays leave, by first and last valley; both are looked for in one go."""
        rows, valley, most = (np.concatenate(column) for column in zip(*asked, strict=True))
        t = quartic.pick(rows).exit(valley, most)
        n = len(asked[0][0])
        return [(rows[:n], t[:n]), (rows[n:], t[n:])]

    def _dipping(self, asked: Sequence[tuple[Ints, Vec]]) -> list[tuple[Ints, Vec, Vec]]:
        """Where rays pass, and by how much, likewise."""
        rows, guess = (np.concatenate(column) for column in zip(*asked, strict=True))
        o, d, bends = self._picked(rows)
        s = bends.passing(o, d, guess)
        gap = np.maximum(bends.above(o + s * d), 0.0)
        n = len(asked[0][0])
        return [(rows[:n], s[:n], gap[:n]), (rows[n:], s[n:], gap[n:])]


def _at(quartic: Quartic, valley: Vec, most: Vec, low: Vec, high: Vec) -> tuple[Ints, Ints]:
    """Rays that leave between a valley and what ends it, and those that pass at the valley.

    Both as far as that lies between ``low`` and ``high``.
    """
    inside, before = quartic.height(valley) < 0.0, valley <= high
    leave, dip = inside & before & (most >= low), ~inside & before & (valley >= low)
    return np.flatnonzero(leave), np.flatnonzero(dip)


def _lowest(quartic: Quartic, valleys: Valleys, rows: Ints, low: Vec, high: Vec) -> Vec:
    """Where within its window each ray is lowest."""
    t, least = low, quartic.height(low)
    for other in (high, valleys.low[rows], valleys.high[rows]):
        height = quartic.height(other)
        lower = (height < least) & (other >= low) & (other <= high)
        t, least = np.where(lower, other, t), np.where(lower, height, least)
    return t


__all__ = ["Met", "RaysAtBends", "Toruses"]
