"""End relief of a swing-out bar: how far its end must lean so that it clears the stub.

In the plan of one joint, x runs along the bar from the stub's face, y outward; the stub is square.
The bar's end is the line ``x = gap + lean (y + r)`` when the outer side is taken back, or
``x = gap + lean (r - y)`` when it is the inner one. Every point of the end turns about the hinge;
its least x over the swing has a closed form.
"""

from __future__ import annotations

from functools import lru_cache
from math import atan

import numpy as np

from cagekit.errors import GeometryError
from cagekit.geometry.centre_line import Vec
from cagekit.units.tolerance import ROUNDING

InJoint = tuple[float, float, float]
"""A point or direction by what lies along, out and pin of a joint."""

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
    lean: float, *, gap: float, radius: float, pivot: InJoint, axis: InJoint, angle: float
) -> float:
    """Least distance (mm) of the bar's rim from the plane of the stub's face through the swing.

    Args:
        lean: slope of the end, positive when the outer side is taken back.
        gap: stub to the nearest edge of the bar, closed, mm.
        radius: outside radius, mm.
        pivot: a point of the hinge's axis from the middle of the stub's face, along, out and pin
            of the joint, mm.
        axis: its direction in these, unit; the bar opens right-handed about it.
        angle: how far it opens, rad.
    """
    return _Rim(gap, radius, pivot, axis, angle).clearance(lean)


class _Rim:
    """The bar's rim by what its swing makes of it; arguments as of `end_clearance`.

    With its lean a point of the rim moves along the bar only, and all that turns moves evenly.
    """

    def __init__(
        self, gap: float, radius: float, pivot: InJoint, axis: InJoint, angle: float
    ) -> None:
        (a, b, c), (turn, v, w) = pivot, axis
        y, z = radius * _RING
        self._gap, self._angle = gap, angle
        self._outer, self._inner = y + radius, y - radius
        along = v * (y - b) + w * (z - c) - a * turn
        self._offset = a + along * turn, turn * turn
        self._cosine = -a - along * turn, 1.0 - turn * turn
        self._sine = v * (z - c) - w * (y - b)

    def clearance(self, lean: float) -> float:
        """Least distance (mm) of the rim from the plane of the stub's face through the swing."""
        x = self._gap + lean * (self._outer if lean >= 0 else self._inner)
        offset, cosine = (a + x * b for a, b in (self._offset, self._cosine))
        return float(least_travel(offset, cosine, self._sine, self._angle).min())


def relief_lean(
    owner: str,
    *,
    gap: float,
    clearance: float,
    radius: float,
    pivot: InJoint,
    axis: InJoint,
    angle: float,
) -> float:
    """Smallest lean (slope) that keeps ``clearance`` mm through the swing; see `end_clearance`.

    Args:
        owner: what a message names.
        gap: width of the cut, mm.
        clearance: mm.
        radius: outside radius of the tube, mm.
        pivot: on the axis of the swing, as of `end_clearance`, mm.
        axis: of the swing, unit, in the same coordinates.
        angle: of the swing, rad.

    Raises:
        GeometryError: no lean up to 50 degrees does; says by how much it falls short.
    """
    lean, best = _least_lean(gap, clearance - ROUNDING, radius, pivot, axis, angle)
    if lean is None:
        raise GeometryError(
            owner,
            f"the bar's end comes within {best:.1f} mm of its stub ({clearance:.1f} mm wanted), "
            f"however its end is relieved up to {np.degrees(atan(MOST)):.0f} degrees.",
            "Set the pin further from the cut (`pin_offset`) or make the cut wider (`cut_gap`).",
        )
    return lean


@lru_cache(maxsize=64)
def _least_lean(
    gap: float, clearance: float, radius: float, pivot: InJoint, axis: InJoint, angle: float
) -> tuple[float | None, float]:
    """The lean of `relief_lean`, None when there is none, and the room that it leaves, mm.

    A hinge looks the same from its own pin wherever the bar lies.
    """
    room = _Rim(gap, radius, pivot, axis, angle).clearance
    shut = room(0.0)
    if shut >= clearance:
        return 0.0, shut
    sign = 1.0 if room(0.05) > room(-0.05) else -1.0
    steps = np.linspace(0.0, MOST, 121)[1:].tolist()
    good = next((s for s in steps if room(sign * s) >= clearance), None)
    if good is None:
        return None, max(room(sign * s) for s in steps)
    low, high = good - steps[0], good
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if room(sign * middle) >= clearance else (middle, high)
    return sign * high, room(sign * high)
