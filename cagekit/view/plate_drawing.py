"""Dimensioned drawing of a plate's flat pattern: outline, holes, folds; SVG in mm of paper.

Holes and folds carry the numbers of the tables beside it, which tell where they lie from the left
and lower edge of the drawing.
"""

from __future__ import annotations

from collections.abc import Callable
from math import degrees
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from cagekit.geometry.centre_line import Vec
from cagekit.units.tolerance import SAME_POINT
from cagekit.view.linework import LineDrawing, dimension, hairline, path_data, svg, text

if TYPE_CHECKING:
    from cagekit.cage.plate import Plate

MARGIN = 9.0
"""Room round the pattern for the overall sizes, mm of paper."""
NUMBERED = 5.0
"""Least width of a hole that holds its number, mm of paper."""


class DrawnHole(Struct, frozen=True, kw_only=True):
    """A hole: its number, what it is for, width (mm; 0 for a free shape), middle from the left and
    the lower edge of the pattern, mm."""  # noqa: D205, D209

    number: int
    purpose: str
    diameter: float
    round_: bool
    x: float
    y: float


class DrawnFold(Struct, frozen=True, kw_only=True):
    """A fold: its letter, up or down, angle, inside radius and where its line runs, mm."""

    letter: str
    up: bool
    angle_deg: float
    inside_radius: float
    start: tuple[float, float]
    end: tuple[float, float]


def hole_rows(plate: Plate) -> tuple[DrawnHole, ...]:
    """Where the holes of a plate lie, from the left and lower edge of its flat pattern."""
    low = plate.outline.box[0]
    return tuple(
        DrawnHole(
            number=n, purpose=h.purpose.value, diameter=h.diameter, round_=h.round_,
            x=float((h.centre - low)[0]), y=float((h.centre - low)[1]),
        )
        for n, h in enumerate(plate.holes, 1)
    )  # fmt: skip


def fold_rows(plate: Plate) -> tuple[DrawnFold, ...]:
    """Where the folds of a plate run, from the left and lower edge of its flat pattern."""
    low = plate.outline.box[0]
    out = []
    for n, f in enumerate(plate.folds):
        a, b = (np.asarray(p, float) - low for p in (f.start, f.end))
        out.append(
            DrawnFold(
                letter="abcdefghij"[n % 10], up=f.up, angle_deg=abs(degrees(f.angle)),
                inside_radius=f.inside_radius, start=(float(a[0]), float(a[1])),
                end=(float(b[0]), float(b[1])),
            )
        )  # fmt: skip
    return tuple(out)


def plate_drawing(
    plate: Plate, width: float, height: float, size: Callable[[float], str]
) -> LineDrawing:
    """Draw a flat pattern with its overall sizes to fit ``width`` by ``height`` mm of paper.

    Args:
        plate: to be drawn.
        width: room on the sheet, mm.
        height: room on the sheet, mm.
        size: says a length.
    """
    outline = plate.outline.flat_points(0.1)
    low, high = plate.outline.box
    m = MARGIN
    wide, tall = (max(float(v), SAME_POINT) for v in high - low)
    scale = min((width - m - 2.0) / wide, (height - m - 2.0) / tall)
    w, h = wide * scale + m + 2.0, tall * scale + m + 2.0

    def at(points: Vec) -> Vec:
        flat = (np.atleast_2d(points) - low) * scale
        return np.column_stack([flat[:, 0] + m, h - m - flat[:, 1]])

    body = [
        hairline((m, h - m), (m, h - 1.0)), hairline((w - 2.0, h - m), (w - 2.0, h - 1.0)),
        hairline((1.0, h - m), (m, h - m)), hairline((1.0, 2.0), (m, 2.0)),
        dimension((m, h - 2.5), (w - 2.0, h - 2.5), size(wide), size=2.8),
        dimension((3.8, h - m), (3.8, 2.0), size(tall), size=2.8),
    ]  # fmt: skip
    body += [_loop(at(outline), "#ececec")]
    body += [_loop(at(hole.loop.flat_points(0.1)), "white") for hole in plate.holes]
    for fold, row in zip(plate.folds, fold_rows(plate), strict=True):
        span = at(np.array([fold.start, fold.end]))
        body.append(
            f'<path d="{path_data(span)}" fill="none" stroke="black" stroke-width="0.3" '
            'stroke-dasharray="1.8 0.8"/>'
        )
        spot = span[0] + 0.25 * (span[1] - span[0])
        body.append(text((spot[0], spot[1] + 1.0), row.letter, size=3.0, bold=True, halo=True))
    for hole_row in hole_rows(plate):
        spot = at(np.array([[hole_row.x, hole_row.y]]) + low)[0]
        # a number that would fill its hole stands beside it, towards the middle of the plate
        small = 0.0 < hole_row.diameter * scale < NUMBERED
        aside = hole_row.diameter * scale / 2 + 1.8 if small else 0.0
        x = spot[0] + (aside if hole_row.x < wide / 2 else -aside)
        body.append(text((x, spot[1] + 0.95), str(hole_row.number), size=2.6, bold=True, halo=True))
    return LineDrawing(svg=svg(w, h, body), width=w, height=h, scale=scale)


def _loop(points: Vec, fill: str) -> str:
    return f'<path d="{path_data(points)} Z" fill="{fill}" stroke="black" stroke-width="0.3"/>'
