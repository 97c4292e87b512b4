"""Black-and-white line drawings of tubes as SVG, in mm of paper: for printed sheets.

A tube is drawn as its two sides; nearer tubes cover farther ones (painter's order on short
slices). Numbers stand in balloons that do not cover each other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike, NDArray

from cagekit.geometry.arrays import Points2
from cagekit.geometry.centre_line import CentreLine, Line, Vec
from cagekit.units.tolerance import NO_LENGTH, SAME_POINT
from cagekit.view.camera import Camera
from cagekit.view.extents import cage_extents

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.cage.plate import Plate

SLICE = 45.0
"""Length of a slice in painter's order, mm of tube."""
BEND_STEP = 9.0
EDGE = 0.28
"""Line weight of a tube's side, mm of paper."""
HAIR = 0.1
"""Line weight of what a size is measured between, mm of paper."""
BALLOON = 2.9
"""Radius of a balloon, mm of paper."""
DOT = 0.6
"""Radius of the dot on a weld, mm of paper."""
FRACTIONS = (0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74, 0.18, 0.82, 0.1, 0.9)


class LineDrawing(Struct, frozen=True, kw_only=True):
    """An SVG drawing and its size, mm of paper; ``scale`` is paper over model."""

    svg: str
    width: float
    height: float
    scale: float


class TubeSlice(Struct, frozen=True, kw_only=True, eq=False):
    """A slice of tube in the picture: points ``(n, 2)`` mm of model, depth, diameter."""

    points: Points2
    depth: float
    od: float


def cage_drawing(
    cage: Cage,
    camera: Camera,
    width: float,
    height: float,
    numbers: Mapping[str, int],
    *,
    margin: float = 14.0,
    size: Callable[[float], str] | None = None,
) -> LineDrawing:
    """Draw a whole cage to fit ``width`` by ``height`` mm of paper.

    Args:
        cage: the cage.
        camera: from where.
        width: of the paper's field, mm.
        height: of the paper's field, mm.
        numbers: number in the balloon by member id; members left out get none.
        margin: kept free round the drawing for sizes and balloons, mm.
        size: how an overall size (mm) is said; None leaves both out.
    """
    strokes = [
        s
        for m in cage.members.values()
        for s in tube_strokes(_shown(cage, m.id), m.tube.od, camera)
    ]
    plates = [_outline(p, camera) for p in cage.plates]
    low, high = cage_extents(cage, camera)
    wide, tall = (float(v) for v in high - low)
    scale = min((width - 2 * margin) / wide, (height - 2 * margin) / tall)
    paper = _Paper(low, high, scale, margin)
    body = [paper.plate(p) for p in plates]
    body += paper.tubes(strokes)
    if size is not None:
        body += paper.sizes(size(wide), size(tall))
    body += paper.balloons(
        {i: camera.project(_along(cage.members[i].path))[:, :2] for i in numbers}, numbers
    )
    return paper.drawing(body)


def weld_drawing(
    cage: Cage, camera: Camera, width: float, height: float, spots: Mapping[str, Vec]
) -> LineDrawing:
    """Draw a cage with a dot at every weld and its number beside it.

    Args:
        cage: the cage.
        camera: from where.
        width: of the paper's field, mm.
        height: of the paper's field, mm.
        spots: where each weld is in car axes, ``(3,)`` mm, by its number.
    """
    strokes = [
        s
        for m in cage.members.values()
        for s in tube_strokes(_shown(cage, m.id), m.tube.od, camera)
    ]
    low, high = cage_extents(cage, camera)
    wide, tall = (float(v) for v in high - low)
    margin = 10.0
    scale = min((width - 2 * margin) / wide, (height - 2 * margin) / tall)
    paper = _Paper(low, high, scale, margin)
    body = [paper.plate(_outline(p, camera)) for p in cage.plates]
    body += paper.tubes(strokes)
    flat = {id_: paper.at(camera.project(p[None])[:, :2])[0] for id_, p in spots.items()}
    return paper.drawing([*body, *paper.pointers(flat)])


def tube_strokes(path: CentreLine, od: float, camera: Camera) -> list[TubeSlice]:
    """Cut a tube into slices as the camera sees them.

    Args:
        path: centre line of the tube.
        od: outside diameter, mm.
        camera: the view.
    """
    out: list[TubeSlice] = []
    for piece in path.pieces:
        step = SLICE if isinstance(piece, Line) else BEND_STEP * 4
        n = max(int(np.ceil(piece.length / step)), 1)
        fine = 2 if isinstance(piece, Line) else 5
        edges = np.linspace(0.0, piece.length, n + 1)
        stations = np.linspace(edges[:-1], edges[1:], fine, axis=1)
        seen = camera.project(piece.point(stations).reshape(-1, 3)).reshape(n, fine, 3)
        depths = seen[:, :, 2].mean(axis=1).tolist()
        out += [
            TubeSlice(points=points, depth=depth, od=od)
            for points, depth in zip(seen[:, :, :2], depths, strict=True)
        ]
    return out


def _shown(cage: Cage, id_: str) -> CentreLine:
    """The centre line between the middles of both cuts."""
    path = cage.members[id_].path
    a, b = cage.cut(id_, "a"), cage.cut(id_, "b")
    low = max(0.5 * (a.shortest + a.longest), 0.0)
    high = path.length - max(0.5 * (b.shortest + b.longest), 0.0)
    return path.part(low, high)


def _along(path: CentreLine) -> Vec:
    return path.points(np.linspace(0.0, path.length, 101))


def _outline(plate: Plate, camera: Camera) -> Vec:
    """The plate's folded edge in the picture, ``(n, 2)`` mm of model."""
    return camera.project(plate.car_points(plate.outline.sampled(6.0)))[:, :2]


class _Paper:
    """Turns model coordinates of the picture into an SVG, y down."""

    def __init__(self, low: Vec, high: Vec, scale: float, margin: float) -> None:
        self.low, self.high, self.scale, self.margin = low, high, scale, margin
        self.width = float((high - low)[0]) * scale + 2 * margin
        self.height = float((high - low)[1]) * scale + 2 * margin
        self.room = np.array([[0.0, 0.0], [self.width, self.height]])  # for numbers: two corners

    def at(self, points: Points2) -> Vec:
        """Paper coordinates ``(n, 2)`` mm of model points ``(n, 2)``."""
        flat = (np.atleast_2d(points) - self.low) * self.scale
        return np.column_stack([flat[:, 0] + self.margin, self.height - self.margin - flat[:, 1]])

    def plate(self, outline: Vec) -> str:
        return _polygon(self.at(outline), fill="#e4e4e4", stroke="black", width=0.2)

    def tubes(self, strokes: Iterable[TubeSlice]) -> list[str]:
        """Tubes in painter's order, farthest first."""
        return tube_slices(strokes, self.at, self.scale)

    def sizes(self, wide: str, tall: str) -> list[str]:
        """Overall width below and height on the left, between lines at what reaches farthest.

        Numbers keep off them from then on.
        """
        m, w, h = self.margin, self.width, self.height
        self.room = np.array([[6.0, 0.0], [w, h - 9.0]])
        reach = (((m, m), (m, h - 3.5)), ((w - m, m), (w - m, h - 3.5)))
        rise = (((4.0, m), (w - m, m)), ((4.0, h - m), (w - m, h - m)))
        return [
            *(hairline(p, q) for p, q in (*reach, *rise)),
            dimension((m, h - 5), (w - m, h - 5), wide),
            dimension((5.5, h - m), (5.5, m), tall),
        ]

    def balloons(
        self, lines: Mapping[str, Vec], numbers: Mapping[str, int] | Mapping[str, str]
    ) -> list[str]:
        """A number on each tube, moved along it until it covers no other; no line runs over one."""
        taken: list[np.ndarray] = []
        leaders, out = [], []
        for id_ in sorted(lines, key=lambda i: str(numbers[i]).zfill(4)):
            points = self.at(lines[id_])
            spots = [points[round(f * (len(points) - 1))] for f in FRACTIONS]
            free = next((p for p in spots if _free(p, taken)), None)
            if free is None:
                free, tail = self._aside(spots[0], taken)
                leaders.append(_line(tail, free, 0.2))
            taken.append(free)
            out.append(balloon(free, str(numbers[id_])))
        return [*leaders, *out]

    def pointers(self, spots: Mapping[str, Vec]) -> list[str]:
        """A dot at each spot of the paper, a number beside it, a line between.

        Numbers stand outwards of the picture's middle where that is free, and cover no dot.
        """
        dots = list(spots.values())
        middle = np.mean(dots, axis=0)
        taken: list[np.ndarray] = []
        lines, marks, numbers = [], [], []
        for id_, spot in spots.items():
            free = self._outward(spot, middle, taken, dots)
            taken.append(free)
            lines.append(_line(spot, free, 0.2))
            marks.append(f'<circle cx="{spot[0]:.3f}" cy="{spot[1]:.3f}" r="{DOT}" fill="black"/>')
            numbers.append(balloon(free, id_))
        return [*lines, *numbers, *marks]

    def _outward(
        self,
        spot: np.ndarray,
        middle: np.ndarray,
        taken: Sequence[np.ndarray],
        dots: Sequence[np.ndarray],
    ) -> np.ndarray:
        """The nearest free place for a number beside a spot, outwards first."""
        out = float(np.arctan2(*(spot - middle)[::-1]))
        turns = sorted(np.linspace(-np.pi, np.pi, 24, endpoint=False), key=abs)
        for reach in np.arange(1.7, 14.0, 0.5) * BALLOON:
            for a in turns:
                p = spot + reach * np.array([np.cos(out + a), np.sin(out + a)])
                off_dots = all(float(np.hypot(*(p - d))) > BALLOON + 2 * DOT for d in dots)
                if self._has_room(p) and off_dots and _free(p, taken):
                    return np.asarray(p)
        return spot

    def _aside(
        self, spot: np.ndarray, taken: Sequence[np.ndarray]
    ) -> tuple[np.ndarray, np.ndarray]:
        """A free place beside ``spot`` and where the leader starts."""
        for reach in np.arange(3.0, 40.0, 1.5):
            for a in np.linspace(0.0, 2 * np.pi, 16, endpoint=False):
                p = spot + reach * BALLOON / 2 * np.array([np.cos(a), np.sin(a)])
                if self._has_room(p) and _free(p, taken):
                    return p, spot
        return spot, spot

    def _has_room(self, p: np.ndarray) -> bool:
        """Whether a number there lies on the paper and on no size."""
        return bool((p > self.room[0] + BALLOON).all() and (p < self.room[1] - BALLOON).all())

    def drawing(self, body: Iterable[str]) -> LineDrawing:
        return LineDrawing(
            svg=svg(self.width, self.height, body),
            width=self.width,
            height=self.height,
            scale=self.scale,
        )


def _free(p: np.ndarray, taken: Sequence[np.ndarray]) -> bool:
    return all(float(np.hypot(*(p - q))) > 2.15 * BALLOON for q in taken)


def svg(width: float, height: float, body: Iterable[str]) -> str:
    """An SVG document of ``width`` by ``height`` mm, user units mm.

    Args:
        width: of the drawing, mm.
        height: of the drawing, mm.
        body: elements that it holds.
    """
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.2f}mm" height="{height:.2f}mm" '
        f'viewBox="0 0 {width:.3f} {height:.3f}" stroke-linejoin="round">'
        + "".join(body)
        + "</svg>"
    )


def text(
    at: ArrayLike,
    words: str,
    *,
    size: float = 2.6,
    anchor: str = "middle",
    turn: float = 0.0,
    bold: bool = False,
    halo: bool = False,
) -> str:
    """A line of text; ``size`` mm, ``turn`` degrees clockwise; ``halo`` clears behind it.

    Args:
        at: ``(2,)`` on the sheet, mm.
        words: what it says.
        size: of the letters, mm.
        anchor: which end of the words stands at the point.
        turn: degrees, as the sheet is read.
        bold: whether the letters are heavy.
        halo: whether a white edge lifts them off the lines.
    """
    x, y = (float(v) for v in np.asarray(at, float))
    rotated = f' transform="rotate({turn:.2f} {x:.3f} {y:.3f})"' if turn else ""
    weight = ' font-weight="bold"' if bold else ""
    base = (
        f'x="{x:.3f}" y="{y:.3f}" font-family="DejaVu Sans" font-size="{size:.2f}" '
        f'text-anchor="{anchor}"{weight}{rotated}'
    )
    words = escape(words)
    behind = f'<text {base} stroke="white" stroke-width="0.9">{words}</text>' if halo else ""
    return f"{behind}<text {base}>{words}</text>"


def balloon(at: ArrayLike, number: str) -> str:
    """A number in a white circle."""
    x, y = (float(v) for v in np.asarray(at, float))
    size = 2.9 if len(number) < 3 else 2.3
    return (
        f'<circle cx="{x:.3f}" cy="{y:.3f}" r="{BALLOON}" fill="white" stroke="black" '
        f'stroke-width="0.25"/>' + text((x, y + 0.36 * size), number, size=size, bold=True)
    )


def dimension(a: ArrayLike, b: ArrayLike, words: str, *, size: float = 2.7) -> str:
    """A dimension line with arrows and its text in the middle, reading from below or the right.

    Args:
        a: one end, ``(2,)`` mm.
        b: other end, ``(2,)`` mm.
        words: what it says.
        size: of the letters, mm.
    """
    p, q = np.asarray(a, float), np.asarray(b, float)
    d = q - p
    if float(np.hypot(*d)) < SAME_POINT:
        return ""
    turn = float(np.degrees(np.arctan2(d[1], d[0])))
    # upright ones are read from the right, so a hair under a quarter turn counts as one
    if turn > 89.5 or turn < -90.5:
        turn += 180 if turn < 0 else -180
    mid = (p + q) / 2
    up = np.array([np.sin(np.radians(turn)), -np.cos(np.radians(turn))])
    return arrow(p, q) + text(mid + 0.9 * up, words, size=size, turn=turn, halo=True)


def arrow(a: ArrayLike, b: ArrayLike) -> str:
    """A line with an arrow at both ends, shorter arrows on a short line."""
    p, q = np.asarray(a, float), np.asarray(b, float)
    n = float(np.hypot(*(q - p)))
    if n < SAME_POINT:
        return ""
    d = (q - p) / n
    size = min(2.0, 0.45 * n)
    across = 0.275 * size * np.array([-d[1], d[0]])
    heads = "".join(
        _polygon(
            np.array([tip, tip + s * size * d + across, tip + s * size * d - across]), fill="black"
        )
        for tip, s in ((p, 1.0), (q, -1.0))
    )
    return _line(p, q, 0.2) + heads


def hairline(a: ArrayLike, b: ArrayLike) -> str:
    """A thin grey line from what is measured to its size."""
    return _line(a, b, HAIR, "#777777")


def _line(a: ArrayLike, b: ArrayLike, width: float, ink: str = "black") -> str:
    points = np.array([np.asarray(a, float), np.asarray(b, float)])
    return f'<path d="{path_data(points)}" fill="none" stroke="{ink}" stroke-width="{width}"/>'


def _polygon(points: Vec, *, fill: str, stroke: str = "none", width: float = 0.0) -> str:
    data = " ".join(f"{x:.3f},{y:.3f}" for x, y in points)
    return f'<polygon points="{data}" fill="{fill}" stroke="{stroke}" stroke-width="{width}"/>'


def tube_slices(
    slices: Iterable[TubeSlice], at: Callable[[Points2], Points2], scale: float
) -> list[str]:
    """Slices of tubes in painter's order: each its two sides, a black band and a white one over it.

    Args:
        slices: of any tubes.
        at: paper coordinates ``(n, 2)`` mm of model points ``(n, 2)``, each by itself.
        scale: paper over model.
    """
    ordered = sorted(slices, key=lambda s: s.depth)
    out = [""] * len(ordered)
    for count in {len(s.points) for s in ordered}:
        those = [n for n, s in enumerate(ordered) if len(s.points) == count]
        model = np.concatenate([ordered[n].points for n in those])
        chains = at(model).reshape(-1, count, 2)
        bands = zip(
            those, _paths(_stretched(chains, 0.1)), _paths(_stretched(chains, 0.35)), strict=True
        )
        for n, black, white in bands:
            size = max(ordered[n].od * scale, 2.5 * EDGE)
            out[n] = (
                f'<path d="{black}" fill="none" stroke="black" stroke-width="{size:.3f}"/>'
                f'<path d="{white}" fill="none" stroke="white" '
                f'stroke-width="{size - 2 * EDGE:.3f}"/>'
            )
    return out


def path_data(points: Vec) -> str:
    """SVG path through points; never quite level or upright, which some readers do not stroke."""
    return _paths(np.array(points, float)[None])[0]


def _paths(chains: NDArray[np.float64]) -> list[str]:
    """SVG paths through chains of points ``(m, n, 2)``."""
    if chains.shape[1] == 2:
        middle = (chains[:, 0] + chains[:, 1]) / 2 + 0.002
        chains = np.stack([chains[:, 0], middle, chains[:, 1]], axis=1)
    return ["M" + " L".join([f"{x:.4f} {y:.4f}" for x, y in chain]) for chain in chains.tolist()]


def _stretched(chains: NDArray[np.float64], by: float) -> NDArray[np.float64]:
    """Lengthen chains ``(m, n, 2)`` at both ends a little, so that no gap shows between slices."""
    out = chains.copy()
    for end, nxt in ((0, 1), (-1, -2)):
        way = chains[:, end] - chains[:, nxt]
        size = np.hypot(way[:, 0], way[:, 1])
        some = size > NO_LENGTH
        out[some, end] += by * way[some] / size[some, None]
    return out
