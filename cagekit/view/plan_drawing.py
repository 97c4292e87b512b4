"""Plan of what stands on the car: feet and plates from X = 0 and Y = 0; SVG in mm of paper."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
from msgspec import Struct

from cagekit.geometry.centre_line import Vec
from cagekit.view.camera import TOP
from cagekit.view.linework import LineDrawing, dimension, hairline, path_data, svg, text

MARGIN = 19.0
"""Room round the plan for sizes and names, mm of paper."""
BESIDE = 11.0
"""How far the size of an inner foot stands beside that of an outer one, mm of paper."""
UPRIGHT = 16.0
"""Least height for a size that is written along its line, mm of paper."""
NEAR = 60.0
"""Feet less than this (mm) apart along the car stand in one line."""
ASIDE = 1.6
"""How far a foot's name begins beside the line across the car that it stands on, or beside its
plate, mm of paper."""
LANE = 5.0
"""From one size along the car to the next one out, mm of paper."""
CLEAR = 5.0
"""How far a size stands beside a plate or foot that its words would lie on, mm of paper: the words
and some."""
WORDS = 2.7
"""Letters of the sizes, mm of paper."""


class PlanFoot(Struct, frozen=True, kw_only=True, eq=False):
    """A foot in the plan: its name, where its middle is in car axes ``(3,)``, tube diameter, mm."""

    name: str
    point: Vec
    od: float


def _inside(foot: PlanFoot, other: PlanFoot) -> bool:
    """Whether another foot stands farther out on the same line across the car."""
    (x, y, _), (u, v, _) = foot.point, other.point
    return bool(abs(x - u) < NEAR and y * v > 0 and abs(v) > abs(y))


def _lanes(feet: Sequence[PlanFoot]) -> list[tuple[int, PlanFoot]]:
    """Of each foot the lane of its size along the car, and the foot that stands farthest out.

    Both among those on its side of the car and of the hoop: the nearest to the hoop is innermost.
    """

    def quarter(foot: PlanFoot) -> tuple[bool, bool]:
        return bool(foot.point[0] > 0), bool(foot.point[1] > 0)

    out = []
    for foot in feet:
        x = abs(float(foot.point[0]))
        like = [f for f in feet if quarter(f) == quarter(foot) and abs(f.point[0]) > NEAR]
        nearer = sorted(abs(float(f.point[0])) for f in like if abs(f.point[0]) < x - NEAR)
        lanes = sum(b - a > NEAR for a, b in pairwise([0.0, *nearer]))
        out.append((lanes, max([foot, *like], key=lambda f: abs(float(f.point[1])))))
    return out


def _covered(outlines: Sequence[Vec], x: float, y: float) -> bool:
    """Whether a plate lies under a spot of the paper."""
    return any(
        bool((low < (x, y)).all() and (high > (x, y)).all())
        for low, high in ((o.min(axis=0), o.max(axis=0)) for o in outlines)
    )


def _beside(outlines: Sequence[Vec], spot: tuple[float, float]) -> tuple[float, float]:
    """Left and right edge of what lies under a foot on the paper, the spot itself at least."""
    under = [o[:, 0] for o in outlines if _covered([o], *spot)]
    return (
        min((float(x.min()) for x in under), default=spot[0]),
        max((float(x.max()) for x in under), default=spot[0]),
    )


def plan_drawing(
    feet: Sequence[PlanFoot],
    plates: Sequence[Vec],
    width: float,
    height: float,
    size: Callable[[float], str],
) -> LineDrawing:
    """Draw feet and plates from above, the front on the left, with both datum lines.

    Args:
        feet: tubes that stand on the car.
        plates: corners of each plate in car axes, ``(n, 3)`` mm.
        width: of the paper's field, mm.
        height: of the paper's field, mm.
        size: says a length.
    """
    spots = np.array([f.point for f in feet])
    everything = TOP.project(np.concatenate([spots, np.zeros((1, 3)), *plates]))[:, :2]
    low, high = everything.min(axis=0), everything.max(axis=0)
    wide, tall = (max(float(v), 1.0) for v in high - low)
    lanes = _lanes(feet)
    above = MARGIN + LANE * max((n for n, _ in lanes), default=0)
    scale = min((width - 2 * MARGIN) / wide, (height - 2 * above) / tall)
    w, h = wide * scale + 2 * MARGIN, tall * scale + 2 * above

    def at(points: Vec) -> Vec:
        flat = (TOP.project(np.atleast_2d(points))[:, :2] - low) * scale
        return np.column_stack([flat[:, 0] + MARGIN, h - above - flat[:, 1]])

    zero = at(np.zeros(3))[0]
    body = [
        hairline((zero[0], 4.0), (zero[0], h - 4.0)),
        hairline((4.0, zero[1]), (w - 4.0, zero[1])),
        text((zero[0], 3.4), "X = 0", size=2.8),
        text((w - 8.0, zero[1] - 1.0), "Y = 0", size=2.8),
        text((10.0, zero[1] - 1.0), "front", size=2.8),
    ]
    outlines = [at(corners) for corners in plates]
    for outline in outlines:
        body.append(
            f'<path d="{path_data(outline)} Z" fill="#e8e8e8" stroke="black" stroke-width="0.25"/>'
        )
    for f, (lane, outermost) in zip(feet, lanes, strict=True):
        x, y = at(f.point)[0]
        # feet in one line across the car: the sizes of the inner ones move aside
        behind = sum(_inside(f, other) for other in feet)
        along = x + BESIDE * behind
        left, right = _beside(outlines, (x, y))
        words, middle = size(abs(float(f.point[1]))), (y + zero[1]) / 2
        inner = [(float(at(o.point)[0, 1]), o.od * scale / 2) for o in feet if _inside(o, f)]
        met = any(abs(v - middle) < 0.3 * WORDS * len(words) + r for v, r in inner)
        if not behind and (met or _covered(outlines, x, middle)):
            along = right + CLEAR
        body.append(
            f'<circle cx="{x:.3f}" cy="{y:.3f}" r="{f.od * scale / 2:.3f}" fill="white" '
            'stroke="black" stroke-width="0.3"/>'
        )
        outward = -1.0 if y < zero[1] else 1.0
        if along != x:
            body.append(hairline((x, y), (along + 1.0, y)))
        short = behind and abs(y - zero[1]) < UPRIGHT
        body.append(dimension((along, y), (along, zero[1]), "" if short else words, size=WORDS))
        if short:
            spot = (along + 2.0, middle + 1.0)
            body.append(text(spot, words, size=WORDS, anchor="start", halo=True))
        beyond = y + outward * (f.od * scale / 2 + (6.5 if outward < 0 else 9.0))
        lengthwise = abs(x - zero[0]) > 14.0
        if behind or lengthwise:
            spot, anchor = (along + 6.0, y + 1.0) if behind else (x + ASIDE, beyond), "start"
        else:
            # sizes along the car end where it stands: its name keeps beside its plate
            spot, anchor = (left - ASIDE, y + 1.0), "end"
        body.append(text(spot, f.name, size=3.2, bold=True, anchor=anchor, halo=True))
        if lengthwise:
            edge = float(at(outermost.point)[0, 1])
            off = 12.0 if outward < 0 else 14.0
            aside = edge + outward * (outermost.od * scale / 2 + off + LANE * lane)
            body.append(hairline((x, y), (x, aside + outward)))
            body.append(
                dimension((x, aside), (zero[0], aside), size(abs(float(f.point[0]))), size=WORDS)
            )
    return LineDrawing(svg=svg(w, h, body), width=w, height=h, scale=scale)
