"""A tapered plug: a cone turned on one half sits in a cone bored in the other, a bolt across both.

The taper takes pressing and bending without play; behind it a parallel nose goes into the socket,
and the bolt goes through socket and nose. Its hole is drilled with the taper pushed home.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import tan
from typing import TYPE_CHECKING

import numpy as np

from cagekit.cage.bolted import PlugJoint
from cagekit.cage.door import SmallPart, Stage
from cagekit.cage.member import Member
from cagekit.geometry.centre_line import Vec
from cagekit.geometry.drill import Drill
from cagekit.inputs.bolted import PlugEntry
from cagekit.materials.fasteners import fastener
from cagekit.materials.pins import PinSize
from cagekit.swing.asked import EDGE, Asked, spigot_length, usual_size
from cagekit.swing.hardware import PinSeat, bolt_set, choose_bolt

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage

USUAL_SIZE: Mapping[str, str] = {"mm": "M10", "in": "3/8"}
"""Bolts by the build's units (common practice)."""
TAPER = 0.6
"""Usual length of the taper in tube diameters (common practice)."""
NOSE = 3.0
"""Usual length of the nose in bolt diameters: one and a half to each side (common practice)."""
LEAST_TAPER = 0.5
"""Less than this between nose and collar across the taper is no seat, mm."""


def plug_joint(cage: Cage, asked: Asked[PlugEntry], id_: str) -> PlugJoint:
    """The tapered plug that is asked for.

    Args:
        cage: the tubes, whole.
        asked: what the build says.
        id_: of the joint.

    Raises:
        InputError: it cannot be, with its line and what would do.
    """
    entry, tube = asked.entry, asked.member.tube
    size, grade = asked.bolt(USUAL_SIZE)
    taper = usual_size(TAPER * tube.od) if entry.taper is None else float(entry.taper)
    nose = usual_size(NOSE * size.diameter) if entry.nose is None else float(entry.nose)
    mouth = tube.od - 2 * float(entry.rim)
    nose_od = mouth - 2 * taper * tan(float(entry.angle))
    hole = size.sleeve_bore
    _require_nose(asked, size, nose, nose_od)
    wall = (tube.od - nose_od) / 2
    choice = asked.long_enough(size, grade, tube.od, wall)
    deep = nose + float(entry.clearance)
    gap = 2 * entry.collar + deep + taper + entry.seat
    # from the socket's end of the cut: its bottom, the room ahead of the nose, half of the nose
    bolt = entry.collar + entry.clearance + nose / 2 - gap / 2
    joint = PlugJoint(
        id=id_,
        **asked.ground,
        gap=gap,
        od=tube.od,
        size=size,
        grade=grade,
        bolts=(bolt if entry.socket == "a" else -bolt,),
        flats=fastener(size.thread, grade).across_flats,
        bolt_length=choice.length,
        shank=choice.shank,
        grip=tube.od,
        outer=wall,
        socket=entry.socket,
        mouth=mouth,
        taper=taper,
        nose=nose,
        nose_od=nose_od,
        fit=float(entry.nose_fit),
        deep=deep,
        seat=float(entry.seat),
        collar=float(entry.collar),
        spigot=spigot_length(entry.spigot, tube),
        spigot_od=2 * tube.inner_radius - entry.fit,
        hole=hole,
    )
    asked.clear(cage, joint.covers, "tapered plug", "make it shorter (`taper`, `nose`, `spigot`)")
    return joint


def _require_nose(asked: Asked[PlugEntry], size: PinSize, nose: float, nose_od: float) -> None:
    """The nose holds the bolt's hole, along the tube and across it, behind a taper."""
    said, hole = asked.said, size.sleeve_bore
    least = hole * (1 + 2 * EDGE)
    if nose < least:
        raise asked.wrong(
            "nose", said(nose),
            f"its hole of {said(hole)} needs a nose of {asked.least(least)} at least.",
            "Make it longer, or use a smaller bolt (`bolt_size`).",
        )  # fmt: skip
    if nose_od < least:
        raise asked.wrong(
            "taper", said(asked.entry.taper or TAPER * asked.member.tube.od),
            f"it leaves a nose of {said(max(nose_od, 0.0))} across, and its hole of {said(hole)} "
            f"needs {asked.least(least)} at least.",
            "Use a shorter `taper`, a smaller `angle` or `rim`, a smaller bolt, or a larger tube.",
        )  # fmt: skip
    lean = asked.member.tube.od - 2 * asked.entry.rim - nose_od
    if lean < 2 * LEAST_TAPER:
        raise asked.wrong(
            "angle", round(float(np.degrees(asked.entry.angle)), 3),
            f"over its length the taper closes by {said(lean)} only: that is no seat.",
            "Use a larger `angle` or a longer `taper`.",
        )  # fmt: skip


def plug_parts(joint: PlugJoint, pieces: Sequence[Member]) -> list[SmallPart]:
    """Socket, plug, bolt, washers and nut.

    Args:
        joint: the joint.
        pieces: the pieces before and after it.
    """
    first = joint.socket == "a"
    way = 1.0 if first else -1.0
    holds, goes_in = pieces if first else pieces[::-1]
    at = joint.origin + joint.bolts[0] * joint.along
    seat = PinSeat(
        origin=at, along=joint.along, pin=joint.across, size=joint.size, joint="plug",
        hole=joint.size.hole,
    )  # fmt: skip
    choice = choose_bolt(joint.size, joint.grade, joint.grip, joint.outer)
    body = joint.collar + joint.deep + joint.taper
    socket = (
        Stage.turned(joint.spigot_od, joint.spigot),
        Stage.turned(joint.od, body),
    )
    bore = (
        Stage.turned(joint.mouth, joint.taper, joint.nose_od),
        Stage.turned(joint.nose_od, joint.deep),
    )
    plug = (
        Stage.turned(joint.spigot_od, joint.spigot),
        Stage.turned(joint.od, joint.collar),
        # the taper stands out of the socket by its seat, where it goes on as wide as the mouth
        Stage.turned(joint.mouth, joint.seat),
        Stage.turned(joint.mouth, joint.taper, joint.nose_od),
        Stage.turned(joint.nose_od - joint.fit, joint.nose),
    )
    return [
        _half(joint, "socket", holds, way, socket, bore, at),
        _half(joint, "plug", goes_in, -way, plug, (), at),
        *bolt_set(f"{joint.id}_1", seat, choice, joint.grade),
    ]


def _half(
    joint: PlugJoint, kind: str, piece: Member, way: float,
    stages: tuple[Stage, ...], bore: tuple[Stage, ...], at: Vec,
) -> SmallPart:  # fmt: skip
    """One half from its spigot's end towards the other."""
    out = way * joint.along
    m = np.eye(4)
    m[:3, 0], m[:3, 1], m[:3, 2] = joint.across, np.cross(out, joint.across), out
    m[:3, 3] = joint.origin - (joint.gap / 2 + joint.spigot) * out
    return SmallPart(
        id=f"{joint.id}_{kind}",
        kind=kind,
        material=joint.material,
        stages=stages,
        frame=m,
        called="of round bar {}, {} long, taper {} to {}, hole {}",
        lengths=(
            joint.od,
            sum(s.length for s in stages),
            joint.mouth,
            joint.nose_od,
            joint.hole,
        ),
        welded_to=piece.id,
        joint="plug",
        source="sizes of the build, else common practice",
        drills=(Drill(point=at, axis=joint.across, along=out, radius=joint.hole / 2),),
        hollow=bore,
    )
