"""The veils of an end face: followed between places of its plan, and written as walls."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from math import cos, sin

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from cagekit.geometry.arrays import Array, Ints, Points2
from cagekit.geometry.contact import PlaneFace, first_contact
from cagekit.solids.brep import Edge, Face, Loop, PlaneSurface, RuledSurface, SplineCurve
from cagekit.solids.creases import Crease, Refused, distance, joint, meeting, root_near
from cagekit.solids.plan import AT_CORNER, CLOSE, LEVEL, REACH, Border, MapCorner, Plan
from cagekit.solids.ridges import next_pieces, write_ridge
from cagekit.solids.rims import FINE, face_surface
from cagekit.solids.spline import DEGREE, fitted
from cagekit.solids.veils import Divide, Silhouette, Veil
from cagekit.units.tolerance import MICRON, SAME_ANGLE, SAME_POINT

STEP = 0.4
"""Largest step along a veil, mm."""
HALVINGS = 36
"""How often the last step before a corner is halved."""
HEADROOM = 30.0
"""How far the surface of a veil goes on above its crest and below its foot, mm."""
OUTSIDE, COVERED, MISSED, PAST = -2, -3, -4, -5
"""What ends a veil: a rim, something in front of it, nothing behind it, the end of its piece."""


class VeilWall(Struct, frozen=True, eq=False):
    """A veil between two places: edges and vertices of its crest and its foot."""

    first: MapCorner
    last: MapCorner
    crest: tuple[tuple[int, ...], tuple[int, int]]
    foot: tuple[tuple[int, ...], tuple[int, int]]
    surface: PlaneSurface | RuledSurface
    turned: bool
    """Whether the loop over the foot and back along the crest runs against its normal."""
    same_sense: bool


def is_wall(plan: Plan, border: Border) -> bool:
    """Tell whether a border is a veil, or a silhouette beside which the cope goes on.

    Args:
        plan: of the end face.
        border: one of its borders.
    """
    if border.is_veil:
        return True
    pair = border.left, border.right
    return any(a < plan.count and plan.rays.closures[a] == b for a, b in (pair, pair[::-1]))


def follow_veil(plan: Plan, place: MapCorner, border: Border) -> VeilWall | None:
    """Follow a veil from a place to where it ends, and write its crest and its foot.

    Args:
        plan: of the end face; the border and where it ends are added to it.
        place: where it sets out.
        border: what is known of it there.

    Returns:
        The wall that stands on it, none where the cope just goes on beside a parent.

    Raises:
        Refused: it gets lost.
    """
    veil = _veil(plan, place, border)
    start = veil.parameter(place.spot)
    ahead = veil.spots(np.array([start + MICRON / veil.pace(start)]))[0] - place.spot
    way = np.array([cos(border.bearing), sin(border.bearing)])
    sense = 1.0 if float(ahead @ way) > 0 else -1.0
    unit_ = sense / veil.pace(start)
    limit = veil.ends[1] if sense > 0 else veil.ends[0]
    size = float(np.hypot(*(border.near - place.spot)))
    outer = plan.rays.radii[0]
    steps = np.concatenate([[size], np.arange(1, int(2.2 * outer / STEP)) * STEP + size])
    t = start + unit_ * steps
    past = (t - limit) * sense > 0
    state = _state(plan, veil, border)
    kinds = state(t)
    kinds = np.where(past, PAST, kinds)
    behind = border.low if border.is_veil else MISSED
    other = np.nonzero(kinds != behind)[0]
    if not len(other):
        raise Refused("a veil does not end")
    k = int(other[0])
    if k == 0:
        raise Refused("a veil ends where it begins")
    good, bad = float(t[k - 1]), float(t[k])
    for _ in range(HALVINGS):
        middle = 0.5 * (good + bad)
        beyond = (middle - limit) * sense > 0
        if not beyond and int(state(np.array([middle]))[0]) == behind:
            good = middle
        else:
            bad = middle
    what = PAST if (bad - limit) * sense > 0 else int(state(np.array([bad]))[0])
    end = _veil_end(plan, veil, border, good, bad, what, limit)
    inner_t = np.array([x for x in t[:k].tolist() if (end - x) * sense > SAME_ANGLE])
    run = np.concatenate([[start], inner_t, [end]])
    return _write_veil(plan, place, border, veil, run, what)


def _veil(plan: Plan, place: MapCorner, border: Border) -> Veil:
    high, low = border.high, border.low
    if not border.is_veil:
        high = min(high, low)
    if high < plan.count:
        return plan.near_veil(place.spot, {high})
    return plan.divide(high, low, place.spot)


def _state(plan: Plan, veil: Veil, border: Border) -> Callable[[Array], Ints]:
    """What lies behind a veil at parameters ``(n,)``: a surface, or what ends it."""

    def behind(t: Array) -> Ints:
        spots = veil.spots(t)
        inside = plan.inside(spots)
        out = np.full(len(t), OUTSIDE)
        if not inside.any():
            return out
        if isinstance(veil, Divide):
            active = plan.contact(spots[inside])[1]
            pair = (active == border.high) | (active == border.low)
            out[inside] = np.where(pair, border.low, active)
            return out
        s, kind = _others(plan, border.high, spots[inside])
        top = plan.rays.depth(veil.crest(t[inside]))
        out[inside] = np.where((kind >= 0) & (s > top), COVERED, kind)
        return out

    return behind


def _others(plan: Plan, k: int, spots: Points2) -> tuple[Array, Ints]:
    """Depths and surfaces that rays end on if the parent of surface ``k`` is away."""
    owner = plan.rays.surfaces[k].owner
    others = [n for n in range(plan.count) if plan.rays.surfaces[n].owner != owner]
    if not others:
        return np.zeros(len(spots)), np.full(len(spots), MISSED)
    c = first_contact(
        [plan.cut.surfaces[n] for n in others],
        plan.chart.points(spots, np.zeros(len(spots))),
        plan.rays.inward,
        [plan.cut.windows[n] for n in others],
    )
    return c.s, np.where(c.ok, np.asarray(others)[c.active], MISSED)


def _veil_end(
    plan: Plan, veil: Veil, border: Border, good: float, bad: float, what: int, limit: float
) -> float:
    """The exact parameter at which a veil ends or changes, between ``good`` and ``bad``."""
    if what == PAST:
        return limit
    if what == OUTSIDE:
        return _rim_crossing(plan, veil, good, bad)
    span = CLOSE / veil.pace(good)
    spot = veil.spots(np.array([good]))[0]
    if isinstance(veil, Divide):
        return _divide_end(plan, veil, border, good, what, span)
    after = veil.spots(np.array([bad]))
    if what == COVERED:
        s, found = _others(plan, border.high, after)
        cover = int(found[0])
        top = float(plan.rays.depth(veil.crest(np.array([bad])))[0])
        if float(s[0]) - top > LEVEL:
            return _through(plan, veil, plan.near_veil(spot, {cover}), good, span)
        low = plan.rays.surfaces[cover]
        return root_near(
            lambda t: float(distance(low, veil.crest(np.array([t])))[0][0]), good, span
        )
    if not border.is_veil:
        return _through(plan, veil, plan.near_veil(spot, {what}), good, span)
    if what == MISSED:
        return _through(plan, veil, plan.near_veil(spot, {border.low}), good, span)
    before = plan.depth(spot, border.low)
    beyond = plan.depth(after[0], what)
    if abs(before - beyond) > LEVEL:
        front = border.low if before > beyond else what
        return _through(plan, veil, plan.near_veil(spot, {front}), good, span)
    a, b = plan.rays.surfaces[border.low], plan.rays.surfaces[what]
    if a.owner == b.owner and what in next_pieces(plan.rays, border.low):
        limit_ = joint(a, b)
        near = plan.point_on(spot, border.low)
        third = meeting((a, limit_, veil), near, within=REACH)
    else:
        third = meeting((a, b, veil), plan.point_on(spot, border.low), within=REACH)
    return veil.parameter(plan.chart.flat(third[None])[0])


def _divide_end(
    plan: Plan, veil: Divide, border: Border, good: float, what: int, span: float
) -> float:
    if what >= plan.count:
        k = plan.parent(what)
        spine = None if k is None else plan.spines[k]
        if spine is None:
            raise Refused("three parents pass the tube at one place")

        def off(t: float) -> float:
            q = veil.spots(np.array([t]))
            return float(veil.first.gap(q)[0][0] - spine.gap(q)[0][0])

        return root_near(off, good, span)
    return root_near(lambda t: float(veil.first.gap(veil.spots(np.array([t])))[0][0]), good, span)


def _through(plan: Plan, veil: Silhouette, other: Silhouette, good: float, span: float) -> float:
    """Where one veil meets another."""
    return root_near(lambda t: float(other.spine.gap(veil.spots(np.array([t])))[0][0]), good, span)


def _rim_crossing(plan: Plan, veil: Veil, good: float, bad: float) -> float:
    rho = float(np.hypot(*veil.spots(np.array([bad]))[0]))
    radius = min(plan.rays.radii, key=lambda r: abs(r - rho))
    return root_near(
        lambda t: float(np.hypot(*veil.spots(np.array([t]))[0])) - radius, good,
        AT_CORNER / veil.pace(good),
    )  # fmt: skip


def _write_veil(
    plan: Plan, place: MapCorner, border: Border, veil: Veil, run: Array, what: int
) -> VeilWall | None:
    spots = veil.spots(run)
    last = plan.rim_place(spots[-1], border) if what == OUTSIDE else plan.place(spots[-1])
    spots[0], spots[-1] = place.spot, last.spot
    high, low = border.high, border.low
    tops = plan.level(place, high), plan.level(last, high)
    if not border.is_veil:
        ridge = _crest(plan, veil, run, spots, tops, high)
        side = ridge, *tops
        plan.note(place, last, border, spots, (side, side))
        return None
    feet = plan.level(place, low), plan.level(last, low)
    surface = _wall(plan, veil, run, spots)
    ridge = _crest(plan, veil, run, spots, tops, high)
    sole = _foot(plan, veil, spots, feet, low)
    along = plan.chart.lifted((spots[-1] - spots[0])[None])[0]
    turned = float(np.cross(along, plan.rays.inward) @ _left(plan, spots)) < 0
    sides = {high: (ridge, *tops), low: (sole, *feet)}
    plan.note(place, last, border, spots, (sides[border.left], sides[border.right]))
    return VeilWall(place, last, (ridge, tops), (sole, feet), surface, turned, border.left == high)


def _wall(plan: Plan, veil: Veil, run: Array, spots: Points2) -> PlaneSurface | RuledSurface:
    """The surface of a veil; its normal points to the left of the way along it."""
    along = plan.chart.lifted((spots[-1] - spots[0])[None])[0]
    left = _left(plan, spots)
    if veil.is_flat:
        origin = plan.chart.points(spots[:1], np.zeros(1))[0]
        return PlaneSurface(origin, left, plan.rays.inward)
    fit = fitted(lambda u: plan.chart.points(_along(veil, run, u), np.zeros(len(u))), FINE)
    flat = SplineCurve(DEGREE, fit.poles, fit.tool.knots, fit.tool.multiplicities)
    depths = _depths(plan, spots)
    room = float(np.ptp(depths)) + HEADROOM
    way = room if float(np.cross(along, plan.rays.inward) @ left) > 0 else -room
    low, high = (
        replace(flat, poles=flat.poles + (float(depths.mean()) + s) * plan.rays.inward)
        for s in (-way, way)
    )
    return RuledSurface(low, high)


def _left(plan: Plan, spots: Points2) -> Array:
    """Unit vector to the left of the way from the first of some spots to the last."""
    along = spots[-1] - spots[0]
    left = plan.chart.lifted(np.array([[-along[1], along[0]]]))[0]
    return np.asarray(left / float(np.sqrt(left @ left)))


def _depths(plan: Plan, spots: Points2) -> Array:
    """Depths of all vertices at the two ends of a border."""
    return np.array(
        [
            s for p in plan.places for s, _ in p.levels
            if min(float(np.hypot(*(p.spot - q))) for q in spots[[0, -1]]) < MICRON
        ]
    )  # fmt: skip


def _crest(
    plan: Plan, veil: Veil, run: Array, spots: Points2, ends: tuple[int, int], high: int
) -> tuple[int, ...]:
    if veil.is_flat:
        return (plan.record.segment(*ends),)
    if isinstance(veil, Divide):
        return _foot(plan, veil, spots, ends, high)
    silhouette = veil
    fit = fitted(lambda u: silhouette.crest(run[0] + u * (run[-1] - run[0])), FINE)
    tips = np.array([plan.record.vertices[v] for v in ends])
    off = float(np.linalg.norm(fit.poles[[0, -1]] - tips, axis=1).max())
    if max(off, fit.off) > MICRON:
        raise Refused(f"a silhouette misses its corner by {off:.2g} mm")
    spline = SplineCurve(DEGREE, fit.poles, fit.tool.knots, fit.tool.multiplicities)
    tol = max(SAME_POINT, 2 * off, 4 * fit.off)
    return (plan.record.edge(Edge(*ends, spline, 0.0, 1.0, tol)),)


def _foot(
    plan: Plan, veil: Veil, spots: Points2, ends: tuple[int, int], low: int
) -> tuple[int, ...]:
    surface = plan.rays.surfaces[low]
    if isinstance(surface, PlaneFace) and veil.is_flat:
        return (plan.record.segment(*ends),)
    phi, rho = np.arctan2(spots[:, 1], spots[:, 0]), np.hypot(spots[:, 0], spots[:, 1])
    line = plan.rays.points(phi, rho, low)
    line[0], line[-1] = (plan.record.vertices[v] for v in ends)
    plane = PlaneFace(
        owner="", point=plan.chart.points(spots[:1], np.zeros(1))[0], normal=_left(plan, spots)
    )
    curve = Crease(surface, plane if veil.is_flat else veil)
    beside = (face_surface(plan.rays, surface)[0],)
    if len(line) < 3:
        middle = 0.5 * (spots[0] + spots[-1])
        line = np.array([line[0], plan.point_on(middle, low), line[-1]])
    return write_ridge(plan.record, curve, beside, line, ends)


def wall_faces(plan: Plan, walls: Sequence[VeilWall]) -> list[Face]:
    """The faces of all veils, once every border is drawn: foot, crest, posts at both ends.

    Args:
        plan: of the end face.
        walls: the veils.
    """
    out = []
    for w in walls:
        ahead = [(e, True) for e in w.foot[0]]
        back = [(e, False) for e in reversed(w.crest[0])]
        rise = _post(plan, w.last, w.foot[1][1], w.crest[1][1])
        fall = _post(plan, w.first, w.crest[1][0], w.foot[1][0])
        loop: Loop = (*ahead, *rise, *back, *fall)
        if w.turned:
            loop = tuple((e, not forward) for e, forward in reversed(loop))
        out.append(Face(w.surface, w.same_sense, (loop,)))
    return out


def _post(plan: Plan, place: MapCorner, start: int, stop: int) -> list[tuple[int, bool]]:
    """Edges along the tube from one vertex of a place to another."""
    order = [v for _, v in sorted(place.levels)]
    i, j = order.index(start), order.index(stop)
    path = order[i : j + 1] if i <= j else order[j : i + 1][::-1]
    out = []
    for v, w in pairwise(path):
        if (v, w) in plan.posts:
            out.append((plan.posts[v, w], True))
        elif (w, v) in plan.posts:
            out.append((plan.posts[w, v], False))
        else:
            plan.posts[v, w] = plan.record.segment(v, w)
            out.append((plan.posts[v, w], True))
    return out


def _along(veil: Veil, run: Array, u: Array) -> Points2:
    """Places of a veil at shares ``(n,)`` of the way from end to end."""
    return veil.spots(run[0] + u * (run[-1] - run[0]))
