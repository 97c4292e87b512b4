"""Which tubes may be near something: by the boxes round them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from cagekit.cage.member import Member
from cagekit.geometry.arrays import Bools, Points, Vec


class Boxes(Struct, frozen=True, kw_only=True, eq=False):
    """Boxes round the outside of tubes: their low and high corners, ``(n, 3)`` mm each."""

    low: Points
    high: Points

    @classmethod
    def of(cls, tubes: Sequence[Member]) -> Boxes:
        """The boxes of some tubes."""
        rows = [m.path.box for m in tubes]
        radius = np.array([m.tube.outer_radius for m in tubes]).reshape(-1, 1)
        low, high = (np.array([r[k] for r in rows]).reshape(-1, 3) for k in (0, 1))
        return cls(low=low - radius, high=high + radius)

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
