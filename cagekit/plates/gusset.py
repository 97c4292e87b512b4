"""Flat sheet gussets across the corner of a joint.

A flat gusset lies in the plane of the two axes at the node and stands on the tubes' surfaces, its
edges a weld gap away from the real tubes, straight or bent. The folded one is in
`cagekit.plates.saddle`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from math import cos, hypot, sin, tan
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np
from msgspec import Struct

from cagekit.cage.kept import content
from cagekit.cage.member import EndName
from cagekit.cage.places import MOVES
from cagekit.cage.plate import Hole, Plate, PlateWeld
from cagekit.errors import GeometryError
from cagekit.geometry.arrays import even
from cagekit.geometry.centre_line import CentreLine, Line
from cagekit.geometry.outline import Outline, Segment, Vec2, vec2
from cagekit.inputs.plate import PLATE_STEEL, Gusset, GussetEntry, PlateEntry
from cagekit.plates.corner import Corner, joints_at
from cagekit.plates.lightening import lightened
from cagekit.plates.profile import Folding
from cagekit.plates.seat import drawn, seat, straight_reach
from cagekit.units.tolerance import MICRON, ROUNDING

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage, Joint
    from cagekit.cage.member import Member
    from cagekit.inputs.build import Build

LEAST_SLOPE = 0.1
"""A tube that runs less than this (its direction's share) one way does not run that way."""
ONE_PLACE = 1.0
"""Joints nearer to each other than this (mm) are one crossing."""


class GussetSpec(Struct, frozen=True, kw_only=True):
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

    @classmethod
    def of(
        cls,
        gusset: Gusset,
        thickness: float,
        folding: Folding | None,
        units: Literal["mm", "in"] = "mm",
    ) -> GussetSpec:
        """Make the choices that a gusset leaves open.

        Args:
            gusset: the sizes.
            thickness: of the plate, mm.
            folding: what the brake does at that thickness.
            units: that decide over the usual steel.
        """
        return cls(
            thickness=thickness,
            material=gusset.material or PLATE_STEEL[units],
            along_branch=gusset.along_branch,
            along_parent=gusset.along_parent,
            nose=gusset.nose,
            clip=gusset.clip,
            weld_gap=gusset.weld_gap,
            hole=gusset.hole,
            bulge=gusset.bulge,
            corner_radius=gusset.corner_radius,
            weld_leg=gusset.weld_leg,
            folding=folding,
        )


class GussetWish(NamedTuple):
    """A gusset that is asked for: its id, the corner that it sits in, and its sizes."""

    id: str
    corner: Corner
    spec: GussetSpec


def make(build: Build, cage: Cage, entry: PlateEntry, where: str) -> Sequence[Plate]:
    """Make the gussets of one entry.

    Args:
        build: the build, with car, tooling and presets.
        cage: the cage.
        entry: what the file says.
        where: what a message names.
    """
    return [plate for one in asked(build, cage, entry, where) for plate in made(cage, [one])]


def asked(build: Build, cage: Cage, entry: PlateEntry, where: str) -> Iterator[GussetWish]:
    """The gussets of one entry, to be made; arguments as of :func:`make`.

    Raises:
        InputError: the entry names no joint.
        GeometryError: no gusset goes into a corner.
    """
    assert isinstance(entry, GussetEntry)
    thickness = entry.thickness or build.foot_plate
    folded = entry.style == "folded"
    folding = Folding.of(build.tooling, thickness, entry.fold_radius) if folded else None
    spec = GussetSpec.of(entry, thickness, folding, build.units)
    joints = joints_at(cage, entry.at, where)
    for joint in joints:
        corners = corners_of(cage, joint, entry)
        for at, way in corners:
            name = entry.id or f"gusset_{at.branch}_{at.branch_end}"
            if len(joints) > 1 and entry.id:
                name = f"{entry.id}_{at.branch}"
            if len(corners) > 1:
                name = f"{name}_to_{way}"
            reach = (entry.along_branch * 1.25, entry.along_parent * 1.25)
            yield GussetWish(name, Corner.of(cage, at, way, reach), spec)


def made(cage: Cage, those: Sequence[GussetWish]) -> Sequence[Plate]:
    """Gussets of one entry or of many, the flat ones side by side.

    Raises:
        GeometryError: one of them cannot be made.
    """
    keys = [("gusset", content(one)) for one in those]
    return cage.kept.each(keys, lambda missing: _made([those[i] for i in missing]))


def _made(those: Sequence[GussetWish]) -> Sequence[Plate]:
    flat = [i for i, one in enumerate(those) if one.spec.folding is None]
    plates = dict(zip(flat, flat_gussets([those[i] for i in flat]), strict=True))
    if len(flat) < len(those):
        from cagekit.plates.saddle import folded_gusset

        plates |= {i: folded_gusset(*one) for i, one in enumerate(those) if i not in plates}
    return [plates[i] for i in range(len(those))]


def corners_of(cage: Cage, joint: Joint, entry: GussetEntry) -> Sequence[tuple[Joint, EndName]]:
    """The corners of a joint that an entry means: joint, and towards which end of its parent.

    At the crossing of an X two gussets stand opposite each other: the second one sits at the
    piece that goes on beyond the bar in between.

    Raises:
        GeometryError: the parent does not run that way at the joint.
    """
    other = _across(cage, joint) if entry.way == "both" else None
    if other is not None:
        return ((joint, "a"), (other, "b"))
    return tuple((joint, way) for way in ways_along(cage.member(joint.parents[0]), joint, entry))


def _across(cage: Cage, joint: Joint) -> Joint | None:
    """The joint of the next piece of the same bar, on the other side of the parent."""
    bar = cage.member(joint.branch).bar
    for other in cage.joints:
        if (
            other.branch != joint.branch
            and cage.member(other.branch).bar == bar
            and other.parents[:1] == joint.parents[:1]
            and float(np.linalg.norm(other.point - joint.point)) < ONE_PLACE
        ):
            return other
    return None


def ways_along(parent: Member, joint: Joint, entry: GussetEntry) -> Sequence[EndName]:
    """Towards which ends of the parent the gussets of a joint lie.

    Raises:
        GeometryError: the parent does not run that way at the joint.
    """
    if entry.way == "both":
        return ("a", "b")
    if entry.way in ("a", "b"):
        spans = float(parent.path.start[1] * parent.path.end[1]) < 0
        named: EndName = "a" if entry.way == "a" else "b"
        return (("b", "a")[named == "b"],) if spans and entry.mirrored else (named,)
    axis, sign = MOVES[entry.way]
    spot = parent.path.nearest(joint.point)
    if axis == 1:
        sign *= 1.0 if float(spot.point[1]) >= 0 else -1.0
    slope = sign * float(spot.tangent[axis])
    if abs(slope) < LEAST_SLOPE:
        raise GeometryError(
            f"gusset at {joint.branch} end {joint.branch_end}",
            f"{parent.id} does not run {entry.way} there.",
            "Say another way: a, b, inboard, outboard, up, down, forward or back.",
        )
    return ("b",) if slope > 0 else ("a",)


# -- flat --------------------------------------------------------------------------------------


def flat_gusset(plate_id: str, corner: Corner, spec: GussetSpec) -> Plate:
    """A flat gusset in the plane of both axes.

    Args:
        plate_id: id of the plate.
        corner: the corner it sits in.
        spec: its sizes.

    Raises:
        GeometryError: a leg reaches beyond its tube, or the clip cuts the whole plate away.
    """
    return flat_gussets([GussetWish(plate_id, corner, spec)])[0]


def flat_gussets(those: Sequence[GussetWish]) -> list[Plate]:
    """Several of them: their widest spots are looked for side by side.

    Raises:
        GeometryError: as of one.
    """
    cut = [_pattern(*one) for one in those]
    holes: list[tuple[Hole, ...]] = [()] * len(those)
    for size in dict.fromkeys(one.spec.hole for one in those):
        rows = [i for i, one in enumerate(those) if one.spec.hole == size]
        found = lightened([those[i].id for i in rows], [cut[i][0] for i in rows], size)
        for i, own in zip(rows, found, strict=True):
            holes[i] = own
    return [
        _plate(one, outline, legs, own)
        for one, (outline, legs), own in zip(those, cut, holes, strict=True)
    ]


def _pattern(
    plate_id: str, corner: Corner, spec: GussetSpec
) -> tuple[Outline, tuple[float, float]]:
    """The outline, and the lengths of the edges along parent and branch, mm."""
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
    edge_p = _curve(corner.parent_path, on_parent, start_p + spec.clip, start_p + spec.along_parent)
    edge_b = _curve(corner.branch_path, on_branch, start_b + spec.clip, start_b + spec.along_branch)
    segments = [*edge_p, *_rim(corner, spec, edge_p, edge_b)]
    segments += [s.reversed() for s in reversed(edge_b)]
    segments.append(Segment(segments[-1].end, segments[0].start))
    outline = Outline.of_segments(segments).cleaned()
    return outline, (sum(s.length for s in edge_p), sum(s.length for s in edge_b))


def _plate(
    one: GussetWish, outline: Outline, legs: tuple[float, float], holes: tuple[Hole, ...]
) -> Plate:
    """The plate of an outline with its holes."""
    plate_id, corner, spec = one
    frame = np.eye(4)
    frame[:3, 0], frame[:3, 1], frame[:3, 2] = corner.along, corner.across, corner.normal
    frame[:3, 3] = corner.node + corner.normal * spec.thickness / 2
    return Plate(
        id=plate_id,
        kind="gusset",
        thickness=spec.thickness,
        material=spec.material,
        outline=outline,
        holes=holes,
        welds=(
            PlateWeld(to=corner.parent, length=2 * legs[0], leg=spec.weld_leg),
            PlateWeld(to=corner.branch, length=2 * legs[1], leg=spec.weld_leg),
        ),
        base=outline.centroid,
        placement=frame,
        members=(corner.branch, corner.parent),
        notes=(corner.name,),
    )


TubeEdge = Callable[[float], Vec2]
"""Point of a tube's outline in the plane, by the distance along the tube's arm from the node."""


def _edge(
    corner: Corner, path: CentreLine, reach: float, thickness: float, *, parent: bool
) -> TubeEdge:
    """The line that runs ``reach`` mm off a tube's axis, on the inside of the corner."""
    c, s = cos(corner.angle), sin(corner.angle)
    u, n = (np.array([1.0, 0.0]), np.array([0.0, 1.0]))
    if not parent:
        u, n = np.array([c, s]), np.array([s, -c])
    along = u[0] * corner.along + u[1] * corner.across
    across = n[0] * corner.along + n[1] * corner.across
    height = seat(
        path,
        corner.node,
        along,
        across,
        reach,
        thickness,
        straight=straight_reach(path),
        owner=f"gusset at {corner.name}",
    )
    return lambda a: np.asarray(a * u + height(a) * n)


def _meeting(
    corner: Corner, on_parent: TubeEdge, on_branch: TubeEdge, gap: float
) -> tuple[float, float]:
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
        if abs(f) < ROUNDING:
            break
        a -= f / max(s, 0.2)
        if abs(a) > 8 * (rp + rb) / s:
            break
    if abs(off(a)) > MICRON:
        raise GeometryError(
            f"gusset at {corner.name}",
            "the tubes bend so sharply at the node that its edges do not meet.",
            "Use a tube gusset there, or the other corner.",
        )
    p = on_parent(a)
    return a, float(p @ np.array([c, s]))


def _gap(corner: Corner, path: CentreLine, p: Vec2, z: float = 0.0) -> float:
    """Distance of a point of the plate to a tube's axis, mm."""
    space = corner.node + p[0] * corner.along + p[1] * corner.across + z * corner.normal
    return float(np.linalg.norm(space - path.nearest(space).point))


def _curve(path: CentreLine, edge: TubeEdge, start: float, end: float) -> list[Segment]:
    """The edge along a tube between two distances as one straight or as arcs."""
    if len(path.pieces) == 1 and isinstance(path.pieces[0], Line):
        return [Segment(vec2(edge(start)), vec2(edge(end)))]
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
        run = path.points(even(need, 12)) - corner.node
        off = float(np.abs(run @ corner.normal).max())
        if off > 0.6 * radius:
            raise GeometryError(
                owner,
                f"{name} bends {off:.1f} mm out of the plate's plane within {need:.0f} mm of the "
                f"node ({0.6 * radius:.1f} mm at most).",
                "Use shorter legs or a tube gusset.",
            )
