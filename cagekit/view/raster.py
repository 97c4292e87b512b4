"""A small rasteriser in numpy: bodies shaded and with outlines, smooth at every edge.

What is seen is found at twice the size of the picture (:mod:`cagekit.view.nearest`). A pixel whose
four samples show one side of one body, without an outline, is shaded once, the others at each.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from cagekit.geometry.arrays import Array, Ints
from cagekit.units.tolerance import NO_LENGTH
from cagekit.view.nearest import (
    LEVELS,
    Facing,
    ViewFrame,
    chunks,
    facing,
    gains,
    level_of,
    nearest,
    number_of,
)
from cagekit.view.scene import SceneBody

Image = NDArray[np.uint8]
Mask = NDArray[np.bool_]
Spots = tuple[NDArray[Any], NDArray[Any]]
"""Column and row of samples in the frame, from the middle of the first."""

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
FLAT = 1 / 256
"""Parts of unit normals that differ by less are of one flat side."""
STRIP = 32
"""Rows of pixels worked on at a time: what lies in a processor's own memory is quick."""


class Render(Struct, frozen=True, kw_only=True, eq=False):
    """A finished picture: ``image`` ``(h, w, 3)`` and ``seen``, the body at each pixel or -1."""

    image: Image
    seen: NDArray[np.int32]


def render(scene: Sequence[SceneBody], frame: ViewFrame, *, paper: tuple[int, int, int]) -> Render:
    """Draw bodies, shaded and with outlines, on plain ``paper``.

    Args:
        scene: bodies to be seen.
        frame: camera and size of the picture.
        paper: colour behind everything.
    """
    picture = _blank(frame, paper)
    if scene:
        fine = frame.times(2)
        shown = facing(scene, fine)
        _Painter(scene, shown, fine).paint(picture, nearest(shown, fine))
    return picture


def render_both(
    front: Sequence[SceneBody],
    behind: Sequence[SceneBody],
    frame: ViewFrame,
    *,
    paper: tuple[int, int, int],
) -> tuple[Render, Render]:
    """Draw bodies twice: all of them, and those ``behind`` alone where one in ``front`` is seen.

    Args:
        front: bodies to be seen; they come first in what is seen.
        behind: more of them; where they lie does not matter.
        frame: camera and size of the picture.
        paper: colour behind everything, and of all the rest of the second picture.
    """
    whole, alone = _blank(frame, paper), _blank(frame, paper)
    scene = [*front, *behind]
    if scene:
        fine = frame.times(2)
        shown = facing(scene, fine)
        painter = _Painter(scene, shown, fine)
        first = int(np.searchsorted(shown.body, len(front)))
        hidden = nearest(shown, fine, slice(first, None))
        painter.paint(whole, np.maximum(nearest(shown, fine, slice(first)), hidden))
        painter.paint(alone, hidden, (whole.seen >= 0) & (whole.seen < len(front)))
    return whole, alone


def _blank(frame: ViewFrame, paper: tuple[int, int, int]) -> Render:
    image = np.empty((frame.height, frame.width, 3), np.uint8)
    image[:] = paper
    return Render(image=image, seen=np.full((frame.height, frame.width), -1, np.int32))


class _Painter:
    """Shades a scene in the light, in a frame of twice the picture's size.

    A normal's parts are counted along the light, across it towards the eye, and square to both.
    """

    def __init__(self, scene: Sequence[SceneBody], shown: Facing, frame: ViewFrame) -> None:
        self.body, self.step, self.frame = shown.body, shown.step, frame
        self.face = _faces(shown)
        self.colours = np.array([b.colour for b in scene])
        light, eye = np.array(LIGHT) / np.linalg.norm(LIGHT), np.array([0.0, 0.0, 1.0])
        side = np.cross(light, eye) / np.linalg.norm(np.cross(light, eye))
        axes = np.array([light, np.cross(side, light), side])
        half = axes @ (light + eye)
        self.half, self.eye = half / np.linalg.norm(half), axes @ eye
        normals = shown.normals @ axes.T
        right, down = gains(shown.corners, normals)
        at = shown.corners[:, 0]
        base = normals[:, 0] + right * (0.5 - at[:, :1]) + down * (0.5 - at[:, 1:2])
        self.normals = [
            [np.ascontiguousarray(n[:, k]) for n in (base, right, down)] for k in range(3)
        ]

    def paint(self, picture: Render, buffer: Ints, where: Mask | None = None) -> None:
        """Paint what a depth buffer shows into a picture of paper.

        Args:
            picture: of half the frame's size.
            buffer: the frame's.
            where: the pixels that are wanted; the others stay as they are. All when left out.
        """
        low = int(np.min(buffer, where=buffer >= 0, initial=LEVELS << 32)) >> 32
        reach = low, int(buffer.max()) >> 32
        wanted = np.ones(picture.seen.shape, bool) if where is None else where
        for begin in range(0, len(wanted), STRIP):
            rows = slice(begin, min(begin + STRIP, len(wanted)))
            if wanted[rows].any():
                self._strip(picture, buffer, rows, reach, wanted[rows])

    def _strip(
        self, picture: Render, buffer: Ints, rows: slice, reach: tuple[int, int], wanted: Mask
    ) -> None:
        """Paint some rows."""
        # and the samples above and below, where what is seen may end
        top = max(2 * rows.start - 1, 0)
        around = buffer[top : 2 * rows.stop + 1]
        level = level_of(around)
        covered = level >= 0
        if not covered.any():
            return
        number = number_of(around)
        number[~covered] = 0
        face = self.face[number]
        face[~covered] = -1
        ink = self._outlines(around, level, face >> 32, top)
        inner = slice(2 * rows.start - top, 2 * rows.stop - top)
        samples, inked, seen = (_fourfold(a[inner]) for a in (face, ink, around))
        picture.seen[rows] = (samples[0] >> 32).reshape(picture.seen[rows].shape)
        image = picture.image[rows].reshape(-1, 3)
        wanted, width = wanted.ravel(), picture.seen.shape[1]
        alike = (samples[1:] == samples[0]).all(axis=0)
        plain = alike & ~inked.any(axis=0)
        here = np.flatnonzero(plain & (samples[0] >= 0) & wanted)
        at = 2 * (here % width) + 0.5, 2 * (here // width + rows.start) + 0.5
        image[here] = _bytes(self._shade(seen[0][here], at, reach))
        here = np.flatnonzero(~plain & wanted)
        several = np.repeat(image[here][None] / 255, 4, axis=0)
        x, y = 2 * (here % width), 2 * (here // width + rows.start)
        for n, sample in enumerate(samples):
            on = np.flatnonzero(sample[here] >= 0)
            those = here[on]
            shade = self._shade(seen[n][those], (x[on] + n % 2, y[on] + n // 2), reach)
            shade[inked[n][those]] *= INK
            several[n, on] = shade
        image[here] = _bytes(several.mean(axis=0))

    def _outlines(self, seen: Ints, level: NDArray[np.int32], body: Ints, top: int) -> Mask:
        """Which samples are drawn as an outline.

        A sample is when a neighbour shows another body (or none), or the same one further back
        than its slope explains, and the sample is the nearer of the two: so the line stays thin
        and belongs to the body in front. Nothing ends at the picture's edge.

        Args:
            seen: rows of the depth buffer.
            level: of depth, there.
            body: that is seen, there.
            top: the number of the first row.
        """
        ink = np.zeros(level.shape, bool)
        step = STEP / self.step
        for right, down in ((1, 0), (0, 1)):
            height, width = level.shape[0] - down, level.shape[1] - right
            one, two = np.s_[:height, :width], np.s_[down:, right:]
            jump = level[one] - level[two]
            edge = body[one] != body[two]
            doubt = np.flatnonzero((np.abs(jump) > step) & ~edge)
            if len(doubt):
                y, x = np.divmod(doubt, width)
                lean = np.maximum(
                    self._lean(seen[y, x], (x, y + top)),
                    self._lean(seen[y + down, x + right], (x + right, y + down + top)),
                )
                edge[y, x] = np.abs(jump[y, x]) * self.step > STEP + lean
            ink[one] |= edge & (jump >= 0)
            ink[two] |= edge & (jump <= 0)
        return ink

    def _lean(self, seen: Ints, at: Spots) -> Array:
        """How much depth surfaces gain from sample to sample, mm."""
        along, across, _ = self._normal(number_of(seen), at)
        facing = np.maximum(self.eye[0] * along + self.eye[1] * across, STEEPEST)
        return np.asarray(1.0 / facing / self.frame.scale)

    def _shade(self, seen: Ints, at: Spots, reach: tuple[int, int]) -> Array:
        """Colours ``(n, 3)`` of what is seen, in the light; paler, the farther it is.

        Args:
            seen: of the depth buffer, ``(n,)``.
            at: where.
            reach: the lowest and the highest level of the picture.
        """
        out = np.empty((len(seen), 3))
        low, high = reach
        for part in chunks(len(seen)):
            number = number_of(seen[part])
            along, across, _ = self._normal(number, (at[0][part], at[1][part]))
            gloss = np.maximum(self.half[0] * along + self.half[1] * across, 0.0)
            for _ in range(SQUARED):
                gloss *= gloss
            gloss = SHINE * (gloss * gloss * gloss)
            share = AMBIENT + DIFFUSE * np.maximum(along, 0.0)
            colour = self.colours[self.body[number]] * share[:, None] + gloss[:, None]
            far = (FADE / max(high - low, 1) * (high - level_of(seen[part])))[:, None]
            out[part] = np.minimum(colour, 1.0) * (1 - far) + far
        return out

    def _normal(self, number: Ints, at: Spots) -> list[Array]:
        """Unit normals of triangles at spots, three times ``(n,)``."""
        x, y = at
        a, b, c = parts = [
            base[number] + right[number] * x + down[number] * y
            for base, right, down in self.normals
        ]
        size = np.maximum(np.sqrt(a * a + b * b + c * c), NO_LENGTH)
        return [part / size for part in parts]


def _faces(shown: Facing) -> Ints:
    """What a triangle is a part of: its body, and in the lower half which flat side of it."""
    flat = (np.ptp(shown.normals, axis=1) < FLAT).all(axis=1)
    x, y, z = np.round(shown.normals[:, 0] / FLAT).astype(np.int64).T
    side = (x & 0x3FF) << 20 | (y & 0x3FF) << 10 | (z & 0x3FF)
    return (shown.body.astype(np.int64) << 32) | np.where(flat, side, 0)


def _fourfold(samples: NDArray[Any]) -> NDArray[Any]:
    """The four samples of each pixel, ``(4, h * w)``."""
    height, width = samples.shape
    blocks = samples.reshape(height // 2, 2, width // 2, 2)
    return blocks.transpose(1, 3, 0, 2).reshape(4, -1)


def _bytes(colour: Array) -> Image:
    return (colour * 255 + 0.5).astype(np.uint8)
