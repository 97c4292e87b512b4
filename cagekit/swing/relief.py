"""End relief of a swing-out bar: how far its end must lean so that it clears the stub.

In the plan of one joint, x runs along the bar from the stub's face, y outward; the stub is square.
The bar's end is the line ``x = gap + lean (y + r)`` when the outer side is taken back, or
``x = gap + lean (r - y)`` when it is the inner one. Every point of the end turns about the hinge;
its least x over the swing has a closed form.
"""

from __future__ import annotations

from math import atan

import numpy as np
from numpy.typing import ArrayLike

from cagekit.errors import GeometryError
from cagekit.geometry.arrays import cross3
from cagekit.geometry.centre_line import Vec
from cagekit.units.tolerance import ROUNDING

RIM = 721
"""Points round the rim that are followed."""
_RING = np.stack([f(np.linspace(0.0, 2 * np.pi, RIM)[:-1]) for f in (np.cos, np.sin)])
MOST = 1.2
"""Steepest lean tried, as a slope (50 degrees)."""


def least_travel(offset: Vec, cosine: Vec, sine: Vec, angle: float) -> Vec:
    """Least of ``offset + cosine cos t + sine sin t`` for t from 0 to ``angle`` rad, ``(n,)``.

    Args:
        offset: ``(n,)``.
        cosine: ``(n,)``.
        sine: ``(n,)``.
        angle: rad.
    """
    ends = np.minimum(offset + cosine, offset + cosine * np.cos(angle) + sine * np.sin(angle))
    low = (np.arctan2(sine, cosine) + np.pi) % (2 * np.pi)
    inside = low < angle
    return np.where(inside, offset - np.hypot(cosine, sine), ends)


def end_clearance(
    lean: float,
    *,
    gap: float,
    radius: float,
    face: Vec,
    frame: Vec,
    axis_point: ArrayLike,
    axis: ArrayLike,
    angle: float,
) -> float:
    """Least distance (mm) of the bar's rim from the plane of the stub's face through the swing.

    Args:
        lean: slope of the end, positive when the outer side is taken back.
        gap: stub to the nearest edge of the bar, closed, mm.
        radius: outside radius, mm.
        face: middle of the stub's face, ``(3,)``.
        frame: columns along, out, pin of the joint, ``(3, 3)``.
        axis_point: a point of the hinge's axis, ``(3,)``.
        axis: its direction, ``(3,)``; the bar opens right-handed about it.
        angle: how far it opens, rad.
    """
    return _Rim(gap, radius, face, frame, axis_point, axis, angle).clearance(lean)


class _Rim:
    """The bar's rim by what its swing makes of it; arguments as of `end_clearance`.

    With its lean a point of the rim moves along the bar only, and all that turns moves evenly.
    """

    def __init__(
        self, gap: float, radius: float, face: Vec, frame: Vec, axis_point: ArrayLike,
        axis: ArrayLike, angle: float,
    ) -> None:  # fmt: skip
        y, z = radius * _RING
        n, out, pin = frame.T
        p, w = np.asarray(axis_point, float), np.asarray(axis, float)
        self._gap, self._angle = gap, angle
        self._outer, self._inner = y + radius, y - radius
        start, turn, square = face - p, float(n @ w), cross3(n, w)
        along = float(start @ w) + y * float(out @ w) + z * float(pin @ w)
        ahead = float(start @ n) + y * float(out @ n) + z * float(pin @ n)
        aside = float(start @ square) + y * float(out @ square) + z * float(pin @ square)
        self._offset = along * turn - float(start @ n), turn * turn
        self._cosine = ahead - along * turn, 1.0 - turn * turn
        self._sine = aside, float(n @ square)

    def clearance(self, lean: float) -> float:
        """Least distance (mm) of the rim from the plane of the stub's face through the swing."""
        x = self._gap + lean * (self._outer if lean >= 0 else self._inner)
        offset, cosine, sine = (a + x * b for a, b in (self._offset, self._cosine, self._sine))
        return float(least_travel(offset, cosine, sine, self._angle).min())


def relief_lean(
    owner: str,
    *,
    gap: float,
    clearance: float,
    radius: float,
    face: Vec,
    frame: Vec,
    axis_point: ArrayLike,
    axis: ArrayLike,
    angle: float,
) -> float:
    """Smallest lean (slope) that keeps ``clearance`` mm through the swing; see `end_clearance`.

    Args:
        owner: what a message names.
        gap: width of the cut, mm.
        clearance: mm.
        radius: outside radius of the tube, mm.
        face: middle of the end face, ``(3,)`` mm.
        frame: columns along, out and pin of the joint, ``(3, 3)``.
        axis_point: on the axis of the swing, ``(3,)`` mm.
        axis: of the swing, unit, ``(3,)``.
        angle: of the swing, rad.

    Raises:
        GeometryError: no lean up to 50 degrees does; says by how much it falls short.
    """
    room = _Rim(gap, radius, face, frame, axis_point, axis, angle).clearance
    clearance -= ROUNDING
    if room(0.0) >= clearance:
        return 0.0
    sign = 1.0 if room(0.05) > room(-0.05) else -1.0
    steps = np.linspace(0.0, MOST, 121)[1:]
    good = next((s for s in steps if room(sign * s) >= clearance), None)
    if good is None:
        best = max(room(sign * s) for s in steps)
        raise GeometryError(
            owner,
            f"the bar's end comes within {best:.1f} mm of its stub ({clearance:.1f} mm wanted), "
            f"however its end is relieved up to {np.degrees(atan(MOST)):.0f} degrees.",
            "Set the pin further from the cut (`pin_offset`) or make the cut wider (`cut_gap`).",
        )
    low, high = float(good - steps[0]), float(good)
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if room(sign * middle) >= clearance else (middle, high)
    return sign * high
