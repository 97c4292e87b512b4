"""Where one looks from: parallel projection onto a picture.

The picture's x runs right, y up; depth grows towards the viewer.
"""

from __future__ import annotations

from math import cos, radians, sin

import numpy as np
from msgspec import Struct

from cagekit.geometry.arrays import Array
from cagekit.geometry.centre_line import Vec, unit, vec


class Camera(Struct, frozen=True, kw_only=True, eq=False):
    """A viewing direction; ``right``, ``up`` and ``eye`` (towards the viewer) are unit ``(3,)``."""

    name: str
    right: Vec
    up: Vec
    eye: Vec

    @classmethod
    def looking(cls, name: str, eye: object, up: object) -> Camera:
        """Look from the direction ``eye`` with ``up`` upwards in the picture.

        Args:
            name: of the view.
            eye: direction from the scene to the eye, ``(3,)``.
            up: direction that is up in the picture, ``(3,)``.
        """
        toward = unit(eye)  # type: ignore[arg-type]
        right = unit(np.cross(np.asarray(up, float), toward))
        return cls(name=name, right=right, up=vec(np.cross(toward, right)), eye=toward)

    @classmethod
    def around(cls, name: str, azimuth_deg: float, height_deg: float) -> Camera:
        """Look from ``azimuth_deg`` (from the car's front towards its left) and from above.

        Args:
            name: of the view.
            azimuth_deg: degrees around Z from ahead, to the left.
            height_deg: degrees above level.
        """
        a, h = radians(azimuth_deg), radians(height_deg)
        return cls.looking(name, (cos(h) * cos(a), cos(h) * sin(a), sin(h)), (0.0, 0.0, 1.0))

    @property
    def axes(self) -> Array:
        """Rows right, up, eye: ``(3, 3)``."""
        return np.array([self.right, self.up, self.eye])

    def project(self, points: object) -> Array:
        """Return picture x, y and depth of points ``(n, 3)``, mm."""
        return np.asarray(points, float) @ self.axes.T


SIDE = Camera.looking("side", (0, 1, 0), (0, 0, 1))
"""From the car's left; the front is on the left of the picture."""
FRONT = Camera.looking("front", (1, 0, 0), (0, 0, 1))
TOP = Camera.looking("top", (0, 0, 1), (0, -1, 0))
"""From above, the front on the left, under the side view as first-angle projection has it."""
OBLIQUE = Camera.around("oblique", 52.0, 24.0)
