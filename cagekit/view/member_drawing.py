"""Drawing of one bent tube to hang on the wall: sizes, angles, ends; SVG in mm of paper.

One view square to the plane of its bends, a second one square to that where the tube is not flat.
It is drawn as it comes from the bender, cut square at its tips, before its ends are coped, and all
sizes are of that tube: overall sizes over the outside, from end to end between the middles of its
ends, straights between the ends of the bends.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Literal

import numpy as np
from msgspec import Struct

from cagekit.geometry.arrays import Points2
from cagekit.geometry.centre_line import CentreLine, Line, Vec, unit
from cagekit.units import format_length
from cagekit.units.tolerance import NO_LENGTH, SAME_POINT
from cagekit.view.camera import Camera
from cagekit.view.extents import tube_extents
from cagekit.view.linework import (
    LineDrawing,
    dimension,
    hairline,
    path_data,
    svg,
    text,
    tube_slices,
    tube_strokes,
)

FLAT = 1.0
"""A tube whose axis keeps within this of one plane (mm) is drawn in that plane only."""
NAME = 4.6
SIZE = 3.2
"""Letters of the sizes, mm of paper: read from where the tube is held against the page."""
ANGLE = 3.8
MARGIN = 22.0
"""Room beside a view for lengths, overall height and names, mm of paper."""
ABOVE, BELOW = (14.0, 5.0), (19.0, 13.0)
"""Room above and below the main view, with lengths and names, and a second one, mm of paper."""
LOWER = 8.0
"""More room below a main view whose distance from end to end would not be clear, mm of paper."""
SIDEWAYS = 3.5
"""How much farther the name of an end stands off that points to the side, mm of paper."""
NARROW = 75.0
"""A view that is narrower than this has no room for words between its ends, mm of paper."""
SHORTEST = 25.0
"""Ends nearer to each other than this get no distance between them, mm of paper."""
CLEAR = 1.0
"""At least this much paper between the words at a bend and the tube, mm."""
OVERALL = 4.0
"""From the edge of the paper to the line of an overall size, mm."""


class TubeView(Struct, frozen=True, kw_only=True):
    """One view of a tube: the drawing, from where it is seen, and its size over the outside, mm."""

    drawing: LineDrawing
    seen: str
    wide: float
    tall: float


class DrawnTube(Struct, frozen=True, kw_only=True):
    """What is drawn of a tube.

    Args:
        tips: centre line between the outermost tips.
        od: outside diameter, mm.
        units: of the texts.
        fraction: finest inch fraction.
    """

    tips: CentreLine
    od: float
    units: Literal["mm", "in"] = "mm"
    fraction: int = 16

    def length(self, mm: float) -> str:
        """A length as the drawing says it."""
        if self.units == "in":
            return format_length(mm, "in", denominator=self.fraction)
        return f"{mm:.1f}"

    def box(self, camera: Camera) -> tuple[Vec, Vec]:
        """Low and high corner ``(2,)`` of the tube over its outside, mm."""
        low, high = tube_extents(self.tips, self.od / 2, camera)
        return low, high


def member_drawings(tube: DrawnTube, width: float, height: float) -> list[TubeView]:
    """Draw a tube: one view in its bend plane, a second square to it when it is not flat.

    Args:
        tube: what is drawn.
        width: of the paper's field, mm.
        height: of the paper's field for all views, mm.
    """
    main = bend_plane(tube.tips)
    cameras = [main]
    if not is_flat(tube.tips):
        cameras.append(Camera(name="edge", right=main.right, up=unit(-main.eye), eye=main.up))
    scale = _scale(tube, cameras, width, height)
    lower = LOWER if _on_chord(tube, main, scale) else 0.0
    if lower:
        scale = _scale(tube, cameras, width, height - lower)
    return [
        _view(tube, c, scale, straights=c is main, lower=lower if c is main else 0.0)
        for c in cameras
    ]


def _on_chord(tube: DrawnTube, camera: Camera, scale: float) -> bool:
    """Whether the distance from end to end would run through the tube or the words of a bend."""

    def at(p: Points2) -> Points2:
        return np.asarray(camera.project(np.atleast_2d(p))[:, :2] * (scale, -scale))

    path, half = tube.tips, tube.od * scale / 2
    axis = at(path.points(np.linspace(0, path.length, 400)))
    size = float(np.hypot(*(axis[-1] - axis[0])))
    if size < SHORTEST:
        return False
    way = (axis[-1] - axis[0]) / size
    across = np.array([-way[1], way[0]])
    along, off = (axis - axis[0]) @ way - size / 2, (axis - axis[0]) @ across
    beside = np.abs(along) < 0.3 * SIZE * len(_chord_words(tube))
    if (np.abs(off[beside]) < half + 1.5 * SIZE).any():
        return True
    return any(
        abs(float((spot - (0.0, box[1]) - axis[0]) @ across)) < float(box @ np.abs(across)) + CLEAR
        for spot, words in _bend_words(tube, at, axis, half)
        for box in [_half_of(words)]
    )


def is_flat(path: CentreLine) -> bool:
    """Whether the axis keeps within :data:`FLAT` of one plane."""
    off = path.points(np.linspace(0.0, path.length, 200)) @ bend_plane(path).eye
    return float(np.ptp(off)) <= FLAT


def lift_of_b(path: CentreLine) -> float:
    """How far (mm) the middle of end b stands off the plane of the first bend, along its axis.

    Positive on the side from which the tube, walked from end a, turns left.
    """
    first = path.bends[0]
    return float((path.end - first.start) @ first.axis)


def end_words(path: CentreLine) -> tuple[str, str]:
    """Where ends a and b are in the car, as the driver says it: left and right, front and rear."""
    between = path.start - path.end
    axis = int(np.argmax(np.abs(between)))
    one, two = (("front", "rear"), ("left", "right"), ("top", "bottom"))[axis]
    return (one, two) if between[axis] > 0 else (two, one)


def seen_from(camera: Camera) -> str:
    """From where a view is seen, in the words of the car."""
    axis = int(np.argmax(np.abs(camera.eye)))
    sides = (("the front", "the rear"), ("the left", "the right"), ("above", "below"))[axis]
    words = sides[0] if camera.eye[axis] > 0 else sides[1]
    aside = abs(camera.eye[axis]) <= 0.97
    return f"square to its bends, mostly from {words}" if aside else f"from {words}"


def bend_plane(path: CentreLine) -> Camera:
    """Look square at the plane that lies best through the tube, its chord level."""
    corners = path.corners()
    middle = corners - corners.mean(axis=0)
    chord = (
        unit(path.end - path.start) if np.linalg.norm(path.end - path.start) > SAME_POINT else None
    )
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


def _scale(tube: DrawnTube, cameras: list[Camera], width: float, height: float) -> float:
    """The scale at which all views with their texts fill the field, one below the other."""
    sizes = np.array([high - low for low, high in (tube.box(c) for c in cameras)])
    room = height - sum(ABOVE[: len(cameras)]) - sum(BELOW[: len(cameras)])
    return float(min((width - 2 * MARGIN) / sizes[:, 0].max(), room / sizes[:, 1].sum()))


def _view(
    tube: DrawnTube, camera: Camera, scale: float, *, straights: bool, lower: float
) -> TubeView:
    path, od = tube.tips, tube.od
    low, high = tube.box(camera)
    wide, tall = (float(v) for v in high - low)
    top, foot = (ABOVE[0], BELOW[0] + lower) if straights else (ABOVE[1], BELOW[1])
    w, h = wide * scale + 2 * MARGIN, tall * scale + top + foot

    def on_paper(p: Points2) -> Points2:
        flat = (p - low) * scale
        return np.column_stack([flat[:, 0] + MARGIN, h - foot - flat[:, 1]])

    def at(p: Vec) -> Vec:
        return np.asarray(on_paper(camera.project(np.atleast_2d(p))[:, :2]))

    body = _overall(tube, (w, h), (wide, tall), (top, foot))
    body += tube_slices(tube_strokes(path, od, camera), on_paper, scale)
    axis = at(path.points(np.linspace(0, path.length, 240)))
    body.append(
        f'<path d="{path_data(axis)}" fill="none" stroke="black" stroke-width="0.15" '
        'stroke-dasharray="4 1 0.6 1"/>'
    )
    if straights:
        body += _texts(tube, at, axis, od * scale / 2)
        body += _chord(tube, at, h - OVERALL - LOWER if lower else None)
    body += _names(tube, at, od * scale / 2)
    drawing = LineDrawing(svg=svg(w, h, body), width=w, height=h, scale=scale)
    return TubeView(drawing=drawing, seen=seen_from(camera), wide=wide, tall=tall)


def _overall(
    tube: DrawnTube,
    paper: tuple[float, float],
    size: tuple[float, float],
    room: tuple[float, float],
) -> list[str]:
    """Overall width below and height on the left, over the outside, with their lines."""
    (w, h), (wide, tall), (top, foot) = paper, size, room
    m, o = MARGIN, OVERALL
    lines = [
        hairline((m, top), (m, h - o + 1.5)),
        hairline((w - m, top), (w - m, h - o + 1.5)),
        hairline((o - 1.5, top), (w - m, top)),
        hairline((o - 1.5, h - foot), (w - m, h - foot)),
    ]
    # on a short line the words would run past its ends
    words = " over the outside" if h - top - foot > 45.0 else ""
    # in a small second view they would run into the names of the ends
    across = " over the outside" if foot > BELOW[1] or w - 2 * m > NARROW else ""
    return [
        *lines,
        dimension((m, h - o), (w - m, h - o), f"{tube.length(wide)}{across}", size=SIZE),
        dimension((o, h - foot), (o, top), f"{tube.length(tall)}{words}", size=SIZE),
    ]


def _names(tube: DrawnTube, at: Callable[[Vec], Vec], half: float) -> list[str]:
    """Letter and place in the car beside each end."""
    path = tube.tips
    out = []
    for name, spot, inside, words in (
        ("A", path.start, 0.02, end_words(path)[0]),
        ("B", path.end, 0.98, end_words(path)[1]),
    ):
        p = at(spot)[0]
        toward = p - at(path.points([path.length * inside]))[0]
        n = float(np.hypot(*toward)) or 1.0
        q = p + toward / n * (half + 4.0)
        # a tube that ends to the side: its name clears the line of the overall size there
        x = q[0] + (SIDEWAYS * np.sign(toward[0]) if abs(toward[0]) > abs(toward[1]) else 0.0)
        out.append(text((x, q[1] + 0.2 * NAME), name, size=NAME, bold=True, halo=True))
        out.append(text((x, q[1] + 0.2 * NAME + SIZE), words, size=2.8, halo=True))
    return out


def _chord(tube: DrawnTube, at: Callable[[Vec], Vec], level: float | None) -> list[str]:
    """The straight distance from end to end, middle to middle; at a level below the tube if told.

    Args:
        tube: what is drawn.
        at: points of the model on the paper.
        level: from the top of the paper, mm.
    """
    path = tube.tips
    a, b = at(path.start)[0], at(path.end)[0]
    if not path.bends or float(np.hypot(*(b - a))) < SHORTEST:
        return []
    words = _chord_words(tube)
    if level is None:
        return [dimension(a, b, words, size=SIZE)]
    p, q = np.array([a[0], level]), np.array([b[0], level])
    return [hairline(a, p), hairline(b, q), dimension(p, q, words, size=SIZE)]


def _chord_words(tube: DrawnTube) -> str:
    across = float(np.linalg.norm(tube.tips.end - tube.tips.start))
    return f"A to B {tube.length(across)}"


def _texts(tube: DrawnTube, at: Callable[[Vec], Vec], axis: Points2, half: float) -> list[str]:
    """Length of each straight beside it, number, angle and radius at each bend."""
    centre = axis.mean(axis=0)
    out: list[str] = []
    for piece in tube.tips.pieces:
        if isinstance(piece, Line):
            a, b = at(piece.start)[0], at(piece.end)[0]
            away = _away((a + b) / 2, b - a, centre) * (half + 5.0)
            out += [hairline(p + away * half / (half + 5.0), p + away * 1.25) for p in (a, b)]
            out.append(dimension(a + away, b + away, tube.length(piece.length), size=SIZE))
    for spot, words in _bend_words(tube, at, axis, half):
        out.append(text(spot, words, size=ANGLE, bold=True, halo=True))
    return out


def _bend_words(
    tube: DrawnTube, at: Callable[[Vec], Vec], axis: Points2, half: float
) -> Iterator[tuple[Vec, str]]:
    """Number and angle of each bend, and where they stand."""
    centre = axis.mean(axis=0)
    taken: list[tuple[Vec, Vec]] = []
    for n, bend in enumerate(tube.tips.bends, start=1):
        mid = at(bend.point(bend.length / 2))[0]
        ahead = at(bend.point(bend.length / 2 + 1.0))[0] - mid
        words = f"{n}: {np.degrees(bend.angle):.1f}°"
        box = _half_of(words)
        spot = _beside_bend(mid, _away(mid, ahead, centre), box, axis, half, taken)
        taken.append((spot, box))
        yield spot, words


def _half_of(words: str) -> Vec:
    """Half of what the bold letters of a bend take on the paper, ``(2,)`` mm."""
    return np.array([0.29 * len(words), 0.37]) * ANGLE


def _beside_bend(
    mid: Vec,
    away: Vec,
    box: Vec,
    axis: Points2,
    half: float,
    taken: Sequence[tuple[Vec, Vec]],
) -> Vec:
    """Where the words of a bend stand on its inner side: as near as they clear the whole tube.

    Where they would run into those of another bend they stand a line lower or higher.

    Args:
        mid: middle of the bend, ``(2,)`` mm of paper.
        away: from it outwards.
        box: half of what the words take, ``(2,)`` mm.
        axis: of the tube, ``(n, 2)`` mm.
        half: half of the tube's width, mm.
        taken: where words of other bends stand, and half of what they take.
    """
    line = np.array([0.0, 1.3 * ANGLE])
    spots: list[Vec] = [
        mid - away * (half + far) + lines * line
        for far in np.arange(9.0, 30.0, 0.5)
        for lines in (0, 1, -1)
    ]
    for spot in spots:
        off = np.maximum(np.abs(axis - (spot - [0.0, box[1]])) - box, 0.0)
        if float(np.hypot(*off.T).min()) < half + CLEAR:
            continue
        if all((np.abs(spot - at) > box + other + (CLEAR, 0.0)).any() for at, other in taken):
            return spot
    return spots[0]


def _away(spot: Vec, along: Vec, centre: Vec) -> Vec:
    """Unit vector square to ``along`` that points away from the drawing's middle."""
    n = float(np.hypot(*along))
    if n < NO_LENGTH:
        return np.array([0.0, -1.0])
    across = np.array([-along[1], along[0]]) / n
    return across if float(across @ (spot - centre)) >= 0 else -across
