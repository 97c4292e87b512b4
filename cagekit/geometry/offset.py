"""Outlines moved outward or inward with true arcs, for the kerf of a torch or a laser."""

from __future__ import annotations

from math import atan2, hypot, pi, sqrt, tan

import numpy as np

from cagekit.errors import GeometryError
from cagekit.geometry.outline import Outline
from cagekit.geometry.segment import Segment, Vec2, vec2
from cagekit.units.tolerance import (
    ANGLE_ROUNDING,
    KERNEL_POINT,
    NOISE,
    ROUNDING,
    SAME_POINT,
    TENTH_MICRON,
)


def _cross(a: Vec2, b: Vec2) -> float:
    return float(a[0] * b[1] - a[1] * b[0])


def offset_outline(outline: Outline, distance: float, owner: str) -> Outline:
    """Offset a closed outline; see `Outline.offset`.

    Args:
        outline: closed outline.
        distance: mm, positive outward.
        owner: name of the part in messages.

    Raises:
        GeometryError: the distance eats an arc or a side; names the part.
    """
    # to the right of the direction of travel is outside on an anticlockwise outline
    d = distance if outline.area >= 0 else -distance
    moved = [_moved(s, d, owner) for s in outline.segments]
    n = len(moved)
    source = outline.segments
    starts: list[Vec2] = [s.start for s in moved]
    ends: list[Vec2] = [s.end for s in moved]
    joints: list[Segment | None] = [None] * n
    for i in range(n):
        j = (i + 1) % n
        turn = _cross(source[i].tangent(1.0), source[j].tangent(0.0))
        if hypot(*(ends[i] - starts[j])) < KERNEL_POINT or abs(turn) < ANGLE_ROUNDING:
            continue
        if turn * d > 0:
            sweep = atan2(turn, float(source[i].tangent(1.0) @ source[j].tangent(0.0)))
            joints[i] = Segment(ends[i], starts[j], tan(sweep / 4))
        else:
            meet = _meeting(moved[i], moved[j], source[i].end, owner)
            ends[i] = starts[j] = meet
    out: list[Segment] = []
    for i, s in enumerate(moved):
        out.append(_retrimmed(s, starts[i], ends[i], owner))
        if joints[i] is not None:
            out.append(joints[i])  # type: ignore[arg-type]
    result = Outline.of_segments(out)
    gap = outline.distance(result.sampled(1.0))
    if float(np.min(gap)) < abs(distance) - TENTH_MICRON or result.area * outline.area <= 0:
        raise GeometryError(
            owner,
            f"a notch or hole is too narrow to be followed {abs(distance):.2f} mm off its edge "
            f"({float(np.min(gap)):.2f} mm at the tightest).",
            "Widen it or cut with a narrower kerf.",
        )
    return result


def _moved(s: Segment, d: float, owner: str) -> Segment:
    """The piece shifted ``d`` to the right of its travel."""
    t0, t1 = s.tangent(0.0), s.tangent(1.0)
    a = s.start + d * np.array([t0[1], -t0[0]])
    b = s.end + d * np.array([t1[1], -t1[0]])
    if s.is_arc:
        radius = s.radius + (d if s.bulge > 0 else -d)
        if radius <= SAME_POINT:
            raise GeometryError(
                owner,
                f"an arc of radius {s.radius:.2f} mm vanishes when offset by {abs(d):.2f} mm.",
                "Use a larger radius or a narrower kerf.",
            )
    return Segment(vec2(a), vec2(b), s.bulge)


def _meeting(a: Segment, b: Segment, near: Vec2, owner: str) -> Vec2:
    """The point nearest to ``near`` where the carriers of two pieces meet."""
    found = [p for p in _carrier_meetings(a, b) if np.isfinite(p).all()]
    if not found:
        raise GeometryError(
            owner, "two edges no longer meet after the offset.", "Use a narrower kerf."
        )
    return vec2(min(found, key=lambda p: float(hypot(*(p - near)))))


def _carrier_meetings(a: Segment, b: Segment) -> list[Vec2]:
    if not a.is_arc and not b.is_arc:
        da, db = a.end - a.start, b.end - b.start
        den = _cross(da, db)
        return [] if abs(den) < NOISE else [a.start + da * (_cross(b.start - a.start, db) / den)]
    if a.is_arc and b.is_arc:
        w = b.centre - a.centre
        gap = hypot(*w)
        x = (gap**2 + a.radius**2 - b.radius**2) / (2 * gap)
        h2 = a.radius**2 - x**2
        if h2 < 0:
            return []
        u = w / gap
        side = np.array([-u[1], u[0]]) * sqrt(h2)
        return [a.centre + x * u + side, a.centre + x * u - side]
    line, arc = (b, a) if a.is_arc else (a, b)
    u = (line.end - line.start) / line.chord
    foot = line.start + ((arc.centre - line.start) @ u) * u
    h2 = arc.radius**2 - float((foot - arc.centre) @ (foot - arc.centre))
    if h2 < 0:
        return []
    return [foot + sqrt(h2) * u, foot - sqrt(h2) * u]


def _retrimmed(s: Segment, start: Vec2, end: Vec2, owner: str) -> Segment:
    """The piece with new ends on its own carrier."""
    if not s.is_arc:
        if float((end - start) @ (s.end - s.start)) < -ROUNDING:
            raise GeometryError(owner, "an edge vanishes in the offset.", "Use a narrower kerf.")
        return Segment(start, end)
    c = s.centre
    a0 = atan2(start[1] - c[1], start[0] - c[0])
    a1 = atan2(end[1] - c[1], end[0] - c[0])
    sweep = (a1 - a0) % (2 * pi)
    if s.bulge < 0:
        sweep -= 2 * pi
    if abs(sweep) > abs(s.sweep) + pi:
        raise GeometryError(owner, "an arc vanishes in the offset.", "Use a narrower kerf.")
    return Segment(start, end, tan(sweep / 4))
