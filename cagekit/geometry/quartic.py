"""Roots of the quartic that a torus makes along a ray, for many rays at once.

With w the place from the torus' centre, R the ring's and r the section's radius and q the part of
w square to the axis, the torus is (w.w + R^2 - r^2)^2 - 4 R^2 q.q = 0, negative inside.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from cagekit.geometry.arrays import Ints, Points
from cagekit.geometry.centre_line import Vec
from cagekit.units.tolerance import LEAST_FLOAT, SETTLED

_SETTLED = SETTLED
"""A root whose last step (mm) was smaller is found: below it rounding of the quartic rules."""
_ROUNDING = 1e-15
"""Rounding of the quartic relative to its largest term."""


class Quartic(NamedTuple):
    """Torus function along n rays, ``((..t + c3) t + ..)``, coefficients ``(n,)``."""

    c0: Vec
    c1: Vec
    c2: Vec
    c3: Vec

    @classmethod
    def of(cls, w: Points, direction: Vec, axis: Vec, *, major: float, radius: float) -> Quartic:
        """The function of a torus about the origin and ``axis``.

        Args:
            w: points at t = 0, ``(n, 3)`` mm from the torus' centre.
            direction: unit direction of the rays, ``(3,)``.
            axis: unit axis of the torus, ``(3,)``.
            major: radius of the ring, mm.
            radius: radius of its section, mm.
        """
        h = w @ axis
        q = w - h[:, None] * axis
        flat = direction - float(direction @ axis) * axis
        b = w @ direction
        k = np.einsum("ij,ij->i", w, w) + major**2 - radius**2
        m = 4 * major**2
        c0 = k * k - m * np.einsum("ij,ij->i", q, q)
        c1 = 4 * b * k - 2 * m * (q @ flat)
        c2 = 4 * b * b + 2 * k - m * float(flat @ flat)
        return cls(c0, c1, c2, 4 * b)

    @classmethod
    def joined(cls, parts: Sequence[Quartic]) -> Quartic:
        """The rays of several bundles as those of one, in order."""
        return cls(*map(np.concatenate, zip(*parts, strict=True)))

    def values(self, grid: Vec) -> tuple[Vec, Vec]:
        """Function and slope on a grid ``(m,)`` common to all rays, shape ``(n, m)`` each."""
        powers = np.stack([np.ones_like(grid), grid, grid**2, grid**3])
        low = np.stack([self.c0, self.c1, self.c2, self.c3], axis=1)
        slope = np.stack([self.c1, 2 * self.c2, 3 * self.c3, np.full_like(self.c0, 4.0)], axis=1)
        return low @ powers + grid**4, slope @ powers

    def at(self, ray: Ints, t: Vec) -> tuple[Vec, Vec, Vec]:
        """Function, slope and curvature at one ``t`` for each of the rays named."""
        c0, c1, c2, c3 = self.c0[ray], self.c1[ray], self.c2[ray], self.c3[ray]
        f = (((t + c3) * t + c2) * t + c1) * t + c0
        g = ((4 * t + 3 * c3) * t + 2 * c2) * t + c1
        return f, g, (12 * t + 6 * c3) * t + 2 * c2

    def exit(self, ray: Ints, lo: Vec, hi: Vec) -> Vec:
        """Root between ``lo`` (inside) and ``hi`` (outside).

        Each step goes to the rising root of the parabola that agrees with the quartic in value,
        slope and curvature: as quick for a ray that grazes, whose two roots nearly agree, as for
        any other.

        Args:
            ray: index of the ray of each bracket, ``(m,)``.
            lo: lower ends of the brackets, ``(m,)`` mm.
            hi: upper ends of the brackets, ``(m,)`` mm.
        """
        return self._close_in(ray, lo, hi, order=0)

    def lowest(self, ray: Ints, lo: Vec, hi: Vec) -> Vec:
        """Minimum between ``lo`` (falling) and ``hi`` (rising), by Newton steps on the slope.

        Args:
            ray: index of the ray of each bracket, ``(m,)``.
            lo: lower ends of the brackets, ``(m,)`` mm.
            hi: upper ends of the brackets, ``(m,)`` mm.
        """
        return self._close_in(ray, lo, hi, order=1)

    def _close_in(self, ray: Ints, lo: Vec, hi: Vec, *, order: int) -> Vec:
        """Steps kept inside a shrinking bracket whose low end is negative."""
        lo, hi = lo.copy(), hi.copy()
        start, stop = self.at(ray, lo)[order], self.at(ray, hi)[order]
        t = lo + (hi - lo) * np.clip(start / (start - stop), 0.05, 0.95)
        far = np.maximum(np.abs(lo), np.abs(hi))
        terms = (self.c0[ray], self.c1[ray] * far, self.c2[ray] * far**2, self.c3[ray] * far**3)
        noise = _ROUNDING * sum(np.abs(v) for v in terms) / far**order
        going = np.arange(len(t))
        for _ in range(60):
            if not len(going):
                break
            here, low, high = t[going], lo[going], hi[going]
            f, g, h = self.at(ray[going], here)
            value = f if order == 0 else g
            low = np.where(value <= 0.0, here, low)
            high = np.where(value <= 0.0, high, here)
            new = here + (_rising_root(f, g, h) if order == 0 else -g / np.maximum(h, LEAST_FLOAT))
            new = np.where((new > low) & (new < high), new, 0.5 * (low + high))
            # at the level of rounding a step tells nothing any more
            done = np.abs(value) <= noise[going]
            new = np.where(done, here, new)
            t[going], lo[going], hi[going] = new, low, high
            going = going[~done & (np.abs(new - here) > _SETTLED)]
        return t


def _rising_root(f: Vec, g: Vec, h: Vec) -> Vec:
    """Step to the root with rising slope of the parabola of value, slope and curvature."""
    root = np.sqrt(np.maximum(g * g - 2.0 * f * h, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(g > 0.0, -2.0 * f / (g + root), (root - g) / h)


__all__ = ["Quartic"]
