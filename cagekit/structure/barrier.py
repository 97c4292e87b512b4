"""The largest factor with room in every section, from inside: the convex programme of collapse.

The norm of the moments and the curve of normal force and bending are taken as they are, not as
planes: every step is on the safe side, and the multipliers of the last bound what is left. A cone
programme (tests: clarabel) finds the same where bending alone counts, and cannot take that curve.

Source: barrier method, Boyd and Vandenberghe, Convex Optimization, ch. 11.
"""

from __future__ import annotations

from math import inf, pi

import numpy as np

from cagekit.geometry.arrays import Ints
from cagekit.geometry.centre_line import Vec
from cagekit.units.tolerance import NOISE

CLOSE = 0.004
"""Gap to the bound, as a share of the factor, at which the search ends."""
STEEPER = 20.0
"""How much the barrier gets steeper from round to round."""
NEAR = 0.5
"""How near the middle a round ends that is not the last."""
LIFT = 1e-14
"""Added to the diagonal of a beam's own part, as a share of its trace, so that it has a root."""
LEAST_LIFT = 1e-200
"""The least that is added, where the part is nought."""
RIDGE = 1e-10
"""Added to the diagonal of the whole, as a share of its mean, so that it can be solved."""
CENTRED = 1e-8
"""How near the middle the last round ends: the bound and the multipliers hold there alone."""
STEPS = 200
"""Most steps of the search."""
STRONGEST = 1e6
"""A factor above this is not told: the load goes straight into what holds."""
ROUND = 1e-4
"""Rounds the tip of the cone of bending, as a share of the plastic moment; on the safe side."""


def room(u: Vec) -> Vec:
    """Room that sections have left, ``(p,)``; not above 0 beyond the plastic limit.

    Args:
        u: ``(p, 6)`` N, T, My, Mz, Vy, Vz, each over its capacity.

    Torsion and shear take from the strength by von Mises; normal force and bending interact as in
    a thin ring, m = s cos(pi n / 2 s).
    """
    s2 = 1 - u[:, 1] ** 2 - u[:, 4] ** 2 - u[:, 5] ** 2
    s = np.sqrt(np.maximum(s2, NOISE))
    bent = np.sqrt(u[:, 2] ** 2 + u[:, 3] ** 2 + ROUND**2)
    out = s * np.cos(np.minimum(pi / 2 * np.abs(u[:, 0]) / s, pi / 2)) - bent
    return np.asarray(np.where((s2 > 0) & (np.abs(u[:, 0]) < s), out, -1.0))


_SHEARED: Ints = np.array([1, 4, 5])


def _curved(u: Vec) -> tuple[Vec, Vec]:
    """Slope ``(p, 6)`` and curvature ``(p, 6, 6)`` of :func:`room`, inside the limit."""
    shear = u[:, _SHEARED]
    s = np.sqrt(1 - (shear**2).sum(axis=1))
    a = pi / 2 * u[:, 0] / s
    sin, cos = np.sin(a), np.cos(a)
    by_s = cos + a * sin
    ds = -shear / s[:, None]
    slope, curve = np.zeros_like(u), np.zeros((len(u), 6, 6))
    slope[:, 0] = -pi / 2 * sin
    slope[:, _SHEARED] = by_s[:, None] * ds
    curve[:, 0, 0] = -(pi**2) / 4 * cos / s
    mixed = (pi / 2 * a * cos / s)[:, None] * ds
    curve[:, 0, _SHEARED] = mixed
    curve[:, _SHEARED, 0] = mixed
    outer = ds[:, :, None] * ds[:, None, :]
    bent = -np.eye(3) / s[:, None, None] - outer / s[:, None, None]
    block = (-(a**2) * cos / s)[:, None, None] * outer + by_s[:, None, None] * bent
    curve[:, _SHEARED[:, None], _SHEARED] = block
    moment = u[:, 2:4]
    size = np.sqrt((moment**2).sum(axis=1) + ROUND**2)
    slope[:, 2:4] = -moment / size[:, None]
    way = moment / size[:, None]
    curve[:, 2:4, 2:4] = -(np.eye(2) - way[:, :, None] * way[:, None, :]) / size[:, None, None]
    return slope, curve


class Sections:
    """Forces of sections over what they bear, from unknowns of which each beam has a few.

    Unknowns are ``x``, ``(k,)``: forces that balance nothing, and the factor last.

    Args:
        of_beam: ``(b, 7, k)`` from the unknowns the six forces of each beam, and the factor.
        weights: ``(p, 6, 7)`` from those the forces of each section over its capacity.
        beams: ``(p,)`` the beam of each section.
    """

    def __init__(self, of_beam: Vec, weights: Vec, beams: Ints) -> None:
        self.of_beam, self.weights, self.beams = of_beam, weights, beams
        self.size = of_beam.shape[2]
        self._flat = of_beam.reshape(-1, self.size)

    def forces(self, x: Vec) -> Vec:
        """Forces of the sections, ``(p, 6)``."""
        own = (self._flat @ x).reshape(-1, 7)[self.beams]
        return np.asarray((self.weights @ own[:, :, None])[..., 0])

    def gathered(self, pull: Vec) -> Vec:
        """What slopes ``(p, 6)`` by the forces are by the unknowns, ``(k,)``."""
        own = np.zeros((len(self.of_beam), 7))
        np.add.at(own, self.beams, np.einsum("pi,pij->pj", pull, self.weights))
        return np.asarray(own.ravel() @ self._flat)

    def curvature(self, inner: Vec) -> Vec:
        """What curvatures ``(p, 6, 6)`` by the forces are by the unknowns, ``(k, k)``."""
        own = np.zeros((len(self.of_beam), 7, 7))
        np.add.at(own, self.beams, self.weights.transpose(0, 2, 1) @ inner @ self.weights)
        slack = LIFT * np.trace(own, axis1=1, axis2=2) + LEAST_LIFT
        # half of a square takes half the time
        root = np.linalg.cholesky(own + slack[:, None, None] * np.eye(7)).transpose(0, 2, 1)
        halved = (root @ self.of_beam).reshape(-1, self.size)
        return np.asarray(halved.T @ halved)


def largest(sections: Sections) -> tuple[Vec, Vec, Vec, float] | None:
    """The largest last unknown with room in every section.

    Returns:
        The unknowns, multipliers ``(p,)``, slopes ``(p, 6)`` and by how much the true factor may
        be above, infinite when the search was given up; None when the factor has no end.
    """
    p, k = len(sections.beams), sections.size
    x = np.zeros(k)
    x[-1] = 1.0
    reach = float(np.abs(sections.forces(x)).max())
    if reach <= 0:
        return None
    x[-1] = 0.2 / reach
    steep = p / x[-1]
    for _ in range(STEPS):
        u = sections.forces(x)
        left: Vec = room(u)
        slope, curve = _curved(u)
        pull = slope / left[:, None]
        hessian = sections.curvature(
            pull[:, :, None] * pull[:, None, :] - curve / left[:, None, None]
        )
        hessian[np.diag_indices(k)] += RIDGE * np.trace(hessian) / k
        sides = np.stack([sections.gathered(pull), np.eye(k)[-1]], axis=1)
        ways = np.linalg.solve(hessian, sides)  # what room and what the factor asks for
        while True:
            step = ways @ (1.0, steep)
            decrement = float(sides @ (1.0, steep) @ step)
            last = p / steep < CLOSE * x[-1]
            if last or decrement >= NEAR:
                break
            steep *= STEEPER
        if last and decrement < CENTRED:
            return x, 1 / (steep * left), slope, p / steep
        x = _stepped(sections, x, np.asarray(step, float), steep, left, decrement)
        if x[-1] > STRONGEST:
            return None
    return x, 1 / (steep * left), slope, inf


def _stepped(
    sections: Sections, x: Vec, step: Vec, steep: float, left: Vec, decrement: float
) -> Vec:
    """Go along the step as far as the barrier falls."""
    now = -steep * x[-1] - np.log(left).sum()
    before, along = sections.forces(x), sections.forces(step)
    size = 1.0
    while size > NOISE:
        there = room(before + size * along)
        wanted = now - 0.1 * size * decrement
        if there.min() > 0 and -steep * (x + size * step)[-1] - np.log(there).sum() <= wanted:
            return np.asarray(x + size * step)
        size *= 0.5
    return x
