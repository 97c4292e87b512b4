"""The two bracket designs of a swing-out bar: a folded saddle, and a pair of flat cheeks.

Flat patterns have x along the joint's ``along`` and their pin holes at x = 0. A saddle's web is
its base, behind the bar (towards the car's middle), flanges folded up to both sides of the bar; a
cheek lies square to the pin, its face away from the bar.
"""

from __future__ import annotations

from math import pi, sqrt, tan

import numpy as np

from cagekit.cage.door import SwingJoint
from cagekit.cage.plate import Hole, HolePurpose, Mark, Pin, Plate, PlateWeld, circle_segment
from cagekit.errors import GeometryError
from cagekit.geometry.centre_line import Vec
from cagekit.geometry.fold import Fold, bend_allowance
from cagekit.geometry.outline import Outline, Segment, vec2
from cagekit.plates.tab import tangent_angle

EDGE = 0.25
"""Height of a flange's edge over the tube's middle where it is welded to the stub, in radii: low
enough that the tube falls away and leaves a groove for the weld."""
NOSE = 0.2
"""The same beyond the latch pin, below the middle, so that the bar comes out."""
STUB_WIDTH = 0.75
"""Half width of a cheek on the stub, in radii: tube to be seen and welded on both sides."""
INSIDE = 3.0
"""Radius of inside corners, mm: a sharp one starts a crack and cannot be cut anyway."""
SHALLOW = 1.6
"""Gap (mm) between web and tube up to which a fillet closes it: 1/16 in (AWS D1.1 5.21.1, from
memory)."""


def brackets(owner: str, joint: SwingJoint, radius: float) -> tuple[Plate, ...]:
    """Bracket plates of one joint of the bar ``owner`` of outside ``radius`` mm.

    Args:
        owner: id of the bar.
        joint: hinge or latch of the bar.
        radius: outside radius of the tube, mm.

    Raises:
        GeometryError: ear, web or flange cannot be drawn with these sizes.
    """
    if joint.spec.design == "saddle":
        return (saddle(f"{owner}_{joint.name}_saddle", owner, joint, radius),)
    return tuple(
        cheek(f"{owner}_{joint.name}_cheek_{way}", owner, joint, radius, up)
        for way, up in (("upper", True), ("lower", False))
    )


# -- saddle ----------------------------------------------------------------------------------


def saddle(id_: str, owner: str, joint: SwingJoint, radius: float) -> Plate:
    """The folded saddle: web behind the tube, a flange with an ear above and below it.

    At the hinge the web ends with the stub, so that the bar's end can turn; at the latch it
    reaches past the pin and the closed bar bears on it.

    Args:
        id_: id of the plate.
        owner: id of the bar.
        joint: hinge or latch of the bar.
        radius: outside radius of the tube, mm.
    """
    s = joint.spec
    half, zone = web_and_zone(joint, radius)
    flange = _flange(id_, joint, radius)
    top = half + zone + flange.vertices * np.array([0.0, 1.0])
    upper = np.column_stack([flange.vertices[:, 0], top[:, 1]])
    up = Outline(upper, flange.bulges, closed=False)
    down = up.mapped(np.diag([1.0, -1.0])).reversed()
    pattern = _joined(up, down)
    centre = half + zone + radius + s.stop_gap - s.fold_radius
    folds = tuple(
        Fold.along((x0, y), (x1, y), pi / 2, s.fold_radius, s.k, name)
        for name, x0, x1, y in (
            ("upper", -stub_end(joint), web_end(joint), half + zone / 2),
            ("lower", web_end(joint), -stub_end(joint), -half - zone / 2),
        )
    )
    pins = tuple(_pin(n, joint, radius) for n in (0, 1))
    return Plate(
        id=id_,
        kind=f"{joint.name}_saddle",
        bar=owner,
        joint=joint.name,
        thickness=s.thickness,
        material=s.material,
        outline=pattern,
        holes=tuple(Hole.circle((0.0, y), s.hole, HolePurpose.PIN) for y in (centre, -centre)),
        folds=folds,
        marks=() if joint.name == "hinge" else (_cut_mark(joint, half),),
        pins=pins,
        welds=_saddle_welds(joint, radius),
        base=vec2((-joint.pin_offset - s.overlap / 2, 0.0)),
        placement=_placement(joint, -(radius + s.stop_gap) * joint.out, joint.out),
        members=(joint.stub, owner),
        notes=(
            f"pin at {joint.pin_offset:.1f} mm from the cut",
            *(("web's end flush with the cut",) if joint.name == "hinge" else ()),
        ),
    )


def web_and_zone(joint: SwingJoint, radius: float) -> tuple[float, float]:
    """Half width of the web's flat and width of a bend zone in the flat pattern, mm."""
    s = joint.spec
    half = s.inside_width(radius) / 2 - s.fold_radius
    return half, bend_allowance(pi / 2, s.fold_radius, s.thickness, s.k)


def stub_end(joint: SwingJoint) -> float:
    """How far the bracket reaches from the pin over the stub, mm."""
    return joint.pin_offset + joint.spec.overlap


def web_end(joint: SwingJoint) -> float:
    """Where the saddle's web ends, mm from the pin along the bar."""
    return -joint.pin_offset if joint.name == "hinge" else joint.spec.reach


def _flange(id_: str, joint: SwingJoint, radius: float) -> Outline:
    """Edge of the upper flange from the web's end to the stub's end, y over the bend zone, mm."""
    s = joint.spec
    low = radius + s.stop_gap - s.fold_radius  # height of the tube's middle over the bend zone
    centre = np.array([0.0, low])
    back = -stub_end(joint)
    edge = low + EDGE * radius
    corner = min(s.corner_radius, edge / 2)
    if edge >= low + s.ear:
        raise GeometryError(
            id_,
            f"an ear of {s.ear:.1f} mm radius is hidden in a flange {edge:.1f} mm high.",
            f"Use an ear of {edge - low + 2:.1f} mm radius or more.",
        )
    start = np.array([web_end(joint), 0.0])
    hinge = joint.name == "hinge"
    # beside the hinge's ear the flange is left on the bend, so that the corner can be rounded
    near = start + np.array([0.0, min(6.0, 0.35 * low) if hinge else low - NOSE * radius])
    shoulder = np.array([-_shoulder(joint, edge - low), edge])
    down = tangent_angle(vec2(near), vec2(centre), s.ear, id_, side=1.0)
    rise = tangent_angle(vec2(shoulder), vec2(centre), s.ear, id_, side=-1.0)
    arc = circle_segment(centre, s.ear, down, down + (rise - down) % (2 * pi))
    tail = np.array([back, edge])
    first = INSIDE if hinge else min(s.corner_radius, near[1] / 2)
    return _rounded(
        [start, near, arc, shoulder, tail, np.array([back, 0.0])],
        {1: min(first, 0.6 * near[1]), 3: INSIDE, 4: corner},
    )


def _shoulder(joint: SwingJoint, height: float) -> float:
    """How far from the pin an ear begins, mm: at the cut, or further off when the ear is large.

    ``height`` is that of the edge it leaves, from the middle of the ear.
    """
    reach = sqrt(max(joint.spec.ear**2 - height**2, 0.0))
    return max(joint.pin_offset, 1.25 * reach)


def _rounded(points: list[Vec | Segment], radii: dict[int, float]) -> Outline:
    """An open chain through points, and an arc where one is among them, corners rounded.

    ``radii`` are by index; a corner whose straights are too short gets what they hold.
    """

    def last(q: Vec | Segment) -> Vec:
        return q.end if isinstance(q, Segment) else q

    def first(q: Vec | Segment) -> Vec:
        return q.start if isinstance(q, Segment) else q

    out: list[Segment] = []
    here = last(points[0])
    for i, q in enumerate(points[1:], 1):
        if isinstance(q, Segment):
            out += [Segment(vec2(here), q.start), q]
            here = q.end
            continue
        if i not in radii:
            out.append(Segment(vec2(here), vec2(q)))
            here = q
            continue
        before, after = q - last(points[i - 1]), first(points[i + 1]) - q
        sizes = np.hypot(*before), np.hypot(*after)
        u, v = before / sizes[0], after / sizes[1]
        turn = float(np.arctan2(u[0] * v[1] - u[1] * v[0], u @ v))
        tail = min(radii[i] * tan(abs(turn) / 2), 0.45 * float(min(sizes)))
        a, b = q - tail * u, q + tail * v
        out += [Segment(vec2(here), vec2(a)), Segment(vec2(a), vec2(b), tan(turn / 4))]
        here = b
    return Outline.of_segments(out, closed=False)


def _joined(upper: Outline, lower: Outline) -> Outline:
    """Upper flange's edge, the stub's end of the web, lower flange's edge, the web's other end."""
    up, down = list(upper.segments), list(lower.segments)
    return Outline.of_segments(
        [*up, Segment(up[-1].end, down[0].start), *down, Segment(down[-1].end, up[0].start)]
    ).cleaned()


def _saddle_welds(joint: SwingJoint, radius: float) -> tuple[PlateWeld, ...]:
    """Both flange edges along the stub, and across the web's end where it is near the tube."""
    s = joint.spec
    near = sqrt(max(radius**2 - (radius + s.stop_gap - SHALLOW) ** 2, 0.0))
    return (
        PlateWeld(to=joint.stub, length=2 * s.overlap, kind="flare groove", leg=s.weld_leg),
        PlateWeld(to=joint.stub, length=2 * near, kind="fillet", leg=s.weld_leg),
    )


# -- cheeks ----------------------------------------------------------------------------------


def cheek(id_: str, owner: str, joint: SwingJoint, radius: float, upper: bool) -> Plate:
    """One flat cheek: a strip on the stub that widens or narrows to the ear round the pin.

    Args:
        id_: id of the plate.
        owner: id of the bar.
        joint: hinge or latch of the bar.
        radius: outside radius of the tube, mm.
        upper: whether it lies above the tube.
    """
    s = joint.spec
    half = STUB_WIDTH * radius
    side = 1.0 if (joint.pin[2] >= 0) == upper else -1.0
    shoulder = vec2((-_shoulder(joint, half), -half))
    centre = vec2((0.0, 0.0))
    first = tangent_angle(shoulder, centre, s.ear, id_, side=1.0)
    last = -first
    arc = circle_segment(centre, s.ear, first, first + (last - first) % (2 * pi))
    back, r = -stub_end(joint), s.corner_radius
    flip = np.array([1.0, -1.0])
    bulge = sqrt(2) - 1
    outline = Outline.of_segments(
        [
            Segment(vec2((back + r, -half)), shoulder),
            Segment(shoulder, arc.start),
            arc,
            Segment(arc.end, vec2(shoulder * flip)),
            Segment(vec2(shoulder * flip), vec2((back + r, half))),
            Segment(vec2((back + r, half)), vec2((back, half - r)), bulge),
            Segment(vec2((back, half - r)), vec2((back, r - half))),
            Segment(vec2((back, r - half)), vec2((back + r, -half)), bulge),
        ]
    )
    normal = side * joint.pin
    lift = (s.inside_width(radius) / 2 + s.thickness) * normal
    return Plate(
        id=id_,
        kind=f"{joint.name}_cheek",
        bar=owner,
        joint=joint.name,
        thickness=s.thickness,
        material=s.material,
        outline=outline,
        holes=(Hole.circle(centre, s.hole, HolePurpose.PIN),),
        marks=(_cut_mark(joint, half),),
        pins=(_pin(0, joint, radius),),
        welds=(
            PlateWeld(to=joint.stub, length=2 * s.overlap, kind="flare groove", leg=s.weld_leg),
        ),
        base=centre,
        placement=_placement(joint, lift, normal),
        members=(joint.stub, owner),
        notes=(f"pin at {joint.pin_offset:.1f} mm from the cut",),
    )


# -- both ------------------------------------------------------------------------------------


def _pin(hole: int, joint: SwingJoint, radius: float) -> Pin:
    """The pin in double shear, pulled along the bar away from the stub."""
    s = joint.spec
    return Pin(
        hole=hole,
        diameter=s.pin.diameter,
        shear_planes=2,
        load=(1.0, 0.0),
        grade=s.grade if s.pin_kind == "bolt" else "",
        grip=s.grip(radius),
    )


def _cut_mark(joint: SwingJoint, half: float) -> Mark:
    """Scribed line where the stub ends: the bracket is set to it."""
    x = -joint.pin_offset
    reach = 0.8 * half
    line = Outline(np.array([[x, -reach], [x, reach]]), np.zeros(2), closed=False)
    return Mark(kind="cut", line=line, text=f"{joint.stub} ends here")


def _placement(joint: SwingJoint, shift: Vec, face: Vec) -> Vec:
    m = np.eye(4)
    m[:3, 0], m[:3, 1], m[:3, 2] = joint.along, np.cross(face, joint.along), face
    m[:3, 3] = joint.origin + shift
    return m
