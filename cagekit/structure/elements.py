"""Stiffness of beams, all at once: with shear, releases, uniform loads and normal force.

Source: any text of matrix structural analysis, e.g. Przemieniecki, Theory of Matrix Structural
Analysis, 5.6 (beam with shear) and 15.2 (geometric stiffness); from memory.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np

from cagekit.geometry.centre_line import Vec
from cagekit.structure.frame import Frame


class Beams:
    """The beams of a frame as matrices, worked out when first asked for."""

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        self.lengths = frame.lengths

    @cached_property
    def axes(self) -> Vec:
        """Own axes of each beam as rows, ``(m, 3, 3)``."""
        return self.frame.axes

    @cached_property
    def turn(self) -> Vec:
        """Car axes to own axes, ``(m, 12, 12)``."""
        out = np.zeros((len(self.lengths), 12, 12))
        for i in range(0, 12, 3):
            out[:, i : i + 3, i : i + 3] = self.axes
        return out

    @cached_property
    def whole(self) -> Vec:
        """Stiffness in own axes before releases, ``(m, 12, 12)``."""
        f = self.frame
        return beam_stiffness(
            self.lengths,
            f.young * f.area,
            f.young * f.inertia,
            f.shear * f.torsion,
            f.shear * f.shear_area,
        )

    @cached_property
    def freed(self) -> Vec:
        """End displacements of the beam from those of its nodes, ``(m, 12, 12)``."""
        out = np.tile(np.eye(12), (len(self.lengths), 1, 1))
        for i in np.flatnonzero(self.frame.released.any(axis=1)):
            r = np.flatnonzero(self.frame.released[i])
            k = self.whole[i]
            out[i, r] = 0.0
            rest = np.flatnonzero(~self.frame.released[i])
            out[np.ix_([i], r, rest)] = -np.linalg.solve(k[np.ix_(r, r)], k[np.ix_(r, rest)])
        return out

    @cached_property
    def stiffness(self) -> Vec:
        """Stiffness in own axes, releases condensed, ``(m, 12, 12)``."""
        return np.asarray(self.freed.transpose(0, 2, 1) @ self.whole @ self.freed)

    @cached_property
    def in_car(self) -> Vec:
        """Stiffness in car axes, ``(m, 12, 12)``."""
        return np.asarray(self.turn.transpose(0, 2, 1) @ self.stiffness @ self.turn)

    def geometric(self, normal: Vec) -> Vec:
        """What normal forces ``(m,)`` N, tension positive, add to the stiffness in own axes."""
        f, n = self.frame, len(self.lengths)
        k = np.zeros((n, 12, 12))
        p, length = normal / self.lengths, self.lengths
        _bending(k, 1.2 * p, 0.1 * normal, 2 / 15 * normal * length, -normal * length / 30)
        polar = p * 2 * f.inertia / f.area
        for i, j, sign in ((3, 3, 1.0), (9, 9, 1.0), (3, 9, -1.0), (9, 3, -1.0)):
            k[:, i, j] = sign * polar
        return np.asarray(self.freed.transpose(0, 2, 1) @ k @ self.freed)

    def uniform(self, load: Vec) -> Vec:
        """End forces ``(m, 12)`` in own axes that do the work of a uniform load.

        ``load`` is ``(m, 3)`` N/mm in car axes.
        """
        own = (self.axes @ load[..., None])[..., 0]
        length = self.lengths
        out = np.zeros((len(length), 12))
        out[:, 0:3] = out[:, 6:9] = own * length[:, None] / 2
        out[:, 5] = own[:, 1] * length**2 / 12
        out[:, 4] = -own[:, 2] * length**2 / 12
        out[:, 11], out[:, 10] = -out[:, 5], -out[:, 4]
        freed = self.frame.released.any(axis=1)
        out[freed] = (out[freed, None] @ self.freed[freed])[:, 0]
        return out


def beam_stiffness(length: Vec, ea: Vec, ei: Vec, gj: Vec, gs: Vec) -> Vec:
    """Stiffness of beams in own axes, ``(m, 12, 12)``.

    Args:
        length: ``(m,)`` mm.
        ea: stiffness along the axis, ``(m,)`` N.
        ei: bending, ``(m,)`` N mm2.
        gj: torsion, ``(m,)`` N mm2.
        gs: shear, ``(m,)`` N; infinite leaves it out.
    """
    k = np.zeros((len(length), 12, 12))
    for i, value in ((0, ea / length), (3, gj / length)):
        k[:, i, i] = k[:, i + 6, i + 6] = value
        k[:, i, i + 6] = k[:, i + 6, i] = -value
    phi = 12 * ei / (gs * length**2)
    soft = ei / ((1 + phi) * length)
    _bending(k, 12 * soft / length**2, 6 * soft / length, (4 + phi) * soft, (2 - phi) * soft)
    return k


def _bending(k: Vec, side: Vec, slope: Vec, near: Vec, far: Vec) -> None:
    """Fill both planes of bending: about z with y, and about y with z, whose turns count back."""
    for v, r, sign in ((1, 5, 1.0), (2, 4, -1.0)):
        w, s = v + 6, r + 6
        k[:, v, v] = k[:, w, w] = side
        k[:, v, w] = k[:, w, v] = -side
        k[:, r, r] = k[:, s, s] = near
        k[:, r, s] = k[:, s, r] = far
        for i, j, way in ((v, r, 1.0), (v, s, 1.0), (w, r, -1.0), (w, s, -1.0)):
            k[:, i, j] = k[:, j, i] = sign * way * slope
