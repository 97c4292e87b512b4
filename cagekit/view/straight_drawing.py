"""Small drawing of a straight tube: both cuts in true shape, both clocks, its length."""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, radians, sin

import numpy as np
from msgspec import Struct

from cagekit.geometry.centre_line import Vec
from cagekit.geometry.end_cut import EndCut
from cagekit.geometry.outline import vec2
from cagekit.units.tolerance import SAME_POINT
from cagekit.view.linework import LineDrawing, dimension, hairline, path_data, svg, text

TUBE = 9.0
"""Most that the tube's diameter takes on paper, mm."""
DIAL = 5.0
"""Radius of a clock, mm."""
SIDE = 17.0
"""From the paper's edge to the tip of the tube, mm."""
JOINT = 4.5
"""Half of a bolted joint on paper, mm."""
MIDDLE = 14.0
"""Least whole tube between the two cuts, mm of paper."""
HALF = 90
"""Spots along half a rim."""


class StraightEnd(Struct, frozen=True, kw_only=True):
    """An end of a straight tube: its cut, and the clock of its deep side (degrees) if any."""

    cut: EndCut
    deepest: float | None


class StraightJoint(Struct, frozen=True, kw_only=True):
    """A bolted joint: where its middle is, as a share of the tube, and words for the place.

    ``bolts`` are their places in it and ``cuts`` those of the saw, both as shares of half of it.
    """

    share: float
    words: str
    bolts: tuple[float, ...]
    cuts: tuple[float, ...]


def straight_drawing(
    a: StraightEnd,
    b: StraightEnd,
    length: str,
    width: float,
    joints: Sequence[StraightJoint] = (),
) -> LineDrawing:
    """Draw a straight tube, its reference line on top and end a on the left, not to length.

    Args:
        a: end a.
        b: end b.
        length: words for the length from tip to tip.
        width: of the drawing, mm of paper.
        joints: bolted joints on it, their places counted from the tip of end a.
    """
    r = a.cut.outer_radius
    depths = [e.cut.longest - e.cut.shortest for e in (a, b)]
    k = min(TUBE / (2 * r), (width - 2 * SIDE - MIDDLE) / max(sum(depths), SAME_POINT))
    h, mid = 24.0, 10.5
    ends = [
        _Shape(a.cut, SIDE, mid, k, 1.0),
        _Shape(b.cut, width - SIDE, mid, k, -1.0),
    ]
    body = []
    for height in (-1.0, 1.0):
        p, q = (e.side(height) for e in ends)
        body.append(_stroke(np.array([p, q]), 0.35))
    places = [SIDE + j.share * (width - 2 * SIDE) for j in joints]
    broken = [x for x in (0.5, 0.62, 0.38, 0.74, 0.26) if _free(x * width, places)]
    body.append(_broken((broken or [0.5])[0] * width, mid, r * k))
    for x, joint in zip(places, joints, strict=True):
        body += _joint(x, mid, r * k, joint)
    for e in ends:
        body += [_stroke(e.far, 0.15, "1 0.7"), _stroke(e.near, 0.4)]
    for x, end, name in ((DIAL + 1.0, a, "A"), (width - DIAL - 1.0, b, "B")):
        body += _clock(x, mid, end.deepest)
        body.append(text((x, mid - DIAL - 2.6), name, size=3.6, bold=True))
    y = mid + r * k + 7.0
    body += [hairline((x, mid + r * k * 0.4), (x, y + 1.2)) for x in (SIDE, width - SIDE)]
    body.append(dimension((SIDE, y), (width - SIDE, y), length, size=3.0))
    return LineDrawing(svg=svg(width, h, body), width=width, height=h, scale=k)


class _Shape:
    """A cut in the picture: the tip at ``x``, the tube's middle at ``y``, ``sense`` into it."""

    def __init__(self, cut: EndCut, x: float, y: float, k: float, sense: float) -> None:
        # angles count about the way out, which points at the reader's left at end a
        half = sense * np.linspace(0.0, np.pi, HALF)
        phi = np.concatenate([-half, half])
        r = cut.outer_radius
        depth = cut.trim(phi, r) - cut.shortest
        rim = np.column_stack([x + sense * k * depth, y - k * r * np.cos(phi)])
        self.near, self.far = rim[:HALF], rim[HALF:]
        """The rim on the near and the far side, upper edge to lower."""

    def side(self, height: float) -> Vec:
        """Where the cut meets the upper (-1) or lower (1) edge of the tube."""
        return vec2(self.far[0 if height < 0 else -1])


def _clock(x: float, y: float, deepest: float | None) -> list[str]:
    """The end as one looks at the cut: reference line on top, a hand at the deep side."""
    out = [
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{DIAL}" fill="white" stroke="black" '
        'stroke-width="0.25"/>',
        _stroke(np.array([(x, y - DIAL), (x, y - DIAL + 1.8)]), 0.6),
    ]
    if deepest is None:
        return [*out, text((x, y + DIAL + 3.4), "square", size=2.9)]
    a = radians(deepest)
    tip = np.array([x - DIAL * sin(a), y - DIAL * cos(a)])
    out.append(_stroke(np.array([(x, y), tip]), 0.5))
    return [*out, text((x, y + DIAL + 3.4), f"{round(deepest) % 360}°", size=2.9, bold=True)]


def _free(x: float, places: Sequence[float]) -> bool:
    """Whether no joint stands here."""
    return all(abs(x - p) > JOINT + 2.0 for p in places)


def _joint(x: float, y: float, r: float, joint: StraightJoint) -> list[str]:
    """A joint on the tube: its outline, the cuts in it, bolts as middle lines, its place."""
    top = r + 0.8
    out = [
        f'<rect x="{x - JOINT:.2f}" y="{y - top:.2f}" width="{2 * JOINT:.2f}" '
        f'height="{2 * top:.2f}" fill="white" stroke="black" stroke-width="0.35"/>',
    ]
    for share in joint.cuts:
        at = x + share * JOINT
        out.append(_stroke(np.array([(at, y - top), (at, y + top)]), 0.2, "1 0.7"))
    for share in joint.bolts:
        at = x + share * JOINT
        out.append(_stroke(np.array([(at, y - top - 1.0), (at, y + top + 1.0)]), 0.15))
    return [*out, text((x, y - top - 2.0), joint.words, size=2.6)]


def _broken(x: float, y: float, r: float) -> str:
    """The sign that a piece of the tube is left out."""
    zig = np.array([(-1.0, -r - 1.2), (0.6, -r * 0.3), (-0.6, r * 0.3), (1.0, r + 1.2)])
    blank = f'<rect x="{x - 1.2:.2f}" y="{y - r - 0.5:.2f}" width="2.4" height="{2 * r + 1:.2f}" fill="white"/>'  # noqa: E501
    lines = [_stroke(zig + np.array([x + d, y]), 0.2) for d in (-1.2, 1.2)]
    return blank + "".join(lines)


def _stroke(points: Vec, weight: float, dashes: str = "") -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<path d="{path_data(points)}" fill="none" stroke="black" '
        f'stroke-width="{weight}"{dashed}/>'
    )
