"""Pictures of plate and sheet drawings, for people who have no CAD at hand."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from cagekit.geometry.arrays import Points2
from cagekit.geometry.outline import Vec2
from cagekit.shop.nesting.plate_drawing import Drawing, Layer
from cagekit.units.tolerance import NO_LENGTH
from cagekit.writers.png import save_png

if TYPE_CHECKING:
    from PIL.Image import Image

INK: Mapping[Layer, tuple[int, int, int]] = {
    Layer.OUTSIDE: (20, 24, 32),
    Layer.INSIDE: (20, 24, 32),
    Layer.FOLD: (178, 60, 110),
    Layer.MARK: (24, 118, 92),
    Layer.NOTE: (120, 126, 136),
}
METAL = (226, 231, 238)
PAPER = (255, 255, 255)
OVER = 2
"""Drawn this many times larger and scaled down, for smooth lines."""


def drawing_picture(drawing: Drawing, *, width: int = 1400, margin: int = 30) -> Image:
    """Return a drawing as a picture ``width`` pixels wide, metal shaded.

    Args:
        drawing: what to draw.
        width: pixels.
        margin: pixels.
    """
    from PIL import Image, ImageDraw

    low, high = _extent(drawing)
    scale = (width - 2 * margin) / max(float(high[0] - low[0]), NO_LENGTH)
    height = int(np.ceil(float(high[1] - low[1]) * scale)) + 2 * margin
    image = Image.new("RGB", (width * OVER, height * OVER), PAPER)
    pen = ImageDraw.Draw(image)

    def at(points: Points2) -> list[tuple[float, float]]:
        xy = (points - low) * scale + margin
        return [(float(x) * OVER, (height - float(y)) * OVER) for x, y in xy]

    for layer, fill in ((Layer.OUTSIDE, METAL), (Layer.INSIDE, PAPER)):
        for line in drawing.on(layer):
            if line.closed:
                pen.polygon(at(line.flat_points(0.05)), fill=fill)
    for s in drawing:
        points = s.line.flat_points(0.05)
        if s.line.closed:
            points = np.vstack([points, points[:1]])
        thick = OVER * (2 if s.layer.is_cut else 1)
        if s.layer is Layer.FOLD:
            _dashed(pen, at(points), INK[s.layer], thick, 14 * OVER, 6 * OVER)
        else:
            pen.line(at(points), fill=INK[s.layer], width=thick, joint="curve")
    return image.reduce(OVER)


def save_picture(drawing: Drawing, path: Path, *, width: int = 1400) -> None:
    """Write a drawing as PNG.

    Args:
        drawing: what to draw.
        path: of the file.
        width: pixels.
    """
    save_png(drawing_picture(drawing, width=width), path)


def _extent(drawing: Drawing) -> tuple[Vec2, Vec2]:
    boxes = [s.line.box for s in drawing]
    return np.min([b[0] for b in boxes], 0), np.max([b[1] for b in boxes], 0)


def _dashed(
    pen: Any,
    points: list[tuple[float, float]],
    ink: tuple[int, int, int],
    width: int,
    dash: float,
    gap: float,
) -> None:
    for (x0, y0), (x1, y1) in pairwise(points):
        size = float(np.hypot(x1 - x0, y1 - y0))
        if size < NO_LENGTH:
            continue
        ux, uy = (x1 - x0) / size, (y1 - y0) / size
        at = 0.0
        while at < size:
            to = min(at + dash, size)
            pen.line(
                [(x0 + ux * at, y0 + uy * at), (x0 + ux * to, y0 + uy * to)], fill=ink, width=width
            )
            at += dash + gap
