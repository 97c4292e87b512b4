"""What a tube with bolted sleeves is: the whole tube, its pieces, the sleeves and their bolts.

A sleeve is a tube that slides over both pieces where they meet, with bolts right through it and
them; in each bolt hole of a piece a bush is welded, so that a tight bolt does not crush the tube.
Frame: car axes, mm.
"""

from __future__ import annotations

from dataclasses import dataclass

from cagekit.cage.member import Member, Side
from cagekit.geometry.centre_line import CentreLine, Vec
from cagekit.materials.pins import PinSize
from cagekit.materials.tubes import Tube

SLEEVE = "joint_sleeve"
"""Role of a bolted sleeve where it stands as a tube."""


UPRIGHT = 0.99
"""Rise of a tube over its length from which it has no top; as of its reference line."""


def steep(along: Vec) -> bool:
    """Whether a tube stands so upright that it has no top: turns are counted from its front."""
    return abs(float(along[2])) > UPRIGHT


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SleeveJoint:
    """One bolted sleeve.

    Args:
        id: of the sleeve among the small parts.
        station: the middle of the saw cut on the whole tube, mm from its end a.
        origin: that place, ``(3,)``.
        along: unit vector from end a to end b there, ``(3,)``.
        across: unit direction of the bolts, square to ``along``, ``(3,)``.
        turn: of the bolts about ``along`` from upright (from forward on a steep tube), rad.
        gap: width of the saw cut, mm.
        od, wall, bore, length: of the sleeve, mm.
        material: key of its steel.
        side: of the car.
        size: of the bolts.
        grade: of the bolts.
        bolts: their places from the middle of the cut, mm, negative towards end a.
        bush_length: of the bushes, mm.
        bolt_length: under the head, mm.
        grip: what a bolt holds together, mm.
        slides: end of the tube to which the sleeve is slid to free the cut.
    """

    id: str
    station: float
    origin: Vec
    along: Vec
    across: Vec
    turn: float
    gap: float
    od: float
    wall: float
    bore: float
    length: float
    material: str
    side: Side
    size: PinSize
    grade: str
    bolts: tuple[float, ...]
    bush_length: float
    bolt_length: float
    grip: float
    slides: str

    @property
    def member(self) -> Member:
        """The sleeve as a tube round its pieces: what people, shell and other tubes meet there."""
        half = self.length / 2 * self.along
        return Member(
            id=self.id,
            role=SLEEVE,
            tube=Tube(od=self.od, wall=self.wall, material=self.material),
            path=CentreLine.straight(self.origin - half, self.origin + half),
            side=self.side,
        )

    @property
    def span(self) -> tuple[float, float]:
        """Stations on the whole tube that the sleeve covers, mm."""
        return self.station - self.length / 2, self.station + self.length / 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SleevedTube:
    """A tube that comes apart at one or two bolted sleeves.

    Args:
        fitted: the whole tube, as it is coped and welded in.
        pieces: ids of its pieces from end a to end b.
        joints: its sleeves, from end a.
        hardware: ids of sleeves, bolts, nuts, washers and bushes.
    """

    fitted: Member
    pieces: tuple[str, ...]
    joints: tuple[SleeveJoint, ...]
    hardware: tuple[str, ...] = ()
