"""Where two surfaces of parents meet: the ridge that an end face shows between them.

Many of these curves are exact: two pieces of one tube meet in the circle at their joint, two
tubes of one diameter whose axes cross meet in an ellipse, a plane cuts a cylinder in a line or
an ellipse. Whatever is left is followed step by step and interpolated.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import atan2, isinf, pi, sqrt

import numpy as np
from msgspec import Struct

from cagekit.geometry.arrays import Array, Points, cross3
from cagekit.geometry.centre_line import unit
from cagekit.geometry.contact import CylinderPiece, PlaneFace, TorusPiece
from cagekit.solids.brep import EllipseCurve, LineCurve, circle
from cagekit.solids.veils import BandFace, Divide, EndSurface, Silhouette, Veil
from cagekit.units.tolerance import (
    ALIGNED,
    EXACT_EDGE,
    KERNEL_POINT,
    MICRON,
    NO_LENGTH,
    NOISE,
    ROUNDING,
    SAME_POINT,
    TENTH_MICRON,
)

CONCENTRIC = EXACT_EDGE
"""Offset or difference of radii (mm) below which two tubes count as crossing on one axis."""


TOUCHING = ALIGNED
"""Sine of the angle between two surfaces below which they touch."""
CROSSING_ROUNDS = 200
"""Steps from one centre line to the other that find where they cross; at the least angle allowed
each leaves nine tenths of the way."""


class Refused(Exception):
    """The boundary cannot be written down directly; the reason is the message."""


class Cut(Struct, frozen=True, eq=False):
    """A plane that holds a ridge; ``joint_radius`` is the tube's at a joint between pieces."""

    point: Array
    normal: Array
    joint_radius: float = 0.0


def distance(surface: EndSurface | Cut | Veil, points: Points) -> tuple[Array, Array]:
    """Signed distances ``(n,)`` of points ``(n, 3)`` from a surface and its normals ``(n, 3)``."""
    if isinstance(surface, Silhouette | Divide | BandFace):
        return surface.distance(points)
    if isinstance(surface, Cut | PlaneFace):
        value = (points - surface.point) @ surface.normal
        return value, np.broadcast_to(surface.normal, points.shape)
    if isinstance(surface, CylinderPiece):
        w = points - surface.start
        w = w - (w @ surface.axis)[:, None] * surface.axis
        out = np.sqrt(np.einsum("ij,ij->i", w, w))
        return out - surface.radius, w / out[:, None]
    w = points - surface.centre
    flat = w - (w @ surface.axis)[:, None] * surface.axis
    n = w - surface.major * flat / np.sqrt(np.einsum("ij,ij->i", flat, flat))[:, None]
    out = np.sqrt(np.einsum("ij,ij->i", n, n))
    return out - surface.radius, n / out[:, None]


def distance_of_one(
    surface: EndSurface | Cut | Veil, x: float, y: float, z: float
) -> tuple[float, float, float, float]:
    """Signed distance of one point from a surface and its normal; as :func:`distance`.

    In plain numbers: a ridge is walked point by point, and a call on an array of one takes ten
    times as long.

    Args:
        surface: the surface.
        x: of the point, mm.
        y: of it, mm.
        z: of it, mm.

    Raises:
        Refused: the point lies on the surface's centre line.
    """
    if isinstance(surface, Silhouette | Divide | BandFace):
        off, normals = surface.distance(np.array([[x, y, z]]))
        u, v, w = normals[0].tolist()
        return float(off[0]), u, v, w
    if isinstance(surface, Cut | PlaneFace):
        (a, b, c), (u, v, w) = surface.point.tolist(), surface.normal.tolist()
        return (x - a) * u + (y - b) * v + (z - c) * w, u, v, w
    major = 0.0 if isinstance(surface, CylinderPiece) else surface.major
    centre = surface.start if isinstance(surface, CylinderPiece) else surface.centre
    (a, b, c), (u, v, w) = centre.tolist(), surface.axis.tolist()
    x, y, z = x - a, y - b, z - c
    along = x * u + y * v + z * w
    a, b, c = x - along * u, y - along * v, z - along * w
    out = sqrt(a * a + b * b + c * c)
    if major > 0.0 and out > 0.0:
        share = major / out
        a, b, c = x - share * a, y - share * b, z - share * c
        out = sqrt(a * a + b * b + c * c)
    if not out > 0.0:
        raise Refused("a ridge runs through a centre line")
    return out - surface.radius, a / out, b / out, c / out


def meeting(surfaces: Sequence[EndSurface | Cut | Veil], near: Array, *, within: float) -> Array:
    """The point near another at which three surfaces meet, ``(3,)``.

    Args:
        surfaces: the three.
        near: where the search begins, ``(3,)``.
        within: how far from there it may lie, mm.

    Raises:
        Refused: they touch there, or meet farther away.
    """
    p = near[None]
    for _ in range(40):
        rows = [distance(q, p) for q in surfaces]
        matrix = np.array([n[0] for _, n in rows])
        try:
            move = np.linalg.solve(matrix, [float(f[0]) for f, _ in rows])
        except np.linalg.LinAlgError:
            raise Refused("three parents touch in one point") from None
        p = p - np.clip(move, -1.0, 1.0)
        if float(np.abs(move).max()) < NOISE:
            break
    if float(np.linalg.norm(p[0] - near)) > within:
        raise Refused("three parents meet out of reach")
    return np.asarray(p[0])


def root_near(off: Callable[[float], float], guess: float, span: float) -> float:
    """A root near a guess, by secants.

    Args:
        off: what is zero there.
        guess: where the search begins.
        span: how far from there it may go.

    Raises:
        Refused: there is none within ``span``.
    """
    a, b = guess, guess + span / 1000
    fa, fb = off(a), off(b)
    for _ in range(60):
        if abs(fb) < NOISE or fb == fa:
            break
        c = b - fb * (b - a) / (fb - fa)
        if not abs(c - guess) < span:
            raise Refused("a border of the end face gets lost")
        a, fa, b, fb = b, fb, c, off(c)
        if abs(b - a) < NOISE:
            break
    if abs(fb) > TENTH_MICRON:
        raise Refused("a border of the end face gets lost")
    return b


class Crease(Struct, frozen=True, eq=False):
    """The curve where ``first`` and ``second`` meet; ``second`` is a plane where one holds it."""

    first: EndSurface
    second: EndSurface | Cut | Veil

    def settle(self, points: Points) -> Array:
        """Move points ``(n, 3)`` that are near the curve onto it."""
        if len(points) == 1:
            return np.array([self._settled(*points[0].tolist())])
        p = points
        for _ in range(30):
            f, nf = distance(self.first, p)
            g, ng = distance(self.second, p)
            c = np.einsum("ij,ij->i", nf, ng)
            det = np.maximum(1.0 - c * c, NOISE)
            alpha, beta = (c * g - f) / det, (c * f - g) / det
            p = p + alpha[:, None] * nf + beta[:, None] * ng
            if max(float(np.abs(f).max()), float(np.abs(g).max())) < NOISE:
                break
        return p

    def _settled(self, x: float, y: float, z: float) -> tuple[float, float, float]:
        for _ in range(30):
            f, fx, fy, fz = distance_of_one(self.first, x, y, z)
            g, gx, gy, gz = distance_of_one(self.second, x, y, z)
            c = fx * gx + fy * gy + fz * gz
            det = max(1.0 - c * c, NOISE)
            alpha, beta = (c * g - f) / det, (c * f - g) / det
            x += alpha * fx + beta * gx
            y += alpha * fy + beta * gy
            z += alpha * fz + beta * gz
            if max(abs(f), abs(g)) < NOISE:
                break
        return x, y, z

    def settle_at(self, points: Points, along: Array, station: Array) -> Array:
        """Points of the curve at given stations along a direction.

        Args:
            points: first guesses, ``(n, 3)``.
            along: unit direction, ``(3,)``.
            station: wanted ``points @ along``, ``(n,)``.

        Raises:
            Refused: the direct way cannot do it; the kernel makes the part instead.
        """
        p = points
        for _ in range(40):
            f, nf = distance(self.first, p)
            g, ng = distance(self.second, p)
            h = p @ along - station
            rows = np.stack([nf, ng, np.broadcast_to(along, nf.shape)], axis=1)
            try:
                move = np.linalg.solve(rows, np.stack([f, g, h], axis=1)[:, :, None])[:, :, 0]
            except np.linalg.LinAlgError:
                raise Refused("a ridge cannot be followed") from None
            p = p - np.clip(move, -5.0, 5.0)
            if float(np.abs(move).max()) < NOISE:
                break
        return p

    def tangent(self, point: Array) -> Array:
        """Unit direction of the curve at a point ``(3,)``; raises Refused where it is singular.

        Raises:
            Refused: the direct way cannot do it; the kernel makes the part instead.
        """
        t = self._across(point)
        size = float(np.sqrt(t @ t))
        if size < KERNEL_POINT:
            raise Refused("parents touch along a ridge")
        return np.asarray(t / size)

    def _across(self, point: Array) -> Array:
        """What is square to the normals of both surfaces at a point ``(3,)``."""
        x, y, z = point.tolist()
        _, a, b, c = distance_of_one(self.first, x, y, z)
        _, u, v, w = distance_of_one(self.second, x, y, z)
        return np.array([b * w - c * v, c * u - a * w, a * v - b * u])

    def crosses_at(self, point: Array) -> bool:
        """Tell whether the two surfaces touch at a point ``(3,)``: the curve crosses itself."""
        across = self._across(point)
        return float(np.sqrt(across @ across)) < TOUCHING

    def exact(self, through: Array) -> LineCurve | EllipseCurve | None:
        """The curve in closed form, if it has one; of two lines the one through ``through``."""
        plane = self.second
        if isinstance(plane, Cut) and plane.joint_radius > 0:
            w = through - plane.point
            return circle(plane.point, plane.normal, unit(w), plane.joint_radius)
        if isinstance(plane, Cut | PlaneFace) and isinstance(self.first, CylinderPiece):
            c = self.first
            return conic(c.start, c.axis, c.radius, plane.point, plane.normal, through)
        if isinstance(plane, PlaneFace) and isinstance(self.first, PlaneFace):
            along = cross3(plane.normal, self.first.normal)
            return LineCurve(through, unit(along))
        return None


def conic(
    start: Array, axis: Array, radius: float, point: Array, normal: Array, through: Array
) -> LineCurve | EllipseCurve:
    """Cut a cylinder with a plane: an ellipse, a circle, or the line nearest to ``through``.

    Args:
        start: a point of the cylinder's axis, ``(3,)``.
        axis: unit direction of the axis.
        radius: radius, mm.
        point: a point of the plane.
        normal: unit normal of the plane.
        through: a point of the curve.
    """
    lean = float(axis @ normal)
    if abs(lean) < ROUNDING:
        w = through - start
        return LineCurve(np.asarray(start + w - (w @ axis) * axis), np.asarray(axis))
    centre = np.asarray(start + axis * (float((point - start) @ normal) / lean))
    across = cross3(axis, normal)
    size = float(np.sqrt(across @ across))
    if size < NO_LENGTH:
        w = through - centre
        return circle(centre, np.asarray(normal), unit(w - (w @ normal) * normal), radius)
    minor = across / size
    major = cross3(minor, normal)
    return EllipseCurve(centre, np.asarray(normal), major, radius / abs(lean), radius)


def curve_range(
    curve: LineCurve | EllipseCurve, first: Array, middle: Array, last: Array
) -> tuple[LineCurve | EllipseCurve, float, float]:
    """Orient a curve so that its parameter rises from ``first`` over ``middle`` to ``last``.

    A ring that ends where it began goes all the way round; ``middle`` then lies within the
    first half.

    Args:
        curve: curve of the crease.
        first: point where it starts, ``(3,)`` mm.
        middle: point that it passes, ``(3,)`` mm.
        last: point where it ends, ``(3,)`` mm.
    """
    if isinstance(curve, LineCurve):
        along = curve.direction
        if float((last - first) @ along) < 0:
            along = -along
        out = LineCurve(curve.origin, along)
        return out, float((first - curve.origin) @ along), float((last - curve.origin) @ along)
    for sign in (1.0, -1.0):
        ring = EllipseCurve(curve.centre, sign * curve.axis, curve.x, curve.major, curve.minor)
        t0, tm, t1 = (ring_angle(ring, p) for p in (first, middle, last))
        half = (tm - t0) % (2 * pi)
        whole = (t1 - t0) % (2 * pi)
        if whole < ROUNDING:
            whole = 2 * pi
        if half <= (whole if whole < 2 * pi else pi):
            break
    return ring, t0, t0 + whole


def ring_angle(ring: EllipseCurve, point: Array) -> float:
    """Parameter of a point on an ellipse, rad from 0 to below 2 pi.

    Kernels count so: their booleans take an edge that starts below zero for one that is not where
    two surfaces meet, and lose faces.
    """
    w = point - ring.centre
    y = cross3(ring.axis, ring.x)
    turn = atan2(float(w @ y) / ring.minor, float(w @ ring.x) / ring.major)
    return turn if turn > -NOISE else turn + 2 * pi


def creases(first: EndSurface, second: EndSurface, at: Array) -> list[Crease]:
    """The curves in which two surfaces meet near the point ``at``, the likeliest first.

    Args:
        first: first of the two parent surfaces.
        second: second of them.
        at: point near which they meet, ``(3,)`` mm.

    Raises:
        Refused: pieces of one tube that do not follow each other.
    """
    if isinstance(second, BandFace):
        first, second = second, first
    if isinstance(first, BandFace) and isinstance(second, PlaneFace | BandFace):
        if first.owner == second.owner:
            return [Crease(second, _beside_end(first, second))]
        return [Crease(first, second)]
    if isinstance(first, BandFace):
        return [Crease(second, first)]
    if isinstance(first, PlaneFace):
        first, second = second, first
    if isinstance(first, PlaneFace) or isinstance(second, PlaneFace):
        return [Crease(first, second)]
    if first.owner == second.owner:
        return [Crease(first, joint(first, second))]
    if isinstance(first, CylinderPiece) and isinstance(second, CylinderPiece):
        planes = _bisectors(first, second, at)
        if planes:
            return [Crease(first, plane) for plane in planes]
    if isinstance(second, CylinderPiece):
        first, second = second, first
    return [Crease(first, second)]


def _beside_end(band: BandFace, other: PlaneFace | BandFace) -> Cut:
    """The plane between what a cope goes on along beside a bend and beside the next piece."""
    bend = band.bend
    if abs(other.piece - bend.piece) != 1:
        raise Refused("bends of one parent meet")
    angle = 0.0 if other.piece < bend.piece else bend.angle
    out = np.cos(angle) * bend.x + np.sin(angle) * bend.y
    along = np.cos(angle) * bend.y - np.sin(angle) * bend.x
    return Cut(np.asarray(bend.centre + bend.major * out), np.asarray(along))


def joint(a: EndSurface, b: EndSurface) -> Cut:
    """The plane between two pieces of one tube that follow each other; its normal points on.

    Args:
        a: one of the pieces.
        b: the other one.

    Raises:
        Refused: they do not follow each other.
    """
    if not isinstance(a, CylinderPiece | TorusPiece) or abs(a.piece - b.piece) != 1:
        raise Refused("bends of one parent meet")
    if not isinstance(b, CylinderPiece | TorusPiece):
        raise Refused("bends of one parent meet")
    early = a if a.piece < b.piece else b
    if isinstance(early, CylinderPiece) and isinf(early.high):
        # what goes on before an open end runs away from it
        return Cut(np.asarray(early.start), np.asarray(-early.axis), early.radius)
    if isinstance(early, CylinderPiece):
        return Cut(
            np.asarray(early.start + early.high * early.axis), np.asarray(early.axis), early.radius
        )
    end = early.centre + early.major * (
        np.cos(early.angle) * early.x + np.sin(early.angle) * early.y
    )
    along = np.cos(early.angle) * early.y - np.sin(early.angle) * early.x
    return Cut(np.asarray(end), np.asarray(along), early.radius)


def _bisectors(a: CylinderPiece, b: CylinderPiece, at: Array) -> list[Cut]:
    """The planes of the two ellipses in which crossing tubes of one diameter meet.

    The ellipses themselves cross twice; only there both planes are near.
    """
    cross = _axes_meet(a, b)
    if cross is None:
        return []
    planes = [Cut(cross, unit(a.axis - b.axis)), Cut(cross, unit(a.axis + b.axis))]
    planes.sort(key=lambda q: abs(float((at - q.point) @ q.normal)))
    both = abs(float((at - planes[1].point) @ planes[1].normal)) < MICRON
    return planes if both else planes[:1]


def _axes_meet(a: CylinderPiece, b: CylinderPiece) -> Array | None:
    """Where the axes of two tubes of one diameter cross, ``(3,)``."""
    normal = cross3(a.axis, b.axis)
    size = float(np.sqrt(normal @ normal))
    if abs(a.radius - b.radius) > CONCENTRIC or size < SAME_POINT:
        return None
    w = b.start - a.start
    if abs(float(w @ normal)) / size > CONCENTRIC:
        return None
    return np.asarray(a.start + float(cross3(w, b.axis) @ normal) / size**2 * a.axis)


def crossing_points(a: EndSurface, b: EndSurface, near: Array) -> list[Array]:
    """The two points in which tubes of one diameter touch whose centre lines cross.

    The curve in which they meet crosses itself there.

    Args:
        a: a piece of one of the tubes.
        b: a piece of the other.
        near: point near the crossing, ``(3,)`` mm.
    """
    if not isinstance(a, CylinderPiece | TorusPiece) or a.owner == b.owner:
        return []
    if not isinstance(b, CylinderPiece | TorusPiece):
        return []
    if abs(a.radius - b.radius) > CONCENTRIC:
        return []
    spot, along = a.tangent_at(near)
    for _ in range(CROSSING_ROUNDS):
        other, beside = b.tangent_at(spot)
        before, (spot, along) = spot, a.tangent_at(other)
        if float(np.abs(spot - before).max()) < NOISE:
            break
    normal = cross3(along, beside)
    if float(np.linalg.norm(spot - other)) > CONCENTRIC or not float(normal @ normal) > SAME_POINT:
        return []
    return [np.asarray(spot + t * a.radius * unit(normal)) for t in (1.0, -1.0)]
