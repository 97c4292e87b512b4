"""The half profile of a round part: what is turned outside and bored inside, from axis to axis."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from msgspec import Struct

from cagekit.units.tolerance import SAME_POINT


class TurnedSide(Struct, frozen=True):
    """A stretch of a profile: from ``(z0, r0)`` to ``(z1, r1)``, mm, metal on its left.

    A flat where z stays, else a cylinder or a cone; an outside rises along z, a bore falls.
    """

    z0: float
    r0: float
    z1: float
    r1: float

    @property
    def flat(self) -> bool:
        """Whether it is an end or a shoulder."""
        return abs(self.z1 - self.z0) < SAME_POINT

    @property
    def outside(self) -> bool:
        """Whether it is an outside, not a bore."""
        return self.z1 > self.z0

    def holds(self, z: float) -> bool:
        """Whether a place along the axis lies on it."""
        return not self.flat and min(self.z0, self.z1) <= z <= max(self.z0, self.z1)


def sides(
    turned: Sequence[tuple[float, float, float]], bored: Sequence[tuple[float, float, float]]
) -> Iterator[TurnedSide]:
    """The profile from the axis at z = 0 round to the axis again.

    Args:
        turned: stages from z = 0 up: radius at the near and the far end, length, mm.
        bored: stages of a blind bore from the far end down: the same.
    """
    points = [(0.0, 0.0)]
    z = 0.0
    for near, far, length in turned:
        points += [(z, near), (z + length, far)]
        z += length
    for near, far, length in bored:
        points += [(z, near), (z - length, far)]
        z -= length
    points.append((z, 0.0))
    for (z0, r0), (z1, r1) in pairwise(points):
        if max(abs(z1 - z0), abs(r1 - r0)) > SAME_POINT:
            yield TurnedSide(z0, r0, z1, r1)
