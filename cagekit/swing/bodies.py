"""Solids round a swinging bar as distances: cut tubes, plates, small parts, the body's side.

Every solid tells the distance of points ``(n, 3)`` to it, mm, negative inside.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
from msgspec import Struct

from cagekit.cage.door import SmallPart
from cagekit.cage.member import Member, Plane
from cagekit.cage.plate import Plate
from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import Vec
from cagekit.geometry.chords import chords
from cagekit.geometry.outline import Outline
from cagekit.geometry.outline_tables import OutlineTables
from cagekit.geometry.shapes import Capsule, Prism, Slab, Solids, polygon_distance
from cagekit.inputs.car import Car

THIN = 20.0
"""A door, or the outside of one, is no thinner than this, mm."""
GapFunction = Callable[[Vec], Vec]


class Obstacle(Struct, frozen=True, kw_only=True, eq=False):
    """Something that the bar could meet: what it is called, its kind and its distance.

    ``part`` names the part of it at a point, where it has parts; ``own`` tells the bar's own stubs
    and brackets. ``least`` is what the distance is at least where it is positive, negative where
    that is, and changes from point to point by no more than they are apart; ``hulls`` together hold
    a tube, to tell that of many tubes at one go.
    """

    name: str
    kind: str
    gap: GapFunction
    least: GapFunction
    part: Callable[[Vec], str] | None = None
    own: bool = False
    hulls: tuple[Capsule, ...] = ()

    def named(self, point: Vec) -> str:
        """What it is called at a point ``(3,)``."""
        return self.name if self.part is None else self.part(point)


def tube_gap(member: Member) -> GapFunction:
    """Distance to a tube, its ends rounded."""
    path, radius = member.path, member.tube.outer_radius
    return lambda p: path.distances(p) - radius


def hulls(member: Member) -> tuple[Capsule, ...]:
    """A capsule round each piece of a tube."""
    path, radius = member.path, member.tube.outer_radius
    return tuple(
        Capsule(q.start, q.end, radius + chord.off)
        for q, chord in zip(path.pieces, chords(path), strict=True)
    )


def stub_gap(member: Member, *faces: Plane) -> GapFunction:
    """Distance to a solid bar cut by planes; exact inside and beside, too small round its edges."""
    path, radius = member.path, member.tube.outer_radius
    start, out = path.end_point("a"), path.out_direction("a")
    straight = len(path.pieces) == 1

    def gap(p: Vec) -> Vec:
        if straight:
            w = p - start
            away = np.linalg.norm(w - np.multiply.outer(w @ out, out), axis=1)
        else:
            away = path.distances(p)
        parts = [away - radius, *(-(p - f.point) @ f.normal for f in faces)]
        return np.asarray(_outside(parts[0], np.max(parts[1:], axis=0)) if faces else parts[0])

    return gap


def _outside(a: Vec, b: Vec) -> Vec:
    """Distance to what two square solids share, from the distances to each."""
    both = np.hypot(np.maximum(a, 0.0), np.maximum(b, 0.0))
    return np.asarray(both + np.minimum(np.maximum(a, b), 0.0))


class Prisms:
    """Outlines drawn out square to their planes, as one solid.

    Args:
        frames: of the outlines, ``(4, 4)`` each.
        loops: the outlines.
        spans: from where to where each is drawn along z of its frame, mm.
    """

    def __init__(
        self, frames: Sequence[Vec], loops: Sequence[Outline], spans: Sequence[tuple[float, float]]
    ) -> None:
        self._turn, self._shift = (np.array([f[:3, part] for f in frames]) for part in (_TURN, 3))
        self._tables = OutlineTables.laid([loop.tables for loop in loops])
        self._low, self._high = np.array(spans).T[..., None]
        corners = np.array([loop.box for loop in loops])
        corners = np.concatenate([corners, np.array(spans)[..., None]], axis=2)
        middles, halves = corners.mean(axis=1), np.diff(corners, axis=1)[:, 0] / 2
        self._boxes = Solids(
            [
                Slab(turn @ middle + shift, turn.T, half)
                for turn, shift, middle, half in zip(
                    self._turn, self._shift, middles, halves, strict=True
                )
            ]
        )

    def gap(self, points: Points) -> Vec:
        """Distance of points ``(n, 3)``, mm, negative inside."""
        x, y, z = ((points - self._shift[:, None]) @ self._turn).transpose(2, 0, 1)
        edge = self._tables.distance(x[:, None], y[:, None])
        edge = np.where(self._tables.contains(x[:, None], y[:, None]), -edge, edge)
        return np.asarray(_outside(edge, np.maximum(self._low - z, z - self._high)).min(axis=0))

    def least(self, points: Points) -> Vec:
        """What that is at least: the distance to the boxes round the prisms, mm."""
        return np.asarray(self._boxes.gaps(points[None]).min(axis=0))


_TURN = slice(3)


def plate_solid(plate: Plate) -> Prisms:
    """The flats of a plate; its bend zones lie between them and are left out."""
    frames = [plate.placement @ f.frame for f in plate.facets]
    loops = [f.loop for f in plate.facets]
    return Prisms(frames, loops, [(-plate.thickness, 0.0)] * len(loops))


def part_solid(part: SmallPart) -> Prisms:
    """A small part, its bore filled."""
    ends = np.cumsum([0.0, *(stage.length for stage in part.stages)]).tolist()
    loops = [stage.outline for stage in part.stages]
    return Prisms([part.frame] * len(loops), loops, list(pairwise(ends)))


class BodySide(Struct, frozen=True, eq=False):
    """The side of the body as a wall with the door opening in it.

    ``outline`` ``(n, 2)`` in x and z. The wall's inner face runs from the shell's section at the
    hoop to the windscreen pillar, straight between; ``rear`` and ``front`` are rows of height and
    distance from the centre plane, ``span`` the x of both. It is ``depth`` thick, as the sill.
    """

    outline: Vec
    rear: Vec
    front: Vec
    span: tuple[float, float]
    depth: float
    sign: float

    @classmethod
    def of(cls, car: Car, side: str) -> BodySide | None:
        """The wall of one side; None when its door opening was not measured."""
        own = car.side(side)
        if own.door is None or len(own.door.outline) < 3:
            return None
        outline = np.array(own.door.outline, float)
        h, inner = own.hoop, own.door.y_inner
        rear = [(z, y) for y, z in h.wall(car.floor_z)]
        front = [(car.floor_z, inner), (0.0, inner)]
        if own.pillar is not None:
            front += [(own.pillar.base[2], own.pillar.base[1]),
                      (own.pillar.top[2], own.pillar.top[1])]  # fmt: skip
        return cls(
            outline,
            np.array(rear),
            np.array(front),
            (float(own.door.quarter_x), float(outline[:, 0].max())),
            max(abs(own.sill_top_y[1] - own.sill_top_y[0]), 20.0),
            1.0 if side == "left" else -1.0,
        )

    def inner(self, points: Points) -> Vec:
        """The wall's inner face at points ``(n, 3)``: distance from the centre plane, mm."""
        share = (points[:, 0] - self.span[0]) / max(self.span[1] - self.span[0], 1.0)
        share = np.clip(share, 0.0, 1.0)
        rear, front = (np.interp(points[:, 2], t[:, 0], t[:, 1]) for t in (self.rear, self.front))
        return np.asarray(rear + share * (front - rear))

    def least(self, points: Points) -> Vec:
        """What the distance to the wall is at least: that to the slab in which all of it lies."""
        inner = np.concatenate([self.rear[:, 1], self.front[:, 1]])
        y = self.sign * points[:, 1]
        return np.asarray(np.maximum(inner.min() - y, y - inner.max() - self.depth))

    def gap(self, points: Points) -> Vec:
        """Distance to the wall, mm, negative inside it."""
        edge, _ = polygon_distance(points[:, [0, 2]], self.outline)
        y, inner = self.sign * points[:, 1], self.inner(points)
        # beyond the edge of the opening there is metal
        return _outside(-edge, np.maximum(inner - y, y - inner - self.depth))

    def part(self, point: Vec) -> str:
        """What the nearest edge of the opening is called."""
        _, foot = polygon_distance(point[None, [0, 2]], self.outline)
        low, high = self.outline.min(axis=0), self.outline.max(axis=0)
        u = (foot[0] - (low + high) / 2) / (high - low)
        if abs(u[0]) > abs(u[1]):
            return "front edge of the door opening" if u[0] > 0 else "quarter panel"
        return "upper edge of the door opening" if u[1] > 0 else "sill"


def open_door(car: Car, side: str, *, bare: bool = False) -> Prism | None:
    """The door of one side, open as far as the car sheet says; None when it does not say.

    As wide as its opening and as thick as from its trim to the sill's outer edge, it turns about an
    upright axis at the front corner of its outside. Near its hinges a real one is thinner, nobody
    knows by how much: ``bare``, it is its outside alone.
    """
    own = car.side(side)
    if own.door is None or own.door.opens is None or len(own.door.outline) < 3:
        return None
    sign = 1.0 if side == "left" else -1.0
    outline = np.array(own.door.outline, float)
    outside = max(own.sill_top_y[1], own.door.y_trim + THIN)
    hinge = np.array([outline[:, 0].max(), sign * outside, 0.0])
    c, s = np.cos(own.door.opens), sign * np.sin(own.door.opens)
    frame = np.array([[c, -s, 0.0], [0.0, 0.0, 1.0], [s, c, 0.0]])
    deep = THIN if bare else outside - own.door.y_trim
    thick = sorted((0.0, -sign * deep))
    return Prism(hinge, frame, outline - [hinge[0], 0.0], (thick[0], thick[1]))
