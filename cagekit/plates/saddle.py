"""Folded gussets: a saddle of sheet over both tubes of a joint.

A web lies across the corner, coped to the tubes; two cheeks lie along the tubes' flanks, where
they are tangent, and are welded along their edges.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace as with_fields
from itertools import pairwise
from math import acos, ceil, cos, hypot, pi, sin, sqrt, tan

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from cagekit.cage.plate import Hole, Plate, PlateWeld
from cagekit.errors import GeometryError
from cagekit.geometry.centre_line import CentreLine, Line, Vec
from cagekit.geometry.fold import Fold, bend_allowance
from cagekit.geometry.outline import Outline, Segment, Vec2, vec2
from cagekit.plates.bend_corner import beyond_bend
from cagekit.plates.corner import Corner
from cagekit.plates.gusset import GussetSpec
from cagekit.plates.lightening import lightened
from cagekit.plates.profile import Folding
from cagekit.plates.seat import drawn
from cagekit.units.tolerance import SAME_ANGLE, SAME_POINT

ON_STRAIGHT = 25.0
"""Length of a cheek beyond a bend that is worth welding, mm (common practice)."""
LONGEST = 400
"""Longest leg that is tried for a cure, mm."""
SHORTEST = 40.0
"""A leg of a folded gusset that is worth proposing, mm (common practice)."""


def folded_gusset(plate_id: str, corner: Corner, spec: GussetSpec) -> Plate:
    """A gusset folded to a saddle: a coped web across the corner, a cheek on either flank.

    The face is the outside of the web. The cheeks end on the tubes' flanks, where they are
    tangent, and are welded along those edges.

    Args:
        plate_id: id of the plate.
        corner: the corner it sits in.
        spec: its sizes.

    Raises:
        GeometryError: a tube is bent within reach, or the legs are too short for the fold.
    """
    assert spec.folding is not None
    make = _saddle if beyond_bend(corner) is None else _beyond
    shape = make(plate_id, corner, spec, spec.folding)
    f = spec.folding
    half = shape.web_half
    width = bend_allowance(pi / 2, f.radius, spec.thickness, f.k)
    outline = _saddle_outline(shape, half, width)
    x0, x1 = shape.ends
    folds = tuple(
        Fold.along((x0, y), (x1, y), -pi / 2, f.radius, f.k, "cheek")
        for y in (half + width / 2, -half - width / 2)
    )
    plate = Plate(
        id=plate_id,
        kind="folded_gusset",
        thickness=spec.thickness,
        material=spec.material,
        outline=outline,
        folds=folds,
        base=vec2(((x0 + x1) / 2, 0.0)),
        placement=shape.frame,
        welds=_saddle_welds(corner, spec, shape),
        members=(corner.branch, corner.parent),
        notes=(corner.name,),
    )
    return with_fields(plate, holes=_cheek_holes(plate, spec.hole))


class _Tip(Struct, frozen=True, kw_only=True):
    """The coped end of a web on one tube.

    Args:
        radius: of the tube and the gap, mm.
        angle: between the web and the tube's axis, rad.
        thickness: of the sheet, mm.
        depth: of the fold behind the web's face, mm.
        half: half width of the web's flat, mm.
    """

    radius: float
    angle: float
    thickness: float
    depth: float
    half: float

    @property
    def least(self) -> float:
        """Where the cheek is deep enough for the fold and a little more, from the axis, mm."""
        return (self.depth + 2.0) / tan(self.angle) if self.angle < pi / 2 else 0.0

    def curve(self, y: float) -> float:
        """Where web and tube meet ``y`` mm off the middle, mm from the axis along the web."""
        over = sqrt(max(self.radius**2 - y**2, 0.0))
        return (over + self.thickness * max(cos(self.angle), 0.0)) / sin(self.angle)

    def reach(self, y: float) -> float:
        """Where the web ends ``y`` mm off the middle, mm from the axis along the web."""
        return max(self.curve(y), self.least)

    def edge(self) -> list[Vec2]:
        """Rows of points ``(n, 2)`` along the end for rising y: straight, coped, straight."""
        y = self.half
        if self.curve(y) < self.least:
            lean = self.least * sin(self.angle) - self.thickness * max(cos(self.angle), 0.0)
            y = sqrt(max(self.radius**2 - max(lean, 0.0) ** 2, 0.0))
            y = min(y, self.half)
        if y < 0.5:
            return [np.array([[self.least, v] for v in (-self.half, 0.0, self.half)])]
        coped = np.array([[self.curve(v), v] for v in np.linspace(-y, y, 17)])
        if self.half - y < SAME_POINT:
            return [coped]
        ends = np.array([[self.least, self.half], [self.least, (self.half + y) / 2]])
        coped[[0, -1], 0] = self.least
        after = np.vstack([coped[-1:], ends[1:], ends[:1]])
        return [after[::-1] * np.array([1.0, -1.0]), coped, after]


class _Saddle(Struct, frozen=True, kw_only=True, eq=False):
    """A folded gusset before it is laid flat.

    ``cheek`` holds the cheek's corners (along the web, inward from the web's face); ``tips`` the
    coped ends of the web; ``length`` the whole web from axis to axis; ``ends`` where the folds end.
    """

    cheek: tuple[tuple[float, float], ...]
    tips: tuple[_Tip, _Tip]
    length: float
    ends: tuple[float, float]
    web_half: float
    depth: float
    frame: Vec


def _saddle(owner: str, corner: Corner, spec: GussetSpec, f: Folding) -> _Saddle:
    t = spec.thickness
    bend = beyond_bend(corner)
    bent, begins = corner, 0.0
    if bend is not None:
        corner, begins = bend
    rp, rb = corner.parent_radius + spec.weld_gap, corner.branch_radius + spec.weld_gap
    s, c = sin(corner.angle), cos(corner.angle)
    a = spec.along_parent + (rb + rp * c) / s
    b = spec.along_branch + (rp + rb * c) / s
    _require_straight(owner, corner.parent, corner.parent_path, a, spec.along_parent, "parent")
    _require_straight(owner, corner.branch, corner.branch_path, b, spec.along_branch, "branch")
    if a - begins < ON_STRAIGHT:
        raise GeometryError(
            owner,
            f"the leg reaches {max(a - begins, 0.0):.0f} mm beyond the bend ({ON_STRAIGHT:.0f} mm "
            "at least).",
            "Use longer legs.",
        )
    on_parent, on_branch = np.array([a, 0.0]), b * np.array([c, s])
    web = on_branch - on_parent
    length = hypot(*web)
    at_parent = acos(float(-web[0] / length))
    at_branch = pi - corner.angle - at_parent
    half = max(rp, rb) - f.radius
    if half < t:
        raise GeometryError(
            owner,
            f"a fold of {f.radius:.1f} mm inside radius leaves no flat web over a tube of "
            f"{2 * max(rp, rb):.1f} mm.",
            "Fold it on a smaller radius.",
        )
    depth = t + f.radius

    start = _Tip(radius=rp, angle=at_parent, thickness=t, depth=depth, half=half)
    end = _Tip(radius=rb, angle=at_branch, thickness=t, depth=depth, half=half)
    x0, x1 = start.reach(half), length - end.reach(half)
    reach = [x0 * tan(at_parent), (length - x1) * tan(at_branch)]
    for name, angle, deep in (
        (corner.parent, at_parent, reach[0]),
        (corner.branch, at_branch, reach[1]),
    ):
        if angle < pi / 2 and deep < depth + 1.0:
            raise GeometryError(
                owner,
                f"the cheek on {name} would be {deep:.1f} mm deep at its tip, the fold takes "
                f"{depth:.1f} mm.",
                "Use a smaller fold radius, or make the other leg shorter.",
            )
    if x1 - x0 < 4 * t:
        raise GeometryError(
            owner,
            f"between the tubes there are {x1 - x0:.1f} mm of web ({4 * t:.1f} mm at least).",
            "Use longer legs.",
        )
    cheek = _cheek(
        owner, corner, spec, (x0, x1, length), (at_parent, at_branch), (a, b), depth, begins
    )
    frame = _saddle_frame(corner, on_parent, web / length)
    if bend is not None:
        _require_web_clear(owner, bent, frame, rp + t)
    return _Saddle(
        cheek=cheek,
        tips=(start, end),
        length=length,
        ends=(x0, x1),
        web_half=half,
        depth=depth,
        frame=frame,
    )


def _require_straight(
    owner: str, name: str, path: CentreLine, need: float, leg: float, arm: str
) -> None:
    """Refuse a tube that bends under the saddle; the cure names what would do.

    Args:
        owner: id of the plate.
        name: of the tube.
        path: its centre line away from the node.
        need: straight that the saddle takes from the node, mm.
        leg: the leg along the tube, mm.
        arm: ``parent`` or ``branch``, as its field is called.

    Raises:
        GeometryError: the tube is straight for less than ``need``.
    """
    first = path.pieces[0]
    straight = first.length if isinstance(first, Line) else 0.0
    if straight >= need:
        return
    cure = "Use a flat gusset, which follows the bend"
    after = path.pieces[1] if len(path.pieces) > 1 else None
    left = leg - ceil(need - straight)
    if left >= SHORTEST:
        cure += f", or along_{arm} of at most {left:.0f} mm"
    elif arm == "parent" and not straight and isinstance(after, Line) and after.length >= need:
        cure += f", or move the node {ceil(first.length):.0f} mm on that way, out of the bend"
    raise GeometryError(
        owner,
        f"needs {need:.0f} mm of straight {name} from the node, has {straight:.0f} mm"
        + ("." if straight else ": the node lies in a bend."),
        f"{cure}.",
    )


def _beyond(owner: str, corner: Corner, spec: GussetSpec, f: Folding) -> _Saddle:
    """The saddle of a corner beyond a bend at the node.

    Raises:
        GeometryError: its legs do not fit there; the cure names the shortest pair that does.
    """
    try:
        return _saddle(owner, corner, spec, f)
    except GeometryError as error:
        for leg in range(int(SHORTEST), LONGEST, 5):
            own = max(float(leg), spec.along_parent), max(float(leg), spec.along_branch)
            try:
                _saddle(owner, corner, replace(spec, along_parent=own[0], along_branch=own[1]), f)
            except GeometryError:
                continue
            raise GeometryError(
                owner,
                f"its node lies in a bend of {corner.parent}: {error.problem}",
                f"Use along_parent {own[0]:.0f} mm and along_branch {own[1]:.0f} mm, or a flat "
                "gusset, which follows the bend.",
            ) from None
        raise


def _require_web_clear(owner: str, corner: Corner, frame: Vec, reach: float) -> None:
    """Refuse a web that the bend runs into before the straight begins."""
    arc = corner.parent_path.pieces[0]
    behind = (frame[:3, 3] - arc.point(np.linspace(0.0, arc.length, 40))) @ frame[:3, 2]
    if float(behind.min()) < reach:
        raise GeometryError(
            owner,
            f"the bend of {corner.parent} runs {reach - float(behind.min()):.0f} mm into its web.",
            "Use longer legs, or a flat gusset, which follows the bend.",
        )


def _saddle_frame(corner: Corner, start: Vec2, along: Vec2) -> Vec:
    """Frame of the web's face: x along the web from parent to branch, z away from the corner."""
    x = along[0] * corner.along + along[1] * corner.across
    out = np.array([along[1], -along[0]])
    if float(out @ start) < 0:
        out = -out
    z = out[0] * corner.along + out[1] * corner.across
    m = np.eye(4)
    m[:3, 0], m[:3, 1], m[:3, 2] = x, np.cross(z, x), z
    m[:3, 3] = corner.node + start[0] * corner.along + start[1] * corner.across
    return m


def _cheek(
    owner: str,
    corner: Corner,
    spec: GussetSpec,
    span: tuple[float, float, float],
    angles: tuple[float, float],
    legs: tuple[float, float],
    depth: float,
    begins: float = 0.0,
) -> tuple[tuple[float, float], ...]:
    """Corners of a cheek in web coordinates, from the parent's tip round to the branch's."""
    x0, x1, length = span
    # keep clear of the joint's own weld round the larger tube
    back = max(corner.parent_radius, corner.branch_radius) * 1.2 / sin(corner.angle / 2) + spec.clip
    near = [min(back, 0.7 * leg) for leg in legs]
    near[0] = max(near[0], begins)

    def on_parent(d: float) -> tuple[float, float]:
        away = legs[0] - d
        return away * cos(angles[0]), away * sin(angles[0])

    def on_branch(d: float) -> tuple[float, float]:
        away = legs[1] - d
        return length - away * cos(angles[1]), away * sin(angles[1])

    nose0 = (x0, x0 * tan(angles[0])) if angles[0] < pi / 2 - SAME_ANGLE else None
    nose1 = (x1, (length - x1) * tan(angles[1])) if angles[1] < pi / 2 - SAME_ANGLE else None
    if nose0 is None or nose1 is None:
        raise GeometryError(
            owner,
            "one leg is so short that the web stands square to its tube or leans back.",
            "Make the legs more alike.",
        )
    inner = [on_parent(near[0]), on_branch(near[1])]
    if inner[0][1] < nose0[1] or inner[1][1] < nose1[1]:
        raise GeometryError(
            owner, "the legs are too short for cheeks beside the joint's weld.", "Use longer legs."
        )
    return ((x0, depth), nose0, *inner, nose1, (x1, depth))


def _saddle_outline(shape: _Saddle, half: float, width: float) -> Outline:
    """The flat pattern: cheek, web end, cheek, web end."""

    def laid(points: Sequence[tuple[float, float]], sign: float) -> list[tuple[float, float]]:
        return [(x, sign * (half + width + v - shape.depth)) for x, v in points]

    def side(points: list[tuple[float, float]]) -> list[Segment]:
        return [Segment(vec2(p), vec2(q)) for p, q in pairwise(points)]

    def tip(number: int, upward: bool) -> list[Segment]:
        rows = shape.tips[number].edge()
        if number:
            rows = [np.column_stack([shape.length - r[:, 0], r[:, 1]]) for r in rows]
        if not upward:
            rows = [r[::-1] for r in reversed(rows)]
        return [s for r in rows for s in drawn(r)]

    x0, x1 = shape.ends
    upper = side([(x0, half), *laid(shape.cheek, 1.0), (x1, half)])
    lower = side([(x1, -half), *laid(shape.cheek[::-1], -1.0), (x0, -half)])
    ring = [*upper, *tip(1, False), *lower, *tip(0, True)]
    return Outline.of_segments(ring).cleaned()


def _cheek_holes(plate: Plate, hole: float | None) -> tuple[Hole, ...]:
    """The same lightening hole in both cheeks."""
    if hole is not None and hole <= 0:
        return ()
    cheeks = [f.loop for f in plate.folded.facets if abs(float(f.frame[2, 2])) <= 0.5]
    found = lightened([plate.id] * len(cheeks), cheeks, hole)
    return tuple(one for own in found for one in own)


def _saddle_welds(corner: Corner, spec: GussetSpec, shape: _Saddle) -> tuple[PlateWeld, ...]:
    c = shape.cheek
    on_parent = 2 * hypot(c[2][0] - c[1][0], c[2][1] - c[1][1])
    on_branch = 2 * hypot(c[4][0] - c[3][0], c[4][1] - c[3][1])
    return (
        PlateWeld(to=corner.parent, length=on_parent + 2 * shape.web_half, leg=spec.weld_leg),
        PlateWeld(to=corner.branch, length=on_branch + 2 * shape.web_half, leg=spec.weld_leg),
    )
