"""Folds: bend allowance, and the map from a flat pattern to the folded part.

Frame: the flat pattern lies in x, y; z = 0 is the face that one sees on the drawing and the metal
lies below it, from z = 0 down to z = -thickness. A fold is drawn as the centre line of its bend
zone. A positive angle folds the far side up, towards the viewer; a negative one folds it down.
The side that holds the plate's base point stays where it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from math import cos, degrees, hypot, inf, sin

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from cagekit.errors import GeometryError
from cagekit.geometry.arrays import Ints, Points2
from cagekit.geometry.centre_line import Vec, vec
from cagekit.geometry.outline import Outline, Vec2, vec2
from cagekit.units import INCH, LengthUnit
from cagekit.units.tolerance import FLAT_POINT, MICRON

DEFAULT_K = 0.42
"""Neutral axis from the inside surface as a share of the thickness, for cold folded mild steel.

Source: common practice; measure a test fold of the shop's own brake and put it in the tooling.
"""


def bend_allowance(angle: float, inside_radius: float, thickness: float, k: float) -> float:
    """Length of the neutral axis round a fold, mm: angle (rad) times (radius + k thickness).

    Args:
        angle: of the fold, rad.
        inside_radius: of the fold, mm.
        thickness: of the sheet, mm.
        k: where the neutral axis lies, from the inside face as a fraction of the thickness.

    Source: Machinery's Handbook, bending sheet metal (bend allowance through the neutral axis).
    """
    return abs(angle) * (inside_radius + k * thickness)


class Fold(Struct, frozen=True, kw_only=True, eq=False):
    """One fold of a flat pattern.

    Args:
        start, end: ends of the fold's centre line in the flat pattern, ``(2,)`` mm.
        angle: how far the far side is turned, rad; positive up towards the face.
        inside_radius: radius on the hollow side, mm.
        k: neutral axis from the inside surface as a share of the thickness.
    """

    start: Vec2
    end: Vec2
    angle: float
    inside_radius: float
    k: float = DEFAULT_K
    name: str = ""

    @classmethod
    def along(
        cls,
        start: ArrayLike,
        end: ArrayLike,
        angle: float,
        inside_radius: float,
        k: float = DEFAULT_K,
        name: str = "",
    ) -> Fold:
        """Make a fold from plain numbers; see the class.

        Args:
            start: of the line in the middle of the fold, ``(2,)`` mm in the flat pattern.
            end: of that line, ``(2,)`` mm.
            angle: of the fold, rad.
            inside_radius: of the fold, mm.
            k: where the neutral axis lies, from the inside face as a fraction of the thickness.
            name: of the fold in messages and on drawings.
        """
        return cls(
            start=vec2(start),
            end=vec2(end),
            angle=float(angle),
            inside_radius=float(inside_radius),
            k=float(k),
            name=name,
        )

    @property
    def middle(self) -> Vec2:
        """Middle of the fold line, ``(2,)`` mm."""
        return vec2((self.start + self.end) / 2)

    @property
    def direction(self) -> Vec2:
        """Unit vector along the fold, ``(2,)``."""
        d = self.end - self.start
        return vec2(d / hypot(*d))

    @property
    def left(self) -> Vec2:
        """Unit vector square to the fold, to the left of its direction, ``(2,)``."""
        d = self.direction
        return vec2([-d[1], d[0]])

    @property
    def up(self) -> bool:
        """Tell whether it folds towards the face."""
        return self.angle > 0

    def allowance(self, thickness: float) -> float:
        """Width of the bend zone in the flat pattern, mm."""
        return bend_allowance(self.angle, self.inside_radius, thickness, self.k)

    def stretch(self, thickness: float) -> float:
        """Folded volume of the bend zone over its flat volume: (r + t/2) / (r + k t)."""
        r, t = self.inside_radius, thickness
        return (r + t / 2) / (r + self.k * t)


class Facet(Struct, frozen=True, kw_only=True, eq=False):
    """A flat part of a folded plate.

    ``loop`` is its outline in the flat pattern; ``frame`` ``(4, 4)`` maps flat points (x, y, z)
    to the folded part.
    """

    loop: Outline
    frame: Vec
    holes: tuple[int, ...] = ()


class Bend(Struct, frozen=True, kw_only=True, eq=False):
    """A bend zone: the strip between two facets, wrapped round a cylinder.

    Args:
        fold: index of the fold.
        loop: outline of the strip in the flat pattern.
        inner, outer: index of the facet nearer to and further from the base.
        frame: ``(4, 4)`` map of the flat pattern to the folded part on the near side.
        side: unit vector in the flat pattern from near to far, ``(2,)``.
        edge: a point on the near edge of the strip, ``(2,)`` mm.
        width: width of the strip, mm.
        angle, radius: as the fold's, rad and mm.
    """

    fold: int
    loop: Outline
    inner: int
    outer: int
    frame: Vec
    side: Vec2
    edge: Vec2
    width: float
    angle: float
    radius: float

    def local(self, points: ArrayLike, thickness: float) -> Vec:
        """Wrap flat points ``(n, 3)`` of the strip; result in the near facet's flat frame."""
        p = np.asarray(points, float)
        s = (p[:, :2] - self.edge) @ self.side
        turn = s / self.width * abs(self.angle)
        z = p[:, 2]
        if self.angle > 0:
            arm = self.radius - z
            height, lift = self.radius, -np.cos(turn) * arm
        else:
            arm = self.radius + thickness + z
            height, lift = -thickness - self.radius, np.cos(turn) * arm
        flat = p[:, :2] + np.multiply.outer(np.sin(turn) * arm - s, self.side)
        return np.column_stack([flat, height + lift])

    def axis(self, thickness: float) -> tuple[Vec, Vec]:
        """A point on the bend's axis and its unit direction in the folded part, ``(3,)`` each.

        The far side turns right-handed about the direction.
        """
        height = self.radius if self.angle > 0 else -thickness - self.radius
        along = np.array([-self.side[1], self.side[0], 0.0])
        point = np.array([*self.edge, height, 1.0])
        sign = -1.0 if self.angle > 0 else 1.0
        return (self.frame @ point)[:3], sign * self.frame[:3, :3] @ along


@dataclass(frozen=True, eq=False)
class FoldedSheet:
    """A flat pattern cut into facets and bend zones, with where each of them ends up."""

    outline: Outline
    thickness: float
    folds: tuple[Fold, ...]
    base: Vec2
    owner: str = "plate"
    holes: tuple[Outline, ...] = field(default=())

    @cached_property
    def _pieces(self) -> tuple[list[Outline], list[tuple[Outline, Vec2, Vec2, float]]]:
        flats = [self.outline]
        strips: list[tuple[Outline, Vec2, Vec2, float]] = []
        for number, f in enumerate(self.folds, 1):
            width = f.allowance(self.thickness)
            home = [i for i, q in enumerate(flats) if q.contains(f.middle)[0]]
            if not home:
                raise GeometryError(
                    self.owner,
                    f"fold {number} at ({f.middle[0]:.1f}, {f.middle[1]:.1f}) is off the plate or "
                    "in the bend zone of another fold.",
                    f"Its bend zone is {width:.1f} mm wide: move it onto a flat.",
                )
            whole = flats.pop(home[0])
            near = f.middle - width / 2 * f.left
            far = f.middle + width / 2 * f.left
            first = whole.cut(near, f.direction)
            second = first[0].cut(far, f.direction) if first else None
            if first is None or second is None:
                raise GeometryError(
                    self.owner,
                    f"fold {number} has no room: its bend zone is {width:.1f} mm wide and reaches "
                    "over the edge of the plate or into another fold.",
                    "Move the fold inward, or use a smaller inside radius.",
                )
            flats += [first[1], second[0]]
            strips.append((second[1], vec2(near), f.left, width))
        return flats, strips

    @cached_property
    def _tree(self) -> tuple[tuple[Facet, ...], tuple[Bend, ...]]:
        flats, strips = self._pieces
        if not strips:
            facet = Facet(loop=self.outline, frame=np.eye(4), holes=tuple(range(len(self.holes))))
            return (facet,), ()
        # a flat wider than the fold on it needs the fold's ends among its own corners
        ends = np.array([v for s in strips for v in s[0].vertices]).reshape(-1, 2)
        flats = [q.with_corners(ends) for q in flats]
        start = [i for i, q in enumerate(flats) if q.contains(self.base)[0]]
        if not start:
            raise GeometryError(
                self.owner,
                f"the base point ({self.base[0]:.1f}, {self.base[1]:.1f}) must lie on a flat part.",
            )
        touching = [self._neighbours(flats, strip) for strip in strips]
        frames: dict[int, Vec] = {start[0]: np.eye(4)}
        bends: dict[int, Bend] = {}
        queue = [start[0]]
        while queue:
            here = queue.pop(0)
            for n, (near, far) in enumerate(touching):
                if n in bends or here not in (near, far):
                    continue
                bends[n] = self._bend(n, strips[n], here, near, far, frames[here])
                other = bends[n].outer
                if other in frames:
                    raise GeometryError(
                        self.owner, "the folds close a ring and cannot be folded flat."
                    )
                frames[other] = frames[here] @ _turn(bends[n], self.thickness)
                queue.append(other)
        if len(frames) != len(flats):
            raise GeometryError(self.owner, "a part of the plate hangs on no fold.")
        facets = [Facet(loop=q, frame=frames[i], holes=self._held(q)) for i, q in enumerate(flats)]
        return tuple(facets), tuple(bends[n] for n in range(len(strips)))

    def _neighbours(
        self, flats: Sequence[Outline], strip: tuple[Outline, Vec2, Vec2, float]
    ) -> tuple[int, int]:
        """Index of the facet on the near side and on the far side of a strip."""
        loop, near, left, width = strip
        along = np.array([left[1], -left[0]])
        out = []
        for offset, step in ((0.0, -MICRON), (width, MICRON)):
            ends = [v for v in loop.vertices if abs(float((v - near) @ left) - offset) < FLAT_POINT]
            t = [float((v - near) @ along) for v in ends]
            spots = [near + offset * left + step * left + x * along for x in _midpoints(t)]
            hit = [i for i, q in enumerate(flats) for p in spots if q.contains(p)[0]]
            if not hit:
                raise GeometryError(self.owner, "a fold has no flat beside it.", "Move it inward.")
            out.append(hit[0])
        return out[0], out[1]

    def _bend(
        self,
        n: int,
        strip: tuple[Outline, Vec2, Vec2, float],
        here: int,
        near: int,
        far: int,
        frame: Vec,
    ) -> Bend:
        loop, edge, left, width = strip
        forward = here == near
        return Bend(
            fold=n,
            loop=loop,
            inner=here,
            outer=far if forward else near,
            frame=frame,
            side=vec2(left if forward else -left),
            edge=vec2(edge if forward else edge + width * left),
            width=width,
            angle=self.folds[n].angle,
            radius=self.folds[n].inside_radius,
        )

    def _held(self, facet: Outline) -> tuple[int, ...]:
        return tuple(i for i, h in enumerate(self.holes) if facet.contains(h.centroid)[0])

    @property
    def facets(self) -> tuple[Facet, ...]:
        """The flat parts."""
        return self._tree[0]

    @cached_property
    def base_facet(self) -> int:
        """Which of the facets holds the base point, and stays where it is."""
        base = np.asarray(self.base, float)[None]
        return next(i for i, f in enumerate(self.facets) if f.loop.contains(base)[0])

    @property
    def bends(self) -> tuple[Bend, ...]:
        """The bend zones, in the order of the folds."""
        return self._tree[1]

    def place(self, points: ArrayLike, z: ArrayLike = 0.0) -> Vec:
        """Fold flat points into place.

        Args:
            points: ``(n, 2)`` mm in the flat pattern.
            z: height over the face, 0 on the face and -thickness on the back, scalar or ``(n,)``.

        Returns:
            Points ``(n, 3)`` in the folded part's base frame, mm. A point off the plate goes with
            the nearest part of it.
        """
        p = np.atleast_2d(np.asarray(points, float))
        return self._laid(p, np.broadcast_to(np.asarray(z, float), (len(p),)), self._part_of(p))

    def layers(self, points: ArrayLike, heights: Sequence[float]) -> list[Vec]:
        """The same flat points folded into place at several heights over the face.

        Args:
            points: ``(n, 2)`` mm in the flat pattern.
            heights: as ``z`` of :meth:`place`, one for each layer.
        """
        p = np.atleast_2d(np.asarray(points, float))
        part = self._part_of(p)
        return [self._laid(p, np.full(len(p), float(z)), part) for z in heights]

    def spot(self, point: ArrayLike) -> Vec:
        """Where one flat point ``(2,)`` lies on the face once folded, ``(3,)`` mm.

        Worked out once for all plates of this sheet, wherever they are.
        """
        x, y = np.asarray(point, float).tolist()
        found = self._spots.get((x, y))
        if found is None:
            found = self._spots[x, y] = vec(self.place([(x, y)])[0])
        return found

    @cached_property
    def _spots(self) -> dict[tuple[float, float], Vec]:
        return {}

    @cached_property
    def hole_rooms(self) -> tuple[float, ...]:
        """Edge of each hole to the nearest bend zone, mm; infinite without folds."""
        edges = [hole.sampled(0.5) for hole in self.holes]
        return tuple(
            min((float(b.loop.distance(edge).min()) for b in self.bends), default=inf)
            for edge in edges
        )

    @property
    def _parts(self) -> list[Facet | Bend]:
        return [*self.facets, *self.bends]

    def _part_of(self, p: Points2) -> Ints:
        """Which part each flat point goes with: the one it lies in, or else the nearest."""
        parts = self._parts
        if len(parts) == 1:
            return np.zeros(len(p), np.intp)
        best = np.full(len(p), -1, np.intp)
        for i, q in enumerate(parts):
            low, high = q.loop.box
            boxed = (best < 0) & ((p >= low - MICRON) & (p <= high + MICRON)).all(axis=1)
            rows = np.flatnonzero(boxed)
            best[rows[q.loop.contains(p[rows])]] = i
        off = np.flatnonzero(best < 0)
        if len(off):
            best[off] = np.argmin([q.loop.distance(p[off]) for q in parts], axis=0)
        return best

    def _laid(self, p: Points2, z: Vec, part_of: Ints) -> Vec:
        flat = np.column_stack([p, z])
        out = np.empty((len(p), 3))
        for i, part in enumerate(self._parts):
            m = part_of == i
            if m.any():
                q = flat[m] if isinstance(part, Facet) else part.local(flat[m], self.thickness)
                out[m] = q @ part.frame[:3, :3].T + part.frame[:3, 3]
        return out

    def normal(self, point: ArrayLike) -> Vec:
        """Unit normal of the face at a flat point ``(2,)``, folded, ``(3,)``."""
        p = np.asarray(point, float)[None]
        d = self.place(p, 0.0)[0] - self.place(p, -self.thickness)[0]
        return np.asarray(d / np.linalg.norm(d))

    @property
    def volume(self) -> float:
        """Volume of the folded part without holes, mm3 (holes lie on flats only).

        The bend zones are wrapped about the neutral axis: what they hold over the flat pattern is
        (r + t/2) / (r + k t).
        """
        t = self.thickness
        flats = sum(abs(f.loop.area) for f in self.facets)
        bends = sum(abs(b.loop.area) * self.folds[b.fold].stretch(t) for b in self.bends)
        return (flats + bends) * t


def _midpoints(values: Sequence[float]) -> list[float]:
    """The middle of the whole span, then of each step."""
    v = sorted(values)
    if not v:
        return []
    return [(v[0] + v[-1]) / 2, *((a + b) / 2 for a, b in pairwise(v))]


def _turn(bend: Bend, thickness: float) -> Vec:
    """Map ``(4, 4)`` of the far facet's flat points into the near facet's flat frame."""
    a = abs(bend.angle)
    sign = 1.0 if bend.angle > 0 else -1.0
    side = np.array([*bend.side, 0.0])
    along = np.array([-bend.side[1], bend.side[0], 0.0])
    up = np.array([0.0, 0.0, 1.0])
    source = np.column_stack([side, along, up])
    turned = np.column_stack(
        [cos(a) * side + sign * sin(a) * up, along, cos(a) * up - sign * sin(a) * side]
    )
    m = np.eye(4)
    m[:3, :3] = turned @ source.T
    far = np.array([*(bend.edge + bend.width * bend.side), 0.0])
    m[:3, 3] = bend.local(far[None], thickness)[0] - m[:3, :3] @ far
    return m


def bend_name(fold: Fold, units: LengthUnit = "mm") -> str:
    """What is written at the fold line, the radius in the drawing's units, e.g. ``UP 90 R4``."""
    way = "UP" if fold.up else "DOWN"
    radius = fold.inside_radius
    text = f"{radius / INCH:.3f}" if units == "in" else f"{radius:.4g}"
    return f"{way} {abs(degrees(fold.angle)):.4g} R{text}"
