"""Arrays by what they hold; numpy checks no shape, so the name tells it."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite, sqrt

import numpy as np
from numpy.typing import NDArray

from cagekit.units.tolerance import NEGLIGIBLE, ROUNDING

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


def even(length: float, number: int) -> Vec:
    """So many even steps from 0 to ``length``, two at least, as the general way has them.

    That takes three times as long.
    """
    out = np.asarray(np.arange(number) * (length / (number - 1)))
    out[-1] = length
    return out


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


def dot3(a: Sequence[float], b: Sequence[float]) -> float:
    """Product of two vectors of plain numbers; numpy takes longer to begin."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def size3(a: Array) -> float:
    """Length of one vector ``(3,)``, as the general norm has it; that takes three times as long."""
    return sqrt(a @ a)


def as_rotation(turn: Array) -> Array:
    """The rotation ``(3, 3)`` that a matrix stands for, or its mirror image if it mirrors.

    One that is a rotation to all digits that count is given back as it is; where digits were lost
    on the way, as in a text, it is the nearest one.

    Raises:
        ValueError: it is none, even so.
    """
    off = float(np.abs(turn @ turn.T - np.eye(3)).max())
    if not off <= NEGLIGIBLE:
        by = f" by {off:.1e}" if isfinite(off) else ""
        raise ValueError(f"it stretches or shears{by} (allowed: {NEGLIGIBLE:.0e})")
    if off <= ROUNDING:
        return turn
    left, _, right = np.linalg.svd(turn)
    return np.asarray(left @ right)


def dot_rows(a: Array, b: Array) -> Array:
    """Products of rows ``(..., 3)`` with rows, the same to the last bit whatever stands beside."""
    return np.asarray(a[..., 0] * b[..., 0] + a[..., 1] * b[..., 1] + a[..., 2] * b[..., 2])


def size_rows(a: Array) -> Array:
    """Lengths of rows ``(..., 3)``, the same to the last bit whatever stands beside."""
    return np.sqrt(dot_rows(a, a))


def cross_rows(a: Points, b: Points) -> Points:
    """Cross products of rows ``(n, 3)`` with rows."""
    (x, y, z), (u, v, w) = a.T, b.T
    return np.ascontiguousarray(np.array([y * w - z * v, z * u - x * w, x * v - y * u]).T)


def dot_columns(a: Array, b: Array) -> Vec:
    """Products of columns ``(3, n)``, the same to the last bit whatever stands beside."""
    return np.asarray(a[0] * b[0] + a[1] * b[1] + a[2] * b[2])


def cross_columns(a: Array, b: Array) -> Array:
    """Cross products of columns ``(3, n)``."""
    return np.array(
        [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
    )


def extent(points: Points) -> tuple[Vec, Vec]:
    """Low and high corner ``(3,)`` of the box round points ``(n, 3)``, one at least.

    By columns: numpy takes five times as long to run down rows of three.
    """
    columns = points.T
    return np.array([c.min() for c in columns]), np.array([c.max() for c in columns])
