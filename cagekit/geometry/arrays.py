"""Arrays by what they hold; numpy checks no shape, so the name tells it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
"""Numbers of any shape."""
Vec = NDArray[np.float64]
"""One point or direction, ``(3,)``."""
Vec2 = NDArray[np.float64]
"""One point or direction of a plane, ``(2,)``."""
Points = NDArray[np.float64]
"""Points or directions in rows, ``(n, 3)``."""
Points2 = NDArray[np.float64]
"""Points of a plane in rows, ``(n, 2)``."""
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]


def rows_along(rows: Array, way: Vec) -> Array:
    """Products of rows ``(..., 3)`` with one vector ``(3,)``.

    Each row's is the same to the last bit whatever rows stand beside it, which ``@`` does not
    promise.
    """
    x, y, z = way.tolist()
    return np.asarray(rows[..., 0] * x + rows[..., 1] * y + rows[..., 2] * z)


def cross3(a: Array, b: Array) -> Array:
    """Cross product of two vectors ``(3,)``; the general one takes ten times as long."""
    x, y, z = a.tolist()
    u, v, w = b.tolist()
    return np.array([y * w - z * v, z * u - x * w, x * v - y * u])
