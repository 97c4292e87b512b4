"""Plain solids that tubes must keep away from: box, prism, cylinder, capsule.

Each tells signed distances of points: positive outside, negative inside, mm.
Frame: car axes, mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from cagekit.errors import GeometryError
from cagekit.geometry.path import Vec, perpendicular, unit, vec


class Solid(Protocol):
    """A body with a signed distance; ``convex`` lets the search take a short cut."""

    @property
    def convex(self) -> bool:
        """Whether every line between two of its points stays inside."""

    def distance(self, points: Vec) -> Vec:
        """Signed distances (mm) of points ``(n, 3)``, shape ``(n,)``."""


@dataclass(frozen=True, slots=True, eq=False)
class Box:
    """A box about ``centre`` with half sizes ``half`` along the rows of ``axes``.

    Args:
        centre: ``(3,)`` mm.
        half: half lengths, ``(3,)`` mm.
        axes: unit directions, ``(3, 3)``.
    """

    centre: Vec
    half: Vec
    axes: Vec

    @classmethod
    def between(cls, low: ArrayLike, high: ArrayLike) -> Box:
        """The box along the car's axes between two opposite corners ``(3,)`` mm."""
        a, b = np.asarray(low, float), np.asarray(high, float)
        return cls(vec(0.5 * (a + b)), vec(0.5 * np.abs(b - a)), np.eye(3))

    @property
    def convex(self) -> bool:
        """True: a box has no hollows."""
        return True

    def distance(self, points: Vec) -> Vec:
        """Signed distances (mm) of points ``(n, 3)``, shape ``(n,)``."""
        beyond = np.abs((points - self.centre) @ self.axes.T) - self.half
        outside = np.linalg.norm(np.maximum(beyond, 0.0), axis=1)
        return np.asarray(outside + np.minimum(beyond.max(axis=1), 0.0))


@dataclass(frozen=True, slots=True, eq=False)
class Cylinder:
    """A round bar with flat ends from ``start`` to ``end``, ``(3,)`` mm each."""

    start: Vec
    end: Vec
    radius: float

    @property
    def convex(self) -> bool:
        """True: a round bar has no hollows."""
        return True

    def distance(self, points: Vec) -> Vec:
        """Signed distances (mm) of points ``(n, 3)``, shape ``(n,)``."""
        axis = self.end - self.start
        length = float(np.linalg.norm(axis))
        w = points - self.start
        along = w @ (axis / length)
        around = np.sqrt(np.maximum(np.einsum("ij,ij->i", w, w) - along**2, 0.0)) - self.radius
        over = np.abs(along - 0.5 * length) - 0.5 * length
        return _combined(around, over)


@dataclass(frozen=True, slots=True, eq=False)
class Capsule:
    """A round bar with ball ends about the segment ``start`` to ``end``; a ball when they agree."""

    start: Vec
    end: Vec
    radius: float

    @property
    def convex(self) -> bool:
        """True: a capsule has no hollows."""
        return True

    def distance(self, points: Vec) -> Vec:
        """Signed distances (mm) of points ``(n, 3)``, shape ``(n,)``."""
        axis = self.end - self.start
        length2 = float(axis @ axis)
        w = points - self.start
        t = np.clip(w @ axis / length2, 0.0, 1.0) if length2 > 0 else np.zeros(len(points))
        return np.asarray(np.linalg.norm(w - t[:, None] * axis, axis=1) - self.radius)


@dataclass(frozen=True, slots=True, eq=False)
class Prism:
    """A polygon ``(n, 2)`` pushed from ``low`` to ``high`` along an axis, mm.

    Args:
        outline: corners in order, closed by itself, in the plane of ``x`` and ``y``.
        origin: where the plane's coordinates start, ``(3,)``.
        x: unit direction of the outline's first coordinate, ``(3,)``.
        y: unit direction of its second, square to ``x``; the prism runs along ``x`` cross ``y``.
        low: where the prism starts along that axis, mm from ``origin``.
        high: where it ends, mm.
    """

    outline: Vec
    origin: Vec
    x: Vec
    y: Vec
    low: float
    high: float

    @classmethod
    def along(
        cls, outline: ArrayLike, axis: ArrayLike, *, origin: ArrayLike, low: float, high: float
    ) -> Prism:
        """A prism along ``axis``, its outline's ``x`` level where that is possible.

        Raises:
            GeometryError: fewer than three corners, or no height.
        """
        corners = np.asarray(outline, float)
        if corners.ndim != 2 or corners.shape[0] < 3 or corners.shape[1] != 2:
            raise GeometryError("prism", f"needs at least three corners, got {corners.shape}.")
        if not high > low:
            raise GeometryError("prism", f"height from {low:g} to {high:g} mm is not positive.")
        z = unit(axis)
        y = perpendicular(z)
        return cls(corners, vec(origin), vec(np.cross(y, z)), y, low, high)

    @property
    def convex(self) -> bool:
        """Whether the outline turns one way only."""
        step = np.roll(self.outline, -1, axis=0) - self.outline
        after = np.roll(step, -1, axis=0)
        turn = step[:, 0] * after[:, 1] - step[:, 1] * after[:, 0]
        around = np.arctan2(turn, np.einsum("ij,ij->i", step, after)).sum()
        return bool((turn >= 0).all() or (turn <= 0).all()) and abs(abs(around) - 2 * np.pi) < 1e-6

    def distance(self, points: Vec) -> Vec:
        """Signed distances (mm) of points ``(n, 3)``, shape ``(n,)``."""
        w = points - self.origin
        flat = np.stack([w @ self.x, w @ self.y], axis=1)
        height = w @ np.cross(self.x, self.y)
        over = np.maximum(self.low - height, height - self.high)
        return _combined(_polygon_distance(self.outline, flat), over)


def _combined(around: Vec, over: Vec) -> Vec:
    """Signed distance of a body with a section and two flat ends."""
    outside = np.hypot(np.maximum(around, 0.0), np.maximum(over, 0.0))
    return np.asarray(outside + np.minimum(np.maximum(around, over), 0.0))


def _polygon_distance(outline: Vec, points: Vec) -> Vec:
    """Signed distance of points ``(n, 2)`` from a polygon ``(m, 2)``, negative inside."""
    step = np.roll(outline, -1, axis=0) - outline
    w = points[:, None, :] - outline
    t = np.einsum("nmk,mk->nm", w, step) / np.einsum("mk,mk->m", step, step)
    away = w - np.clip(t, 0.0, 1.0)[..., None] * step
    nearest = np.sqrt(np.einsum("nmk,nmk->nm", away, away).min(axis=1))
    # even-odd rule: count the edges that a ray along +x crosses
    y, y0, y1 = points[:, 1:2], outline[:, 1], outline[:, 1] + step[:, 1]
    spans = (y0 > y) != (y1 > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        cross = outline[:, 0] + (y - y0) * step[:, 0] / step[:, 1]
    inside = (np.where(spans, points[:, :1] < cross, False).sum(axis=1) % 2).astype(bool)
    return np.asarray(np.where(inside, -nearest, nearest))


__all__ = ["Box", "Capsule", "Cylinder", "Prism", "Solid"]
