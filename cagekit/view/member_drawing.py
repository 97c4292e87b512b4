"""Drawing of one tube in its bend plane: straights, angles and ends; SVG in mm of paper."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import numpy as np

from cagekit.geometry.centre_line import Arc, CentreLine, Line, Vec, unit
from cagekit.units import format_length
from cagekit.view.camera import Camera
from cagekit.view.linework import (
    LineDrawing,
    dimension,
    path_data,
    svg,
    text,
    tube_slice,
    tube_strokes,
)

FLAT = 1.0
"""A tube whose axis keeps within this of one plane (mm) is drawn in that plane only."""
NAME = 4.2
MARGIN = 12.0
"""Room round a view for lengths, angles and names, mm of paper."""
BARE_MARGIN = 6.0
"""Room above and below a view that carries no sizes, mm of paper."""


def member_drawings(
    path: CentreLine,
    od: float,
    width: float,
    height: float,
    units: Literal["mm", "in"],
    fraction: int,
) -> list[LineDrawing]:
    """Draw a tube: one view in its bend plane, a second square to it when it is not flat.

    Args:
        path: centre line between the outermost tips.
        od: outside diameter, mm.
        width: of the paper's field, mm.
        height: of the paper's field for the view in the bend plane, mm; a second view is added
            below it at the same scale.
        units: of the texts.
        fraction: finest inch fraction.
    """
    main = bend_plane(path)
    off = path.points(np.linspace(0.0, path.length, 200)) @ main.eye
    if float(np.ptp(off)) <= FLAT:
        return [_view(path, od, main, _scale(path, od, main, width, height), units, fraction)]
    side = Camera(name="edge", right=main.right, up=unit(-main.eye), eye=main.up)
    scale = _scale(path, od, main, width, height)
    return [
        _view(path, od, main, scale, units, fraction),
        _view(path, od, side, scale, units, fraction, sizes=False),
    ]


def bend_plane(path: CentreLine) -> Camera:
    """Look square at the plane that lies best through the tube, its chord level."""
    corners = path.corners()
    middle = corners - corners.mean(axis=0)
    chord = unit(path.end - path.start) if np.linalg.norm(path.end - path.start) > 1e-6 else None
    axes = np.linalg.svd(
        path.points(np.linspace(0, path.length, 200)) - path.points([path.length / 2])
    )[2]
    eye = axes[2]
    right = chord if chord is not None else axes[0]
    right = unit(right - (right @ eye) * eye)
    up = np.cross(eye, right)
    # as it stands in the car where that can be, else with its back up
    upright = (
        float(up[2])
        if abs(float(up[2])) > 0.3
        else float((middle @ up).max() + (middle @ up).min())
    )
    if upright < 0:
        eye, up = -eye, -up
    if (path.start - path.end) @ right > 0:
        right = -right
    return Camera(name="plane", right=unit(right), up=unit(up), eye=unit(np.cross(right, up)))


def _box(path: CentreLine, od: float, camera: Camera) -> tuple[Vec, Vec]:
    """Low and high corner ``(2,)`` of the tube as the camera sees it, mm."""
    points = camera.project(path.points(np.linspace(0.0, path.length, 300)))[:, :2]
    return points.min(axis=0) - od / 2, points.max(axis=0) + od / 2


def _scale(path: CentreLine, od: float, camera: Camera, width: float, height: float) -> float:
    """The scale at which a view with its texts fills the field."""
    low, high = _box(path, od, camera)
    size = np.maximum(high - low, 1.0)
    return float(min((width - 2 * MARGIN) / size[0], (height - 2 * MARGIN) / size[1]))


def _view(
    path: CentreLine,
    od: float,
    camera: Camera,
    scale: float,
    units: Literal["mm", "in"],
    fraction: int,
    *,
    sizes: bool = True,
) -> LineDrawing:
    low, high = _box(path, od, camera)
    margin, upright = MARGIN, MARGIN if sizes else BARE_MARGIN
    w = float((high - low)[0]) * scale + 2 * margin
    h = float((high - low)[1]) * scale + 2 * upright

    def at(p: Vec) -> Vec:
        flat = (np.atleast_2d(camera.project(np.atleast_2d(p)))[:, :2] - low) * scale
        return np.column_stack([flat[:, 0] + margin, h - upright - flat[:, 1]])

    body: list[str] = []
    for s in sorted(tube_strokes(path, od, camera), key=lambda q: q.depth):
        flat = np.column_stack(
            [
                (s.points[:, 0] - low[0]) * scale + margin,
                h - upright - (s.points[:, 1] - low[1]) * scale,
            ]
        )
        body.append(tube_slice(flat, od * scale))
    axis = at(path.points(np.linspace(0, path.length, 240)))
    body.append(
        f'<path d="{path_data(axis)}" fill="none" stroke="black" stroke-width="0.15" '
        'stroke-dasharray="4 1 0.6 1"/>'
    )
    centre = axis.mean(axis=0)
    if sizes:
        body += _texts(path, at, centre, od * scale / 2, units, fraction)
    for name, spot in (("A", path.start), ("B", path.end)):
        p = at(spot)[0]
        toward = p - at(path.points([path.length * (0.02 if name == "A" else 0.98)]))[0]
        n = float(np.hypot(*toward)) or 1.0
        q = p + toward / n * (od * scale / 2 + 3.2)
        body.append(text((q[0], q[1] + 0.36 * NAME), name, size=NAME, bold=True, halo=True))
    return LineDrawing(svg=svg(w, h, body), width=w, height=h, scale=scale)


def _texts(
    path: CentreLine,
    at: Callable[[Vec], Vec],
    centre: Vec,
    half: float,
    units: Literal["mm", "in"],
    fraction: int,
) -> list[str]:
    """Length of each straight beside it, number, angle and radius at each bend."""
    out: list[str] = []
    bend = 0
    for piece in path.pieces:
        if isinstance(piece, Line):
            a, b = at(piece.start)[0], at(piece.end)[0]
            away = _away((a + b) / 2, b - a, centre) * (half + 3.4)
            out.append(dimension(a + away, b + away, _length(piece.length, units, fraction)))
        elif isinstance(piece, Arc):
            bend += 1
            mid = at(piece.point(piece.length / 2))[0]
            ahead = at(piece.point(piece.length / 2 + 1.0))[0] - mid
            spot = mid - _away(mid, ahead, centre) * (half + 8.5)
            words = f"{bend}: {np.degrees(piece.angle):.1f}°"
            out.append(text(spot, words, size=2.9, bold=True, halo=True))
            out.append(
                text(
                    (spot[0], spot[1] + 3.2),
                    f"R {_length(piece.radius, units, fraction)}",
                    size=2.4,
                    halo=True,
                )
            )
    return out


def _away(spot: Vec, along: Vec, centre: Vec) -> Vec:
    """Unit vector square to ``along`` that points away from the drawing's middle."""
    n = float(np.hypot(*along))
    if n < 1e-9:
        return np.array([0.0, -1.0])
    across = np.array([-along[1], along[0]]) / n
    return across if float(across @ (spot - centre)) >= 0 else -across


def _length(mm: float, units: Literal["mm", "in"], fraction: int) -> str:
    return format_length(mm, "in", denominator=fraction) if units == "in" else f"{mm:.1f}"
