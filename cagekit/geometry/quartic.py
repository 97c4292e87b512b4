"""Roots of the quartic that a torus makes along a ray, for many rays at once.

With w the place from the torus' centre, R the ring's and r the section's radius and q the part of
w square to the axis, the torus is (w.w + R^2 - r^2)^2 - 4 R^2 q.q = 0, negative inside. Counted
from where the ray is nearest to the centre the quartic has no cubic term, and its slope is a cubic
in closed form: the valleys are known without a search, and each has one place where the ray leaves.
"""

from __future__ import annotations

from math import pi
from typing import NamedTuple

import numpy as np

from cagekit.geometry.arrays import Array, Bools, Ints, Vec, dot_columns
from cagekit.units.tolerance import LEAST_FLOAT, ROUNDING, SETTLED

_SETTLED = SETTLED
"""A root whose last step (mm) was smaller is found: below it rounding of the quartic rules."""
_ROUNDING = 1e-15
"""Rounding of the quartic relative to its largest term."""


class Valleys(NamedTuple):
    """Where the function of each of n rays is lowest between hills, ``(n,)`` mm each.

    Attributes:
        low: the first valley; the only one where there is one.
        hill: top between the two.
        high: the second valley.
        two: whether there are two; where not, ``hill`` and ``high`` are as ``low``.
    """

    low: Vec
    hill: Vec
    high: Vec
    two: Bools


class Quartic(NamedTuple):
    """Torus function along n rays, ``t^4 + c2 t^2 + c1 t + c0``, coefficients ``(n,)``.

    ``t`` counts from where a ray is nearest to the centre, mm.
    """

    c0: Vec
    c1: Vec
    c2: Vec

    @classmethod
    def of(cls, flat: Array, h: Vec, rise: Vec, major: Vec, radius: Vec) -> Quartic:
        """The functions of toruses about the origin, one for each ray.

        Args:
            flat: nearest points to the centre, as far as they are square to the axis,
                ``(3, n)`` mm from it.
            h: how far they are along the axis, ``(n,)`` mm.
            rise: cosines of the rays' directions to the axis, ``(n,)``.
            major: radii of the rings, ``(n,)`` mm.
            radius: radii of their sections, ``(n,)`` mm.
        """
        ring = np.sqrt(dot_columns(flat, flat))
        off = h * h - radius * radius
        near, far = ring - major, ring + major
        m = 4.0 * major * major
        c0 = (near * near + off) * (far * far + off)
        k = ring * ring + off + major * major
        return cls(c0, 2.0 * m * h * rise, 2.0 * k - m * (1.0 - rise * rise))

    def pick(self, rays: Ints | Bools) -> Quartic:
        """Those of some rays."""
        return Quartic(self.c0[rays], self.c1[rays], self.c2[rays])

    def height(self, t: Vec) -> Vec:
        """The function at one ``t`` for each ray."""
        return np.asarray(((t * t + self.c2) * t + self.c1) * t + self.c0)

    def valleys(self) -> Valleys:
        """Where the slope rises through nought: roots of a cubic in closed form."""
        p, q = 0.5 * self.c2, 0.25 * self.c1
        third = p / 3.0
        square = 0.25 * q * q + third * third * third
        two = square < 0.0
        # one root: the larger term first, without cancellation
        half = 0.5 * np.abs(q) + np.sqrt(np.maximum(square, 0.0))
        u = np.cbrt(half)
        low = np.copysign(u - third / np.maximum(u, LEAST_FLOAT), -q)
        rows = np.flatnonzero(two)
        size = np.sqrt(-third[rows])
        turn = np.arccos(np.clip(-0.5 * q[rows] / (size * size * size), -1.0, 1.0)) / 3.0
        low[rows] = 2.0 * size * np.cos(turn + 2.0 * pi / 3.0)
        low = self._lower(low, p, q)
        hill, high = low.copy(), low.copy()
        hill[rows] = 2.0 * size * np.cos(turn - 2.0 * pi / 3.0)
        high[rows] = self._lower(2.0 * size * np.cos(turn), p[rows], q[rows])
        return Valleys(low, hill, high, two)

    @staticmethod
    def _lower(t: Vec, p: Vec, q: Vec) -> Vec:
        """Take the last digits of a valley by Newton steps on the slope."""
        for _ in range(2):
            square = 3.0 * t * t
            bend = square + p
            # one that is hardly there has no digits to take
            step = ((t * t + p) * t + q) / np.where(bend > 0.0, bend, 1.0)
            t = t - np.where(bend > ROUNDING * (square + np.abs(p)), step, 0.0)
        return t

    def exit(self, valley: Vec, most: Vec) -> Vec:
        """Where each ray leaves the torus: from a valley (inside) to ``most`` (outside), ``(n,)``.

        Each step goes to the rising root of the parabola that agrees with the quartic in value,
        slope and curvature: as quick for a ray that grazes, whose two roots nearly agree, as for
        any other. It is kept inside a shrinking bracket.
        """
        t, low, high = valley.copy(), valley, most
        c0, c1, c2 = self
        far = np.maximum(np.abs(low), np.abs(high))
        noise = np.abs(c0) + np.abs(c1) * far + np.abs(c2) * far * far
        noise *= _ROUNDING
        here, going, left = valley, np.arange(len(t)), np.ones(len(t), dtype=bool)
        for _ in range(60):
            if not len(going):
                break
            # in place: more of it stays in the processor's cache
            h, twice = here * here, 2.0 * c2
            f, g = h + c2, 4.0 * h
            f *= here
            f += c1
            f *= here
            f += c0
            g += twice
            g *= here
            g += c1
            h *= 12.0
            h += twice
            inside = f <= 0.0
            if inside.all():
                low = here
            else:
                low, high = np.where(inside, here, low), np.where(inside, high, here)
            new = _rising_root(f, g, h)
            new += here
            kept = (new > low) & (new < high)
            if not kept.all():
                new = np.where(kept, new, 0.5 * (low + high))
            # at the level of rounding a step tells nothing any more
            done = np.abs(f) <= noise
            if done.any():
                new = np.where(done, here, new)
            found = done | (np.abs(new - here) <= _SETTLED)
            here = new
            if not found.any():
                continue
            rows = np.flatnonzero(found & left)
            t[going[rows]] = new[rows]
            left &= ~found
            # those that are found go on in vain until they are the most
            if 2 * np.count_nonzero(left) <= len(left):
                rows = np.flatnonzero(left)
                going, here, low, high = going[rows], new[rows], low[rows], high[rows]
                c0, c1, c2, noise, left = c0[rows], c1[rows], c2[rows], noise[rows], left[rows]
        t[going[left]] = here[left]
        return t


def _rising_root(f: Vec, g: Vec, h: Vec) -> Vec:
    """Step to the root with rising slope of the parabola of value, slope and curvature."""
    twice = -2.0 * f
    root = twice * h
    root += g * g
    np.sqrt(np.maximum(root, 0.0, out=root), out=root)
    # whichever of both forms does not cancel
    falling = g <= 0.0
    above, below = twice, g + root
    np.copyto(below, h, where=falling)
    root -= g
    np.copyto(above, root, where=falling)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.divide(above, below, out=above)


__all__ = ["Quartic", "Valleys"]
