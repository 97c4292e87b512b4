"""Small line drawing of a plate's flat pattern: outline, holes, folds; SVG in mm of paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from cagekit.geometry.centre_line import Vec
from cagekit.view.linework import LineDrawing, path_data, svg

if TYPE_CHECKING:
    from cagekit.cage.plate import Plate


def plate_drawing(plate: Plate, width: float, height: float) -> LineDrawing:
    """Draw a flat pattern to fit ``width`` by ``height`` mm of paper.

    Args:
        plate: to be drawn.
        width: room on the sheet, mm.
        height: room on the sheet, mm.
    """
    outline = plate.outline.flat_points(0.1)
    low, high = outline.min(axis=0), outline.max(axis=0)
    margin = 1.0
    size = np.maximum(high - low, 1e-6)
    scale = float(min((width - 2 * margin) / size[0], (height - 2 * margin) / size[1]))
    w, h = (float(v) * scale + 2 * margin for v in size)

    def at(points: Vec) -> Vec:
        flat = (np.atleast_2d(points) - low) * scale
        return np.column_stack([flat[:, 0] + margin, h - margin - flat[:, 1]])

    body = [_loop(at(outline), "#ececec")]
    body += [_loop(at(hole.loop.flat_points(0.1)), "white") for hole in plate.holes]
    for fold in plate.folds:
        span = at(np.array([fold.start, fold.end]))
        body.append(
            f'<path d="{path_data(span)}" fill="none" stroke="black" stroke-width="0.25" '
            'stroke-dasharray="1.6 0.8"/>'
        )
    return LineDrawing(svg=svg(w, h, body), width=w, height=h, scale=scale)


def _loop(points: Vec, fill: str) -> str:
    return f'<path d="{path_data(points)} Z" fill="{fill}" stroke="black" stroke-width="0.3"/>'
