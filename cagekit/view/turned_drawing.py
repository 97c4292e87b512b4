"""Drawing of a part for the lathe and the mill: from both sides of its bolt, with its sizes."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from cagekit.view.linework import LineDrawing, dimension, hairline, path_data, svg, text

if TYPE_CHECKING:
    from cagekit.cage.door import Lug, SmallPart

SIDE, GAP, TOP, BELOW = 24.0, 36.0, 9.0, 31.0
"""Paper beside the first view, between both, above and below them for sizes, mm."""
STEP = 7.0
"""Between two rows of sizes, mm of paper."""
LETTER = 1.7
"""Room that a letter of a size takes, mm of paper."""


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
    if not part.lugs:
        return _cut_open(part, width, height, words)
    radii = [s.round_[0] for s in part.stages]
    most = max(radii)
    k = min((width - 2 * SIDE - GAP) / (2 * part.length), (height - TOP - BELOW) / (2 * most))
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


def _cut_open(
    part: SmallPart, width: float, height: float, words: Callable[[float], str]
) -> LineDrawing:
    """A round part seen square to its bolt, its bore dashed, every diameter and length told."""
    most = max(max(s.round_[:2]) for s in part.stages)
    left, right = SIDE + STEP * len(part.stages), SIDE + STEP * len(part.hollow)
    k = min((width - left - right) / part.turned, (height - TOP - BELOW) / (2 * most))
    view = _View(left, TOP + k * most, k)
    body = view.middle_line(part.turned)
    for side in part.profile:
        for sign in (1.0, -1.0):
            ends = [view.at(side.z0, sign * side.r0), view.at(side.z1, sign * side.r1)]
            bored = side.r0 > 0 and not side.flat and not side.outside
            body.append(_path(np.array(ends), 0.25 if bored else 0.35, "2 1" if bored else ""))
    low = view.y + k * most
    body += _stages(view, part, low, words)
    z = _hole_at(part)
    shoulder = part.stages[0].length
    body += view.across_hole(z, most, part.drills[0].radius)
    a, b = view.at(shoulder, most), view.at(z, most)
    y = a[1] - 4.0
    first, last = np.array([a[0], y]), np.array([b[0], y])
    size = dimension(first, last, words(abs(z - shoulder)))
    body += [hairline(a, first), hairline(b, last), size]
    hole = f"hole ⌀ {words(2 * part.drills[0].radius)} right across"
    body.append(text((max(a[0], b[0]) + 3.0, y + 0.8), hole, size=2.6, anchor="start"))
    return LineDrawing(svg=svg(width, height, body), width=width, height=height, scale=k)


def _hole_at(part: SmallPart) -> float:
    """Its hole's place along the part, mm."""
    return float((part.drills[0].point - part.frame[:3, 3]) @ part.frame[:3, 2])


def _stages(view: _View, part: SmallPart, low: float, words: Callable[[float], str]) -> list[str]:
    """Lengths in a chain below, diameters left of the part, those of its bore on the right."""
    out, below = _chain(view, part, low, words)
    z = 0.0
    diameters: dict[float, float] = {}
    for stage in part.stages:
        near, far, length = stage.round_
        diameters.setdefault(round(near, 6), z)
        z += length
        diameters.setdefault(round(far, 6), z)
    for n, (r, at) in enumerate(sorted(diameters.items()), start=1):
        out += _upright(view, at, -r, r, view.x - n * STEP, f"⌀ {words(2 * r)}")
    right = view.x + view.k * z
    bored = []
    for n, stage in enumerate(part.hollow, start=1):
        near, _, length = stage.round_
        out += _upright(view, z, -near, near, right + n * STEP, f"⌀ {words(2 * near)}")
        bored.append((z - length, z, -near))
        z -= length
    return out + _row(view, bored[::-1], below, words)[0]


def _chain(
    view: _View, part: SmallPart, low: float, words: Callable[[float], str]
) -> tuple[list[str], float]:
    """Lengths of all stages, the whole of the part below them; and where that is written."""
    spans, z = [], 0.0
    for stage in part.stages:
        near, _, length = stage.round_
        spans.append((z, z + length, -near))
        z += length
    out, below = _row(view, spans, low, words)
    below += STEP
    whole = part.length
    return out + _level(view, 0.0, whole, spans[0][2], below, words(whole)), below


def _row(
    view: _View,
    spans: Iterable[tuple[float, float, float]],
    low: float,
    words: Callable[[float], str],
) -> tuple[list[str], float]:
    """Lengths one after the other, from and to along the part and how high; and the lowest's place.

    Each stands in the first row where its words do not touch those of one before it.
    """
    out: list[str] = []
    free: list[float] = []
    for z0, z1, up in spans:
        said = words(z1 - z0)
        middle, half = view.at((z0 + z1) / 2, 0.0)[0], LETTER * len(said) / 2
        row = next((n for n, x in enumerate(free) if x <= middle - half), len(free))
        free[row:] = [middle + half, *free[row + 1 :]]
        out += _level(view, z0, z1, up, low + (row + 1) * STEP, said)
    return out, low + len(free) * STEP


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
        return [*out, *self.middle_line(part.length)]

    def middle_line(self, length: float) -> list[str]:
        ends = np.array([self.at(-3.0 / self.k, 0.0), self.at(length + 3.0 / self.k, 0.0)])
        return [_path(ends, 0.1, "4 1 1 1")]

    def across_hole(self, z: float, up: float, radius: float) -> list[str]:
        out = [self.middle(z, -up - 3.0 / self.k, up + 3.0 / self.k)]
        for x in (z - radius, z + radius):
            out.append(_path(np.array([self.at(x, -up), self.at(x, up)]), 0.2, "2 1"))
        return out

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
    out += _chain(view, part, low, words)[0]
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


def _sizes_along(view: _View, base: float, lug: Lug, words: Callable[[float], str]) -> list[str]:
    """Width on the right, the hole and its distance below."""
    half = lug.width / 2
    right = view.at(base + lug.tip, 0.0)[0]
    out = _upright(view, base + lug.stand, -half, half, right + STEP, words(lug.width))
    low = view.at(0.0, -half)[1]
    out += _level(view, base, base + lug.stand, -half, low + STEP, words(lug.stand))
    note = view.at(base + lug.stand, half)
    hole = f"hole ⌀ {words(lug.hole)}, end half round"
    return [*out, text((note[0] - 6.0, note[1] - 3.0), hole, size=2.6, anchor="start")]
