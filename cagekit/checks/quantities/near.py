"""Which tubes may be near something: by the boxes round them, each laid once."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
from msgspec import Struct

from cagekit.cage.cage import Cage
from cagekit.cage.member import Member
from cagekit.geometry.arrays import Bools, Points, even, extent
from cagekit.geometry.centre_line import Vec

STEP = 20.0
"""Distance of the points that a tube's box is made of, mm."""


class Boxes(Struct, frozen=True, kw_only=True, eq=False):
    """Boxes round the outside of tubes: their low and high corners, ``(n, 3)`` mm each."""

    low: Points
    high: Points

    @classmethod
    def of(cls, cage: Cage, tubes: Sequence[Member]) -> Boxes:
        """The boxes of a cage's tubes.

        Args:
            cage: the cage.
            tubes: some of it.
        """
        rows = [cage.kept.once(("tube's box", m), partial(_box, m)) for m in tubes]
        low, high = (np.array([r[k] for r in rows]).reshape(-1, 3) for k in (0, 1))
        return cls(low=low, high=high)

    def near(self, low: Points, high: Points, reach: Vec | float) -> Bools:
        """Which of the tubes come near other boxes, ``(m, n)``.

        Args:
            low: the others' low corners, ``(m, 3)`` mm.
            high: their high corners.
            reach: how far from each is near, mm or ``(m,)`` mm.
        """
        reach = np.reshape(reach, (-1, 1, 1))
        met = (self.low < high[:, None] + reach) & (self.high > low[:, None] - reach)
        return np.asarray(met[..., 0] & met[..., 1] & met[..., 2])


def _box(m: Member) -> tuple[Vec, Vec]:
    points = m.path.points(even(m.path.length, int(m.path.length / STEP) + 2))
    # between two points a bend stands out by less than half of their distance
    reach = m.tube.outer_radius + STEP / 2
    low, high = extent(points)
    return low - reach, high + reach
