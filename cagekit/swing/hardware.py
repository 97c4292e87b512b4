"""Sleeves, washers, pins and half cups of a swing-out bar, with the grip worked out."""

from __future__ import annotations

from math import asin, cos, pi, radians

import numpy as np
from msgspec import Struct

from cagekit.cage.door import BracketSpec, PartJoint, SmallPart, Stage, SwingJoint
from cagekit.cage.plate import circle_segment
from cagekit.geometry.centre_line import Vec
from cagekit.geometry.outline import Outline, Segment
from cagekit.materials.fasteners import fastener
from cagekit.materials.pins import PinSize, lengths_of
from cagekit.units import INCH
from cagekit.units.tolerance import ROUNDING, SAME_POINT

SPARE_THREADS = 2
"""Threads that stand out of the nut (common practice)."""
TIP = 0.6
"""Tip with the balls beyond a quick-release pin's usable length, in diameters."""
KNOB = (2.0, 0.8)
"""Width and height of a quick-release pin's knob, in diameters."""
CUP_PLAY = 0.5
"""Half cup to the plates beside it, mm."""
CUP_ANGLE = radians(80.0)
"""Most that a half cup reaches round to each side of its middle, rad."""


class PinSeat(Struct, frozen=True, kw_only=True, eq=False):
    """Where a bolt, pin or ring sits: its axis ``pin`` through ``origin``, across ``along``.

    All ``(3,)``, unit directions; ``size`` tells what goes round the bolt, ``joint`` and
    ``source`` go to the parts.
    """

    origin: Vec
    along: Vec
    pin: Vec
    size: PinSize
    joint: PartJoint
    hole: float

    @classmethod
    def of(cls, joint: SwingJoint) -> PinSeat:
        """The seat of a hinge's or latch's pin."""
        s = joint.spec
        return cls(
            origin=joint.origin, along=joint.along, pin=joint.pin, size=s.pin, joint=joint.name,
            hole=s.hole,
        )  # fmt: skip

    def frame(self, z: float) -> Vec:
        """Frame with its z along the pin, upward, at height ``z`` mm over the tube's axis."""
        up = self.pin if self.pin[2] >= 0 else np.asarray(-self.pin)
        m = np.eye(4)
        m[:3, 0], m[:3, 1], m[:3, 2] = self.along, np.cross(up, self.along), up
        m[:3, 3] = self.origin + z * up
        return m


class PinChoice(Struct, frozen=True, kw_only=True):
    """The pin that is bought for one joint; mm.

    Args:
        grip: plates, spacers and sleeve between head and nut, washers not counted.
        needed: shortest length that would do (bolt: under the head, with washers, nut and
            threads; quick-release pin: its usable length).
        length: the next length sold.
        shank: part of it without thread.
        shank_needed: shank that keeps the thread out of the far shear plane.
        found: whether the table has a length that does.
    """

    grip: float
    needed: float
    length: float
    shank: float
    shank_needed: float
    found: bool


def choose_pin(spec: BracketSpec, radius: float) -> PinChoice:
    """Work out the grip and choose the shortest pin sold that holds it.

    A bolt's shank should reach past the far shear plane and end under the nut's washer; the
    shortest that does is taken, else the shortest that is long enough at all.
    """
    grip = spec.grip(radius)
    row = lengths_of(spec.pin_kind, spec.pin.size)
    if spec.pin_kind == "quick-release":
        fits = [x for x in row.lengths if x >= grip - ROUNDING]
        length = fits[0] if fits else row.lengths[-1]
        return PinChoice(
            grip=grip, needed=grip, length=length, shank=length, shank_needed=grip,
            found=bool(fits),
        )  # fmt: skip
    return choose_bolt(spec.pin, spec.grade, grip, spec.thickness)


def choose_bolt(size: PinSize, grade: str, grip: float, outer: float) -> PinChoice:
    """Choose the shortest bolt sold that holds a grip; see `choose_pin`.

    Args:
        size: of the bolt.
        grade: of the bolt.
        grip: what it holds together, washers not counted, mm.
        outer: thickness of the outermost part under the nut, mm: the far shear plane is inside it.

    Raises:
        NotFoundError: no bolt of that size and grade, or no lengths of it.
    """
    row = lengths_of("bolt", size.size)
    w = size.washer_thickness
    pitch = fastener(size.thread, grade).pitch
    needed = grip + 2 * w + size.nut_height + SPARE_THREADS * pitch
    shear = w + grip - outer
    fits = [x for x in row.lengths if x >= needed - ROUNDING]
    whole = [
        x for x in fits if shear <= x - row.thread_length + ROUNDING <= grip + 2 * w + SAME_POINT
    ]
    pick = (whole or fits or [row.lengths[-1]])[0]
    return PinChoice(
        grip=grip, needed=needed, length=pick, shank=pick - row.thread_length,
        shank_needed=shear, found=bool(fits),
    )  # fmt: skip


def hardware(owner: str, joint: SwingJoint, radius: float, material: str) -> tuple[SmallPart, ...]:
    """Every small part of one joint, closed.

    Args:
        owner: id of the bar.
        joint: hinge or latch.
        radius: outside radius of the bar, mm.
        material: steel of the bar, taken for sleeve and half cup too.

    Raises:
        NotFoundError: the bolt's grade is not in the fastener table.
    """
    base = f"{owner}_{joint.name}"
    s, seat = joint.spec, PinSeat.of(joint)
    sleeve = s.sleeve_length(radius)
    out = [
        ring(f"{base}_sleeve", "sleeve", seat, s.sleeve_od, s.sleeve_bore, -sleeve / 2, sleeve,
              material, "tube {}, bore {}", (s.sleeve_od, s.sleeve_bore), welded=owner),
    ]  # fmt: skip
    if s.spacer > 0:
        low = -sleeve / 2 - s.spacer
        for way, z in (("lower", low), ("upper", sleeve / 2)):
            out.append(
                ring(f"{base}_spacer_{way}", "spacer", seat, s.pin.spacer_od,
                      max(s.pin.diameter, s.sleeve_bore), z, s.spacer, "washer steel",
                      f"spacer {s.pin.size} x {{}}", (s.spacer,)),
            )  # fmt: skip
    if s.pin_kind == "bolt":
        out += bolt_set(base, seat, choose_pin(s, radius), s.grade)
    else:
        out.append(_quick(base, seat, choose_pin(s, radius)))
    if s.cup:
        out.append(half_cup(f"{base}_half_cup", joint, radius, material))
    return tuple(out)


def ring(
    id_: str,
    kind: str,
    seat: PinSeat,
    od: float,
    bore: float,
    z: float,
    length: float,
    material: str,
    size: str,
    lengths: tuple[float, ...] = (),
    *,
    welded: str = "",
) -> SmallPart:
    """A ring round a seat's axis from height ``z`` up, mm.

    Args:
        id_: of the part.
        kind: of the part.
        seat: where it sits.
        od: outside diameter, mm.
        bore: mm.
        z: where it begins, from the tube's axis along the pin, mm.
        length: mm.
        material: steel.
        size: what it is called, ``{}`` for each of ``lengths``.
        lengths: mm.
        welded: member it is welded to.
    """
    return SmallPart(
        id=id_,
        kind=kind,
        material=material,
        stages=(Stage(Outline.circle((0.0, 0.0), od), length),),
        frame=seat.frame(z),
        bore=bore,
        called=size,
        lengths=lengths,
        welded_to=welded,
        joint=seat.joint,
        source=seat.size.source,
    )


def bolt_set(base: str, seat: PinSeat, choice: PinChoice, grade: str) -> list[SmallPart]:
    """Bolt from above with its two washers and nut.

    Args:
        base: what their ids begin with.
        seat: where it sits.
        choice: its grip and length.
        grade: of the bolt.
    """
    p = seat.size
    size = fastener(p.thread, grade)
    half, w, d = choice.grip / 2, p.washer_thickness, p.diameter
    head = _hexagon(size.across_flats)
    inch = "/" in p.size
    long = f"{choice.length / INCH:g} in" if inch else f"{choice.length:g} mm"
    bolt = SmallPart(
        id=f"{base}_bolt",
        kind="bolt",
        material=f"bolt steel {grade}",
        stages=(
            Stage(Outline.circle((0.0, 0.0), d), choice.length),
            Stage(head, p.head_height),
        ),
        frame=seat.frame(half + w - choice.length),
        called=f"{p.thread} x {long} {grade}",
        joint=seat.joint,
        source=p.source,
    )
    nut = SmallPart(
        id=f"{base}_nut",
        kind="nut",
        material="nut steel",
        stages=(Stage(head, p.nut_height),),
        frame=seat.frame(-half - w - p.nut_height),
        bore=d,
        called=f"{p.thread} locking nut",
        joint=seat.joint,
        source=p.source,
    )
    rings = [
        ring(f"{base}_washer_{way}", "washer", seat, p.washer_od, seat.hole, z, w,
             "washer steel", f"washer {p.size}")
        for way, z in (("lower", -half - w), ("upper", half))
    ]  # fmt: skip
    return [bolt, *rings, nut]


def _quick(base: str, seat: PinSeat, choice: PinChoice) -> SmallPart:
    """Quick-release pin from above, its knob on the upper plate."""
    p = seat.size
    d = p.diameter
    shank = choice.length + TIP * d
    inch = "/" in p.size
    usable = f"{choice.length / INCH:g} in" if inch else f"{choice.length:g} mm"
    return SmallPart(
        id=f"{base}_pin",
        kind="pin",
        material="pin steel",
        stages=(
            Stage(Outline.circle((0.0, 0.0), d), shank),
            Stage(Outline.circle((0.0, 0.0), KNOB[0] * d), KNOB[1] * d),
        ),
        frame=seat.frame(choice.grip / 2 - shank),
        called=f"quick-release pin {p.size}, {usable} usable",
        joint=seat.joint,
        source=lengths_of("quick-release", p.size).source,
    )


def _hexagon(across_flats: float) -> Outline:
    corner = across_flats / 2 / cos(pi / 6)
    turns = np.arange(6) * pi / 3
    return Outline.polygon(corner * np.stack([np.cos(turns), np.sin(turns)], axis=1))


def half_cup(id_: str, joint: SwingJoint, radius: float, material: str) -> SmallPart:
    """Tube split along its length that stands behind the bar, welded to the stub.

    Args:
        id_: of the cup.
        joint: hinge or latch of the bar.
        radius: outside radius of the tube, mm.
        material: key of its steel.
    """
    s = joint.spec
    inner = radius + s.stop_gap
    outer = inner + s.cup_wall
    half = cup_half_angle(s, radius)
    a, b = pi - half, pi + half
    arc_out = circle_segment((0.0, 0.0), outer, a, b)
    arc_in = circle_segment((0.0, 0.0), inner, b, a)
    outline = Outline.of_segments(
        [arc_out, Segment(arc_out.end, arc_in.start), arc_in, Segment(arc_in.end, arc_out.start)]
    )
    start = -(joint.pin_offset + s.cup_overlap)
    m = np.eye(4)
    m[:3, 0], m[:3, 1], m[:3, 2] = joint.out, joint.pin, joint.along
    m[:3, 3] = joint.origin + start * joint.along
    return SmallPart(
        id=id_,
        kind="half_cup",
        material=material,
        stages=(Stage(outline, s.cup_overlap + joint.pin_offset + s.reach),),
        frame=m,
        called=f"{{}} x {{}} tube, split to {2 * np.degrees(half):.0f} deg",
        lengths=(2 * outer, s.cup_wall),
        welded_to=joint.stub,
        joint=joint.name,
        source="NHRA 4:11 swing-out C (from memory)",
    )


def cup_half_angle(s: BracketSpec, radius: float) -> float:
    """How far the half cup reaches round to each side, rad: it stays between the plates."""
    outer = radius + s.stop_gap + s.cup_wall
    room = s.inside_width(radius) / 2 - CUP_PLAY
    return min(CUP_ANGLE, asin(min(room / outer, 1.0)))
