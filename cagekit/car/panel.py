"""Flat panels of the car: bulkhead, firewall, window, bonnet; where tubes pass through them."""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from cagekit.geometry.arrays import Vec2
from cagekit.geometry.centre_line import CentreLine, Vec, unit, vec
from cagekit.geometry.shapes import Prism, polygon_distance
from cagekit.inputs.keepouts import CarPanel
from cagekit.units.tolerance import SAME_POINT

HALF = 0.5
"""Half of a panel's thickness, mm: sheet metal or glass, thin beside a tube."""
STEP = 5.0
"""Spacing of the spots at which a tube is looked at, mm."""


class Passing(Struct, frozen=True, kw_only=True, eq=False):
    """Where a tube's axis passes through a panel.

    Attributes:
        station: along the tube from end a, mm.
        point: in car axes, ``(3,)`` mm.
        place: in the panel from its first corner, along the first edge and square to it,
            ``(2,)`` mm.
        way: direction of the tube there in the panel's frame, ``(3,)``.
    """

    station: float
    point: Vec
    place: Vec2
    way: Vec


def flat_panel(panel: CarPanel) -> Prism:
    """The panel as a flat sheet, its corners laid on the plane that they are judged by.

    Its origin is the first corner, its directions are from there to the second, the one square to
    it on the side of the other corners, and the sheet's normal.
    """
    corners = np.array(panel.corners, dtype=float)
    normal, middle = (vec(v) for v in panel.plane)
    flat = corners - np.multiply.outer((corners - middle) @ normal, normal)
    along = unit(vec(flat[1] - flat[0]))
    across = unit(vec(np.cross(normal, along)))
    if float(((flat - flat[0]) @ across).mean()) < 0.0:
        across, normal = -across, -normal
    frame = np.array([along, across, normal])
    outline = np.asarray((flat - flat[0]) @ frame[:2].T)
    return Prism(vec(flat[0]), frame, outline, (-HALF, HALF))


def passages(flat: Prism, path: CentreLine) -> tuple[Passing, ...]:
    """Where the axis of a tube passes through a sheet, from end a on.

    Args:
        flat: the sheet.
        path: the tube's centre line.
    """
    stations = np.linspace(0.0, path.length, max(int(path.length / STEP), 1) + 1)
    side = flat.local(path.points(stations))[:, 2]
    out = []
    for i in np.flatnonzero((side[:-1] <= 0.0) != (side[1:] <= 0.0)):
        low, high = float(stations[i]), float(stations[i + 1])
        below = side[i] <= 0.0
        while high - low > SAME_POINT:
            middle = (low + high) / 2
            here = flat.local(path.points(np.array([middle])))[0, 2] <= 0.0
            low, high = (middle, high) if here == below else (low, middle)
        spot = path.spot((low + high) / 2)
        place = flat.local(spot.point[None])[0, :2]
        if polygon_distance(place[None], flat.outline)[0][0] < 0.0:
            out.append(
                Passing(
                    station=(low + high) / 2,
                    point=spot.point,
                    place=place,
                    way=vec(flat.frame @ spot.tangent),
                )
            )
    return tuple(out)
