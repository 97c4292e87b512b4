"""The two rims of a coped end: where the tube's outside and inside meet the parents.

Angles here are about the direction of travel of the whole tube, from its reference line, so
that both ends of a tube count the same way round.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from itertools import pairwise
from math import acos, acosh, asinh, atan2, cos, inf, pi, sin, sqrt, tau
from typing import cast

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace

from cagekit.geometry.arrays import Array, Ints, Points, cross3
from cagekit.geometry.centre_line import perpendicular, unit
from cagekit.geometry.contact import (
    TOUCH,
    Bundle,
    ContactSurface,
    CylinderPiece,
    PlaneFace,
    Solution,
    TorusPiece,
)
from cagekit.geometry.cope import EndCut
from cagekit.solids.brep import (
    CylinderSurface,
    Edge,
    EllipseCurve,
    LineCurve,
    PlaneSurface,
    Record,
    RuledSurface,
    SplineCurve,
    TorusSurface,
)
from cagekit.solids.creases import CONCENTRIC, Refused, conic, curve_range
from cagekit.solids.readable import least_nodes
from cagekit.solids.side_by_side import RayWork, done, together
from cagekit.solids.spline import DEGREE, fitting
from cagekit.solids.veils import BandFace, EndChart, EndSurface, Spine
from cagekit.units.tolerance import (
    ANGLE_ROUNDING,
    LAST_ANGLE,
    MICRON,
    NO_LENGTH,
    READ_EDGE,
    SAME_ANGLE,
    SAME_POINT,
)

FINE = READ_EDGE
"""Deviation (mm) of a rim at which it is refined no further."""
BESIDE = 1e-4
"""How far (rad) to either side of a graze the surfaces of a rim are looked up."""
BEYOND = 1e-5
"""A graze this little (rad) before the end of an arc still belongs to it."""
COARSE = MICRON
"""Deviation (mm) at which a rim is refused."""
SHARP = 0.4
"""Half width (rad) of a turn of the rim above which it needs no care."""
SOFT = 1.3
"""Half width (rad) of a turn above which a rim is even enough all round."""
LAND = 40
"""Steps that look for where a rim passes a bend."""
PACES = 512
"""Places at which the pace round a rim is sampled; its series is exact to the last digits."""
NEAR = 0.7
"""Length (rad) of the stretch beside a sharp turn that gets its own edge."""


class EndRays(Struct, frozen=True, kw_only=True, eq=False):
    """The bundle of rays that run along one end of a tube.

    Attributes:
        cut: how the end is cut.
        x: reference line, unit, square to the axis.
        y: completes (x, y, direction of travel).
        room: length of the straight at this end, mm.
        node: theoretical end point, ``(3,)``; moved by ``shift`` mm where that makes a joint of
            equal tubes exactly concentric.
        surfaces: what the end stands on: those of the cut, then the bands beside bends.
        closures: for each contact surface what the cope goes on along beside it.
        count: angle of the reference line in the cut's own count (rad), and which way that runs.
    """

    cut: EndCut
    x: Array
    y: Array
    room: float
    node: Array
    surfaces: tuple[EndSurface, ...]
    closures: tuple[int, ...]
    count: tuple[float, float]
    shift: float = 0.0

    @classmethod
    def of(cls, cut: EndCut, x: Array, room: float) -> EndRays:
        """The rays of an end, counted from the reference line ``x``.

        Args:
            cut: cut of the end.
            x: unit vector where the angle around the tube is zero, ``(3,)``.
            room: length of the straight at this end, mm.
        """
        travel = cut.out if cut.which == "b" else -cut.out
        off = _off_centre(cut)
        y, node = cross3(travel, x), cut.point - off
        surfaces: list[EndSurface] = list(cut.surfaces)
        closures = list(cut.closures)
        chart = EndChart(node, x, y, -cut.out)
        for k, s in enumerate(cut.on):
            if isinstance(s, TorusPiece):
                closures[k] = len(surfaces)
                surfaces.append(BandFace(Spine(chart, s), s))
        turn = float(np.arctan2(x @ cut.side, x @ cut.zero))
        return cls(
            cut=cut, x=x, y=y, room=room, node=node, surfaces=tuple(surfaces),
            closures=tuple(closures), count=(turn, 1.0 if cut.which == "b" else -1.0),
            shift=float(np.sqrt(off @ off)),
        )  # fmt: skip

    @property
    def plane(self) -> EndChart:
        """The plane square to the tube through its node."""
        return EndChart(self.node, self.x, self.y, self.inward)

    @property
    def inward(self) -> Array:
        """Unit direction back into the tube, ``(3,)``."""
        return -self.cut.out

    @property
    def radii(self) -> tuple[float, float]:
        """Outside and inside radius, mm."""
        return self.cut.outer_radius, self.cut.inner_radius

    def origins(self, phi: Array, rho: Array | float) -> Points:
        """Points at s = 0, ``(n, 3)``."""
        across = np.multiply.outer(np.cos(phi), self.x) + np.multiply.outer(np.sin(phi), self.y)
        return np.asarray(self.node + np.multiply(np.asarray(rho)[..., None], across))

    def contact(self, phi: Array, rho: Array | float) -> tuple[Array, Ints]:
        """Where rays ``(n,)`` touch and which surface they touch, or what they end on beside it."""
        return done(self.asking(phi, rho))

    def asking(self, phi: Array, rho: Array | float) -> RayWork[tuple[Array, Ints]]:
        """As :meth:`contact`, side by side with other work."""
        _, s, active = yield from self._pushed(phi, rho)
        return s, active

    def solving(
        self, phi: Array, rho: Array | float
    ) -> RayWork[tuple[list[Solution], Array, Ints]]:
        """As :meth:`asking`; first of all what the rays do at each of the contact surfaces.

        Args:
            phi: angles around the tube, rad.
            rho: distances from the axis, mm.
        """
        solved, s, active = yield from self._pushed(phi, rho)
        return solved(), s, active

    def _pushed(
        self, phi: Array, rho: Array | float
    ) -> RayWork[tuple[Callable[[], list[Solution]], Array, Ints]]:
        turn, sign = self.count
        ((touch, solved),) = yield [self.cut.bundle(turn + sign * phi, rho)]
        beside = ~touch.ok & (touch.gap > TOUCH)
        active = np.where(beside, np.asarray(self.closures)[touch.active], touch.active)
        return solved, touch.s, active

    def scanned(self, side: int) -> tuple[Array, Ints]:
        """Angles all round, rising ``(m,)``, and the surfaces that take the rays there.

        Args:
            side: 0 for the outside, 1 for the bore.
        """
        turn, sign = self.count
        phi = (sign * (self.cut.grid - turn)) % tau
        order = np.argsort(phi)
        seen = self.cut.seen(side)
        if (seen < 0).any():
            return phi[order], self.contact(phi[order], self.radii[side])[1]
        return phi[order], seen[order]

    def bundle(self, phi: Array, rho: Array | float, surface: int) -> Bundle:
        """Rays ``(n,)`` and one of the surfaces, its ends ignored.

        Args:
            phi: angles around the tube, rad.
            rho: distance from the axis, mm.
            surface: index of the parent surface.
        """
        windows = self.cut.windows
        window = windows[surface] if surface < len(windows) else (-inf, inf)
        origins = self.origins(phi, rho)
        met = cast(ContactSurface, self.surfaces[surface])
        return Bundle((met,), origins, self.inward, (window,))

    def points(self, phi: Array, rho: Array | float, surface: int) -> Array:
        """Where rays ``(n,)`` touch one of the surfaces, its ends ignored, ``(n, 3)``.

        Args:
            phi: angles around the tube, rad.
            rho: distance from the axis, mm.
            surface: index of the parent surface.
        """
        return done(_touched([self.bundle(phi, rho, surface)]))[0]

    def depth(self, points: Points) -> Array:
        """Depth s of points ``(n, 3)``, mm."""
        return np.asarray((points - self.node) @ self.inward)

    def chart(self, points: Points) -> tuple[Array, Array]:
        """Angles and radii ``(n,)`` of points ``(n, 3)``."""
        w = points - self.node
        return np.arctan2(w @ self.y, w @ self.x), np.hypot(w @ self.x, w @ self.y)


def _touched(bundles: list[Bundle]) -> RayWork[list[Array]]:
    """Where the rays of each bundle touch its one surface, ``(n, 3)``."""
    found = yield bundles
    return [
        np.asarray(b.origins + touch.s[:, None] * b.direction)
        for b, (touch, _) in zip(bundles, found, strict=True)
    ]


def _off_centre(cut: EndCut) -> Array:
    """What a joint of equal tubes lacks in being concentric, when it is next to nothing."""
    for s in cut.on:
        if isinstance(s, PlaneFace) or abs(s.radius - cut.outer_radius) > CONCENTRIC:
            continue
        foot, along = s.tangent_at(cut.point)
        across = cross3(cut.out, along)
        size = float(np.sqrt(across @ across))
        if size > NO_LENGTH:
            off = float((cut.point - foot) @ across) / size
            if abs(off) < CONCENTRIC:
                return np.asarray(across * (off / size))
    return np.zeros(3)


def face_surface(
    rays: EndRays, surface: EndSurface
) -> tuple[PlaneSurface | CylinderSurface | TorusSurface | RuledSurface, tuple[float, float]]:
    """The record's surface of an end face, turned so that the face lies clear of its seam.

    Args:
        rays: rays of the end.
        surface: what the face is a piece of.

    Returns:
        The surface, and the lowest u and v of the face.
    """
    if isinstance(surface, PlaneFace):
        normal = np.asarray(surface.normal)
        return PlaneSurface(np.asarray(surface.point), normal, perpendicular(normal)), (0.0, 0.0)
    if isinstance(surface, BandFace):
        return surface.surface(surface.bend.radius + rays.cut.outer_radius), (0.0, 0.0)
    d = rays.inward
    if isinstance(surface, CylinderPiece):
        x = -unit(d - (d @ surface.axis) * surface.axis)
        origin, axis = surface.tangent_at(rays.node)
        return CylinderSurface(origin, axis, x, surface.radius), (0.0, 0.0)
    w = rays.node - surface.centre
    out = unit(w - (w @ surface.axis) * surface.axis)
    towards = atan2(float(d @ surface.axis), float(d @ out))
    torus = TorusSurface(surface.centre, surface.axis, -out, surface.major, surface.radius)
    return torus, (0.0, towards - pi)


class Graze(Struct, frozen=True):
    """Where rays come close to passing a parent: the rim turns sharply there.

    ``angle`` is where (rad). ``width`` is the half width of the turn, rad: 0 at a true corner.
    A ``missing`` graze is the silhouette of a parent that the rays beyond it pass.
    """

    angle: float
    width: float
    surface: int
    missing: bool = False

    @property
    def is_soft(self) -> bool:
        """Tell whether the rim turns gently enough to go on in one edge."""
        return not self.missing and self.width >= SHARP


Beyond = tuple[Graze, float] | None


class RimArc(Struct, frozen=True, eq=False):
    """A stretch of a rim on one surface, from angle ``start`` to ``stop`` (rising, rad).

    ``plane`` is the surface's stand-in where the stretch is part of an ellipse; ``grazes`` are
    those at or just beyond its two ends, each with the angle from there to the end. ``turns`` are
    the soft turns within a rim that is one arc all round.
    """

    start: float
    stop: float
    surface: int
    plane: PlaneFace | None = None
    grazes: tuple[Beyond, Beyond] = (None, None)
    turns: tuple[Graze, ...] = ()


class ArcCurve(Struct, frozen=True, eq=False):
    """The curve of an arc between two parameters, and how far (mm) it may lie off."""

    curve: LineCurve | EllipseCurve | SplineCurve
    t0: float
    t1: float
    tol: float


class Rim(Struct):
    """One rim: its arcs in order from angle 0, with curve, edge, first and last vertex of each.

    ``corners`` holds the points at which the arc before an arc stops and at which it starts: two
    where it drops from one parent to the next, and ``steps`` holds the edge between them.
    """

    radius: float
    arcs: list[RimArc]
    corners: list[tuple[Array, Array]] = field(default_factory=list)
    curves: list[ArcCurve] = field(default_factory=list)
    arc_edges: list[int] = field(default_factory=list)
    starts: list[int] = field(default_factory=list)
    stops: list[int] = field(default_factory=list)
    steps: dict[int, int] = field(default_factory=dict)
    station: float = 0.0
    """s at angle 0, mm."""

    @property
    def edges(self) -> list[int]:
        """All edges in order, from angle 0."""
        out = []
        for i, edge in enumerate(self.arc_edges):
            out += [self.steps[i], edge] if i in self.steps else [edge]
        return out


def grazes(rays: EndRays, rho: float) -> list[Graze]:
    """Where a rim has corners or near-corners, whichever surface is active there."""
    out: list[Graze] = []
    for k, s in enumerate(rays.cut.on):
        if isinstance(s, PlaneFace):
            continue
        for side in (1.0, -1.0):
            out_way, distance = s.passing(rays.node, rays.inward, rho, side)
            angle = atan2(float(out_way @ rays.y), float(out_way @ rays.x))
            gap = s.radius - distance
            if abs(gap) < CONCENTRIC:
                out.append(Graze(angle % tau, 0.0, k))
            elif gap > 0 and (width := sqrt(2 * gap / rho)) < SOFT:
                out.append(Graze(angle % tau, width, k))
            elif gap < 0 and (room := rho + gap) > -rho:
                width = acos(room / rho)
                for t in (-1, 1):
                    at = angle + t * width
                    if isinstance(s, TorusPiece):
                        at = _passed(rays, s, rho, at)
                    out.append(Graze(at % tau, width, k, True))
    return out


def _passed(rays: EndRays, bend: TorusPiece, rho: float, near: float) -> float:
    """The angle at which a rim just passes a bend; the guess is that of a straight."""
    spine = Spine(rays.plane, bend)
    at = near
    for _ in range(LAND):
        out, aside = np.array([cos(at), sin(at)]), np.array([-sin(at), cos(at)])
        gap, way = spine.gap(rho * out[None])
        slope = rho * float(way[0] @ aside)
        move = float(gap[0]) / slope if abs(slope) > NO_LENGTH else 0.0
        at -= float(np.clip(move, -0.1, 0.1))
        if abs(move) < LAST_ANGLE:
            break
    return at if abs(at - near) < SHARP else near


def split(
    rays: EndRays, rho: float, at_breaks: Sequence[float], sharp: Sequence[Graze]
) -> RayWork[Rim]:
    """Divide a rim at angle 0, where the surface changes and where it turns sharply.

    Args:
        rays: rays of the end.
        rho: distance from the axis, mm.
        at_breaks: angles where the surface changes, rad.
        sharp: grazes of the rim, at some of which it turns sharply.
    """
    marks = [0.0]

    def mark(angle: float) -> None:
        if all(apart(angle, m) > SAME_ANGLE for m in marks):
            marks.append(angle % tau)

    for angle in at_breaks:
        mark(angle)
    for g in (yield from _active(rays, rho, [g for g in sharp if not g.missing and not g.is_soft])):
        mark(g.angle)
    marks.sort()
    stops = [*marks[1:], tau]
    middle = np.array([0.5 * (a + b) for a, b in zip(marks, stops, strict=True)])
    _, active = yield from rays.asking(middle, rho)
    arcs = []
    for a, b, k in zip(marks, stops, active.tolist(), strict=True):
        plane = yield from _stand_in(rays, rho, k, 0.5 * (a + b))
        ends = (_beyond(sharp, k, a, 1.0), _beyond(sharp, k, b, -1.0))
        soft = (g for g in sharp if g.is_soft and g.surface == k)
        turns = tuple(soft) if len(marks) == 1 and ends == (None, None) else ()
        arcs += _eased(RimArc(a, b, k, plane, ends, turns))
    return Rim(rho, arcs)


def _eased(arc: RimArc) -> list[RimArc]:
    """Divide an arc so that each part has a sharp turn at one end at most, and not a long way."""
    first, last = arc.grazes
    if arc.plane is not None or (first is None and last is None):
        return [replace(arc, grazes=(None, None))]
    width = arc.stop - arc.start
    cuts = [arc.start, arc.stop]
    if width > NEAR + 0.3:
        if first is not None:
            cuts.append(arc.start + NEAR)
        if last is not None and arc.stop - NEAR > max(cuts[:1] + cuts[2:]) + 0.1:
            cuts.append(arc.stop - NEAR)
    if len(cuts) == 2 and first is not None and last is not None:
        cuts.append(0.5 * (arc.start + arc.stop))
    cuts.sort()
    out = [RimArc(a, b, arc.surface) for a, b in pairwise(cuts)]
    out[0] = replace(out[0], grazes=(first, None))
    out[-1] = replace(out[-1], grazes=(out[-1].grazes[0], last))
    return out


def apart(a: float, b: float) -> float:
    """Smallest turn between two angles, rad."""
    return abs((a - b + pi) % tau - pi)


def _active(rays: EndRays, rho: float, sharp: list[Graze]) -> RayWork[list[Graze]]:
    """Those of grazes beside which the rim lies on the surface that they graze."""
    if not sharp:
        return []
    phi = np.array([[g.angle - BESIDE, g.angle + BESIDE] for g in sharp])
    _, active = yield from rays.asking(phi.ravel(), rho)
    here = active.reshape(-1, 2) == np.array([g.surface for g in sharp])[:, None]
    return [g for g, on in zip(sharp, here.any(axis=1).tolist(), strict=True) if on]


def _beyond(sharp: Sequence[Graze], surface: int, end: float, sense: float) -> Beyond:
    """The graze at or just beyond the end of an arc; ``sense`` is +1 at the arc's start."""
    near = []
    for g in sharp:
        d = sense * ((end - g.angle + pi) % tau - pi)
        if g.surface == surface and not g.is_soft and g.width > 0 and -BEYOND < d < SHARP:
            near.append((max(d, 0.0), g))
    if not near:
        return None
    d, g = min(near, key=lambda q: q[0])
    return g, d


def shape(rays: EndRays, rim: Rim) -> RayWork[None]:
    """Find a rim's corners and the curves between them.

    Args:
        rays: rays of the end.
        rim: the rim; its ``corners`` and ``curves`` are filled in.

    Raises:
        Refused: the direct way cannot do it; the kernel makes the part instead.
    """
    at_ends = [_bundle(rays, rim.radius, a, np.array([a.start, a.stop])) for a in rim.arcs]
    tips = yield from _touched(at_ends)
    for arc, tip in zip(rim.arcs, tips, strict=True):
        _settle_tips(rays, rim.radius, arc, tip)
    for i, tip in enumerate(tips):
        before, here = tips[i - 1][1], tip[0]
        if float(np.linalg.norm(here - before)) < 2 * COARSE:
            before = here = 0.5 * (here + before)
        rim.corners.append((before, here))
    rim.station = float(rays.depth(rim.corners[0][1][None])[0])
    works = []
    for i, arc in enumerate(rim.arcs):
        ends = rim.corners[i][1], rim.corners[(i + 1) % len(rim.arcs)][0]
        gap = max(float(np.linalg.norm(v - p)) for v, p in zip(ends, tips[i], strict=True))
        works.append(_arc_curve(rays, rim.radius, arc, max(SAME_POINT, 2 * gap, 4 * rays.shift)))
    rim.curves = yield from together(works)
    deepest = rays.depth(np.concatenate(rim.corners).reshape(-1, 3)).max()
    if float(deepest) > rays.room - SAME_POINT:
        raise Refused("the cope reaches the bend")


def write(record: Record, rim: Rim) -> None:
    """Add a rim's vertices and edges to the record.

    Args:
        record: the tube so far; edges are added to it.
        rim: the rim, shaped.
    """
    for i, (before, here) in enumerate(rim.corners):
        rim.stops.append(record.vertex(before))
        rim.starts.append(rim.stops[-1] if here is before else record.vertex(here))
        if here is not before:
            rim.steps[i] = record.segment(rim.stops[-1], rim.starts[-1])
    # so far each stood before the arc of its number
    rim.stops = rim.stops[1:] + rim.stops[:1]
    for first, last, c in zip(rim.starts, rim.stops, rim.curves, strict=True):
        rim.arc_edges.append(record.edge(Edge(first, last, c.curve, c.t0, c.t1, c.tol)))


def _settle_tips(rays: EndRays, rho: float, arc: RimArc, tips: Array) -> None:
    """Set those ends of an arc, ``(2, 3)``, at which its ray just touches the parent.

    The root that tells the depth is of next to nothing there; the depth of the parent's axis is
    the same, and certain.
    """
    surface = rays.surfaces[arc.surface]
    for i, (angle, beyond) in enumerate(zip((arc.start, arc.stop), arc.grazes, strict=True)):
        if beyond is None or not isinstance(surface, CylinderPiece | TorusPiece):
            continue
        if beyond[0].missing and beyond[1] < ANGLE_ROUNDING:
            spine = Spine(rays.plane, surface)
            spot = rho * np.array([[cos(angle), sin(angle)]])
            depth = rays.depth(spine.points(spine.nearest(spot)))
            tips[i] = rays.plane.points(spot, depth)[0]


def _bundle(rays: EndRays, rho: float, arc: RimArc, phi: Array) -> Bundle:
    """Rays of an arc at angles ``(n,)`` and the surface or plane that it lies on."""
    if arc.plane is None:
        return rays.bundle(phi, rho, arc.surface)
    return Bundle((arc.plane,), rays.origins(phi, rho), rays.inward, ((-inf, inf),))


def _stand_in(rays: EndRays, rho: float, surface: int, angle: float) -> RayWork[PlaneFace | None]:
    """The plane that cuts the tube in the same curve as the surface does, if there is one."""
    s = rays.surfaces[surface]
    if isinstance(s, PlaneFace):
        return s
    if not isinstance(s, CylinderPiece) or abs(rho - s.radius) > CONCENTRIC:
        return None
    foot, along = s.tangent_at(rays.node)
    across = cross3(rays.inward, along)
    if abs(float((rays.node - foot) @ across)) > CONCENTRIC * float(np.linalg.norm(across)):
        return None
    # the axes cross here, which is not the node when that was moved along the branch
    lean = float(rays.inward @ along)
    w = rays.node - foot
    foot = foot + along * float(w @ (along - lean * rays.inward)) / (1 - lean * lean)
    ((at,),) = yield from _touched([rays.bundle(np.array([angle]), rho, surface)])
    normals = [unit(rays.inward - along), unit(rays.inward + along)]
    normal = min(normals, key=lambda n: abs(float((at - foot) @ n)))
    return PlaneFace(owner=s.owner, point=np.asarray(foot), normal=normal)


def _arc_curve(rays: EndRays, rho: float, arc: RimArc, tol: float) -> RayWork[ArcCurve]:
    width = arc.stop - arc.start
    if arc.plane is not None:
        phi = arc.start + width * np.array([0.0, 0.25, 1.0])
        (p,) = yield from _touched([_bundle(rays, rho, arc, phi)])
        ring = conic(
            rays.node, rays.inward, rho, np.asarray(arc.plane.point),
            np.asarray(arc.plane.normal), p[1],
        )  # fmt: skip
        last = p[2] if width < tau - ANGLE_ROUNDING else p[0]
        return ArcCurve(*curve_range(ring, p[0], p[1], last), tol)
    wall = CylinderSurface(rays.node, rays.inward, rays.x, rho)
    beside = wall, face_surface(rays, rays.surfaces[arc.surface])[0]
    search = fitting(FINE, first=_first_nodes(width), least=lambda fit: least_nodes(fit, beside))
    u = next(search)
    try:
        while True:
            points = yield from _touched([rays.bundle(_spread(u, arc), rho, arc.surface)])
            u = search.send(points[0])
    except StopIteration as end:
        fit = end.value
    if fit.off > COARSE:
        raise Refused(f"a rim is only known to {fit.off:.2g} mm")
    knots = arc.start + width * fit.tool.knots
    spline = SplineCurve(DEGREE, fit.poles, knots, fit.tool.multiplicities)
    return ArcCurve(spline, arc.start, arc.stop, max(tol, 4 * fit.off))


def _spread(u: Array, arc: RimArc) -> Array:
    """Angles for parameters in [0, 1], crowded so that the rim is smooth in the parameter.

    Beside a near-corner the rim goes like sqrt(w^2 + x^2), beside a silhouette like
    sqrt(x^2 + 2 w x), with x the angle from there: both are smooth in the area variable of a
    hyperbola.
    """
    width = arc.stop - arc.start
    first, last = arc.grazes
    if arc.turns:
        return _evened(u, arc)
    if first is None and last is None:
        return np.asarray(arc.start + width * u)
    if first is None:
        mirrored = RimArc(0.0, width, arc.surface, grazes=(last, None))
        return np.asarray(arc.stop - _spread(1 - u, mirrored))
    w, d = first[0].width, first[1]
    if first[0].missing:
        low, high = acosh(1 + d / w), acosh(1 + (d + width) / w)
        return np.asarray(arc.start - d + w * (np.cosh(low + u * (high - low)) - 1))
    low, high = asinh(d / w), asinh((d + width) / w)
    return np.asarray(arc.start - d + w * np.sinh(low + u * (high - low)))


def _evened(u: Array, arc: RimArc) -> Array:
    """Angles all round a rim, crowded at its soft turns.

    Beside a turn the rim goes like sqrt(w^2 + x^2) as in :func:`_spread`; the parameter whose
    pace is one over the product of those roots, made periodic, is the one in which it is smooth;
    half of that, their root, leaves more places for where it is even.
    """
    turns = tuple((g.angle - arc.start, g.width) for g in arc.turns)
    return np.asarray(arc.start + _followed(u, *_course(turns)))


@lru_cache(maxsize=64)
def _course(turns: tuple[tuple[float, float], ...]) -> tuple[Array, Array, Array, Array]:
    """Angles round a rim with soft turns against its even parameter.

    Args:
        turns: angle and half width of each turn, rad.

    Returns:
        At ``PACES + 1`` places the parameter, the angle, and its first and second derivative in
        the parameter.
    """
    x = tau * np.arange(PACES + 1) / PACES
    angle, width = np.array(turns).T[:, :, None]
    half = 0.5 * (x - angle)
    square = width**2 + 4 * np.sin(half) ** 2
    pace = np.prod(square, axis=0) ** -0.25
    rise = -0.5 * pace * (np.sin(2 * half) / square).sum(axis=0)
    wave = np.fft.rfft(pace[:-1]) / PACES
    mean, k = float(wave[0].real), np.arange(1, len(wave))
    # the pace's series, summed up term by term
    summed = np.fft.irfft(np.append(0.0, wave[1:] / (1j * k)) * PACES, PACES)
    run = mean * x + np.append(summed, summed[0]) - summed[0]
    one = tau * mean
    return run / one, x, one / pace, -(one**2) * rise / pace**3


def _followed(u: Array, at: Array, x: Array, first: Array, second: Array) -> Array:
    """Values at ``u`` of the quintic from place to place with given derivatives there.

    Args:
        u: where, ``(m,)``.
        at: places, rising, ``(n,)``.
        x: values there.
        first: first derivatives.
        second: second derivatives.
    """
    i = np.clip(np.searchsorted(at, u, side="right") - 1, 0, len(at) - 2)
    h = at[i + 1] - at[i]
    t = (u - at[i]) / h
    v0, v1, a0, a1 = first[i] * h, first[i + 1] * h, second[i] * h * h, second[i + 1] * h * h
    # what is missing at the far end of value, slope and bend after a parabola from the near one
    d, v, a = x[i + 1] - x[i] - v0 - a0 / 2, v1 - v0 - a0, a1 - a0
    tail = 10 * d - 4 * v + a / 2 + t * (-15 * d + 7 * v - a + t * (6 * d - 3 * v + a / 2))
    return np.asarray(x[i] + t * (v0 + t * (a0 / 2 + t * tail)))


def _first_nodes(width: float) -> int:
    """Number of nodes to start with for an arc of a given width (rad)."""
    return 16 if width < 0.8 else 22 if width < 1.6 else 27 if width < 2.4 else 33
