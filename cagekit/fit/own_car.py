"""People against the car's own floor, tunnel, sills, dash and roof: whether the data can be true.

What the car sheet does not tell is not judged. The seat below the hips was measured by nobody; a
person sits no lower than the flesh under the hip joints lets him. Feet count where pedals say where
they are.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import numpy as np
from msgspec import Struct

from cagekit.car.shell import ShellSurface
from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import Vec
from cagekit.geometry.shapes import Capsule
from cagekit.people.posture import HIP_OVER_CHAIR, HIP_ROUND, Occupant, moved

ALONG = np.linspace(0.0, 1.0, 9)[:, None]
"""Places along a part of the body that are looked at, as shares."""
YIELDS = 25.0
"""A bucket seat presses hips, measured on a flat chair, narrower by this on either side, mm (from
memory)."""
ON_PEDALS = ("foot", "shin")
"""Last words of the parts that are where the pedals have them."""
LEFT_OUT = ("helmet", "neck", "chest")
"""Parts that are not looked at: the helmet is judged against all of the car, and the round ends of
neck and chest stand out of the body."""
CORNERS = np.array([(i, j, k) for i in (-1, 1) for j in (-1, 1) for k in (-1, 1)], dtype=float)


class CarRoom(Struct, frozen=True, kw_only=True, eq=False):
    """Least room between a part of a person or seat and a surface of the car.

    Args:
        value: the room, mm, negative where the part is beyond the surface.
        part: what comes nearest.
        surface: name of the surface.
        points: on the part's middle line, and on the surface, ``(3,)`` mm each.
    """

    value: float
    part: str
    surface: str
    points: tuple[Vec, Vec]


def car_rooms(who: Occupant, shell: Iterable[ShellSurface], *, pedals: bool) -> tuple[CarRoom, ...]:
    """Least room between a person and each surface of the car that may bound the seat.

    Args:
        who: the person, seated.
        shell: the car's surfaces, keep-outs left out.
        pedals: whether the person's feet are on pedals that were measured.
    """
    body = _rows(
        (n, _line(c), c.radius)
        for n, c in _body(who).items()
        if pedals or not n.endswith(ON_PEDALS)
    )
    seat = _rows(
        (name, solid.centre + (CORNERS * solid.half) @ solid.axes, 0.0)
        for name, solid in (("seat", who.seat_back), ("head rest", who.head_rest))
        if solid is not None
    )
    return tuple(
        _room(seat if s.name == "roof" else body, s)
        for s in shell
        if s.stood_on or s.name in ("tunnel", "dash", "roof") or s.name.endswith(" sill")
    )


def _body(who: Occupant) -> Mapping[str, Capsule]:
    parts = {n: c for n, c in who.parts().items() if n not in LEFT_OUT}
    half = max(who.body.hip_breadth / 2 - YIELDS - HIP_ROUND, 1.0)
    low = HIP_OVER_CHAIR - HIP_ROUND
    parts["hips"] = Capsule(
        moved(who.hip, dy=-half, dz=-low), moved(who.hip, dy=half, dz=-low), HIP_ROUND
    )
    return parts


def _line(part: Capsule) -> Points:
    return np.asarray(part.start + ALONG * (part.end - part.start))


_Rows = tuple[list[str], Points, Vec]


def _rows(parts: Iterator[tuple[str, Points, float]]) -> _Rows:
    """Names of parts, their points ``(n, 3)`` and the radius round each, ``(n,)`` mm, in a row."""
    each = list(parts)
    names = [name for name, points, _ in each for _ in points]
    radii = [np.full(len(points), radius) for _, points, radius in each]
    return names, np.concatenate([points for _, points, _ in each]), np.concatenate(radii)


def _room(rows: _Rows, surface: ShellSurface) -> CarRoom:
    names, points, radii = rows
    gaps = surface.solid.gap(points) - radii
    k = int(gaps.argmin())
    at = points[k]
    return CarRoom(
        value=float(gaps[k]),
        part=names[k],
        surface=surface.name,
        points=(at, surface.solid.nearest(at[None])[0]),
    )
