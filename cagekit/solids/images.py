"""Where edges run in the parameters of their faces, which the kernel wants to know of each.

All edges of many solids are looked at together, see :mod:`cagekit.solids.rows`. The kernel judges
a curve the sooner, the lower its degree and the fewer its knots.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from cagekit.geometry.arrays import Array, Bools, Ints
from cagekit.solids.brep import (
    AnySurface,
    ConeSurface,
    CylinderSurface,
    Edge,
    EllipseCurve,
    Face,
    LineCurve,
    PlaneSurface,
    Record,
    RuledSurface,
    TorusSurface,
)
from cagekit.solids.rows import EdgeRows, SurfaceRows
from cagekit.solids.spline import Interpolant, interpolant
from cagekit.units.tolerance import EXACT_EDGE, KERNEL_ANGLE, KERNEL_POINT, ROUNDING

DEGREE = 5
"""Of a curved image: of those tried the one that takes the kernel the least time."""
LADDER = (10, 13, 16, 19, 22, 25, 29, 33, 37, 43, 49, 57, 67, 79, 93, 121, 145, 173, 205, 241)
"""Numbers of nodes to choose from."""
CLOSE_ENOUGH = EXACT_EDGE
"""Deviation (mm) at which a curved image is refined no further."""
LOOKS = 9
"""Places along an edge that tell whether its image is straight."""


class StraightImage(Struct, frozen=True, eq=False):
    """A line in a face's parameters: ``start + t slope`` at the edge's parameter t, ``(2,)``."""

    start: Array
    slope: Array


class CurvedImage(Struct, frozen=True, eq=False):
    """A spline in a face's parameters, over the edge's own: ``off`` mm away from it at the most."""

    poles: Array
    knots: Array
    multiplicities: tuple[int, ...]
    off: float


class SeamImage(Struct, frozen=True, eq=False):
    """A seam's two lines: where it is walked forward, and where backward."""

    ahead: StraightImage
    back: StraightImage


EdgeImage = StraightImage | CurvedImage | SeamImage
EdgeImages = dict[tuple[int, int], EdgeImage]
"""By the numbers of face and edge."""


def images(records: Sequence[Record], close: float = CLOSE_ENOUGH) -> list[EdgeImages]:
    """The images of every edge on faces that are not flat, for each solid.

    Args:
        records: the solids.
        close: deviation (mm) at which a curved image is refined no further.
    """
    owners: list[tuple[int, int, int]] = []
    uses: list[tuple[Edge, Face]] = []
    seams: list[bool] = []
    for r, record in enumerate(records):
        for k, face in enumerate(record.faces):
            if isinstance(face.surface, PlaneSurface):
                continue
            walked = [e for loop in face.loops for e, _ in loop]
            for e in dict.fromkeys(walked):
                owners.append((r, k, e))
                uses.append((record.edges[e], face))
                seams.append(walked.count(e) == 2)
    out: list[EdgeImages] = [{} for _ in records]
    if uses:
        found = _Imaged(uses, np.array(seams), close).images()
        for (r, k, e), image in zip(owners, found, strict=True):
            out[r][k, e] = image
    return out


class FaceUses:
    """Edges on faces, one row to each use.

    Args:
        uses: edges, each with a face that it borders.
    """

    def __init__(self, uses: Sequence[tuple[Edge, Face]]) -> None:
        self.edges = EdgeRows([edge for edge, _ in uses])
        self.surfaces = SurfaceRows([face.surface for _, face in uses])
        self.lower = np.array([face.lower for _, face in uses])
        self.scale = np.array([_scale(face.surface) for _, face in uses])
        """Millimetres per unit of each parameter, at most, ``(n, 2)``."""

    def uv(self, shares: Array, rows: Ints) -> Array:
        """Parameters at rising shares ``(k,)`` of edges, within their faces, ``(n, k, 2)``."""
        uv = self.surfaces.uv(self.edges.at(shares, rows), rows)
        for k in (0, 1):
            here = np.nonzero(self.surfaces.turns[rows] > k)[0]
            uv[here, :, k] = np.unwrap(uv[here, :, k], axis=1)
            mean = 0.5 * (uv[here, :, k].min(axis=1) + uv[here, :, k].max(axis=1))
            # an edge along the seam may fall a hair below it
            turns = np.floor((mean - self.lower[rows[here], k] + KERNEL_ANGLE) / (2 * np.pi))
            uv[here, :, k] -= 2 * np.pi * turns[:, None]
        return uv


class _Imaged(FaceUses):
    """Uses whose images are wanted.

    Args:
        uses: edges, each with a face that it borders.
        seams: which of them are seams, ``(n,)``.
        close: deviation (mm) at which a curved image is refined no further.
    """

    def __init__(self, uses: Sequence[tuple[Edge, Face]], seams: Bools, close: float) -> None:
        super().__init__(uses)
        regular = [isinstance(edge.curve, LineCurve | EllipseCurve) for edge, _ in uses]
        self.regular = np.nonzero(np.array(regular) & ~seams)[0]
        self.seams, self.close = np.nonzero(seams)[0], close
        self.count = len(uses)

    def images(self) -> list[EdgeImage]:
        found: dict[int, EdgeImage] = {}
        if len(self.regular):
            found.update(self._straight(self.regular))
        if len(self.seams):
            found.update(self._both(self.seams))
        left = np.array([i for i in range(self.count) if i not in found], dtype=int)
        found.update(self._curved(left))
        return [found[i] for i in range(self.count)]

    def _straight(self, rows: Ints) -> dict[int, EdgeImage]:
        shares = np.linspace(0.0, 1.0, LOOKS)
        uv = self.uv(shares, rows)
        start, span = self.edges.start[rows, None], self.edges.span[rows, None]
        slope = (uv[:, -1] - uv[:, 0]) / span
        line = uv[:, :1] + (span * shares)[:, :, None] * slope[:, None]
        off = np.abs((uv - line) * self.scale[rows, None]).max(axis=(1, 2))
        pace = np.hypot(slope[:, 0], slope[:, 1])
        good = np.nonzero((off <= KERNEL_POINT) & (np.abs(pace - 1.0) <= ROUNDING))[0]
        begin = uv[:, 0] - slope * start
        return {int(rows[i]): StraightImage(begin[i], slope[i]) for i in good.tolist()}

    def _both(self, rows: Ints) -> dict[int, SeamImage]:
        """Seams run straight along the two borders of their faces."""
        uv, every = self.uv(np.linspace(0.0, 1.0, LOOKS), rows), np.arange(len(rows))
        slope = (uv[:, -1] - uv[:, 0]) / self.edges.span[rows, None]
        along = (np.abs(slope[:, 1]) > np.abs(slope[:, 0])).astype(int)
        pace = slope[every, along]
        low, way = np.empty((len(rows), 2)), np.zeros((len(rows), 2))
        low[every, along] = uv[every, 0, along] - pace * self.edges.start[rows]
        low[every, 1 - along] = self.lower[rows, 1 - along]
        way[every, along] = np.sign(pace)
        high = low.copy()
        high[every, 1 - along] += 2 * np.pi
        # a face lies left of its loops: walking along +v it is there at lower u, so the border
        # that is walked forward is the upper one
        upper = ((pace > 0) == (along == 1))[:, None]
        ahead, back = np.where(upper, high, low), np.where(upper, low, high)
        return {
            i: SeamImage(StraightImage(a, w), StraightImage(b, w))
            for i, a, b, w in zip(rows.tolist(), ahead, back, way, strict=True)
        }

    def _curved(self, rows: Ints) -> dict[int, EdgeImage]:
        out: dict[int, EdgeImage] = {}
        best = np.full(self.count, np.inf)
        rung = np.zeros(self.count, dtype=int)
        left, going = rows, np.ones(self.count, dtype=bool)
        while len(left):
            k = int(rung[left].min())
            here, tool = left[rung[left] == k], interpolant(LADDER[k], DEGREE)
            poles, off = self._fit(tool, here)
            for i, p, o in zip(here.tolist(), poles, off.tolist(), strict=True):
                if o < best[i]:
                    knots = self.edges.start[i] + self.edges.span[i] * tool.knots
                    best[i], out[i] = o, CurvedImage(p, knots, tool.multiplicities, o)
            more = (best[here] >= self.close) & (k + 1 < len(LADDER))
            wanted = LADDER[k] * np.minimum((off / self.close) ** (1 / (DEGREE + 1)), 2.0)
            rung[here] = np.maximum(np.searchsorted(LADDER, wanted), k + 1)
            rung = np.minimum(rung, len(LADDER) - 1)
            going[here[~more]] = False
            left = left[going[left]]
        return out

    def _fit(self, tool: Interpolant, rows: Ints) -> tuple[Array, Array]:
        """Poles ``(n, m, 2)`` of curves through images, and how far off they are, mm."""
        n, shares = len(tool.nodes), tool.all_nodes
        order = np.argsort(shares, kind="stable")
        uv = np.empty((len(rows), len(shares), 2))
        uv[:, order] = self.uv(shares[order], rows)
        gap = (tool.to_between @ uv[:, :n] - uv[:, n:]) * self.scale[rows, None]
        return tool.to_poles @ uv[:, :n], np.sqrt((gap * gap).sum(axis=2)).max(axis=1)


def _scale(surface: AnySurface) -> tuple[float, float]:
    """Millimetres per unit of u and v, at most."""
    if isinstance(surface, CylinderSurface | ConeSurface):
        return surface.radius, 1.0
    if isinstance(surface, RuledSurface):
        _, du, dv = surface.derivatives(np.array([[surface.first.knots[0], 0.5]]))
        return float(np.linalg.norm(du)), float(np.linalg.norm(dv))
    assert isinstance(surface, TorusSurface)
    return surface.major + surface.minor, surface.minor
