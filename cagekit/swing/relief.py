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
from cagekit.geometry.centre_line import Vec
from cagekit.units.tolerance import ROUNDING

RIM = 721
"""Points round the rim that are followed."""
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
    phi = np.linspace(0.0, 2 * np.pi, RIM)[:-1]
    y, z = radius * np.cos(phi), radius * np.sin(phi)
    x = gap + lean * (y + radius) if lean >= 0 else gap - lean * (radius - y)
    points = face + np.stack([x, y, z], axis=1) @ frame.T
    p, w, n = np.asarray(axis_point, float), np.asarray(axis, float), frame[:, 0]
    arm = points - p
    along = (arm @ w)[:, None] * w
    radial = arm - along
    offset = (p + along - face) @ n
    travel = least_travel(offset, radial @ n, np.cross(w, radial) @ n, angle)
    return float(travel.min())


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

    def room(lean: float) -> float:
        return end_clearance(
            lean,
            gap=gap,
            radius=radius,
            face=face,
            frame=frame,
            axis_point=axis_point,
            axis=axis,
            angle=angle,
        )

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
