"""Bodies that turn together: what swings out when a door bar is opened."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct
from numpy.typing import ArrayLike

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.inputs.car import Car


class Pivot(Struct, frozen=True, kw_only=True, eq=False):
    """Bodies that turn together.

    Args:
        bar: the swing-out bar.
        name: of the node that turns and of its animation.
        point: a point of the axis, ``(3,)`` mm.
        axis: unit vector of the axis, ``(3,)``; positive angles are right-handed about it.
        angles: positions, rad, one a second from the start; each within half a turn of the last.
        bodies: names of what turns.
    """

    bar: str
    name: str
    point: ArrayLike
    axis: ArrayLike
    angles: tuple[float, ...]
    bodies: frozenset[str]


def door_pivots(cage: Cage, car: Car | None) -> tuple[Pivot, ...]:
    """Closed, half open and open of every swing-out bar, and shut again."""
    if not cage.doors:
        return ()
    from cagekit.swing.motion import sweep

    out = []
    for door in cage.doors:
        swept = sweep(cage, car, door)
        sleeves = {p.id for p in cage.hardware if p.kind == "sleeve" and p.id in door.hardware}
        out.append(
            Pivot(
                bar=door.bar,
                name=f"{door.bar}_open",
                point=door.hinge.origin,
                axis=door.hinge.pin,
                angles=(0.0, swept.half, swept.full, swept.half, 0.0),
                bodies=frozenset({door.bar, *sleeves}),
            )
        )
    return tuple(out)
