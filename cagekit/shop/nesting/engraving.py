"""Engraved letters: where on a plate the id has room, and its strokes."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import ceil, pi

import numpy as np
from numpy.typing import ArrayLike

from cagekit.cage.plate import Plate
from cagekit.geometry.arrays import Array
from cagekit.geometry.outline import Outline, Vec2
from cagekit.shop.nesting.letters import strokes, text_box
from cagekit.units.tolerance import ROUNDING

ROW = 1.7
"""From one row of letters to the next, in letter heights."""


LEAST = 2.5
"""Smallest letters of an id, mm; a number alone may be smaller still."""
LEAST_NUMBER = 1.8


@lru_cache(maxsize=256)
def engraved(plate: Plate, letter_height: float, number: str = "") -> tuple[Outline, ...]:
    """Number and id, where they keep clear of edges, holes, folds and the foot.

    Where there is no room for both the number stands alone; empty when not even that has room.
    Kept for the last plates: a plate's own file and its sheet ask for the same.

    Args:
        plate: to be marked.
        letter_height: of the largest letters, mm; 0 for none.
        number: of the piece on the papers.
    """
    free = _Free(plate)
    whole = f"{number}_{plate.id}" if number else plate.id
    for text, least in ((whole, LEAST), (number, LEAST_NUMBER)):
        height = letter_height
        while text and height >= least:
            for rows in _broken(text):
                spot = free.room(rows, height)
                if spot is not None:
                    return tuple(_block(rows, height, *spot))
            height *= 0.8
    return ()


def _broken(text: str) -> list[list[str]]:
    """The id in one, two and three rows, broken at underscores."""
    words = text.split("_")
    out = [[text]]
    for count in (2, 3):
        if len(words) >= count:
            rows: list[str] = []
            size = ceil(len(text) / count)
            row = words[0]
            for word in words[1:]:
                if len(row) + len(word) + 1 > size + 3 and len(rows) < count - 1:
                    rows.append(row)
                    row = word
                else:
                    row = f"{row}_{word}"
            out.append([*rows, row])
    return out


def _block(rows: Sequence[str], height: float, middle: Vec2, angle: float) -> list[Outline]:
    """Rows of text about ``middle``."""
    out: list[Outline] = []
    down = np.array([np.sin(angle), -np.cos(angle)]) * ROW * height
    for i, text in enumerate(rows):
        out += written(text, height, middle + (i - (len(rows) - 1) / 2) * down, angle)
    return out


class _Free:
    """Where on a plate letters may stand: clear of edges, holes, bend zones and marks."""

    def __init__(self, plate: Plate) -> None:
        closed = [h.loop for h in plate.holes] + [b.loop for b in plate.bends]
        closed += [m.line for m in plate.marks if m.line.closed]
        self.edge, self.closed = _chords(plate.outline), [_chords(loop) for loop in closed]
        self.open = [_chords(m.line) for m in plate.marks if not m.line.closed]
        low, high = plate.outline.box
        step = max(float(max(high - low)) / 30, 1.0)
        x, y = (np.arange(a + step / 2, b, step) for a, b in zip(low, high, strict=True))
        grid = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
        clear = self.clearance(grid[:, None], -np.inf)
        # a text fits nowhere that its middle does not: only the clearest middles are tried
        order = np.argsort(-clear, kind="stable")[:48]
        self.middles, self.clear = grid[order], clear[order]

    def clearance(self, blocks: Array, reach: float) -> Vec2:
        """How far each block of points is from what letters keep off, mm; negative on it.

        Args:
            blocks: ``(n, k, 2)`` mm.
            reach: mm; a block that comes nearer is no longer looked at, and gets -1.
        """
        out, gap = np.full(len(blocks), -1.0), np.full(len(blocks), np.inf)
        left = np.arange(len(blocks))
        for line in (self.edge, *self.closed, *self.open):
            points = blocks[left].reshape(-1, 2)
            off = line.distance(points)
            if line.closed:
                off = np.where(line.contains(points) == (line is self.edge), off, -1.0)
            gap = np.minimum(gap, off.reshape(len(left), -1).min(1))
            left, gap = left[gap >= reach], gap[gap >= reach]
            if not len(left):
                break
        out[left] = gap
        return out

    def room(self, rows: Sequence[str], height: float) -> tuple[Vec2, float] | None:
        """Middle and angle of the clearest place for rows of text, or None."""
        boxes = [text_box(text, height) for text in rows]
        width = max(b[0] for b in boxes)
        tall = max(b[2] - b[1] for b in boxes) + (len(rows) - 1) * ROW * height
        reach = max(1.5, 0.3 * height) + 0.25 * height
        middles = self.middles[self.clear >= reach + min(width, tall) / 2]
        if not len(middles):
            return None
        u, v = np.meshgrid(
            np.linspace(-0.5, 0.5, max(3, int(np.ceil(width / height)) + 1)) * width,
            np.linspace(-0.5, 0.5, len(rows) + 1) * tall,
        )
        box = np.column_stack([u.ravel(), v.ravel()])
        best: tuple[float, int, float] | None = None
        for angle in (0.0, pi / 2):
            c, s = np.cos(angle), np.sin(angle)
            points = middles[:, None, :] + (box @ np.array([[c, s], [-s, c]]))[None]
            least = self.clearance(points, reach)
            i = int(np.argmax(least))
            if least[i] >= reach and (best is None or least[i] > best[0] + ROUNDING):
                best = (float(least[i]), i, angle)
        return None if best is None else (middles[best[1]], best[2])


def _chords(line: Outline) -> Outline:
    """The line with its arcs as short straights: quicker to measure to."""
    points = line.flat_points(0.05)
    return Outline(points, np.zeros(len(points)), line.closed)


def written(
    text: str, height: float, middle: ArrayLike, angle: float = 0.0, *, lift: float | None = None
) -> list[Outline]:
    """A line of text as strokes, centred on ``middle`` and turned by ``angle`` rad.

    With ``lift`` the base line lies that far above ``middle`` instead.

    Args:
        text: to be scribed.
        height: of the letters, mm.
        middle: of the text, ``(2,)`` mm.
        angle: of the line of writing, rad.
        lift: of the text off that line, mm.
    """
    width, low, high = text_box(text, height)
    down = -(low + high) / 2 if lift is None else lift
    shift = np.array([-width / 2, down])
    lines = [Outline(r + shift, np.zeros(len(r)), closed=False) for r in strokes(text, height)]
    return [o.turned(angle).moved(middle) for o in lines]
