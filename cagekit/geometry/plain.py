"""Ends whose cut plain numbers tell to be good, so that nobody need look all round them.

Good is a cut on which every ray of the scan sits, which rises by no more than ``STEEP`` outside
radii between two of its angles, and which ends within the straight that it is cut into. What is
told here is a bound, never a sample; an end of which it is not told may be good all the same.
Frame: car axes, mm, rad.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import asin, atan2, cos, hypot, inf, pi, sin, sqrt
from typing import NamedTuple

from cagekit.geometry.arrays import dot3
from cagekit.geometry.contact import (
    RANGE_TOL,
    TOUCH,
    ContactSurface,
    CylinderPiece,
    PlaneFace,
    TorusPiece,
)
from cagekit.geometry.end_cut import STEEP
from cagekit.geometry.landing import MIN_ANGLE, Branch, Landing, TubeSurface
from cagekit.geometry.scan import GRID
from cagekit.units.tolerance import ROUNDING

_STEP = 2 * pi / GRID
"""No two angles of a scan lie farther apart, rad."""


def plainly_good(
    branch: Branch, landings: Sequence[Landing], surfaces: Sequence[ContactSurface], room: float
) -> bool:
    """Whether nothing can be wrong with a cut, told without looking all round it.

    Args:
        branch: the end.
        landings: how it lands on its parents, one of each.
        surfaces: all that it may touch.
        room: length of the straight that it is cut into, mm.
    """
    first = surfaces[0]
    if not landings:
        deep = _on_plane(branch, first) if isinstance(first, PlaneFace) else inf
    elif len(surfaces) == 1 and isinstance(first, CylinderPiece):
        deep = _on_straight(branch, landings[0], first)
    elif isinstance(surfaces[-1], PlaneFace):
        deep = inf
    else:
        deep = _round_node(branch, landings)
    return deep + branch.radius < room


def _on_plane(branch: Branch, on: PlaneFace) -> float:
    """No s on a plane comes to this depth, mm; infinite where the cut may be wrong."""
    sine = abs(float(on.normal @ branch.out))
    if sine < sin(MIN_ANGLE):
        return inf
    node = abs(float((on.point - branch.point) @ on.normal))
    return _depth(branch.radius, sine, node, 0.0, 0.0)


def _on_straight(branch: Branch, landing: Landing, on: CylinderPiece) -> float:
    """The same of one straight at least as wide as the tube with its offset.

    There s is ``rho cos(phi) cot(angle)`` and, over the sine of the angle, the root of
    ``radius^2 - (offset + rho sin(phi))^2``, which rises by ``sqrt(rho radius)`` a radian at most.
    """
    rho = branch.radius
    if landing.offset + rho > on.radius + TOUCH / 2:
        return inf
    sine = sin(landing.angle)
    deep = _depth(rho, sine, landing.node_gap, on.radius, sqrt(rho * on.radius))
    spot = float((branch.point - on.start) @ on.axis)
    reach = deep * sqrt(max(1.0 - sine * sine, 0.0)) + rho
    least, most = landing.window
    on_it = on.low <= spot - reach and spot + reach <= on.high
    return deep if on_it and least <= -deep and deep <= most else inf


def _depth(rho: float, sine: float, node: float, round_: float, rise: float) -> float:
    slope = sqrt(max(1.0 - sine * sine, 0.0))
    if (rho * slope + rise) * _STEP > STEEP * rho * sine:
        return inf
    return (node + rho * slope + round_) / sine


def _round_node(branch: Branch, landings: Sequence[Landing]) -> float:
    """The same of tubes whose axes pass by the end's point, the first through it.

    A tube is the union of balls along its axis ``c(t)``, t = 0 near the point. Let ``w`` be where
    a ray passes square to the branch, ``|w| = rho``, ``g(t)`` the axis seen along the branch and
    ``h(t)`` how far back it lies: the ray leaves the ball at t at ``h + sqrt(B)`` with
    ``B = radius^2 - |g - w|^2``. So s is the largest of these over all tubes and all t. Of the
    first, not narrower than the branch, it is ``least = sqrt(B(0))`` or more: every ray sits.

    With ``lean >= |h'|`` and ``bow <= -B'' / 2`` there ``2 sqrt(B) |h'| = |B'|``, so that
    ``B(0) <= B + 2 lean sqrt(B) |t| - bow t^2``. ``B(0) >= -short`` with ``short = (rho +
    gap)^2 - radius^2`` for a tube that passes the point at ``gap``, so ``|t| <= C sqrt(B) +
    sqrt(short / bow)`` with ``C = (lean + sqrt(lean^2 + bow)) / bow``. As w turns, s changes by
    ``g w' / sqrt(B)``: by ``rho C`` a radian at most where the axis passes through the point, and
    by ``rho (gap + sqrt(short / bow)) / sqrt(B)`` more where it does not. There ``sqrt(B)`` is
    ``least - |h|`` or more, as the first tube hides what is lower.

    With ``grade <= |g - g(0)| / |t|`` s is no more than ``gap + lean / grade |g - g(0)| +
    sqrt(radius^2 - (|g - g(0)| - rho - gap)^2)``.
    """
    rho, first, deepest = branch.radius, landings[0].surfaces[0], 0.0
    if first.radius < rho:
        return inf
    least = sqrt(first.radius**2 - rho * rho)
    for landing in landings:
        along = _along(branch, landing, first if landing is not landings[0] else None)
        if along is None:
            return inf
        lean, grade, bow, far = along
        gap, radius = landing.node_gap, landing.surfaces[0].radius
        turns = (lean + sqrt(lean * lean + bow)) / bow
        if gap > ROUNDING or radius < rho:
            above, short = least - gap - lean * far, max((rho + gap) ** 2 - radius**2, 0.0)
            if above <= 0.0:
                return inf
            turns += (gap + sqrt(short / bow)) / above
        if turns * _STEP > STEEP:
            return inf
        tilt = lean / grade
        deep = gap + (rho + gap) * tilt + radius * sqrt(1.0 + tilt * tilt)
        if deep > landing.window[1]:
            return inf
        deepest = max(deepest, deep)
    return deepest


class _Along(NamedTuple):
    """Bounds on an axis, see ``_round_node``, as ``far`` as balls along it may touch the tube."""

    lean: float
    grade: float
    bow: float
    far: float


def _along(branch: Branch, landing: Landing, first: TubeSurface | None) -> _Along | None:
    """Bounds on the axis of a parent; None where there are none.

    Args:
        branch: the end.
        landing: how it lands on the parent.
        first: what it lands on first, None for that itself. Any other may end within it.
    """
    bends = [q for q in landing.surfaces if isinstance(q, TorusPiece)]
    straights = {q.piece: q for q in landing.surfaces if isinstance(q, CylinderPiece)}
    if landing.node_gap > ROUNDING and (bends or first is None):
        return None
    if len(bends) == 1:
        return _along_bend(branch, bends[0], straights)
    if bends or len(straights) > 1:
        return None
    (on,) = straights.values()
    lean = abs(float(on.axis @ branch.out))
    grade = sqrt(max(1.0 - lean * lean, 0.0))
    reach = branch.radius + landing.node_gap + on.radius
    spot = float((branch.point - on.start) @ on.axis)
    for have, end in ((spot - on.low, on.low), (on.high - spot, on.high)):
        if have * grade >= reach:
            continue
        if first is None:
            return None
        aside = landing.node_gap
        if abs(have) > RANGE_TOL or aside > ROUNDING:  # it does not end in the point
            aside = float(first.axis_distance((on.start + end * on.axis)[None])[0])
        if aside + on.radius > first.radius + ROUNDING:
            return None
    return _Along(lean, grade, grade * grade, reach / grade)


def _along_bend(
    branch: Branch, bend: TorusPiece, straights: Mapping[int, CylinderPiece]
) -> _Along | None:
    """The same of a bend and the straights beside it, with the point on one of them.

    An angle x past the point, or past where the bend begins, the axis runs along ``cos(x) tangent
    + sin(x) inward``. Beyond where g has gone on by both radii no ball touches the tube.
    """
    x, y, out = bend.x.tolist(), bend.y.tolist(), branch.out.tolist()
    away = [a - b for a, b in zip(branch.point.tolist(), bend.centre.tolist(), strict=True)]
    u, v = dot3(away, x), dot3(away, y)
    at = min(max(atan2(v, u), 0.0), bend.angle)
    c, s = cos(at), sin(at)
    past = v * c - u * s  # on the straight after the bend, or negative on that before it
    if abs(u * c + v * s - bend.major) > ROUNDING or bend.angle >= pi:
        return None
    if not straights.keys() <= {bend.piece - 1, bend.piece + 1}:
        return None
    u, v = dot3(x, out), dot3(y, out)
    along, inward = v * c - u * s, -u * c - v * s
    steep = grade = sqrt(max(1.0 - along * along, 0.0))
    if steep < sin(MIN_ANGLE):
        return None
    lean, far, reach = abs(along), 0.0, branch.radius + bend.radius
    for way, have in ((-1, at), (1, bend.angle - at)):
        # of the axis past the point, seen along the branch: how fast it goes on, and how far
        turning, rest = -way * along * inward / steep, 0.0
        slope = steep * cos(have) + turning * sin(have)
        wanted = max(reach + way * past * steep, 0.0)
        gone = bend.major * (steep * sin(have) + turning * (1.0 - cos(have)))
        if slope <= 0.0:
            return None
        if gone >= wanted:
            share = (wanted / bend.major - turning) / hypot(steep, turning)
            have = min(have, atan2(turning, steep) + asin(min(share, 1.0)))
            slope = steep * cos(have) + turning * sin(have)
        else:
            beside, rest = straights.get(bend.piece + way), (wanted - gone) / slope
            if beside is None or beside.high - beside.low < rest:
                return None
        if have > pi / 2:
            return None
        peak = atan2(way * inward * along, along * along)
        most = hypot(along, inward) if 0.0 < peak < have else 0.0
        last = abs(along * cos(have) + way * inward * sin(have))
        lean, grade = max(lean, most, last), min(grade, slope)
        far = max(far, bend.major * have + rest - way * past)
    # g bows by no more than 1 / major, and leaves its chord by no more than far^2 / (8 major)
    bow = 1.0 - lean * lean - (bend.radius + far * far / (8.0 * bend.major)) / bend.major
    return _Along(lean, grade, bow, far) if bow > 0.0 else None


__all__ = ["plainly_good"]
