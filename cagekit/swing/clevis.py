"""A clevis: fork and eye turned and milled of round bar, one bolt through both in double shear."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import floor, hypot, sqrt
from typing import TYPE_CHECKING

import numpy as np

from cagekit.cage.bolted import ClevisJoint
from cagekit.cage.door import Lug, SmallPart, Stage
from cagekit.cage.member import Member
from cagekit.geometry.outline import Outline
from cagekit.inputs.bolted import ClevisEntry
from cagekit.materials.fasteners import fastener
from cagekit.materials.pins import PinSize
from cagekit.swing.asked import EDGE, STEP, Asked, spigot_length, usual_size
from cagekit.swing.hardware import PinSeat, bolt_set, choose_bolt

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage

USUAL_SIZE: Mapping[str, str] = {"mm": "M10", "in": "3/8"}
"""Bolts by the build's units. Source: Formula SAE Rules 2023, F.5.12.5 (10 mm, 3/8 in at least)."""
LEAST_CHEEK = 4.5
"""Cheek that says no thickness, mm, at least. Source: Formula SAE Rules 2023, F.5.12.3."""
CHEEK = 0.6
"""Usual cheek over the eye's thickness (common practice: two of them bear more than the eye)."""
WIDTH = 3.0
"""Usual width of cheeks and eye in bolt diameters (common practice)."""
RIM = 0.2
"""Collar left beside the corners of cheeks and eye, mm."""


def clevis_joint(cage: Cage, asked: Asked[ClevisEntry], id_: str) -> ClevisJoint:
    """The clevis that is asked for.

    Args:
        cage: the tubes, whole.
        asked: what the build says.
        id_: of the joint.

    Raises:
        InputError: it cannot be, with its line and what would do.
    """
    entry, tube = asked.entry, asked.member.tube
    size, grade = asked.bolt(USUAL_SIZE)
    eye = size.diameter if entry.eye is None else float(entry.eye)
    usual = max(usual_size(CHEEK * eye), LEAST_CHEEK)
    cheek = usual if entry.cheek is None else float(entry.cheek)
    slot = eye + float(entry.play)
    width = _width(asked, slot + 2 * cheek, size)
    stand = width / 2 + float(entry.clearance)
    _require_washers(asked, size, stand)
    choice = asked.long_enough(size, grade, slot + 2 * cheek, cheek)
    joint = ClevisJoint(
        id=id_,
        **asked.ground,
        gap=2 * (stand + entry.collar),
        od=tube.od,
        size=size,
        grade=grade,
        bolts=(0.0,),
        flats=fastener(size.thread, grade).across_flats,
        bolt_length=choice.length,
        shank=choice.shank,
        grip=slot + 2 * cheek,
        outer=cheek,
        fork=entry.fork,
        eye=eye,
        cheek=cheek,
        slot=slot,
        width=width,
        stand=stand,
        collar=float(entry.collar),
        spigot=spigot_length(entry.spigot, tube),
        spigot_od=2 * tube.inner_radius - entry.fit,
        hole=size.sleeve_bore,
    )
    asked.clear(cage, joint.covers, "clevis", "make it shorter (`spigot`, `collar`)")
    return joint


def _width(asked: Asked[ClevisEntry], thick: float, size: PinSize) -> float:
    """Width of cheeks and eye: typed, or what is usual; within the tube, and round the hole."""
    typed, said = asked.entry.width, asked.said
    tube = said(asked.member.tube.od)
    square = (asked.member.tube.outer_radius - RIM) ** 2 - thick**2 / 4
    room = 2 * sqrt(square) if square > 0 else 0.0
    if typed is None:
        width = min(usual_size(WIDTH * size.diameter), floor(room / STEP) * STEP)
    else:
        width = float(typed)
    if width > room:
        raise asked.wrong(
            "width", said(width),
            f"with {said(thick)} across its cheeks the fork measures "
            f"{said(hypot(width, thick))} from corner to corner and stands out of the tube of "
            f"{tube}.",
            f"Use {asked.most(room)} at most, or a thinner `eye` or `cheek`.",
        )  # fmt: skip
    hole = size.sleeve_bore
    beside = (width - hole) / 2
    if beside < EDGE * hole:
        field, value = ("bolt_size", size.size) if typed is None else ("width", said(width))
        raise asked.wrong(
            field, value,
            f"a fork {said(thick)} thick in a tube of {tube} is {said(width)} wide, which leaves "
            f"{said(max(beside, 0.0))} of metal beside the hole of {said(hole)} "
            f"({asked.least(EDGE * hole)} at least).",
            "Use a smaller bolt, a thinner `eye` or `cheek`, or a larger tube.",
        )  # fmt: skip
    return width


def _require_washers(asked: Asked[ClevisEntry], size: PinSize, stand: float) -> None:
    """The washers lie on the cheeks, clear of the collars."""
    short = size.washer_od / 2 - stand
    if short > 0:
        need = asked.least(asked.entry.clearance + short)
        raise asked.wrong(
            "clearance", asked.said(asked.entry.clearance),
            f"the washers of {asked.said(size.washer_od)} would lie on the collars, "
            f"{asked.said(stand)} from the bolt's middle.",
            f"Give it {need} at least.",
        )  # fmt: skip


def clevis_parts(joint: ClevisJoint, pieces: Sequence[Member]) -> list[SmallPart]:
    """Fork, eye, bolt, washers and nut.

    Args:
        joint: the joint.
        pieces: the pieces before and after it.
    """
    half = joint.slot / 2
    cheeks = [(-half - joint.cheek, -half), (half, half + joint.cheek)]
    eye = [(-joint.eye / 2, joint.eye / 2)]
    before, after = (cheeks, eye) if joint.fork == "a" else (eye, cheeks)
    seat = PinSeat(
        origin=joint.origin, along=joint.along, pin=joint.across, size=joint.size, joint="clevis",
        hole=joint.size.hole,
    )  # fmt: skip
    choice = choose_bolt(joint.size, joint.grade, joint.grip, joint.outer)
    return [
        _half(joint, pieces[0], 1.0, before),
        _half(joint, pieces[1], -1.0, after),
        *bolt_set(f"{joint.id}_1", seat, choice, joint.grade),
    ]


def _half(
    joint: ClevisJoint, piece: Member, way: float, flats: Sequence[tuple[float, float]]
) -> SmallPart:
    """The fork or the eye: spigot, collar, then what stands on the collar towards the bolt."""
    forked = len(flats) > 1
    kind = "fork" if forked else "eye"
    word, wide = ("slot", joint.slot) if forked else ("eye", joint.eye)
    out = way * joint.along
    m = np.eye(4)
    m[:3, 0], m[:3, 1], m[:3, 2] = joint.across, np.cross(out, joint.across), out
    m[:3, 3] = joint.origin - (joint.gap / 2 + joint.spigot) * out
    lugs = tuple(
        Lug(low=low, high=high, width=joint.width, stand=joint.stand, hole=joint.hole)
        for low, high in flats
    )
    turned = ((joint.spigot_od, joint.spigot), (joint.od, joint.collar))
    return SmallPart(
        id=f"{joint.id}_{kind}",
        kind=kind,
        material=joint.material,
        stages=tuple(Stage(Outline.circle((0.0, 0.0), d), length) for d, length in turned),
        frame=m,
        called=f"of round bar {{}}, {{}} long, {word} {{}}, hole {{}}",
        lengths=(joint.od, joint.spigot + joint.collar + lugs[0].tip, wide, joint.hole),
        welded_to=piece.id,
        joint="clevis",
        source="sizes of the build, else common practice",
        lugs=lugs,
    )
