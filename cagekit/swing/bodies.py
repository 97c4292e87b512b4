"""Solids round a swinging bar as distances: cut tubes, plates, small parts, the body's side.

Every solid tells the distance of points ``(n, 3)`` to it, mm, negative inside.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from msgspec import Struct

from cagekit.cage.door import SmallPart
from cagekit.cage.member import Member, Plane
from cagekit.cage.plate import Plate
from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import Vec
from cagekit.geometry.outline import Outline
from cagekit.geometry.shapes import Prism, polygon_distance
from cagekit.inputs.car import Car

THIN = 20.0
"""A door is no thinner than this, mm."""
NEAR = 100.0
"""Nearer than this (mm) a distance is worked out exactly; more than any tube is thick."""

GapFunction = Callable[[Vec], Vec]


class Obstacle(Struct, frozen=True, kw_only=True, eq=False):
    """Something that the bar could meet: what it is called, its kind and its distance.

    ``part`` names the part of it at a point, where it has parts; ``own`` tells the bar's own stubs
    and brackets.
    """

    name: str
    kind: str
    gap: GapFunction
    part: Callable[[Vec], str] | None = None
    own: bool = False

    def named(self, point: Vec) -> str:
        """What it is called at a point ``(3,)``."""
        return self.name if self.part is None else self.part(point)


def tube_gap(member: Member) -> GapFunction:
    """Distance to a tube, its ends rounded."""
    path, radius = member.path, member.tube.outer_radius
    return lambda p: path.distances(p) - radius


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


def prism_gap(frame: Vec, loop: Outline, low: float, high: float) -> GapFunction:
    """Distance to an outline drawn from ``low`` to ``high`` along z of a frame ``(4, 4)``.

    Args:
        frame: of the outline.
        loop: the outline.
        low: mm.
        high: mm.
    """
    turn, shift = frame[:3, :3], frame[:3, 3]
    middle = np.array([*loop.centroid, (low + high) / 2])
    reach = float(np.hypot(*(loop.vertices - loop.centroid).T).max()) * 1.5 + (high - low)

    def gap(p: Vec) -> Vec:
        local = (p - shift) @ turn
        # far away the distance to a ball round the prism does
        out = np.linalg.norm(local - middle, axis=1) - reach
        near = out < NEAR
        if near.any():
            q = local[near]
            edge = loop.distance(q[:, :2])
            edge = np.where(loop.contains(q[:, :2]), -edge, edge)
            out[near] = _outside(edge, np.maximum(low - q[:, 2], q[:, 2] - high))
        return np.asarray(out)

    return gap


def plate_gap(plate: Plate) -> GapFunction:
    """Distance to the flats of a plate; its bend zones lie between them and are left out."""
    gaps = [
        prism_gap(plate.placement @ f.frame, f.loop, -plate.thickness, 0.0) for f in plate.facets
    ]
    return lambda p: np.asarray(np.min([g(p) for g in gaps], axis=0))


def part_gap(part: SmallPart) -> GapFunction:
    """Distance to a small part, its bore filled."""
    gaps: list[GapFunction] = []
    z = 0.0
    for stage in part.stages:
        gaps.append(prism_gap(part.frame, stage.outline, z, z + stage.length))
        z += stage.length
    return lambda p: np.asarray(np.min([g(p) for g in gaps], axis=0))


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


def open_door(car: Car, side: str) -> Prism | None:
    """The door of one side, open as far as the car sheet says; None when it does not say.

    As wide as its opening and as thick as from its trim to the sill's outer edge, it turns about an
    upright axis at the front corner of its outside.
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
    thick = sorted((0.0, sign * (own.door.y_trim - outside)))
    return Prism(hinge, frame, outline - [hinge[0], 0.0], (thick[0], thick[1]))
