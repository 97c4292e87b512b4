"""Drawings of parts with the names of their arguments where they are measured; SVG."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from math import degrees
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct

from cagekit.face.kinds import make, typed_values
from cagekit.face.tube_part import TubePart
from cagekit.guide.measured import ALONG, Measured, measured
from cagekit.units.tolerance import NO_LENGTH
from cagekit.view.camera import FRONT, SIDE, TOP, Camera
from cagekit.view.linework import (
    dimension,
    hairline,
    path_data,
    svg,
    text,
    tube_slices,
    tube_strokes,
)

if TYPE_CHECKING:
    from cagekit.cage.member import EndName
    from cagekit.cage.plate import Plate
    from cagekit.geometry.centre_line import CentreLine, Vec

FIELD = 96.0
"""Largest side of a view without its sizes, mm of paper."""
ROW = 5.5
"""From one size to the next beside it, mm of paper."""
LETTER = 2.9
"""Height of the letters, mm of paper."""
WIDE = 0.62
"""Width of a letter over its height, about."""
AWAY = 5.0
"""From a tube's end to its words, mm of paper."""
GAP = 12.0
"""Between two views, mm of paper."""
STUB = 130.0
"""Length of a tube that is only met, to either side of the node, mm."""
VIEWS: Mapping[str, tuple[Camera, str]] = {
    "front": (FRONT, "from the front"),
    "side": (SIDE, "from the left"),
    "top": (TOP, "from above"),
}
SEEN: Mapping[int, tuple[str, ...]] = {
    0: ("side", "top"),
    1: ("front", "top"),
    2: ("front", "side"),
}
"""Views in which a distance along X, Y or Z is seen in its true length."""


class Span(Struct, frozen=True, kw_only=True, eq=False):
    """A size in a view: its words, both points ``(2,)`` mm, whether it runs level or slanted."""

    words: str
    start: Vec
    end: Vec
    level: bool
    slanted: bool = False


class Label(Struct, frozen=True, kw_only=True, eq=False):
    """Lines of words beside a point ``(2,)`` mm of a view, on its side ``away``."""

    lines: tuple[str, ...]
    point: Vec
    away: Vec


class View(Struct, frozen=True, kw_only=True):
    """A drawn view: SVG elements from (0, 0), and its size, mm of paper."""

    body: str
    width: float
    height: float
    named: tuple[str, ...]


class PartDrawing(Struct, frozen=True, kw_only=True):
    """The drawing of a part and the arguments that it names."""

    svg: str
    named: tuple[str, ...]


def part_drawing(kind: str, dims: Mapping[str, Any]) -> PartDrawing | None:
    """Draw a part in the views that show its sizes; None where nothing of it is measured.

    Args:
        kind: name of a kind of part.
        dims: what is not left at its default.
    """
    sizes = measured(kind, dims)
    part = make(kind, dims)
    if isinstance(part, TubePart):
        views = _tube_views(part, sizes, typed_values(kind, dims, "mm"))
    else:
        with_sizes = {s.of for s in sizes}
        views = [
            _plate_view(plate, [s for s in sizes if s.of == name])
            for name, plate in part.plates.items()
            if name in with_sizes
        ]
    if not views:
        return None
    named = tuple(dict.fromkeys(n for v in views for n in v.named))
    return PartDrawing(svg=_side_by_side(views), named=named)


def _side_by_side(views: Sequence[View]) -> str:
    height = max(v.height for v in views)
    body, x = [], 0.0
    for v in views:
        shift = f"translate({x:.2f} {height - v.height:.2f})"
        body.append(f'<g transform="{shift}">{v.body}</g>')
        x += v.width + GAP
    return svg(x - GAP, height, body)


# -- tubes -----------------------------------------------------------------------------------


def _tube_views(part: TubePart, sizes: Sequence[Measured], values: Mapping[str, Any]) -> list[View]:
    """The fewest views that show every size, the one that shows most first."""
    left = list(sizes)
    views: list[View] = []
    told: Mapping[str, Any] = values
    while left or not views:
        shown = {v: sum(v in SEEN[s.axis] for s in left) for v in VIEWS}
        most = [v for v in VIEWS if shown[v] == max(shown.values())]
        name = most[0] if views else max(most, key=lambda v: _area(part, v))
        here = [s for s in left if name in SEEN[s.axis]]
        left = [s for s in left if s not in here]
        camera, words = VIEWS[name]
        views.append(_tube_view(part, camera, words, here, told))
        told = {}
    return views


def _area(part: TubePart, view: str) -> float:
    """How large the tube looks in a view, mm2."""
    points = VIEWS[view][0].project(part.path.points(np.linspace(0.0, part.path.length, 60)))
    return float(np.prod(np.ptp(points[:, :2], axis=0)))


def _tube_view(
    part: TubePart,
    camera: Camera,
    words: str,
    sizes: Sequence[Measured],
    values: Mapping[str, Any],
) -> View:
    def flat(points: Vec) -> Vec:
        return np.asarray(camera.project(np.atleast_2d(points)))[:, :2]

    spans = [
        Span(
            words=f"{s.name} {abs(s.value):g}",
            start=flat(s.start)[0],
            end=flat(s.end)[0],
            level=abs(camera.right[s.axis]) > 0.5,
        )
        for s in sizes
    ]
    strokes = [s for path, od in _tubes(part) for s in tube_strokes(path, od, camera)]
    every = np.concatenate([s.points for s in strokes])
    pad = part.tube.outer_radius
    axis = flat(part.path.points(np.linspace(0.0, part.path.length, 240)))

    def body(at: Callable[[Vec], Vec], scale: float) -> Iterable[str]:
        yield from tube_slices(strokes, at, scale)
        yield (
            f'<path d="{path_data(at(axis))}" fill="none" stroke="black" stroke-width="0.15" '
            'stroke-dasharray="4 1 0.6 1"/>'
        )

    ends: tuple[EndName, ...] = ("a", "b")
    marks = [
        Label(
            lines=_end_words(part, name, values),
            point=flat(part.path.end_point(name))[0],
            away=flat(part.path.out_direction(name))[0],
        )
        for name in ends
        if values
    ]
    box = every.min(axis=0) - pad, every.max(axis=0) + pad
    size = f", od {part.tube.od:g}, wall {part.tube.wall:g}" if values else ""
    bend = f", bend_radius {part.path.bends[0].radius:g}" if values and part.path.bends else ""
    return _drawn(box, body, spans, marks, f"{words}{size}{bend}", [s.name for s in sizes])


def _tubes(part: TubePart) -> list[tuple[CentreLine, float]]:
    """The tube, cut back to its ends, and short pieces of those that it meets."""
    low, high = (max(part.copes()[e].shortest, 0.0) for e in ("a", "b"))
    found = [(part.path.part(low, part.path.length - high), part.tube.od)]
    for name in ("a", "b"):
        for parent in part.member.end(name).parents:
            other = part.cage.members[parent]
            at = other.path.nearest(part.path.end_point(name)).station
            whole = other.path.length
            piece = other.path.part(max(at - STUB, 0.0), min(at + STUB, whole))
            found.append((piece, other.tube.od))
    return found


def _end_words(part: TubePart, name: EndName, values: Mapping[str, Any]) -> tuple[str, ...]:
    """What stands beside an end: its letter, and what no line can say."""
    said: list[str] = [name]
    met = bool(part.member.end(name).parents)
    if values.get(f"angle_{name}") is not None:
        said.append(f"angle_{name} {values[f'angle_{name}']:g}°")
    for word in (f"parent_od_{name}", "parent_od"):
        if met and values.get(word) is not None:
            said.append(f"{word} {values[word]:g}")
    return tuple(said)


# -- plates ----------------------------------------------------------------------------------


def _plate_view(plate: Plate, sizes: Sequence[Measured]) -> View:
    spans = [
        Span(
            words=f"{s.name} {s.value:g}",
            start=s.start,
            end=s.end,
            level=s.axis == 0,
            slanted=s.axis == ALONG,
        )
        for s in sizes
    ]
    low, high = plate.outline.box

    def body(at: Callable[[Vec], Vec], scale: float) -> Iterable[str]:
        yield _loop(at(plate.outline.flat_points(0.01)), "#ececec")
        for hole in plate.holes:
            yield _loop(at(hole.loop.flat_points(0.01)), "white")
        for fold in plate.folds:
            line = at(np.array([fold.start, fold.end], float))
            yield (
                f'<path d="{path_data(line)}" fill="none" stroke="black" stroke-width="0.3" '
                'stroke-dasharray="1.8 0.8"/>'
            )

    title = f"{plate.id}, thickness {plate.thickness:g}"
    folds = [f"fold of {abs(degrees(f.angle)):.0f}°" for f in plate.folds[:1]]
    return _drawn((low, high), body, spans, (), ", ".join([title, *folds]), [s.name for s in sizes])


def _loop(points: Vec, fill: str) -> str:
    return f'<path d="{path_data(points)} Z" fill="{fill}" stroke="black" stroke-width="0.3"/>'


# -- sizes round a view ----------------------------------------------------------------------


def _drawn(
    box: tuple[Vec, Vec],
    body: Callable[[Callable[[Vec], Vec], float], Iterable[str]],
    spans: Sequence[Span],
    labels: Sequence[Label],
    title: str,
    named: Sequence[str],
) -> View:
    """A view with its sizes in rows round it: level ones above and below, the rest at the sides."""
    low, high = (np.asarray(b, float) for b in box)
    size = np.maximum(high - low, 1.0)
    scale = float(FIELD / size.max())
    middle = (low + high) / 2
    sides: dict[str, list[list[tuple[float, float, Span]]]] = {}
    slanted = [s for s in spans if s.slanted]
    square = [s for s in spans if not s.slanted]
    for span in sorted(square, key=lambda s: float(np.abs(s.end - s.start).max())):
        k = 0 if span.level else 1
        mean = (span.start + span.end) / 2
        far = mean[1 - k] > middle[1 - k]
        side = ("above" if far else "below") if span.level else ("right" if far else "left")
        a, b = sorted((float(span.start[k]), float(span.end[k])))
        half = max((b - a) / 2, len(span.words) * LETTER * WIDE / 2 / scale) + 2.0 / scale
        reach = ((a + b) / 2 - half, (a + b) / 2 + half)
        rows = sides.setdefault(side, [])
        free = next((r for r in rows if all(reach[1] < q[0] or reach[0] > q[1] for q in r)), None)
        if free is None:
            rows.append(free := [])
        free.append((*reach, span))
    depth = {s: ROW * len(sides.get(s, ())) + 4.0 for s in ("left", "right", "above", "below")}
    wide = {
        s: depth[s] + max([0.0, *(_width(w) for w in labels if _side(w) == s)])
        for s in ("left", "right")
    }
    aslant = 2 * ROW if slanted else 0.0
    title_over = max(0.0, (len(title) * LETTER * WIDE * 1.1 - size[0] * scale) / 2)
    level = [q for s in ("above", "below") for row in sides.get(s, ()) for q in row]
    left_over = max([0.0, *((float(low[0]) - q[0]) * scale for q in level)])
    right_over = max([0.0, *((q[1] - float(high[0])) * scale for q in level)])
    left = max(depth["left"], wide["left"], aslant, title_over, left_over)
    right = max(depth["right"], wide["right"], aslant, title_over, right_over)
    above, below = max(depth["above"], aslant) + 2.0, max(depth["below"], aslant) + 8.0
    w = left + size[0] * scale + right
    h = above + size[1] * scale + below

    def at(points: Vec) -> Vec:
        p = (np.atleast_2d(points) - low) * scale
        return np.column_stack([p[:, 0] + left, h - below - p[:, 1]])

    out = list(body(at, scale))
    for side, rows in sides.items():
        for n, row in enumerate(rows):
            off = ROW * (n + 1)
            out += [line for *_, s in row for line in _span(s, side, off, at, low, high)]
    out += [line for s in slanted for line in _slanted(s, at, middle)]
    out += [line for m in labels for line in _beside(m, at(m.point)[0], depth)]
    out.append(text((left + size[0] * scale / 2, h - 1.5), title, size=LETTER, bold=True))
    return View(body="".join(out), width=w, height=h, named=tuple(named))


def _side(label: Label) -> str:
    """On which side of the view a label stands: left, right, or over or under it."""
    if abs(label.away[0]) < 0.5:
        return "level"
    return "right" if label.away[0] > 0 else "left"


def _width(label: Label) -> float:
    return AWAY + max(len(w) for w in label.lines) * LETTER * WIDE + 2.0


def _beside(label: Label, point: Vec, depth: Mapping[str, float]) -> Iterable[str]:
    """The lines of a label, out of the tube's end and past the sizes there."""
    side = _side(label)
    anchor = {"left": "end", "right": "start", "level": "middle"}[side]
    step = AWAY * np.array([label.away[0], -label.away[1]])
    step[0] += {"left": -1.0, "right": 1.0, "level": 0.0}[side] * (depth.get(side, 4.0) - 4.0)
    for n, words in enumerate(label.lines):
        down = LETTER * (0.35 + 1.25 * n)
        spot = point + step + (0.0, down)
        yield text(spot, words, size=LETTER, anchor=anchor, bold=n == 0, halo=True)


def _slanted(span: Span, at: Callable[[Vec], Vec], middle: Vec) -> list[str]:
    """A size from point to point, beside the line between them, away from the middle."""
    p, q = at(np.array([span.start, span.end]))
    along = (q - p) / max(float(np.hypot(*(q - p))), NO_LENGTH)
    across = np.array([-along[1], along[0]])
    if float(across @ ((p + q) / 2 - at(middle)[0])) < 0:
        across = -across
    a, b = p + ROW * across, q + ROW * across
    low_end, high_end = sorted((a, b), key=lambda v: (float(v[0]), -float(v[1])))
    lines = [hairline(p, a + across), hairline(q, b + across)]
    return [*lines, dimension(low_end, high_end, span.words, size=LETTER)]


def _span(
    span: Span, side: str, off: float, at: Callable[[Vec], Vec], low: Vec, high: Vec
) -> list[str]:
    """One size with its lines to what it measures."""
    p, q = at(np.array([span.start, span.end]))
    edge_low, edge_high = at(low)[0], at(high)[0]
    if span.level:
        y = edge_low[1] + off if side == "below" else edge_high[1] - off
        a, b = np.array([p[0], y]), np.array([q[0], y])
        past = np.array([0.0, 1.0 if side == "below" else -1.0])
    else:
        x = edge_low[0] - off if side == "left" else edge_high[0] + off
        a, b = np.array([x, p[1]]), np.array([x, q[1]])
        past = np.array([-1.0 if side == "left" else 1.0, 0.0])
    low_end, high_end = sorted((a, b), key=lambda v: (float(v[0]), -float(v[1])))
    return [
        hairline(p, a + past),
        hairline(q, b + past),
        dimension(low_end, high_end, span.words, size=LETTER),
    ]
