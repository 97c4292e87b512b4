"""Sheet gussets across the corner of a joint: flat, or folded as a saddle over both tubes.

Both lie on the plane of the two axes at the node. The flat one stands on the tubes' surfaces in
that plane, its edges a weld gap away from the real tubes, straight or bent. The folded one has a
web across the corner and two cheeks that lie along the tubes' flanks; its web is coped to the
tubes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import acos, cos, degrees, hypot, pi, sin, sqrt, tan
from typing import TYPE_CHECKING

import numpy as np

from cagekit.build.plate import GussetEntry, PlateEntry
from cagekit.cage.model import EndName
from cagekit.errors import GeometryError, InputError
from cagekit.geometry.path import Line, Path, Vec, unit
from cagekit.hints import did_you_mean
from cagekit.plates.floor_plate import DEFAULT_MATERIAL
from cagekit.plates.fold import Fold, bend_allowance
from cagekit.plates.model import Hole, HolePurpose, Plate, Weld
from cagekit.plates.outline import Outline, Segment, Vec2, vec2
from cagekit.plates.profile import Folding
from cagekit.plates.seat import drawn, seat, straight_reach

if TYPE_CHECKING:
    from cagekit.build.build import Build
    from cagekit.cage.cage import Cage, Joint

SHARPEST = 0.35
"""Least angle of the corner (rad, 20 degrees) that a gusset can be welded into."""
FLATTEST = pi - 0.26
"""Largest angle of the corner (rad, 165 degrees) that a gusset does anything in."""
RING = 12.0
"""Metal left round a lightening hole that is not given, mm (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Corner:
    """The corner of a joint on the side of one parent arm.

    Args:
        branch, parent: ids of the tubes.
        end: end of the branch.
        node: where the axes meet, ``(3,)`` mm.
        along: unit direction of the parent's arm, ``(3,)``.
        across: unit vector square to it in the plane of the axes, towards the branch, ``(3,)``.
        angle: between the two arms, rad.
        branch_path, parent_path: centre lines, each running away from the node.
        branch_radius, parent_radius: outside radii, mm.
    """

    branch: str
    parent: str
    end: str
    node: Vec
    along: Vec
    across: Vec
    angle: float
    branch_path: Path
    parent_path: Path
    branch_radius: float
    parent_radius: float

    @property
    def name(self) -> str:
        """The joint in words."""
        return f"{self.branch} end {self.end} on {self.parent}"

    @property
    def branch_arm(self) -> Vec:
        """Unit direction of the branch away from the node, ``(3,)``."""
        return np.asarray(cos(self.angle) * self.along + sin(self.angle) * self.across)

    @property
    def normal(self) -> Vec:
        """Unit normal of the plane of the axes, ``(3,)``."""
        return np.asarray(np.cross(self.along, self.across))

    def flat(self, point: Vec) -> Vec2:
        """A point in the plane's coordinates (along, across) from the node, ``(2,)``."""
        w = point - self.node
        return np.array([w @ self.along, w @ self.across])

    @classmethod
    def of(
        cls,
        cage: Cage,
        joint: Joint,
        way: EndName,
        reach: tuple[float, float] = (100.0, 100.0),
    ) -> Corner:
        """The corner of a joint between the branch and the parent's arm towards its end ``way``.

        ``reach`` is how far along branch and parent the plate goes, mm: on a bent tube the arm
        is the chord over that reach.
        """
        branch, parent = cage.member(joint.branch), cage.member(joint.parents[0])
        spot = parent.path.nearest(joint.point)
        sign = 1.0 if way == "b" else -1.0
        far = parent.path.points(spot.station + sign * reach[1])[0] - spot.point
        arm = unit(far) if float(np.linalg.norm(far)) > 1.0 else sign * spot.tangent
        start = 0.0 if joint.branch_end == "a" else branch.path.length
        inward = 1.0 if joint.branch_end == "a" else -1.0
        away = unit(branch.path.points(start + inward * reach[0])[0] - branch.path.points(start)[0])
        angle = acos(float(np.clip(away @ arm, -1.0, 1.0)))
        owner = f"gusset at {joint.branch} end {joint.branch_end}"
        if not SHARPEST <= angle <= FLATTEST:
            raise GeometryError(
                owner,
                f"the corner towards end {way} of {parent.id} is {degrees(angle):.0f} degrees "
                f"(allowed: {degrees(SHARPEST):.0f} to {degrees(FLATTEST):.0f}).",
                "Put it on the other side of the branch.",
            )
        ends = (0.0, spot.station) if way == "a" else (spot.station, parent.path.length)
        if ends[1] - ends[0] < 1.0:
            raise GeometryError(owner, f"{parent.id} ends at the node on that side.")
        part = parent.path.part(*ends)
        return cls(
            branch=branch.id,
            parent=parent.id,
            end=joint.branch_end,
            node=spot.point,
            along=unit(arm),
            across=unit(away - (away @ arm) * arm),
            angle=angle,
            branch_path=branch.path if joint.branch_end == "a" else branch.path.reversed(),
            parent_path=part if way == "b" else part.reversed(),
            branch_radius=branch.tube.outer_radius,
            parent_radius=parent.tube.outer_radius,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class GussetSpec:
    """Sizes of a gusset; lengths mm."""

    thickness: float
    material: str
    along_branch: float = 80.0
    along_parent: float = 80.0
    nose: float = 8.0
    clip: float = 12.0
    weld_gap: float = 1.0
    hole: float | None = None
    bulge: float = 0.0
    corner_radius: float = 3.0
    weld_leg: float = 3.0
    folding: Folding | None = None


def make(build: Build, cage: Cage, entry: PlateEntry, where: str) -> Sequence[Plate]:
    """Make the gussets of one entry."""
    assert isinstance(entry, GussetEntry)
    thickness = entry.thickness or build.foot_plate
    folded = entry.style == "folded"
    spec = GussetSpec(
        thickness=thickness,
        material=entry.material or DEFAULT_MATERIAL[build.units],
        along_branch=entry.along_branch,
        along_parent=entry.along_parent,
        nose=entry.nose,
        clip=entry.clip,
        weld_gap=entry.weld_gap,
        hole=entry.hole,
        bulge=entry.bulge,
        corner_radius=min(entry.corner_radius, 3.0),
        weld_leg=entry.weld_leg,
        folding=Folding.of(build.tooling, thickness, entry.fold_radius) if folded else None,
    )
    joints = joints_at(cage, entry.at, where)
    ways: Sequence[EndName] = ("a", "b") if entry.way == "both" else (entry.way,)
    out = []
    for joint in joints:
        for way in ways:
            name = entry.id or f"gusset_{joint.branch}_{joint.branch_end}"
            if len(joints) > 1 and entry.id:
                name = f"{entry.id}_{joint.branch}"
            if len(ways) > 1:
                name = f"{name}_{way}"
            reach = (entry.along_branch * 1.25, entry.along_parent * 1.25)
            corner = Corner.of(cage, joint, way, reach)
            out.append((folded_gusset if folded else flat_gusset)(name, corner, spec))
    return out


def joints_at(cage: Cage, at: str, where: str) -> tuple[Joint, ...]:
    """The joints an entry's ``at`` means: ``rear_brace_left end a`` or ``rear_brace end a``."""
    name, _, end = at.strip().partition(" end ")
    found = tuple(
        j
        for j in cage.joints
        if j.branch_end == end and name in (j.branch, cage.member(j.branch).role)
    )
    if not found:
        known = [f"{j.branch} end {j.branch_end}" for j in cage.joints]
        raise InputError(
            where,
            "at",
            at,
            problem="no tube is coped there.",
            hint=did_you_mean(at, known, what="Coped ends"),
        )
    return found


# -- flat --------------------------------------------------------------------------------------


def flat_gusset(plate_id: str, corner: Corner, spec: GussetSpec) -> Plate:
    """A flat gusset in the plane of both axes.

    Raises:
        GeometryError: a leg reaches beyond its tube, or the clip cuts the whole plate away.
    """
    gap = spec.weld_gap
    t = spec.thickness
    on_parent = _edge(corner, corner.parent_path, corner.parent_radius + gap, t, parent=True)
    on_branch = _edge(corner, corner.branch_path, corner.branch_radius + gap, t, parent=False)
    start_p, start_b = _meeting(corner, on_parent, on_branch, gap)
    _require_reach(plate_id, corner, start_p + spec.along_parent, start_b + spec.along_branch)
    if spec.clip >= min(spec.along_parent, spec.along_branch):
        raise GeometryError(
            plate_id,
            f"the clip of {spec.clip:.1f} mm leaves nothing of the legs of {spec.along_parent:.1f} "
            f"and {spec.along_branch:.1f} mm.",
            "Use a smaller clip or longer legs.",
        )
    edge_p = _curve(on_parent, start_p + spec.clip, start_p + spec.along_parent)
    edge_b = _curve(on_branch, start_b + spec.clip, start_b + spec.along_branch)
    segments = [*edge_p, *_rim(corner, spec, edge_p, edge_b)]
    segments += [s.reversed() for s in reversed(edge_b)]
    segments.append(Segment(segments[-1].end, segments[0].start))
    outline = Outline.of_segments(segments).cleaned()
    legs = sum(s.length for s in edge_p), sum(s.length for s in edge_b)
    frame = np.eye(4)
    frame[:3, 0], frame[:3, 1], frame[:3, 2] = corner.along, corner.across, corner.normal
    frame[:3, 3] = corner.node + corner.normal * spec.thickness / 2
    return Plate(
        id=plate_id,
        kind="gusset",
        thickness=spec.thickness,
        material=spec.material,
        outline=outline,
        holes=_lightened(plate_id, outline, spec.hole),
        welds=(
            Weld(to=corner.parent, length=2 * legs[0], leg=spec.weld_leg),
            Weld(to=corner.branch, length=2 * legs[1], leg=spec.weld_leg),
        ),
        base=outline.centroid,
        placement=frame,
        members=(corner.branch, corner.parent),
        notes=(corner.name,),
    )


Edge = Callable[[float], Vec2]
"""Point of a tube's outline in the plane, by the distance along the tube's arm from the node."""


def _edge(corner: Corner, path: Path, reach: float, thickness: float, *, parent: bool) -> Edge:
    """The line that runs ``reach`` mm off a tube's axis, on the inside of the corner."""
    c, s = cos(corner.angle), sin(corner.angle)
    u, n = (np.array([1.0, 0.0]), np.array([0.0, 1.0]))
    if not parent:
        u, n = np.array([c, s]), np.array([s, -c])
    along = u[0] * corner.along + u[1] * corner.across
    across = n[0] * corner.along + n[1] * corner.across
    height = seat(path, corner.node, along, across, reach, thickness, straight=straight_reach(path))
    return lambda a: np.asarray(a * u + height(a) * n)


def _meeting(corner: Corner, on_parent: Edge, on_branch: Edge, gap: float) -> tuple[float, float]:
    """How far along either arm the two edges meet."""

    def off(a: float) -> float:
        p = on_parent(a)
        return _gap(corner, corner.branch_path, p) - corner.branch_radius - gap

    rp, rb = corner.parent_radius + gap, corner.branch_radius + gap
    s, c = sin(corner.angle), cos(corner.angle)
    # straight tubes: the two lines rp and rb off the axes
    a = (rb + rp * c) / s
    for _ in range(40):
        f = off(a)
        if abs(f) < 1e-9:
            break
        a -= f / max(s, 0.2)
    p = on_parent(a)
    return a, float(p @ np.array([c, s]))


def _gap(corner: Corner, path: Path, p: Vec2, z: float = 0.0) -> float:
    """Distance of a point of the plate to a tube's axis, mm."""
    space = corner.node + p[0] * corner.along + p[1] * corner.across + z * corner.normal
    return float(np.linalg.norm(space - path.nearest(space).point))


def _curve(edge: Edge, start: float, end: float) -> list[Segment]:
    """An edge between two distances as one straight or as arcs."""
    return drawn(np.array([edge(a) for a in np.linspace(start, end, 17)]))


def _rim(
    corner: Corner, spec: GussetSpec, edge_p: list[Segment], edge_b: list[Segment]
) -> list[Segment]:
    """Nose on the parent, long edge, nose on the branch."""
    p, b = edge_p[-1], edge_b[-1]
    inward_p = _square(p.tangent(1.0), b.end - p.end)
    inward_b = _square(b.tangent(1.0), p.end - b.end)
    tip_p, tip_b = p.end + spec.nose * inward_p, b.end + spec.nose * inward_b
    points = [p.end, tip_p, tip_b, b.end]
    r = min(spec.corner_radius, spec.nose * 0.45)
    if r <= 0 or spec.bulge > 0:
        sag = spec.bulge
        chord = tip_b - tip_p
        turn = _side(chord, corner.flat(corner.node) - tip_p)
        bulge = -turn * 2 * sag / hypot(*chord)
        return [
            Segment(vec2(p.end), vec2(tip_p)),
            Segment(vec2(tip_p), vec2(tip_b), bulge),
            Segment(vec2(tip_b), vec2(b.end)),
        ]
    out: list[Segment] = []
    start = points[0]
    for a, m, c in zip(points[:-2], points[1:-1], points[2:], strict=True):
        d0, d1 = (m - a) / hypot(*(m - a)), (c - m) / hypot(*(c - m))
        turn = np.arctan2(d0[0] * d1[1] - d0[1] * d1[0], d0 @ d1)
        tail = r * tan(abs(turn) / 2)
        tail = min(tail, spec.nose * 0.9)
        out.append(Segment(vec2(start), vec2(m - tail * d0)))
        out.append(Segment(vec2(m - tail * d0), vec2(m + tail * d1), tan(turn / 4)))
        start = m + tail * d1
    out.append(Segment(vec2(start), vec2(points[-1])))
    return out


def _square(direction: Vec2, towards: Vec2) -> Vec2:
    n = np.array([-direction[1], direction[0]])
    return n if float(n @ towards) > 0 else -n


def _side(a: Vec2, b: Vec2) -> float:
    return 1.0 if a[0] * b[1] - a[1] * b[0] > 0 else -1.0


def _require_reach(owner: str, corner: Corner, parent: float, branch: float) -> None:
    for name, need, path in (
        (corner.parent, parent, corner.parent_path),
        (corner.branch, branch, corner.branch_path),
    ):
        if need > path.length:
            raise GeometryError(
                owner,
                f"a leg reaches {need:.0f} mm along {name}, which has {path.length:.0f} mm.",
                "Use shorter legs.",
            )
    for name, need, path, radius in (
        (corner.parent, parent, corner.parent_path, corner.parent_radius),
        (corner.branch, branch, corner.branch_path, corner.branch_radius),
    ):
        run = path.points(np.linspace(0.0, need, 12)) - corner.node
        off = float(np.abs(run @ corner.normal).max())
        if off > 0.6 * radius:
            raise GeometryError(
                owner,
                f"{name} bends {off:.1f} mm out of the plate's plane within {need:.0f} mm of the "
                f"node ({0.6 * radius:.1f} mm at most).",
                "Use shorter legs or a tube gusset.",
            )


def _lightened(owner: str, outline: Outline, hole: float | None) -> tuple[Hole, ...]:
    """A round hole where the plate is widest; a given one must leave some metal round it."""
    if hole is not None and hole <= 0:
        return ()
    centre, radius = widest(outline)
    if hole is None:
        free = radius - RING
        return (Hole.circle(centre, round(2 * free), HolePurpose.LIGHTENING),) if free >= 6 else ()
    if hole / 2 > radius - 4.0:
        raise GeometryError(
            owner,
            f"a lightening hole of {hole:.1f} mm leaves {radius - hole / 2:.1f} mm of metal "
            "round it (4 mm at least).",
            f"Use a hole of {2 * (radius - 4.0):.0f} mm or less, or longer legs.",
        )
    return (Hole.circle(centre, hole, HolePurpose.LIGHTENING),)


def widest(outline: Outline) -> tuple[Vec2, float]:
    """Middle and radius of the largest circle inside an outline, to about 0.01 mm."""
    low, high = outline.box
    step = float(max(high - low)) / 12
    best = outline.centroid
    span = step * 6
    found = 0.0
    while span > 0.005:
        g = np.linspace(-span, span, 9)
        x, y = np.meshgrid(g, g)
        points = best + np.column_stack([x.ravel(), y.ravel()])
        gaps = outline.distance(points)
        # near the best spot so far everything is inside
        if found <= 1.5 * span:
            gaps = np.where(outline.contains(points), gaps, -1.0)
        best, found = vec2(points[int(np.argmax(gaps))]), float(gaps.max())
        span *= 0.35
    return best, float(outline.distance(best)[0])


# -- folded ------------------------------------------------------------------------------------


def folded_gusset(plate_id: str, corner: Corner, spec: GussetSpec) -> Plate:
    """A gusset folded to a saddle: a coped web across the corner, a cheek on either flank.

    The face is the outside of the web. The cheeks end on the tubes' flanks, where they are
    tangent, and are welded along those edges.

    Raises:
        GeometryError: a tube is bent within reach, or the legs are too short for the fold.
    """
    assert spec.folding is not None
    shape = _saddle(plate_id, corner, spec, spec.folding)
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
    return replace(plate, holes=_cheek_holes(plate, spec.hole))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tip:
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
        if self.half - y < 1e-6:
            return [coped]
        ends = np.array([[self.least, self.half], [self.least, (self.half + y) / 2]])
        coped[[0, -1], 0] = self.least
        after = np.vstack([coped[-1:], ends[1:], ends[:1]])
        return [after[::-1] * np.array([1.0, -1.0]), coped, after]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Saddle:
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
    rp, rb = corner.parent_radius + spec.weld_gap, corner.branch_radius + spec.weld_gap
    s, c = sin(corner.angle), cos(corner.angle)
    a = spec.along_parent + (rb + rp * c) / s
    b = spec.along_branch + (rp + rb * c) / s
    for name, need, path in (
        (corner.parent, a, corner.parent_path),
        (corner.branch, b, corner.branch_path),
    ):
        first = path.pieces[0]
        if not isinstance(first, Line) or first.length < need:
            straight = first.length if isinstance(first, Line) else 0.0
            raise GeometryError(
                owner,
                f"needs {need:.0f} mm of straight {name} from the node, has {straight:.0f} mm.",
                "Use shorter legs or a flat gusset.",
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
    cheek = _cheek(owner, corner, spec, (x0, x1, length), (at_parent, at_branch), (a, b), depth)
    return _Saddle(
        cheek=cheek,
        tips=(start, end),
        length=length,
        ends=(x0, x1),
        web_half=half,
        depth=depth,
        frame=_saddle_frame(corner, on_parent, web / length),
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
) -> tuple[tuple[float, float], ...]:
    """Corners of a cheek in web coordinates, from the parent's tip round to the branch's."""
    x0, x1, length = span
    # keep clear of the joint's own weld round the larger tube
    back = max(corner.parent_radius, corner.branch_radius) * 1.2 / sin(corner.angle / 2) + spec.clip
    near = [min(back, 0.7 * leg) for leg in legs]

    def on_parent(d: float) -> tuple[float, float]:
        away = legs[0] - d
        return away * cos(angles[0]), away * sin(angles[0])

    def on_branch(d: float) -> tuple[float, float]:
        away = legs[1] - d
        return length - away * cos(angles[1]), away * sin(angles[1])

    nose0 = (x0, x0 * tan(angles[0])) if angles[0] < pi / 2 - 1e-6 else None
    nose1 = (x1, (length - x1) * tan(angles[1])) if angles[1] < pi / 2 - 1e-6 else None
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
    out: list[Hole] = []
    web = plate.folded.facets
    for facet in web:
        if abs(float(facet.frame[2, 2])) > 0.5:
            continue
        out += _lightened(plate.id, facet.loop, hole)
    return tuple(out)


def _saddle_welds(corner: Corner, spec: GussetSpec, shape: _Saddle) -> tuple[Weld, ...]:
    c = shape.cheek
    on_parent = 2 * hypot(c[2][0] - c[1][0], c[2][1] - c[1][1])
    on_branch = 2 * hypot(c[4][0] - c[3][0], c[4][1] - c[3][1])
    return (
        Weld(to=corner.parent, length=on_parent + 2 * shape.web_half, leg=spec.weld_leg),
        Weld(to=corner.branch, length=on_branch + 2 * shape.web_half, leg=spec.weld_leg),
    )
