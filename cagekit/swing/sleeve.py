"""A bolted sleeve: a tube that slides over both pieces, bushes in them, bolts through all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import ceil, sqrt
from typing import TYPE_CHECKING

import numpy as np

from cagekit.cage.bolted import SLEEVE, SleeveJoint
from cagekit.cage.door import SmallPart, Stage
from cagekit.cage.member import Member
from cagekit.geometry.centre_line import Vec, vec
from cagekit.geometry.drill import Drill
from cagekit.geometry.outline import Outline
from cagekit.inputs.bolted import SleeveEntry
from cagekit.materials.fasteners import fastener
from cagekit.materials.pins import PinSize
from cagekit.swing.asked import EDGE, Asked
from cagekit.swing.hardware import PinSeat, bolt_set, choose_bolt, ring
from cagekit.swing.spec import MOST_SLEEVE
from cagekit.units import INCH
from cagekit.units.tolerance import ROUNDING

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage

USUAL_SIZE: Mapping[str, str] = {"mm": "M8", "in": "5/16"}
"""Bolts by the build's units (common practice)."""
DIAMETERS = 3.0
"""Length of a sleeve in tube diameters (common practice)."""
LEAST_WALL = 3.0
"""Wall of a sleeve that says none, mm, where the tube's is thinner (common practice)."""
STEP: Mapping[str, float] = {"mm": 5.0, "in": INCH / 4}
"""The usual length is rounded up to this, mm."""


def sleeve_joint(cage: Cage, asked: Asked[SleeveEntry], id_: str) -> SleeveJoint:
    """The sleeve that is asked for.

    Args:
        cage: the tubes, whole.
        asked: what the build says.
        id_: of the joint.

    Raises:
        InputError: it cannot be, with its line and what would do.
    """
    bar, entry = asked.member, asked.entry
    size, grade = asked.bolt(USUAL_SIZE)
    od, step = bar.tube.od, STEP[asked.units]
    usual = ceil(DIAMETERS * od / step - ROUNDING) * step
    length = usual if entry.length is None else float(entry.length)
    wall = max(bar.tube.wall, LEAST_WALL) if entry.wall is None else float(entry.wall)
    gap = float(entry.cut_gap)
    _require_bolts(asked, size, length)
    outer = od + entry.fit + 2 * wall
    choice = asked.long_enough(size, grade, outer, wall)
    half = (length - gap) / 2
    near = [gap / 2 + half * (i + 0.5) / entry.bolts for i in range(entry.bolts)]
    return SleeveJoint(
        id=id_,
        **asked.ground,
        gap=gap,
        od=outer,
        wall=wall,
        bore=od + entry.fit,
        length=length,
        size=size,
        grade=grade,
        bolts=(*(-x for x in reversed(near)), *near),
        bush_length=2 * sqrt((od / 2) ** 2 - (size.sleeve_od / 2) ** 2),
        flats=fastener(size.thread, grade).across_flats,
        bolt_length=choice.length,
        shank=choice.shank,
        grip=outer,
        outer=wall,
        slides=_slides(cage, asked, length),
    )


def _require_bolts(asked: Asked[SleeveEntry], size: PinSize, length: float) -> None:
    """Bushes go into the tube with metal beside them, and the sleeve reaches past its holes."""
    bar, entry, said = asked.member, asked.entry, asked.said
    if size.sleeve_od > MOST_SLEEVE * bar.tube.od or size.sleeve_od / 2 >= bar.tube.inner_radius:
        raise asked.wrong(
            "bolt_size", size.size,
            f"its bush of {said(size.sleeve_od)} cuts the tube of {said(bar.tube.od)} nearly "
            f"through ({asked.most(MOST_SLEEVE * bar.tube.od)} at most).",
            "Use smaller bolts.",
        )  # fmt: skip
    pitch = (length - entry.cut_gap) / 2 / entry.bolts
    least = size.sleeve_od * (1 + 2 * EDGE)
    if pitch < least:
        need = 2 * entry.bolts * least + entry.cut_gap
        raise asked.wrong(
            "length", said(length),
            f"{entry.bolts} bolts in each piece need a sleeve of {asked.least(need)} at least.",
            "Make it longer, or use fewer or smaller bolts.",
        )  # fmt: skip


def _slides(cage: Cage, asked: Asked[SleeveEntry], length: float) -> str:
    """The end to which the sleeve is slid off the cut; refuse one that cannot be."""
    at, said = asked.station, asked.said
    low, high = asked.clear(cage, length / 2, "sleeve", "make the sleeve shorter (`length`)")
    free = asked.entry.cut_gap / 2
    if at - low >= length + free:
        return "a"
    if high - at >= length + free:
        return "b"
    raise asked.place_wrong(
        f"its sleeve of {said(length)} cannot be slid off the cut to either side: "
        f"{said(at - low)} of clear tube towards end a, {said(high - at)} towards b.",
        "Move the joint to the middle of the tube, or make the sleeve shorter (`length`).",
    )


def sleeve_drills(joint: SleeveJoint) -> tuple[Drill, ...]:
    """Holes in the tube for the bushes."""
    return tuple(
        Drill(point=at, axis=joint.across, along=joint.along, radius=joint.size.sleeve_od / 2)
        for at in _bolts(joint)
    )


def _bolts(joint: SleeveJoint) -> list[Vec]:
    """Where each bolt's axis crosses the tube's, from end a."""
    return [vec(joint.origin + x * joint.along) for x in joint.bolts]


def sleeve_parts(joint: SleeveJoint, pieces: Sequence[Member]) -> list[SmallPart]:
    """The sleeve, then bush, bolt, washers and nut of each bolt.

    Args:
        joint: the joint.
        pieces: the pieces before and after it.
    """
    out = [_sleeve(joint)]
    size = joint.size
    for n, (x, at) in enumerate(zip(joint.bolts, _bolts(joint), strict=True), start=1):
        base = f"{joint.id}_{n}"
        piece = pieces[0] if x < 0 else pieces[1]
        seat = PinSeat(
            origin=at, along=joint.along, pin=joint.across, size=size, joint="sleeve",
            hole=size.hole,
        )  # fmt: skip
        half = joint.bush_length / 2
        out.append(
            ring(f"{base}_bush", "bush", seat, size.sleeve_od, size.sleeve_bore, -half, 2 * half,
                 joint.material, "tube {}, bore {}, {} long",
                 (size.sleeve_od, size.sleeve_bore, 2 * half), welded=piece.id)
        )  # fmt: skip
        choice = choose_bolt(size, joint.grade, joint.grip, joint.outer)
        out += bolt_set(base, seat, choice, joint.grade)
    return out


def _sleeve(joint: SleeveJoint) -> SmallPart:
    m = np.eye(4)
    m[:3, 0], m[:3, 1], m[:3, 2] = (
        joint.across, np.cross(joint.along, joint.across), joint.along,
    )  # fmt: skip
    m[:3, 3] = joint.origin - joint.length / 2 * joint.along
    return SmallPart(
        id=joint.id,
        kind=SLEEVE,
        material=joint.material,
        stages=(Stage(Outline.circle((0.0, 0.0), joint.od), joint.length),),
        frame=m,
        bore=joint.bore,
        called="tube {}, bore {}, {} long",
        lengths=(joint.od, joint.bore, joint.length),
        joint="sleeve",
        source="sizes of the build, else common practice",
        drills=tuple(
            Drill(point=at, axis=joint.across, along=joint.along, radius=joint.size.sleeve_bore / 2)
            for at in _bolts(joint)
        ),
    )
