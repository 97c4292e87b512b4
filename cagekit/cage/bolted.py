"""What a tube with bolted joints is: the whole tube, its pieces, the joints, their parts and bolts.

A sleeve is a tube that slides over both pieces where they meet, with bolts right through it and
them; in each bolt hole of a piece a bush is welded, so that a tight bolt does not crush the tube.
A clevis is a fork welded into one piece and an eye welded into the other, with one bolt through
both of the fork's cheeks and the eye. A plug is a cone welded into one piece that sits in a socket
welded into the other, with one bolt through both. Frame: car axes, mm.
"""

from __future__ import annotations

from math import cos, pi
from typing import ClassVar, Literal

import numpy as np
from msgspec import Struct

from cagekit.cage.member import EndName, Member, Side
from cagekit.geometry.centre_line import CentreLine, Vec
from cagekit.materials.pins import PinSize
from cagekit.materials.tubes import Tube

JointKind = Literal["sleeve", "clevis", "plug"]
"""Kinds of bolted joints."""
SLEEVE = "joint_sleeve"
"""Role of a bolted sleeve where it stands as a tube."""
CLEVIS = "joint_clevis"
"""Role of fork and eye where they stand as a tube."""
PLUG = "joint_plug"
"""Role of socket and plug where they stand as a tube."""
BOLT = "joint_bolt"
"""Role of a bolt, head to tip, where it stands as a tube."""


UPRIGHT = 0.99
"""Rise of a tube over its length from which it has no top; as of its reference line."""


def steep(along: Vec) -> bool:
    """Whether a tube stands so upright that it has no top: turns are counted from its front."""
    return abs(float(along[2])) > UPRIGHT


class BoltedJoint(Struct, frozen=True, kw_only=True, eq=False):
    """What all kinds of bolted joints have.

    Args:
        id: of the joint among the small parts.
        station: the middle of the cut on the whole tube, mm from its end a.
        origin: that place, ``(3,)``.
        along: unit vector from end a to end b there, ``(3,)``.
        across: unit direction of the bolts, square to ``along``, ``(3,)``.
        turn: of the bolts about ``along`` from upright (from forward on a steep tube), rad.
        gap: what is cut out between the pieces, mm.
        od: outside diameter of the joint, mm.
        material: key of the steel of what is welded in or slid on.
        side: of the car.
        size: of the bolts.
        grade: of the bolts.
        bolts: their places from the middle of the cut, mm, negative towards end a.
        flats: across the flats of head and nut, mm.
        bolt_length: under the head, mm.
        shank: part of it without thread, mm.
        grip: what a bolt holds together, mm.
        outer: thickness of the outermost part under head and nut, mm: the shear planes are inside.
    """

    kind: ClassVar[JointKind]
    role: ClassVar[str]
    hinged: ClassVar[bool] = False
    """Whether it turns about its bolt."""
    welded: ClassVar[bool] = False
    """Whether the tube is welded round where it is cut."""

    id: str
    station: float
    origin: Vec
    along: Vec
    across: Vec
    turn: float
    gap: float
    od: float
    material: str
    side: Side
    size: PinSize
    grade: str
    bolts: tuple[float, ...]
    flats: float
    bolt_length: float
    shank: float
    grip: float
    outer: float

    @property
    def reach(self) -> float:
        """From the middle of the cut to the end of what is seen of the joint, mm."""
        return self.gap / 2

    @property
    def covers(self) -> float:
        """From the middle of the cut to the end of what takes up the tube, mm."""
        return self.reach

    @property
    def cuts(self) -> tuple[float, ...]:
        """Saw cuts that are seen, from the middle, mm."""
        return -self.gap / 2, self.gap / 2

    @property
    def span(self) -> tuple[float, float]:
        """Stations on the whole tube that the joint takes up, mm."""
        return self.station - self.covers, self.station + self.covers

    @property
    def up(self) -> Vec:
        """Direction to the bolts' heads, ``(3,)``."""
        return self.across if self.across[2] >= 0 else np.asarray(-self.across)

    @property
    def in_thread(self) -> bool:
        """Whether a shear plane lies in the thread."""
        return self.shank < self.size.washer_thickness + self.grip - self.outer

    @property
    def members(self) -> tuple[Member, ...]:
        """Joint and bolts as tubes: what people, shell and other tubes meet there."""
        reach = self.reach * self.along
        wide = self.flats / cos(pi / 6)
        top = self.grip / 2 + self.size.washer_thickness
        body = self._rod(self.id, self.role, self.od, self.origin - reach, self.origin + reach)
        heads = (
            self._rod(
                f"{self.id}_{n}_bolt", BOLT, wide,
                self.origin + x * self.along + (top - self.bolt_length) * self.up,
                self.origin + x * self.along + (top + self.size.head_height) * self.up,
            )
            for n, x in enumerate(self.bolts, start=1)
        )  # fmt: skip
        return body, *heads

    def _rod(self, id_: str, role: str, od: float, start: Vec, end: Vec) -> Member:
        tube = Tube(od=od, wall=od / 4, material=self.material)
        path = CentreLine.straight(start, end)
        return Member(id=id_, role=role, tube=tube, path=path, side=self.side)


class SleeveJoint(BoltedJoint, frozen=True, kw_only=True, eq=False):
    """One bolted sleeve.

    Args:
        wall, bore, length: of the sleeve, mm.
        bush_length: of the bushes, mm.
        slides: end of the tube to which the sleeve is slid to free the cut.
    """

    kind: ClassVar[JointKind] = "sleeve"
    role: ClassVar[str] = SLEEVE

    wall: float
    bore: float
    length: float
    bush_length: float
    slides: str

    @property
    def reach(self) -> float:
        """Half of the sleeve."""
        return self.length / 2

    @property
    def cuts(self) -> tuple[float, ...]:
        """One narrow cut."""
        return (0.0,)


class SpigotJoint(BoltedJoint, frozen=True, kw_only=True, eq=False):
    """What joints have whose halves are turned with a spigot and welded into their tubes.

    Args:
        collar: solid metal behind cheeks, eye, bore or taper, mm.
        spigot: length of the spigots in their tubes, mm.
        spigot_od: their diameter, mm.
        hole: diameter of the bolt's hole, mm.
    """

    welded: ClassVar[bool] = True

    collar: float
    spigot: float
    spigot_od: float
    hole: float

    @property
    def covers(self) -> float:
        """The spigots too."""
        return self.gap / 2 + self.spigot


class ClevisJoint(SpigotJoint, frozen=True, kw_only=True, eq=False):
    """One clevis: fork and eye, each turned and milled of one piece with a spigot into its tube.

    Args:
        fork: end of the tube whose piece carries the fork.
        eye: thickness of the eye, mm.
        cheek: thickness of each cheek of the fork, mm.
        slot: clear width between the cheeks, mm.
        width: of cheeks and eye across the tube, mm; their ends are half round about the bolt.
        stand: bolt to the collars' faces, mm.
    """

    kind: ClassVar[JointKind] = "clevis"
    role: ClassVar[str] = CLEVIS
    hinged: ClassVar[bool] = True

    fork: EndName
    eye: float
    cheek: float
    slot: float
    width: float
    stand: float


class PlugJoint(SpigotJoint, frozen=True, kw_only=True, eq=False):
    """One tapered plug: socket and plug, each turned of one piece with a spigot into its tube.

    Args:
        socket: end of the tube whose piece carries the socket.
        mouth: diameter of the taper at its wide end, mm.
        taper: length of the taper in the socket, mm.
        nose: length of the parallel nose beyond it, mm.
        nose_od: narrow end of the taper and bore for the nose, mm.
        fit: the nose under that bore, mm.
        deep: length of that bore, mm.
        seat: mouth of the socket to the plug's collar, mm.
    """

    kind: ClassVar[JointKind] = "plug"
    role: ClassVar[str] = PLUG

    socket: EndName
    mouth: float
    taper: float
    nose: float
    nose_od: float
    fit: float
    deep: float
    seat: float

    @property
    def travel(self) -> float:
        """How far the plug is drawn along the tube until its nose is out, mm."""
        return self.taper + self.nose


class BoltedTube(Struct, frozen=True, kw_only=True, eq=False):
    """A tube that comes apart at one or two bolted joints.

    Args:
        fitted: the whole tube, as it is coped and welded in.
        pieces: ids of its pieces from end a to end b.
        joints: its joints, from end a.
        hardware: ids of what is bolted and welded to them.
    """

    fitted: Member
    pieces: tuple[str, ...]
    joints: tuple[BoltedJoint, ...]
    hardware: tuple[str, ...] = ()

    @property
    def fittings(self) -> tuple[Member, ...]:
        """Joints and bolts as tubes."""
        return tuple(m for j in self.joints for m in j.members)
