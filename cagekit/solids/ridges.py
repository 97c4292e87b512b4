"""The ridges of an end face: followed from one place of its plan to the next, and written.

A ridge is where an end face passes from one parent to another that it meets there.
"""

from __future__ import annotations

import numpy as np

from cagekit.geometry.arrays import Array
from cagekit.geometry.contact import PlaneFace
from cagekit.solids.brep import (
    CylinderSurface,
    Edge,
    PlaneSurface,
    Record,
    RuledSurface,
    SplineCurve,
    TorusSurface,
)
from cagekit.solids.creases import (
    Crease,
    Refused,
    creases,
    crossing_points,
    curve_range,
    distance,
    joint,
    meeting,
    root_near,
)
from cagekit.solids.plan import CLOSE, LEVEL, REACH, RING, Border, MapCorner, Plan
from cagekit.solids.readable import least_nodes
from cagekit.solids.rims import COARSE, FINE, EndRays, face_surface
from cagekit.solids.spline import DEGREE, fitted
from cagekit.solids.veils import Silhouette
from cagekit.units.tolerance import FLAT_POINT, MICRON, SAME_POINT, TENTH_MICRON

STEP = 0.4
"""Largest step along a ridge, mm."""
HALVINGS = 36
"""How often the last step before a corner is halved."""
OVER = 2 * SAME_POINT
"""By how much (mm) a ray must end before a ridge for something to cover it."""
TURN = 0.6
"""Cosine of the turn from its chord at which a ridge is split."""

Beside = tuple[PlaneSurface | CylinderSurface | TorusSurface | RuledSurface, ...]


def follow_ridge(plan: Plan, place: MapCorner, border: Border) -> None:
    """Follow a ridge from a place to where it ends, and write it.

    Args:
        plan: of the end face; the ridge and where it ends are added to it.
        place: where it sets out.
        border: what is known of it there.

    Raises:
        Refused: it gets lost.
    """
    curve, track = _set_out(plan, place, border)
    pair = frozenset((border.left, border.right))
    crossings = _crossings(plan, pair)
    step = 4 * RING
    while len(track) < 900:
        here = track[-1]
        heading = here - track[-2]
        heading = heading / float(np.sqrt(heading @ heading))
        for spot in crossings:
            ahead = spot - here
            far = float(np.sqrt(ahead @ ahead))
            if TENTH_MICRON < far < 1.5 * step and float(ahead @ heading) > 0.8 * far:
                _end_ridge(plan, place, border, curve, track, spot)
                return
        there = curve.settle((here + step * heading)[None])[0]
        moved = there - here
        size = float(np.sqrt(moved @ moved))
        if not 0.5 * step < size < 2 * step or float(moved @ heading) < 0.7 * size:
            step /= 2
            if step < TENTH_MICRON:
                raise Refused("a ridge jumps")
            continue
        if _stopped(plan, there, pair) is not None:
            good, bad = _halved(plan, curve, here, there, pair)
            if float(np.linalg.norm(good - track[-1])) > FLAT_POINT:
                track.append(good)
            _end_ridge(plan, place, border, curve, track, _met(plan, curve, pair, good, bad))
            return
        track.append(there)
        step = min(1.6 * step, STEP)
    raise Refused("a ridge does not end")


def _set_out(plan: Plan, place: MapCorner, border: Border) -> tuple[Crease, list[Array]]:
    """The curve of a ridge, and its first two points."""
    start = plan.record.vertices[plan.level(place, border.left)]
    there = plan.chart.points(border.near[None], np.array(border.depths[:1]))
    left, right = (plan.rays.surfaces[k] for k in (border.left, border.right))
    best = None
    for curve in creases(left, right, start):
        point = curve.settle(there)[0]
        off = float(np.linalg.norm(point - there[0]))
        if best is None or off < best[0]:
            best = off, curve, point
    assert best is not None
    if best[0] > RING:
        raise Refused("a ridge does not set out from its corner")
    return best[1], [start, best[2]]


def _crossings(plan: Plan, pair: frozenset[int]) -> list[Array]:
    i, j = sorted(pair)
    spots = crossing_points(plan.rays.surfaces[i], plan.rays.surfaces[j], plan.rays.node)
    return [
        s for s in spots
        if plan.inside(plan.chart.flat(s[None]))[0]
        and float(plan.contact(plan.chart.flat(s[None]))[0][0] - plan.rays.depth(s[None])[0])
        < MICRON
    ]  # fmt: skip


def _stopped(plan: Plan, point: Array, pair: frozenset[int]) -> int | None:
    """What ends a ridge before a point of it: a surface's index, -1 for the wall's end."""
    spot = plan.chart.flat(point[None])
    if not plan.inside(spot)[0]:
        return -1
    for k in pair:
        for n in next_pieces(plan.rays, k):
            if n in pair:
                continue
            plane = joint(plan.rays.surfaces[k], plan.rays.surfaces[n])
            ahead = float((point - plane.point) @ plane.normal)
            if (ahead > 0) == (plan.rays.surfaces[n].piece > plan.rays.surfaces[k].piece):
                return n
    s, active = plan.contact(spot)
    if float(s[0] - plan.rays.depth(point[None])[0]) > OVER:
        return int(active[0])
    beside = min(pair) >= plan.count and int(active[0]) not in pair
    return int(active[0]) if beside else None


def _halved(
    plan: Plan, curve: Crease, good: Array, bad: Array, pair: frozenset[int]
) -> tuple[Array, Array]:
    """Close in on where a ridge ends: the last point of it and the first beyond."""
    for _ in range(HALVINGS):
        middle = curve.settle(0.5 * (good + bad)[None])[0]
        if _stopped(plan, middle, pair) is None:
            good = middle
        else:
            bad = middle
    return good, bad


def _met(plan: Plan, curve: Crease, pair: frozenset[int], good: Array, bad: Array) -> Array:
    """The exact end of a ridge, ``(3,)``, near its last point ``good``."""
    third = _stopped(plan, bad, pair)
    i, j = sorted(pair)
    first, second = curve.first, curve.second
    if third is None or third < 0:
        return good
    spot = plan.chart.flat(good[None])
    if third in pair:
        other = plan.rays.surfaces[i if third == j else j]
        veil = plan.near_veil(spot[0], {third})
        return _on_crest(plan, veil, spot[0], other)
    beside = [k for k in pair if third in next_pieces(plan.rays, k)]
    if beside:
        limit = joint(plan.rays.surfaces[beside[0]], plan.rays.surfaces[third])
        return meeting((first, second, limit), good, within=REACH)
    s, _ = plan.contact(plan.chart.flat(bad[None]))
    if float(s[0] - plan.rays.depth(bad[None])[0]) < LEVEL:
        return meeting((first, second, plan.rays.surfaces[third]), good, within=REACH)
    if third >= plan.count:
        divide = plan.divide(i, third, spot[0])
        return meeting((first, second, divide), good, within=REACH)
    return meeting((first, second, plan.near_veil(spot[0], {third})), good, within=REACH)


def _on_crest(plan: Plan, veil: Silhouette, spot: Array, other: object) -> Array:
    """Where the crest of a veil runs through another surface, ``(3,)``."""

    def off(t: float) -> float:
        return float(distance(other, veil.crest(np.array([t])))[0][0])  # type: ignore[arg-type]

    t = root_near(off, veil.parameter(spot), CLOSE / veil.pace(veil.parameter(spot)))
    return np.asarray(veil.crest(np.array([t]))[0])


def _end_ridge(
    plan: Plan, place: MapCorner, border: Border, curve: Crease, track: list[Array], end: Array
) -> None:
    spot = plan.chart.flat(end[None])[0]
    if not plan.inside(plan.chart.flat(track[-1][None]))[0] or _at_rim(plan, spot):
        last = plan.rim_place(spot, border)
    else:
        last = plan.place(spot)
    v, w = plan.level(place, border.left), plan.level(last, border.left)
    if float(np.linalg.norm(track[-1] - plan.record.vertices[w])) < TENTH_MICRON:
        track = track[:-1]
    line = np.array([*track, plan.record.vertices[w]])
    beside = _beside(plan, border)
    edges = write_ridge(plan.record, curve, beside, line, (v, w))
    side = edges, v, w
    plan.note(place, last, border, plan.chart.flat(line), (side, side))


def _at_rim(plan: Plan, spot: Array) -> bool:
    rho = float(np.hypot(*spot))
    return min(abs(rho - r) for r in plan.rays.radii) < SAME_POINT


def _beside(plan: Plan, border: Border) -> Beside:
    pair = sorted((border.left, border.right))
    return tuple(face_surface(plan.rays, plan.rays.surfaces[k])[0] for k in pair)


def next_pieces(rays: EndRays, k: int) -> list[int]:
    """Indices of the pieces that come before and after a piece along the same parent.

    Args:
        rays: rays of the end.
        k: index of the piece's surface.
    """
    here = rays.surfaces[k]
    if k >= rays.cut.count or isinstance(here, PlaneFace):
        return []
    return [
        n for n, q in enumerate(rays.surfaces[: rays.cut.count])
        if not isinstance(q, PlaneFace) and q.owner == here.owner and abs(q.piece - here.piece) == 1
    ]  # fmt: skip


def write_ridge(
    record: Record, curve: Crease, beside: Beside, track: Array, ends: tuple[int, int]
) -> tuple[int, ...]:
    """Add a ridge to the record, in one edge or, where it turns too far, in several.

    Args:
        record: the tube so far; edges are added to it.
        curve: what the ridge is a piece of.
        beside: surfaces of the faces on both sides.
        track: points along it, from end to end, ``(n, 3)``.
        ends: first and last vertex.

    Returns:
        The edges in order.

    Raises:
        Refused: it cannot be followed.
    """
    first, last = ends
    chord = track[-1] - track[0]
    size = float(np.linalg.norm(chord))
    if size < FLAT_POINT:
        raise Refused("a ridge has no length")
    middle = track[len(track) // 2]
    exact = curve.exact(middle)
    if exact is not None:
        line, t0, t1 = curve_range(exact, track[0], middle, track[-1])
        off = np.linalg.norm(line.at(np.array([t0, t1])) - track[[0, -1]], axis=1).max()
        if float(off) > COARSE:
            raise Refused(f"a ridge misses its corner by {off:.2g} mm")
        return (record.edge(Edge(first, last, line, t0, t1, max(SAME_POINT, 2 * float(off)))),)
    steps = np.diff(track, axis=0)
    steps = steps / np.linalg.norm(steps, axis=1)[:, None]
    if (steps @ chord / size).min() < TURN and len(track) > 4:
        half = len(track) // 2
        v = record.vertex(track[half])
        one = write_ridge(record, curve, beside, track[: half + 1], (first, v))
        return one + write_ridge(record, curve, beside, track[half:], (v, last))
    return (record.edge(_spline(curve, beside, track, ends)),)


def _spline(curve: Crease, beside: Beside, track: Array, ends: tuple[int, int]) -> Edge:
    chord = track[-1] - track[0]
    size = float(np.linalg.norm(chord))
    along = chord / size
    run = (track - track[0]) @ along
    # where the curve crosses itself no search settles: the crossing itself is known
    crossed = [(u, p) for u, p in ((0.0, track[0]), (1.0, track[-1])) if curve.crosses_at(p)]

    def sample(u: Array) -> Array:
        station = size * u
        guess = np.stack([np.interp(station, run, track[:, k]) for k in range(3)], axis=1)
        out = curve.settle_at(guess, along, station + float(track[0] @ along))
        for end, point in crossed:
            out[u == end] = point
        return out

    fit = fitted(sample, FINE, most=121, least=lambda fit: least_nodes(fit, beside))
    last_node = len(fit.tool.nodes) - 1
    tips = np.linalg.norm(fit.samples[[0, last_node]] - track[[0, -1]], axis=1).max()
    off = max(fit.off, float(tips) / 2)
    spline = SplineCurve(DEGREE, fit.poles, fit.tool.knots, fit.tool.multiplicities)
    if off > COARSE:
        raise Refused(f"a ridge is only known to {off:.2g} mm")
    return Edge(*ends, spline, 0.0, 1.0, max(SAME_POINT, 4 * off))
