"""Which triangle is seen at each pixel: a depth buffer in numpy, no loops over triangles.

Each triangle is cut at its middle corner into two halves, each half into pixel rows, each row into
pixels, all by repeated numbers; the nearest fragment of a pixel wins by one 64-bit maximum of
depth and triangle.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from cagekit.geometry.arrays import Array, Ints
from cagekit.units.tolerance import NO_LENGTH, NOISE
from cagekit.view.camera import Camera
from cagekit.view.scene import SceneBody

CHUNK = 1 << 13
"""Rows or pixels worked on at a time: what lies in a processor's own memory is quick."""
LEVELS = 2**30 - 1
"""Steps of depth that are told apart."""
_NUMBER = 0xFFFFFFFF
"""Bits of the triangle's number, below those of the level."""


class ViewFrame(Struct, frozen=True, kw_only=True, eq=False):
    """A picture's frame.

    ``width`` x ``height`` pixels, ``scale`` pixels per mm, centred on ``centre`` ``(2,)`` mm in
    the camera's right and up.
    """

    camera: Camera
    width: int
    height: int
    scale: float
    centre: tuple[float, float]

    def pixels(self, points: object) -> Array:
        """Return pixel x (right), y (down) and depth (mm) of points ``(n, 3)``."""
        p = self.camera.project(points)
        x = (p[:, 0] - self.centre[0]) * self.scale + self.width / 2
        y = self.height / 2 - (p[:, 1] - self.centre[1]) * self.scale
        return np.column_stack([x, y, p[:, 2]])

    def times(self, k: int) -> ViewFrame:
        """The same picture of ``k`` times as many pixels in both directions."""
        return ViewFrame(
            camera=self.camera,
            width=self.width * k,
            height=self.height * k,
            scale=self.scale * k,
            centre=self.centre,
        )


class Facing(Struct, frozen=True, kw_only=True, eq=False):
    """What of a scene faces the viewer.

    ``corners`` ``(m, 3, 3)`` of triangles: pixel x, y and depth; ``normals`` ``(m, 3, 3)`` at them
    in the camera's axes; ``body`` ``(m,)``, whose they are. ``low`` and ``high`` bound the depth.
    """

    corners: Array
    normals: Array
    body: NDArray[np.int32]
    low: float
    high: float

    @property
    def step(self) -> float:
        """Depth from level to level, mm."""
        return max(self.high - self.low, NO_LENGTH) / LEVELS


def level_of(buffer: Ints) -> NDArray[np.int32]:
    """Level of depth of pixels, from the farthest point of the scene; -1 where nothing is."""
    return (buffer >> 32).astype(np.int32)


def number_of(buffer: Ints) -> Ints:
    """Number of the triangle seen at pixels where something is."""
    return buffer & _NUMBER


def facing(scene: Sequence[SceneBody], frame: ViewFrame) -> Facing:
    """The triangles of bodies that face the viewer, in pixels of a frame."""
    corners, normals, owner = [], [], []
    low, high = np.inf, -np.inf
    for n, body in enumerate(scene):
        p = frame.pixels(body.mesh.vertices)
        t = np.asarray(body.mesh.triangles, np.int64).reshape(-1, 3)
        x, y = p[:, 0][t], p[:, 1][t]
        # y runs down, so a triangle that faces the viewer turns the other way round
        seen = t[
            (x[:, 1] - x[:, 0]) * (y[:, 2] - y[:, 0]) < (y[:, 1] - y[:, 0]) * (x[:, 2] - x[:, 0])
        ]
        corners.append(p[seen])
        normals.append((np.asarray(body.mesh.normals, float) @ frame.camera.axes.T)[seen])
        owner.append(np.full(len(seen), n, np.int32))
        if len(p):
            low, high = min(low, float(p[:, 2].min())), max(high, float(p[:, 2].max()))
    return Facing(
        corners=np.concatenate(corners),
        normals=np.concatenate(normals),
        body=np.concatenate(owner),
        low=low,
        high=high,
    )


def nearest(shown: Facing, frame: ViewFrame, those: slice = slice(None)) -> Ints:
    """Return the depth buffer of a frame, ``(height, width)``: level and number of what is seen.

    The greater of two buffers of one scene is the buffer of both.

    Args:
        shown: what faces the viewer.
        frame: the picture's frame.
        those: triangles that are drawn; all when left out.
    """
    buffer = np.full(frame.width * frame.height, -1, np.int64)
    halves = _halves(shown.corners[those], those.start or 0, frame)
    depth = _planes(shown)
    for part in halves.parts():
        _fill(buffer, part, depth, frame.width)
    return buffer.reshape(frame.height, frame.width)


def chunks(count: int) -> Iterator[slice]:
    """Parts of a long row that are small enough for a processor's own memory."""
    return (slice(n, n + CHUNK) for n in range(0, count, CHUNK))


# -- triangles to rows, rows to pixels -------------------------------------------------------------


class _Halves(Struct, frozen=True, kw_only=True, eq=False):
    """Halves of triangles: their rows, and where each row begins and ends; all ``(n,)``.

    ``first`` and ``count`` of rows, ``number`` of the triangle; x of the left side in row 0 and
    what it gains from row to row, in pixel numbers that a fragment rounds up to; the same of the
    right.
    """

    first: Ints
    count: Ints
    number: Ints
    left: Array
    lean_left: Array
    right: Array
    lean_right: Array

    def parts(self) -> Iterator[_Halves]:
        """Some at a time, of about ``CHUNK`` rows."""
        total = np.cumsum(self.count)
        if len(total):
            marks = np.searchsorted(total, np.arange(CHUNK, total[-1], CHUNK))
            edges = np.unique([0, *marks, len(total)])
            for begin, end in pairwise(int(e) for e in edges):
                yield self.some(slice(begin, end))

    def some(self, which: slice | NDArray[np.bool_]) -> _Halves:
        """Some of them."""
        return _Halves(
            first=self.first[which],
            count=self.count[which],
            number=self.number[which],
            left=self.left[which],
            lean_left=self.lean_left[which],
            right=self.right[which],
            lean_right=self.lean_right[which],
        )


def _halves(corners: Array, first_number: int, frame: ViewFrame) -> _Halves:
    """Cut triangles at the height of their middle corner; those without a row are left out."""
    order = np.argsort(corners[:, :, 1], axis=1, kind="stable")
    rank = np.arange(len(corners))[:, None]
    x, y = corners[:, :, 0][rank, order], corners[:, :, 1][rank, order]
    low, mid, high = np.moveaxis(np.dstack([x, y]), 1, 0)
    # the pixel's middle decides
    rows = np.clip(np.ceil(y - 0.5), 0, frame.height).astype(np.int64)
    long = _side(low, high)
    bulges_right = mid[:, 0] > long[0] + long[1] * (mid[:, 1] - 0.5) + 0.5
    left, right = [], []
    for short in (_side(low, mid), _side(mid, high)):
        left.append([np.where(bulges_right, a, b) for a, b in zip(long, short, strict=True)])
        right.append([np.where(bulges_right, b, a) for a, b in zip(long, short, strict=True)])
    number = np.arange(first_number, first_number + len(corners))
    halves = _Halves(
        first=np.concatenate([rows[:, 0], rows[:, 1]]),
        count=np.concatenate([rows[:, 1] - rows[:, 0], rows[:, 2] - rows[:, 1]]),
        number=np.concatenate([number, number]),
        left=np.concatenate([left[0][0], left[1][0]]),
        lean_left=np.concatenate([left[0][1], left[1][1]]),
        right=np.concatenate([right[0][0], right[1][0]]),
        lean_right=np.concatenate([right[0][1], right[1][1]]),
    )
    return halves.some(halves.count > 0)


def _side(a: Array, b: Array) -> tuple[Array, Array]:
    """A side from ``a`` down to ``b``: x less half a pixel at the middle of row 0, and its lean."""
    rise = b[:, 1] - a[:, 1]
    lean = (b[:, 0] - a[:, 0]) / np.where(rise > NOISE, rise, np.inf)
    return a[:, 0] - lean * a[:, 1] + 0.5 * lean - 0.5, lean


def _planes(shown: Facing) -> tuple[Array, Array, Array]:
    """Level at the middle of pixel 0, 0, and what it gains to the right and downwards, ``(m,)``."""
    a = shown.corners[:, 0]
    gx, gy = gains(shown.corners, shown.corners[:, :, 2])
    base = a[:, 2] - shown.low + gx * (0.5 - a[:, 0]) + gy * (0.5 - a[:, 1])
    return base / shown.step, gx / shown.step, gy / shown.step


def gains(corners: Array, values: Array) -> tuple[Array, Array]:
    """What a value gains from pixel to pixel in a triangle, to the right and downwards.

    Args:
        corners: of triangles ``(m, 3, 3)``: pixel x, y first.
        values: at the corners ``(m, 3, ...)``.
    """
    b, c = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    det = b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0]
    det = np.where(np.abs(det) < NOISE, np.inf, det)
    wide = (slice(None), *[None] * (values.ndim - 2))
    to_b, to_c = values[:, 1] - values[:, 0], values[:, 2] - values[:, 0]
    right = to_b * (c[:, 1] / det)[wide] - to_c * (b[:, 1] / det)[wide]
    down = to_c * (b[:, 0] / det)[wide] - to_b * (c[:, 0] / det)[wide]
    return right, down


def _fill(buffer: Ints, halves: _Halves, depth: Sequence[Array], width: int) -> None:
    """Draw some halves into the buffer."""
    count = halves.count
    begin = np.cumsum(count) - count
    y = np.repeat(halves.first - begin, count)
    y += np.arange(len(y))
    first = _column(halves.left, halves.lean_left, count, y, width)
    span = _column(halves.right, halves.lean_right, count, y, width)
    span -= first
    some = np.flatnonzero(span > 0)
    y, first, span = y[some], first[some], span[some]
    number = np.repeat(halves.number, count)[some]
    base, gx, gy = (d[number] for d in depth)
    begin = np.cumsum(span) - span
    base += gx * (first - begin) + gy * y
    run = np.arange(int(span.sum()))
    level = np.repeat(gx, span)
    level *= run
    level += np.repeat(base, span)
    np.clip(level, 0.0, LEVELS, out=level)
    key = level.astype(np.int64)
    key <<= 32
    key |= np.repeat(number, span)
    run += np.repeat(y * width + first - begin, span)
    np.maximum.at(buffer, run, key)


def _column(at: Array, lean: Array, count: Ints, y: Ints, width: int) -> Ints:
    """First pixel beyond a side, in each row."""
    x = np.repeat(lean, count)
    x *= y
    x += np.repeat(at, count)
    np.ceil(x, out=x)
    np.clip(x, 0, width, out=x)
    return x.astype(np.int64)
