"""Drawing of a part for the lathe and the mill: from both sides of its bolt, with its sizes."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from cagekit.view.linework import LineDrawing, dimension, hairline, path_data, svg, text

if TYPE_CHECKING:
    from cagekit.cage.door import Lug, SmallPart

SIDE, GAP, TOP, BELOW = 24.0, 36.0, 9.0, 24.0
"""Paper beside the first view, between both, above and below them for sizes, mm."""
STEP = 7.0
"""Between two rows of sizes, mm of paper."""


def turned_drawing(
    part: SmallPart, width: float, height: float, words: Callable[[float], str]
) -> LineDrawing:
    """Draw a turned part with flats: across its bolt on the left, along it on the right.

    Args:
        part: round stages, and lugs on the last of them.
        width: of the paper's field, mm.
        height: of the paper's field, mm.
        words: says a length (mm).
    """
    radii = [float(np.ptp(s.outline.vertices[:, 0])) / 2 for s in part.stages]
    most = max(radii)
    k = min(
        (width - 2 * SIDE - GAP) / (2 * part.length), (height - TOP - BELOW) / (2 * most)
    )
    mid = TOP + k * most
    left = _View(SIDE, mid, k)
    right = _View(SIDE + k * part.length + GAP, mid, k)
    body = [line for v in (left, right) for line in v.turned(part, radii)]
    for lug in part.lugs:
        body += left.box(part.turned, part.turned + lug.tip, lug.low, lug.high)
        body.append(left.middle(part.turned + lug.stand, lug.low, lug.high))
    body += right.flat(part.turned, part.lugs[0])
    body += _sizes_across(left, part, radii, words)
    body += _sizes_along(right, part.turned, part.lugs[0], words)
    low = mid + k * most
    body.append(text((left.x, low + BELOW - 2.0), "across the bolt", anchor="start"))
    body.append(text((right.x, low + BELOW - 2.0), "along the bolt", anchor="start"))
    return LineDrawing(svg=svg(width, height, body), width=width, height=height, scale=k)


class _View:
    """One view: the part's axis to the right from ``x``, its middle at ``y``, mm of paper."""

    def __init__(self, x: float, y: float, k: float) -> None:
        self.x, self.y, self.k = x, y, k

    def at(self, z: float, up: float) -> np.ndarray:
        return np.array([self.x + self.k * z, self.y - self.k * up])

    def box(self, z0: float, z1: float, low: float, high: float) -> list[str]:
        corners = [self.at(z, u) for z, u in ((z0, low), (z1, low), (z1, high), (z0, high))]
        return [_path(np.array([*corners, corners[0]]))]

    def turned(self, part: SmallPart, radii: list[float]) -> list[str]:
        out, z = [], 0.0
        for stage, r in zip(part.stages, radii, strict=True):
            out += self.box(z, z + stage.length, -r, r)
            z += stage.length
        axis = np.array([self.at(-3.0 / self.k, 0.0), self.at(part.length + 3.0 / self.k, 0.0)])
        return [*out, _path(axis, 0.1, "4 1 1 1")]

    def middle(self, z: float, low: float, high: float) -> str:
        return _path(np.array([self.at(z, low), self.at(z, high)]), 0.15, "3 1 1 1")

    def flat(self, base: float, lug: Lug) -> list[str]:
        half, turn = lug.width / 2, np.linspace(-np.pi / 2, np.pi / 2, 40)
        end = [self.at(base + lug.stand + half * np.cos(t), half * np.sin(t)) for t in turn]
        ring = np.linspace(0.0, 2 * np.pi, 60)
        hole = [
            self.at(base + lug.stand + lug.hole / 2 * np.cos(t), lug.hole / 2 * np.sin(t))
            for t in ring
        ]
        rim = [self.at(base, -half), *end, self.at(base, half)]
        return [_path(np.array(rim)), _path(np.array(hole))]


def _path(points: np.ndarray, weight: float = 0.35, dashes: str = "") -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<path d="{path_data(points)}" fill="none" stroke="black" '
        f'stroke-width="{weight}"{dashed}/>'
    )


def _upright(view: _View, z: float, low: float, high: float, x: float, words: str) -> list[str]:
    """A size square to the axis: from ``low`` to ``high`` at ``z``, written at paper ``x``."""
    a, b = view.at(z, low), view.at(z, high)
    ends = np.array([x, a[1]]), np.array([x, b[1]])
    return [hairline(a, ends[0]), hairline(b, ends[1]), dimension(*ends, words)]


def _level(view: _View, z0: float, z1: float, from_: float, y: float, words: str) -> list[str]:
    """A size along the axis, written at paper ``y``."""
    a, b = view.at(z0, from_), view.at(z1, from_)
    ends = np.array([a[0], y]), np.array([b[0], y])
    return [hairline(a, ends[0]), hairline(b, ends[1]), dimension(*ends, words)]


def _sizes_across(
    view: _View, part: SmallPart, radii: list[float], words: Callable[[float], str]
) -> list[str]:
    """Diameters on the left, lengths below, thicknesses on the right."""
    low = view.y + view.k * max(radii)
    out = _upright(view, 0.0, -radii[0], radii[0], view.x - STEP, f"⌀ {words(2 * radii[0])}")
    z = part.stages[0].length
    out += _upright(view, z, -radii[-1], radii[-1], view.x - 2 * STEP, f"⌀ {words(2 * radii[-1])}")
    z = 0.0
    for stage in part.stages:
        out += _level(view, z, z + stage.length, -radii[0], low + STEP, words(stage.length))
        z += stage.length
    out += _level(view, 0.0, part.length, -radii[0], low + 2 * STEP, words(part.length))
    right = view.x + view.k * part.length
    lugs = sorted(part.lugs, key=lambda g: g.low)
    end = part.length
    top = lugs[-1]
    out += _upright(view, end, top.low, top.high, right + STEP, words(top.high - top.low))
    for a, b in pairwise(lugs):
        out += _upright(view, end, a.high, b.low, right + 2 * STEP, words(b.low - a.high))
    if lugs[1:]:
        over = words(lugs[-1].high - lugs[0].low)
        out += _upright(view, end, lugs[0].low, lugs[-1].high, right + 3 * STEP, over)
    return out


def _sizes_along(
    view: _View, base: float, lug: Lug, words: Callable[[float], str]
) -> list[str]:
    """Width on the right, the hole and its distance below."""
    half = lug.width / 2
    right = view.at(base + lug.tip, 0.0)[0]
    out = _upright(view, base + lug.stand, -half, half, right + STEP, words(lug.width))
    low = view.at(0.0, -half)[1]
    out += _level(view, base, base + lug.stand, -half, low + STEP, words(lug.stand))
    note = view.at(base + lug.stand, half)
    hole = f"hole ⌀ {words(lug.hole)}, end half round"
    return [*out, text((note[0] - 6.0, note[1] - 3.0), hole, size=2.6, anchor="start")]
