"""The walls of an end face that drops from one parent to another.

Seen along the tube a parent ends at its silhouette. The ray that just touches it there ends on it,
the next one passes by and ends deeper, on another parent: between the two stands a wall that runs
along the tube, a *veil*. Where rays pass every parent, the cope goes on beside the one that they
pass by the least, and a veil stands where that is another one on each side.

All of it happens in the *chart*, the plane square to the tube's axis: a parent's centre line is a
curve in it, how far a ray passes the parent is the distance from that curve less the radius, and
veils are curves.
"""

from __future__ import annotations

from math import inf, tau

import numpy as np
from msgspec import Struct

from cagekit.geometry.arrays import Array, Points, Points2
from cagekit.geometry.contact import ContactSurface, CylinderPiece, Solution, TorusPiece, Window
from cagekit.solids.brep import RuledSurface, SplineCurve
from cagekit.solids.spline import DEGREE, fitted
from cagekit.units.tolerance import LAST_STEP, NEAR_END, NEVER_ZERO, NO_LENGTH, READ_EDGE

BEYOND_END = 0.05
"""How far (rad) the band beside a bend goes on beyond the bend's ends."""
ROUNDS = 40
"""Steps that look for a place along a veil."""
STARTS = 25
"""Places along a bend from which the nearest one is looked for."""


class EndChart(Struct, frozen=True, eq=False):
    """The plane square to a tube's axis through its node; ``x`` and ``y`` unit, ``(3,)``."""

    node: Array
    x: Array
    y: Array
    inward: Array

    def flat(self, points: Points) -> Points2:
        """Places in the chart of points ``(n, 3)``, ``(n, 2)``."""
        w = points - self.node
        return np.stack([w @ self.x, w @ self.y], axis=-1)

    def turned(self, ways: Points) -> Points2:
        """Directions ``(n, 3)`` in the chart, ``(n, 2)``."""
        return np.stack([ways @ self.x, ways @ self.y], axis=-1)

    def lifted(self, ways: Points2) -> Points:
        """Directions ``(n, 2)`` of the chart in space, ``(n, 3)``."""
        return np.asarray(ways[:, :1] * self.x + ways[:, 1:] * self.y)

    def points(self, spots: Points2, depth: Array) -> Points:
        """Points in space of places ``(n, 2)`` at depths ``(n,)``."""
        return np.asarray(self.node + self.lifted(spots) + depth[:, None] * self.inward)


class Spine(Struct, frozen=True, eq=False):
    """A parent's centre line in the chart; its parameter is the station or the angle."""

    chart: EndChart
    piece: CylinderPiece | TorusPiece

    @property
    def ends(self) -> tuple[float, float]:
        """Least and largest parameter of the piece."""
        if isinstance(self.piece, CylinderPiece):
            return self.piece.low, self.piece.high
        return 0.0, self.piece.angle

    def points(self, t: Array) -> Points:
        """Points of the centre line at parameters ``(n,)``, in space."""
        p = self.piece
        if isinstance(p, CylinderPiece):
            return np.asarray(p.start + np.multiply.outer(t, p.axis))
        ring = np.multiply.outer(np.cos(t), p.x) + np.multiply.outer(np.sin(t), p.y)
        return np.asarray(p.centre + p.major * ring)

    def slopes(self, t: Array) -> tuple[Points2, Points2]:
        """First and second derivative in the chart at parameters ``(n,)``."""
        p = self.piece
        if isinstance(p, CylinderPiece):
            once = np.broadcast_to(self.chart.turned(p.axis[None]), (len(t), 2))
            return once, np.zeros((len(t), 2))
        out = np.multiply.outer(np.cos(t), p.x) + np.multiply.outer(np.sin(t), p.y)
        along = np.multiply.outer(np.cos(t), p.y) - np.multiply.outer(np.sin(t), p.x)
        return self.chart.turned(p.major * along), self.chart.turned(-p.major * out)

    def normals(self, t: Array) -> Points2:
        """Unit normals of the curve in the chart, to the left, ``(n, 2)``."""
        once, _ = self.slopes(t)
        size = np.hypot(once[:, 0], once[:, 1])[:, None]
        return np.stack([-once[:, 1], once[:, 0]], axis=-1) / size

    def nearest(self, spots: Points2) -> Array:
        """Parameters of its places nearest to places of the chart ``(n, 2)``, its ends ignored."""
        if isinstance(self.piece, CylinderPiece):
            once, _ = self.slopes(np.zeros(1))
            start = self.chart.flat(self.piece.start[None])
            return np.asarray((spots - start) @ once[0] / float(once[0] @ once[0]))
        tries = np.linspace(-0.3, self.piece.angle + 0.3, STARTS)
        off = spots[:, None] - self.chart.flat(self.points(tries))[None]
        t = tries[np.argmin((off * off).sum(axis=2), axis=1)]
        for _ in range(ROUNDS):
            w = self.chart.flat(self.points(t)) - spots
            once, twice = self.slopes(t)
            first = (w * once).sum(axis=1)
            second = (once * once).sum(axis=1) + (w * twice).sum(axis=1)
            floor = 0.05 * (once * once).sum(axis=1)
            move = np.clip(first / np.maximum(second, floor), -0.2, 0.2)
            t = t - move
            if float(np.abs(move).max()) * self.piece.major < LAST_STEP:
                break
        return np.asarray(t)

    def gap(self, spots: Points2) -> tuple[Array, Points2]:
        """By how much rays at places ``(n, 2)`` pass the tube (mm), and its gradient ``(n, 2)``."""
        t = self.nearest(spots)
        w = spots - self.chart.flat(self.points(t))
        far = np.hypot(w[:, 0], w[:, 1])
        return far - self.piece.radius, w / np.maximum(far, NEVER_ZERO)[:, None]


class BandFace(Struct, frozen=True, eq=False):
    """What a cope goes on along beside a bend: where the rays come closest to its centre line.

    It is ruled: from each spot of the centre line a straight runs to both sides, square to it and
    to the rays.
    """

    spine: Spine
    bend: TorusPiece

    @property
    def owner(self) -> str:
        """Id of the bent tube."""
        return self.bend.owner

    @property
    def piece(self) -> int:
        """Index of the bend along it."""
        return self.bend.piece

    def solve(self, origins: Points, direction: Array, window: Window = (-inf, inf)) -> Solution:
        """Contact of rays ``(n, 3)``; every ray meets it.

        Args:
            origins: of the rays, ``(n, 3)`` mm.
            direction: unit vector along all of them, ``(3,)``.
            window: for the same call as other surfaces have; nothing is left out.
        """
        t = self.spine.nearest(self.spine.chart.flat(origins))
        s = (self.spine.points(t) - origins) @ direction
        return Solution(s, np.zeros(len(s)), np.zeros(len(s)))

    def distance(self, points: Points) -> tuple[Array, Points]:
        """Distances ``(n,)`` of points ``(n, 3)`` from the band and its normals ``(n, 3)``."""
        spine, chart = self.spine, self.spine.chart
        spots = chart.flat(points)
        t = spine.nearest(spots)
        once, twice = spine.slopes(t)
        at = spine.points(t)
        ring = (at - self.bend.centre) @ self.bend.x, (at - self.bend.centre) @ self.bend.y
        rise = (np.outer(ring[0], self.bend.y) - np.outer(ring[1], self.bend.x)) @ chart.inward
        pace = (once * once).sum(axis=1) + ((chart.flat(at) - spots) * twice).sum(axis=1)
        normal = chart.inward - chart.lifted(once * (rise / pace)[:, None])
        size = np.linalg.norm(normal, axis=1)
        return ((points - at) @ chart.inward) / size, normal / size[:, None]

    def surface(self, width: float) -> RuledSurface:
        """As a surface of a record, ``width`` mm to either side; its normal points into the tube.

        Args:
            width: from the centre line to each border, mm.
        """
        low, high = self.spine.ends
        ends = low - BEYOND_END, high + BEYOND_END

        def borders(u: Array) -> Points:
            t = ends[0] + u * (ends[1] - ends[0])
            middle = self.spine.points(t)
            across = width * self.spine.chart.lifted(self.spine.normals(t))
            return np.concatenate([middle - across, middle + across], axis=1)

        fit = fitted(borders, READ_EDGE)
        knots, counts = fit.tool.knots, fit.tool.multiplicities
        first, second = (SplineCurve(DEGREE, p, knots, counts) for p in np.split(fit.poles, 2, 1))
        made = RuledSurface(first, second)
        _, along, across = made.derivatives(np.array([[0.5, 0.5]]))
        ahead = float(np.cross(along[0], across[0]) @ self.spine.chart.inward) > 0
        return made if ahead else RuledSurface(second, first)


class Silhouette(Struct, frozen=True, eq=False):
    """The veil where rays pass a parent: ``side`` of its centre line, +1 to the left."""

    spine: Spine
    side: float

    @property
    def ends(self) -> tuple[float, float]:
        """Least and largest parameter."""
        return self.spine.ends

    @property
    def is_flat(self) -> bool:
        """Tell whether the veil is a plane."""
        return isinstance(self.spine.piece, CylinderPiece)

    def spots(self, t: Array) -> Points2:
        """Places in the chart at parameters ``(n,)``."""
        shift = self.side * self.spine.piece.radius * self.spine.normals(t)
        return np.asarray(self.spine.chart.flat(self.spine.points(t)) + shift)

    def crest(self, t: Array) -> Points:
        """Points in space where the rays at parameters ``(n,)`` touch the parent."""
        shift = self.side * self.spine.piece.radius * self.spine.normals(t)
        return np.asarray(self.spine.points(t) + self.spine.chart.lifted(shift))

    def parameter(self, spot: Array) -> float:
        """Parameter of the place nearest to one of the chart ``(2,)``."""
        return float(self.spine.nearest(spot[None])[0])

    def pace(self, t: float) -> float:
        """Millimetres of the chart by unit of parameter."""
        low, high = self.spots(t + NEAR_END * np.array([-0.5, 0.5]))
        return max(float(np.hypot(*(high - low))) / NEAR_END, NO_LENGTH)

    def distance(self, points: Points) -> tuple[Array, Points]:
        """Distances ``(n,)`` of points ``(n, 3)`` from the veil and its normals ``(n, 3)``."""
        gap, ways = self.spine.gap(self.spine.chart.flat(points))
        return gap, self.spine.chart.lifted(ways)


class Divide(Struct, frozen=True, eq=False):
    """The veil between rays that pass ``first`` by less and those that pass ``second`` by less.

    Its parameter is the way along ``along`` from ``start``, mm; it bows to the side.
    """

    first: Spine
    second: Spine
    start: Array
    along: Array

    @classmethod
    def through(cls, first: Spine, second: Spine, spot: Array) -> Divide:
        """The one that goes through a place of the chart.

        Args:
            first: centre line of a parent.
            second: centre line of another.
            spot: the place, ``(2,)``.
        """
        normal = first.gap(spot[None])[1][0] - second.gap(spot[None])[1][0]
        along = np.array([-normal[1], normal[0]]) / max(float(np.hypot(*normal)), NEVER_ZERO)
        return cls(first, second, spot, along)

    @property
    def ends(self) -> tuple[float, float]:
        """Least and largest parameter: it has no ends."""
        return -inf, inf

    @property
    def is_flat(self) -> bool:
        """Tell whether the veil is a plane."""
        both = self.first.piece, self.second.piece
        return all(isinstance(p, CylinderPiece) for p in both)

    def _gap(self, spots: Points2) -> tuple[Array, Points2]:
        a, n = self.first.gap(spots)
        b, m = self.second.gap(spots)
        return a - b, n - m

    def spots(self, t: Array) -> Points2:
        """Places in the chart at parameters ``(n,)``."""
        across = np.array([-self.along[1], self.along[0]])
        out = self.start + np.multiply.outer(t, self.along)
        for _ in range(ROUNDS):
            off, slope = self._gap(out)
            steep = slope @ across
            steep = np.where(np.abs(steep) < 0.05, 0.05, steep)
            move = np.clip(off / steep, -2.0, 2.0)
            out = out - move[:, None] * across
            if float(np.abs(move).max()) < LAST_STEP:
                break
        return np.asarray(out)

    def parameter(self, spot: Array) -> float:
        """Parameter of the place nearest to one of the chart ``(2,)``."""
        return float((spot - self.start) @ self.along)

    def pace(self, t: float) -> float:
        """Millimetres of the chart by unit of parameter."""
        return 1.0

    def distance(self, points: Points) -> tuple[Array, Points]:
        """Distances ``(n,)`` of points ``(n, 3)`` from the veil and its normals ``(n, 3)``."""
        chart = self.first.chart
        off, slope = self._gap(chart.flat(points))
        size = np.maximum(np.hypot(slope[:, 0], slope[:, 1]), NEVER_ZERO)
        return off / size, chart.lifted(slope / size[:, None])


Veil = Silhouette | Divide
EndSurface = ContactSurface | BandFace
"""What a ray of an end may end on."""


def turn(a: float, b: float) -> float:
    """Smallest turn between two bearings, rad."""
    return float(abs((a - b + tau / 2) % tau - tau / 2))
