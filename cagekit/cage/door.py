"""What a swing-out door bar is: the fitted bar, its pieces, hinge, latch and small parts.

Frame: car axes, mm, rad. Each joint has a frame of its own: ``along`` from the stub to the middle
of the bar, ``out`` away from the centre plane, ``pin`` = along x out; right-handed, origin on the
tube's axis at the pin. The bar opens by turning right-handed about the hinge's ``pin``.
"""

from __future__ import annotations

from math import cos, sin
from typing import Literal, get_args

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import ArrayLike

from cagekit.cage.member import EndName, Member, Plane
from cagekit.cage.plate import Hole, HolePurpose, Plate
from cagekit.geometry.arrays import Points
from cagekit.geometry.centre_line import CentreLine, Vec, vec
from cagekit.geometry.cope import cut_end
from cagekit.geometry.drill import Drill
from cagekit.geometry.end_cut import EndCut
from cagekit.geometry.outline import Outline, Segment
from cagekit.geometry.profile import TurnedSide, sides
from cagekit.materials.pins import PinKind, PinSize
from cagekit.units import LengthUnit, format_length

JointName = Literal["hinge", "latch"]
PartJoint = Literal["hinge", "latch", "sleeve", "clevis", "plug"]
"""What a small part belongs to: a joint of a swing-out bar, or a bolted joint."""
BracketDesign = Literal["saddle", "cheeks"]

DENSITY = 7.85e-6
"""Density of steel, kg/mm3. Source: EN 1993-1-1, 3.2.6."""


class Stage(Struct, frozen=True, eq=False):
    """A stretch of a small part: its section and how long it is, mm.

    ``end`` is the diameter at its far end where a round one tapers, mm; 0 for one that does not.
    """

    outline: Outline
    length: float
    end: float = 0.0

    @classmethod
    def turned(cls, diameter: float, length: float, end: float = 0.0) -> Stage:
        """A round one, mm."""
        return cls(Outline.circle((0.0, 0.0), diameter), length, end)

    @property
    def round_(self) -> tuple[float, float, float]:
        """Radius at the near and the far end, length, mm, of a round one."""
        near = float(np.ptp(self.outline.vertices[:, 0])) / 2
        return near, (self.end / 2 or near), self.length

    @property
    def volume(self) -> float:
        """Volume, mm3; exact with arcs."""
        if not self.end:
            return abs(self.outline.area) * self.length
        a, b, length = self.round_
        return float(np.pi / 3 * length * (a**2 + a * b + b**2))


class Lug(Struct, frozen=True, kw_only=True, eq=False):
    """A flat on top of a turned part, with a hole right across: a cheek of a fork, an eye.

    It stands on the last stage, its end half round about the hole. In the part's own axes:

    Args:
        low, high: where its two faces are along x, mm.
        width: along y, mm, the same to both sides.
        stand: from the last stage to the hole's axis, mm.
        hole: diameter, mm.
    """

    low: float
    high: float
    width: float
    stand: float
    hole: float

    @property
    def tip(self) -> float:
        """From the last stage to the tip, mm."""
        return self.stand + self.width / 2

    @property
    def outline(self) -> Outline:
        """Seen along x: y to the right, the part's axis up; its first edge is the foot."""
        half = self.width / 2
        corners = [(-half, 0.0), (half, 0.0), (half, self.stand), (-half, self.stand)]
        ends = [np.array(c) for c in corners]
        foot, right, left = (Segment(ends[i], ends[j]) for i, j in ((0, 1), (1, 2), (3, 0)))
        return Outline.of_segments([foot, right, Segment(ends[2], ends[3], 1.0), left])

    @property
    def volume(self) -> float:
        """Volume, mm3."""
        area = abs(self.outline.area) - np.pi / 4 * self.hole**2
        return float(area * (self.high - self.low))


class SmallPart(Struct, frozen=True, kw_only=True, eq=False):
    """A turned or cut small part: stages one on another along z of its frame, from z = 0 up.

    Args:
        id: unique in the cage.
        kind: what it is: ``sleeve``, ``spacer``, ``washer``, ``bolt``, ``nut``, ``pin``,
            ``half_cup``, ``joint_sleeve``, ``bush``, ``fork``, ``eye``, ``socket`` or ``plug``.
        material: steel, in words where it is bought as a part.
        stages: sections, each wholly inside or outside the next.
        frame: ``(4, 4)`` rigid map of the part's own axes to the car's.
        bore: diameter of the hole along z through all stages, mm; 0 for none.
        called: what it is called when it is bought, e.g. ``"3/8-24 x 3 1/4 in"``; ``{}`` stands
            for each of ``lengths``, which are told in the reader's units.
        lengths: those lengths, mm.
        welded_to: member it is welded to; empty for a loose part.
        joint: joint that it belongs to.
        source: where the sizes come from.
        drills: holes right through it, square to a round part with a bore; car axes.
        lugs: flats that stand on the last stage.
        hollow: a blind bore from the end of the last stage down, round stages.
    """

    id: str
    kind: str
    material: str
    stages: tuple[Stage, ...]
    frame: Vec
    bore: float = 0.0
    called: str = ""
    lengths: tuple[float, ...] = ()
    welded_to: str = ""
    joint: PartJoint = "hinge"
    source: str = ""
    drills: tuple[Drill, ...] = ()
    lugs: tuple[Lug, ...] = ()
    hollow: tuple[Stage, ...] = ()

    @property
    def size(self) -> str:
        """What it is called when it is bought, lengths in mm."""
        return self.size_in("mm")

    def size_in(self, units: LengthUnit) -> str:
        """What it is called when it is bought, lengths in ``units``."""
        decimals = 2 if units == "mm" else 3
        return self.called.format(
            *(format_length(v, units, decimals=decimals) for v in self.lengths)
        )

    @property
    def length(self) -> float:
        """Length along its axis, mm."""
        return self.turned + max((g.tip for g in self.lugs), default=0.0)

    @property
    def turned(self) -> float:
        """Length of all stages, mm."""
        return sum(s.length for s in self.stages)

    @property
    def volume(self) -> float:
        """Volume, mm3; exact with arcs."""
        hole = np.pi / 4 * self.bore**2 * self.turned
        drilled = sum(d.volume(*self._walls_at(d)) for d in self.drills)
        stages = sum(s.volume for s in self.stages) - sum(s.volume for s in self.hollow)
        return stages - hole + sum(g.volume for g in self.lugs) - drilled

    def _walls_at(self, drill: Drill) -> tuple[float, float]:
        if self.bore:
            return self.walls
        crossed = self.crossed(drill)
        return crossed[0].r0, crossed[1].r0 if crossed[1:] else 0.0

    @property
    def revolved(self) -> bool:
        """Whether it is round with a taper, a blind bore, or a hole across solid metal."""
        taper = any(s.end for s in self.stages)
        return taper or bool(self.hollow) or bool(self.drills and not self.bore)

    @property
    def profile(self) -> tuple[TurnedSide, ...]:
        """Half profile of a round part, from the axis round to the axis."""
        turned, bored = ([s.round_ for s in stages] for stages in (self.stages, self.hollow))
        return tuple(sides(turned, bored))

    def crossed(self, drill: Drill) -> tuple[TurnedSide, ...]:
        """What of the profile a hole crosses: an outside, then a bore if there is one."""
        z = float((drill.point - self.frame[:3, 3]) @ self.frame[:3, 2])
        found = [s for s in self.profile if s.holds(z)]
        return tuple(sorted(found, key=lambda s: not s.outside))

    @property
    def walls(self) -> tuple[float, float]:
        """Outside and inside radius of a round part, mm."""
        return float(np.ptp(self.stages[0].outline.vertices[:, 0])) / 2, self.bore / 2

    @property
    def axis(self) -> CentreLine:
        """The part's own axis, from its first stage to its last."""
        start = self.frame[:3, 3]
        return CentreLine.straight(start, start + self.turned * self.frame[:3, 2])

    @property
    def mass(self) -> float:
        """Mass, kg."""
        return float(self.volume * DENSITY)

    @property
    def square_ends(self) -> tuple[EndCut, EndCut]:
        """Both ends of a round part as those of a tube that is sawn square."""
        a, b = (cut_end(self.axis, e, *self.walls, owner=self.id) for e in get_args(EndName))
        return a, b

    def prisms(self) -> tuple[Plate, ...]:
        """The stages and what stands on them as plates, for meshes and solids."""
        out = []
        top = 0.0
        for n, stage in enumerate(self.stages, 1):
            top += stage.length
            shift = np.eye(4)
            shift[2, 3] = top
            holes = (Hole.circle((0.0, 0.0), self.bore, HolePurpose.PIN),) if self.bore else ()
            out.append(
                Plate(
                    id=self.id if len(self.stages) == 1 else f"{self.id}_{n}",
                    kind=self.kind,
                    thickness=stage.length,
                    material=self.material,
                    outline=stage.outline,
                    holes=holes,
                    placement=self.frame @ shift,
                )
            )
        return (*out, *(self._plate(g, n, top) for n, g in enumerate(self.lugs, 1)))

    def _plate(self, lug: Lug, number: int, top: float) -> Plate:
        """A lug as a plate whose face is its high side."""
        turn = np.eye(4)
        # outline x, y and the plate's thickness are y, z and x of the part
        turn[:3, :3] = np.roll(np.eye(3), 1, axis=0)
        turn[:3, 3] = lug.high, 0.0, top
        return Plate(
            id=f"{self.id}_lug_{number}",
            kind=self.kind,
            thickness=lug.high - lug.low,
            material=self.material,
            outline=lug.outline,
            holes=(Hole.circle((0.0, lug.stand), lug.hole, HolePurpose.PIN),),
            placement=self.frame @ turn,
        )

    def moved(self, motion: ArrayLike) -> SmallPart:
        """The part after a rigid motion ``(4, 4)`` of the car's axes."""
        m = np.asarray(motion, float)
        drills = tuple(d.moved(m[:3, :3], m[:3, 3]) for d in self.drills)
        return replace(self, frame=m @ self.frame, drills=drills)


class BracketSpec(Struct, frozen=True, kw_only=True, eq=False):
    """All sizes of the brackets of one joint, mm.

    ``fold_radius`` and ``k`` are the saddle's; ``cup`` tells whether a half cup stands behind the
    bar. The rest is as in the entry, with tables and tooling filled in.
    """

    design: BracketDesign
    thickness: float
    material: str
    pin_kind: PinKind
    pin: PinSize
    grade: str
    hole: float
    sleeve_od: float
    sleeve_bore: float
    sleeve_stand: float
    spacer: float
    side_play: float
    ear: float
    overlap: float
    ligament: float
    clearance: float
    stop_gap: float
    reach: float
    cup: bool
    cup_wall: float
    cup_overlap: float
    weld_leg: float
    fold_radius: float
    k: float
    min_flange: float
    corner_radius: float
    pin_offset: float | None = None

    def sleeve_length(self, radius: float) -> float:
        """Length of the sleeve through a bar of outside ``radius``, mm."""
        return 2 * (radius + self.sleeve_stand)

    def inside_width(self, radius: float) -> float:
        """Clear width between the plates, mm: sleeve, both spacer washers and their play."""
        return self.sleeve_length(radius) + 2 * self.spacer + self.side_play

    def grip(self, radius: float) -> float:
        """What the pin holds together, mm: plate, spacer, sleeve, spacer, plate, with the play."""
        return self.inside_width(radius) + 2 * self.thickness

    @property
    def play(self) -> float:
        """How far the closed bar can move before its pin is loaded, mm."""
        return (self.hole - self.pin.diameter) / 2 + (self.sleeve_bore - self.pin.diameter) / 2


class SwingJoint(Struct, frozen=True, kw_only=True, eq=False):
    """Hinge or latch of a swing-out bar.

    Args:
        name: hinge or latch.
        end: end of the bar that it is at.
        stub: id of the standing stub.
        origin: pin on the tube's axis, ``(3,)``.
        along, out, pin: unit vectors, see the module.
        cut_station: the stub's face on the fitted bar, mm from its end a.
        pin_offset: stub's face to the pin, mm.
        gap: width of the saw cut, mm.
        relief: lean of the bar's end against square, rad; positive takes the outer side back.
        face: the bar's end as a plane.
        stub_face: the stub's end as a plane.
        spec: sizes of the brackets.
        pin_length: length of the bolt under its head, or usable length of the pin, mm.
        shank: part of it without thread, mm.
    """

    name: JointName
    end: EndName
    stub: str
    origin: Vec
    along: Vec
    out: Vec
    pin: Vec
    cut_station: float
    pin_offset: float
    gap: float
    relief: float
    face: Plane
    stub_face: Plane
    spec: BracketSpec
    pin_length: float
    shank: float

    @property
    def frame(self) -> Vec:
        """Map ``(4, 4)`` of (along, out, pin) coordinates to car axes."""
        m = np.eye(4)
        m[:3, 0], m[:3, 1], m[:3, 2] = self.along, self.out, self.pin
        m[:3, 3] = self.origin
        return m


class SwingDoor(Struct, frozen=True, kw_only=True, eq=False):
    """One swing-out door bar.

    Args:
        bar: id of the piece that swings.
        fitted: the bar as it is fitted before it is cut, under an id of its own.
        pieces: ids of the pieces from end a to end b.
        hinge, latch: its joints.
        open_angle: how far it should open, rad.
        plates, hardware: ids of its brackets and small parts.
    """

    bar: str
    fitted: Member
    pieces: tuple[str, str, str]
    hinge: SwingJoint
    latch: SwingJoint
    open_angle: float
    plates: tuple[str, ...] = ()
    hardware: tuple[str, ...] = ()

    @property
    def side(self) -> str:
        """Side of the car."""
        return self.fitted.side

    @property
    def joints(self) -> tuple[SwingJoint, SwingJoint]:
        """Hinge, then latch."""
        return self.hinge, self.latch

    def motion(self, angle: float) -> Vec:
        """Rigid motion ``(4, 4)`` of the bar when it is opened by ``angle`` rad."""
        return turn_about(self.hinge.origin, self.hinge.pin, angle)


def turn_about(point: ArrayLike, axis: ArrayLike, angle: float) -> Vec:
    """Rigid motion ``(4, 4)``: right-handed turn by ``angle`` rad about an axis through a point.

    Args:
        point: a point on the axis, ``(3,)`` mm.
        axis: unit vector, ``(3,)``.
        angle: rad.
    """
    p, (x, y, z) = np.asarray(point, float), vec(axis)
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    m = np.eye(4)
    m[:3, :3] += sin(angle) * cross + (1.0 - cos(angle)) * (cross @ cross)
    m[:3, 3] = p - m[:3, :3] @ p
    return m


def moved_points(points: ArrayLike, motion: Vec) -> Points:
    """Points ``(n, 3)`` after a rigid motion ``(4, 4)``."""
    return np.asarray(np.asarray(points, float) @ motion[:3, :3].T + motion[:3, 3])
