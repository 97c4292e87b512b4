"""A frame of beams: numbers only, so that any load, solver or file can take it up.

Frame: car axes, mm, N, MPa. Freedoms of a node: ux, uy, uz, rx, ry, rz; of a beam in its own axes
the same six at its first end, then at its second. A beam's x runs from first to second end.
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from cagekit.geometry.arrays import Bools, Ints
from cagekit.geometry.centre_line import Vec
from cagekit.materials.tubes import Tube
from cagekit.units.tolerance import SAME_POINT


class Frame(Struct, frozen=True, kw_only=True, eq=False):
    """Nodes, beams and supports; ``n`` nodes, ``m`` beams.

    Args:
        nodes: ``(n, 3)`` mm.
        ends: ``(m, 2)`` node numbers.
        area: ``(m,)`` mm2.
        inertia: ``(m,)`` second moment about any diameter, mm4.
        torsion: ``(m,)`` torsion constant, mm4.
        shear_area: ``(m,)`` mm2; infinite leaves shear out.
        young: ``(m,)`` MPa.
        shear: ``(m,)`` shear modulus, MPa.
        across: ``(m, 3)`` direction of the beam's own y, about; any for a round tube.
        released: ``(m, 12)`` freedoms that carry nothing.
        fixed: ``(n, 6)`` freedoms held.
        spring: ``(n, 6)`` stiffness to the ground, N/mm and N mm/rad.
    """

    nodes: Vec
    ends: Ints
    area: Vec
    inertia: Vec
    torsion: Vec
    shear_area: Vec
    young: Vec
    shear: Vec
    across: Vec
    released: Bools
    fixed: Bools
    spring: Vec

    @property
    def vectors(self) -> Vec:
        """First to second end of each beam, ``(m, 3)`` mm."""
        return np.asarray(self.nodes[self.ends[:, 1]] - self.nodes[self.ends[:, 0]])

    @property
    def lengths(self) -> Vec:
        """Length of each beam, ``(m,)`` mm."""
        return np.asarray(np.linalg.norm(self.vectors, axis=1))

    @property
    def axes(self) -> Vec:
        """Own axes of each beam as rows, ``(m, 3, 3)``."""
        x = self.vectors / self.lengths[:, None]
        z = np.cross(x, self.across)
        size = np.linalg.norm(z, axis=1)
        bad = size < SAME_POINT
        if bad.any():
            spare = np.eye(3)[np.argmin(np.abs(x[bad]), axis=1)]
            z[bad] = np.cross(x[bad], spare)
            size = np.linalg.norm(z, axis=1)
        z /= size[:, None]
        return np.stack([x, np.cross(z, x), z], axis=1)


def shear_area(tube: Tube, poisson: float) -> float:
    """Area that shears like the tube, mm2.

    Source: Cowper, The shear coefficient in Timoshenko's beam theory, J. Appl. Mech. 33 (1966),
    hollow circle; from memory.
    """
    m2 = (tube.inner_radius / tube.outer_radius) ** 2
    top = 6 * (1 + poisson) * (1 + m2) ** 2
    bottom = (7 + 6 * poisson) * (1 + m2) ** 2 + (20 + 12 * poisson) * m2
    return tube.area * top / bottom
