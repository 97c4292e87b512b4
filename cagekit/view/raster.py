"""A small rasteriser in numpy: triangles to pixels with a depth buffer, no loops over triangles.

Each triangle is cut into pixel rows, each row into pixels, all by repeated indices; the nearest
fragment of a pixel wins by one 64-bit maximum of depth and triangle.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cagekit.geometry.arrays import Array, Points
from cagekit.units.tolerance import NO_LENGTH, NOISE
from cagekit.view.camera import Camera
from cagekit.view.scene import SceneBody

Image = NDArray[np.uint8]
PixelRows = slice | NDArray[np.int64]
"""Some of the pixels that are covered."""

OVERSAMPLING = 2
"""Pixels rendered per pixel of the picture, in both directions."""
LIGHT = (-0.45, 0.65, 0.62)
"""Direction to the light in the picture's axes: right, up, to the viewer."""
AMBIENT, DIFFUSE, SHINE = 0.46, 0.60, 0.28
SQUARED = 3
"""How often the gloss is squared before it is cubed: its 24th power, quicker than a power is."""
FADE = 0.16
"""Share of white that the farthest point gets, so that near and far keep apart."""
INK = 0.30
"""What is left of a colour on an outline."""
STEP = 12.0
"""Jump in depth (mm) between neighbouring pixels that is drawn as an outline."""
STEEPEST = 0.04
"""Smallest part of a normal towards the viewer that counts when jumps are looked for."""
CHUNK = 1 << 13
"""Rows or pixels worked on at a time: what lies in a processor's own memory is quick."""
_DEPTH_BITS = 31


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ViewFrame:
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Render:
    """A finished picture: ``image`` ``(h, w, 3)`` and ``seen``, the body at each pixel or -1."""

    image: Image
    seen: NDArray[np.int32]


def render(
    scene: Sequence[SceneBody],
    frame: ViewFrame,
    *,
    paper: tuple[int, int, int],
    where: NDArray[np.bool_] | None = None,
) -> Render:
    """Draw bodies, shaded and with outlines, on plain ``paper``.

    Args:
        scene: bodies to be seen.
        frame: camera and size of the picture.
        paper: colour behind everything.
        where: the pixels ``(h, w)`` that are wanted; the others stay paper. All when left out.
    """
    k = OVERSAMPLING
    fine = ViewFrame(
        camera=frame.camera,
        width=frame.width * k,
        height=frame.height * k,
        scale=frame.scale * k,
        centre=frame.centre,
    )
    canvas = np.empty((fine.height * fine.width, 3), np.float32)
    canvas[:] = np.array(paper, np.float32) / 255
    seen = np.full(fine.height * fine.width, -1, np.int32)
    if scene:
        wanted = None if where is None else where.repeat(k, 0).repeat(k, 1)
        _paint(scene, fine, canvas, seen, wanted)
    big = canvas.reshape(frame.height, k, frame.width, k, 3)
    image = np.empty((frame.height, frame.width, 3), np.uint8)
    for rows in _chunks(frame.height, max(CHUNK // fine.width, 1)):
        total = sum(big[rows, i, :, j] for i in range(k) for j in range(k))
        image[rows] = np.asarray(total) * np.float32(255 / k**2) + np.float32(0.5)
    coarse = seen.reshape(fine.height, fine.width)[::k, ::k]
    return Render(image=image, seen=np.ascontiguousarray(coarse))


def _paint(
    scene: Sequence[SceneBody],
    frame: ViewFrame,
    canvas: NDArray[np.float32],
    seen: NDArray[np.int32],
    wanted: NDArray[np.bool_] | None,
) -> None:
    points, normals, tri, body = _gather(scene, frame)
    buffer = _depth_buffer(points, tri, frame)
    pixel = np.flatnonzero(buffer >= 0)
    if not len(pixel):
        return
    hit = (buffer[pixel] & 0xFFFFFFFF).astype(np.int64)
    owner = body[hit]
    seen[pixel] = owner
    flat = _weight_steps(points[tri])
    across = [normals[tri, k] for k in range(3)]
    heights, colours = points[tri, 2], np.array([b.colour for b in scene])
    depth, slope = np.empty(len(pixel)), np.empty(len(pixel))
    shade = np.empty((len(pixel), 3))
    beside = drawn = None
    if wanted is not None:
        beside = _widened(wanted).ravel()[pixel]
        drawn = np.flatnonzero(wanted.ravel()[pixel])
    for part in _chunks(len(pixel)):
        at, here = hit[part], pixel[part]
        weights = _weights(flat, at, _middle(here % frame.width), _middle(here // frame.width))
        depth[part] = _mix(heights, at, weights)
        rows: PixelRows = part
        if beside is not None:
            some = np.flatnonzero(beside[part])
            at, weights, rows = at[some], [w[some] for w in weights], some + part.start
        normal = _normals(across, at, weights)
        slope[rows] = 1.0 / np.maximum(normal[:, 2], STEEPEST) / frame.scale
        shade[rows] = _lit(colours[owner[rows]], normal)
    low, high = float(depth.min()), float(depth.max())
    ink = _outlines(pixel, owner, depth, slope, frame, drawn)
    for rows in _parts(drawn, len(pixel)):
        far = (FADE * (high - depth[rows]) / max(high - low, NO_LENGTH))[:, None]
        faded = shade[rows] * (1 - far) + far
        faded[ink[rows]] *= INK
        canvas[pixel[rows]] = faded


def _widened(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The pixels of a mask ``(h, w)`` and their neighbours."""
    out = mask.copy()
    out[1:] |= mask[:-1]
    out[:-1] |= mask[1:]
    out[:, 1:] |= mask[:, :-1]
    out[:, :-1] |= mask[:, 1:]
    return out


def _parts(rows: NDArray[np.int64] | None, count: int) -> Iterator[PixelRows]:
    """Some rows of ``count``, or all, in parts that are small enough."""
    if rows is None:
        yield from _chunks(count)
    else:
        yield from (rows[part] for part in _chunks(len(rows)))


def _chunks(count: int, size: int = CHUNK) -> Iterator[slice]:
    """Parts of a long row that are small enough for a processor's own memory."""
    return (slice(n, n + size) for n in range(0, count, size))


def _gather(
    scene: Sequence[SceneBody], frame: ViewFrame
) -> tuple[Array, Array, NDArray[np.int64], NDArray[np.int32]]:
    """All points in pixels, normals in the camera's axes, triangles that face the viewer."""
    points, normals, triangles, owner = [], [], [], []
    count = 0
    for n, body in enumerate(scene):
        p = frame.pixels(body.mesh.vertices)
        t = np.asarray(body.mesh.triangles, np.int64).reshape(-1, 3)
        a, b, c = p[t[:, 0]], p[t[:, 1]], p[t[:, 2]]
        # y runs down, so a triangle that faces the viewer turns the other way round
        facing = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) < (b[:, 1] - a[:, 1]) * (
            c[:, 0] - a[:, 0]
        )
        points.append(p)
        normals.append(np.asarray(body.mesh.normals, float) @ frame.camera.axes.T)
        triangles.append(t[facing] + count)
        owner.append(np.full(int(facing.sum()), n, np.int32))
        count += len(p)
    return (
        np.concatenate(points),
        np.concatenate(normals),
        np.concatenate(triangles),
        np.concatenate(owner),
    )


def _depth_buffer(points: Points, tri: NDArray[np.int64], frame: ViewFrame) -> NDArray[np.int64]:
    """Depth and triangle of the nearest fragment of each pixel in one number; -1 where empty."""
    buffer = np.full(frame.width * frame.height, -1, np.int64)
    if not len(tri):
        return buffer
    corners = points[tri]
    rows = _rows(corners, frame)
    edges, planes = _edges(corners), _planes(corners)
    low, high = float(points[:, 2].min()), float(points[:, 2].max())
    for part in _chunks(len(rows[0])):
        which, row = (r[part] for r in rows)
        left, right = _span(edges, which, _middle(row))
        first = np.clip(np.ceil(left - 0.5), 0, frame.width).astype(np.int64)
        last = np.clip(np.ceil(right - 0.5), 0, frame.width).astype(np.int64)
        span, column = _expand(np.maximum(last - first, 0))
        column = column + first[span]
        hit, y = which[span], row[span]
        z = _plane(planes, hit, _middle(column), _middle(y))
        level = (z - low) / max(high - low, NO_LENGTH) * (2**_DEPTH_BITS - 1)
        level = np.clip(level, 0, 2**_DEPTH_BITS - 1).astype(np.int64)
        np.maximum.at(buffer, y * frame.width + column, (level << 32) | hit)
    return buffer


def _middle(pixel: NDArray[np.int64]) -> Array:
    """Middle of a pixel."""
    return np.asarray(pixel + 0.5, float)


def _rows(corners: Array, frame: ViewFrame) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Triangle and pixel row of every row that a triangle covers."""
    y = corners[:, :, 1]
    first = np.clip(np.ceil(y.min(axis=1) - 0.5), 0, frame.height).astype(np.int64)
    last = np.clip(np.ceil(y.max(axis=1) - 0.5), 0, frame.height).astype(np.int64)
    which, step = _expand(np.maximum(last - first, 0))
    return which, first[which] + step


def _expand(counts: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Repeat each index ``counts`` times; return it and the running number within it."""
    index = np.repeat(np.arange(len(counts)), counts)
    begin = np.cumsum(counts) - counts
    return index, np.arange(len(index)) - begin[index]


def _edges(corners: Array) -> tuple[Array, ...]:
    """Lowest and middle corner ``(n, 2)`` and the slopes of the three sides ``(n,)``."""
    order = np.argsort(corners[:, :, 1], axis=1, kind="stable")[:, :, None]
    low, mid, high = np.moveaxis(np.take_along_axis(corners, order, axis=1)[:, :, :2], 1, 0)

    def slope(a: Array, b: Array) -> Array:
        rise = b[:, 1] - a[:, 1]
        return (b[:, 0] - a[:, 0]) / np.where(rise > NOISE, rise, np.inf)

    long, lower, upper = slope(low, high), slope(low, mid), slope(mid, high)
    return (
        mid[:, 1],
        low[:, 0] - long * low[:, 1],
        long,
        mid[:, 0] - lower * mid[:, 1],
        lower,
        mid[:, 0] - upper * mid[:, 1],
        upper,
    )


def _span(edges: Sequence[Array], which: NDArray[np.int64], y: Array) -> tuple[Array, Array]:
    """Left and right x at height ``y`` of triangle ``which``."""
    knee, long0, long, lower0, lower, upper0, upper = (e[which] for e in edges)
    one = long0 + long * y
    two = np.where(y > knee, upper0 + upper * y, lower0 + lower * y)
    return np.minimum(one, two), np.maximum(one, two)


def _planes(corners: Array) -> tuple[Array, Array, Array]:
    """Depth at the picture's corner, and what it gains to the right and downwards, ``(n,)``."""
    a, b, c = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    det = b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0]
    det = np.where(np.abs(det) < NOISE, np.inf, det)
    gx = (b[:, 2] * c[:, 1] - b[:, 1] * c[:, 2]) / det
    gy = (b[:, 0] * c[:, 2] - b[:, 2] * c[:, 0]) / det
    return a[:, 2] - gx * a[:, 0] - gy * a[:, 1], gx, gy


def _plane(planes: Sequence[Array], which: NDArray[np.int64], x: Array, y: Array) -> Array:
    """Depth of triangle ``which`` at ``x``, ``y``."""
    base, gx, gy = (p[which] for p in planes)
    return np.asarray(base + gx * x + gy * y)


def _weight_steps(corners: Array) -> tuple[Array, ...]:
    """Corner of each triangle, and what two weights gain to the right and downwards, ``(n,)``."""
    a, b, c = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    det = b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0]
    det = np.where(np.abs(det) < NOISE, np.inf, det)
    return a[:, 0], a[:, 1], c[:, 1] / det, c[:, 0] / det, b[:, 0] / det, b[:, 1] / det


def _weights(steps: Sequence[Array], hit: NDArray[np.int64], x: Array, y: Array) -> list[Array]:
    """Barycentric weights, three times ``(n,)``, of pixels in the triangles they hit."""
    ax, ay, bx, by, cy, cx = (s[hit] for s in steps)
    right, down = x - ax, y - ay
    wb = bx * right - by * down
    wc = cy * down - cx * right
    return [1 - wb - wc, wb, wc]


def _mix(values: Array, hit: NDArray[np.int64], weights: Sequence[Array]) -> Array:
    """Values at the corners ``(m, 3)`` of triangles, in between ``(n,)``."""
    a, b, c = (values[:, k][hit] * w for k, w in enumerate(weights))
    return np.asarray(a + b + c)


def _normals(across: Sequence[Array], hit: NDArray[np.int64], weights: Sequence[Array]) -> Array:
    x, y, z = (_mix(values, hit, weights) for values in across)
    size = np.maximum(np.sqrt(x * x + y * y + z * z), NO_LENGTH)
    return np.column_stack([x / size, y / size, z / size])


def _lit(colour: Array, normal: Array) -> Array:
    """Colours ``(n, 3)`` in the light."""
    light = np.array(LIGHT) / np.linalg.norm(LIGHT)
    lit = np.maximum(normal @ light, 0.0)
    half = light + np.array([0.0, 0.0, 1.0])
    gloss = np.maximum(normal @ (half / np.linalg.norm(half)), 0.0)
    for _ in range(SQUARED):
        gloss *= gloss
    gloss = gloss * gloss * gloss
    out = colour * (AMBIENT + DIFFUSE * lit)[:, None] + SHINE * gloss[:, None]
    return np.asarray(np.minimum(out, 1.0))


def _outlines(
    pixel: NDArray[np.int64],
    body: NDArray[np.int32],
    depth: Array,
    slope: Array,
    frame: ViewFrame,
    drawn: NDArray[np.int64] | None = None,
) -> NDArray[np.bool_]:
    """Which covered pixels are drawn as an outline.

    A pixel is when a neighbour shows another body (or none), or the same one further back than
    its slope explains, and the pixel is the nearer of the two: so the line stays thin and belongs
    to the body in front.

    Args:
        pixel: covered pixels, by their number in the frame.
        body: what each shows.
        depth: how near it is, mm.
        slope: how much depth its surface gains from pixel to pixel, mm.
        frame: the picture's frame.
        drawn: rows of those that are looked at; all when left out.
    """
    numbers = np.arange(len(pixel), dtype=np.int32)
    where = np.full(frame.width * frame.height + 1, -1, np.int32)
    where[pixel] = numbers
    ink = np.zeros(len(pixel), bool)
    for part in _parts(drawn, len(pixel)):
        here, number = pixel[part], numbers[part]
        column, near, own, lean = here % frame.width, depth[part], body[part], slope[part]
        for step, at_edge in (
            (1, column == frame.width - 1),
            (-1, column == 0),
            (frame.width, here >= frame.width * (frame.height - 1)),
            (-frame.width, here < frame.width),
        ):
            # the picture's edge counts as covered by the pixel itself: nothing ends there
            other = np.where(at_edge, number, where[np.where(at_edge, -1, here + step)])
            empty = other < 0
            jump = near - depth[other]
            edge = (own != body[other]) | (jump > STEP + np.maximum(lean, slope[other]))
            ink[part] |= empty | (edge & (jump >= 0))
    return ink
