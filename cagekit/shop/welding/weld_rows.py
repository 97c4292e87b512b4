"""Every weld of a cage in one list: joints of tubes, feet, plates, gussets, tabs, brackets.

What is counted as weld in the material list stands here by name, each with its size, process,
filler and tacks. Leg sizes of joints are the tooling sheet's; a welding procedure decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, pi

import numpy as np
from msgspec import Struct

from cagekit.cage.cage import Cage
from cagekit.cage.door import SmallPart
from cagekit.cage.plate import Plate, PlateWeld
from cagekit.data import rows
from cagekit.geometry.centre_line import Vec, vec
from cagekit.inputs.tooling import Torch
from cagekit.materials.steels import steel
from cagekit.shop.welding.welds import Weld

TACK_EVERY = 40.0
"""A tack for every so many millimetres of weld, two at least and four at most (common practice)."""
KINDS = {
    "floor_plate": "foot",
    "backing_plate": "plate",
    "gusset": "gusset",
    "folded_gusset": "gusset",
    "tab": "tab",
}
"""What a weld is called by the kind of its plate; boxes and brackets by how their kind begins."""

SWING = ("hinge", "latch")
"""Small parts of swing-out bars, whose welds are told with their brackets."""


class WeldRow(Struct, frozen=True, kw_only=True, eq=False):
    """One weld.

    Attributes:
        id: ``j01`` as the joint, ``p01`` for those of plates, ``b01`` of bolted joints.
        kind: tube joint, foot, plate to car, gusset, tab, bracket, box, plate, bolted joint.
        what: the tube's end (``halo.a``) or the plate.
        to: what it is welded to: ids of tubes, ``car``, or a plate's part.
        point: where, ``(3,)`` mm in car axes.
        form: fillet, plug, flare groove, bevel groove.
        length: of one, mm.
        count: how many alike.
        leg: leg of the fillet, or what the plate says of another form, mm.
        process: name and number of the process.
        filler: usual filler, by its standard.
        tacks: how many hold it before it is welded.
        weld: the row of the torch's reach, for joints of tubes.
    """

    id: str
    kind: str
    what: str
    to: str
    point: Vec
    form: str
    length: float
    count: int
    leg: float
    process: str
    filler: str
    tacks: int
    weld: Weld | None = None


def weld_rows(cage: Cage, welds: Sequence[Weld], torch: Torch) -> tuple[WeldRow, ...]:
    """List every weld: joints first, then plates in build order.

    Args:
        cage: the cage as it is fitted, with its plates.
        welds: its weld map.
        torch: process and leg sizes of the shop.
    """
    out = [_joint_row(cage, w, torch) for w in welds]
    number = 0
    for plate in cage.plates:
        for one in plate.welds:
            number += 1
            out.append(_plate_row(cage, plate, one, f"p{number:02d}", torch))
    out += [_part_row(p, f"b{n:02d}", torch) for n, p in enumerate(bolted_parts(cage), start=1)]
    return tuple(out)


def filler(process: str, materials: Sequence[str]) -> tuple[str, str]:
    """Process and usual filler for steels that are welded to each other, alloyed ones first.

    Args:
        process: ``mig`` or ``tig``.
        materials: keys of the steels.
    """
    grades = [steel(m).grade for m in materials]
    plain = ("", "")
    for row in rows("fillers"):
        if row["process"] != process:
            continue
        if any(g.startswith(grade) for grade in row["grades"].split() for g in grades):
            return row["process_name"], row["filler"]
        if not row["grades"]:
            plain = row["process_name"], row["filler"]
    return plain


def tacks(length: float) -> int:
    """How many tacks hold a weld.

    Args:
        length: of the weld, mm.
    """
    return min(max(ceil(length / TACK_EVERY), 2), 4)


def _joint_row(cage: Cage, weld: Weld, torch: Torch) -> WeldRow:
    joint = weld.joint
    tube = cage.members[joint.branch].tube
    steels = [tube.material, *(cage.member(p).tube.material for p in joint.parents)]
    process, rod = filler(torch.process, steels)
    return WeldRow(
        id=joint.id,
        kind="tube joint",
        what=f"{joint.branch}.{joint.branch_end}",
        to=" ".join(joint.parents),
        point=joint.point,
        form="fillet",
        length=joint.weld_length,
        count=1,
        leg=torch.leg_over_wall * tube.wall,
        process=process,
        filler=rod,
        tacks=tacks(joint.weld_length),
        weld=weld,
    )


def _plate_row(cage: Cage, plate: Plate, one: PlateWeld, id_: str, torch: Torch) -> WeldRow:
    to, kind = _to(cage, plate, one)
    steels = [plate.material]
    steels += [cage.members[m].tube.material for m in plate.members if m in cage.members]
    process, rod = filler(torch.process, steels)
    return WeldRow(
        id=id_,
        kind=kind,
        what=plate.id,
        to=to,
        point=vec(_where(cage, plate, one)),
        form=one.kind,
        length=one.length,
        count=plate.quantity,
        leg=one.leg or torch.leg_over_wall * plate.thickness,
        process=process,
        filler=rod,
        tacks=0 if one.kind == "plug" else tacks(one.length),
    )


class PartWeld(Struct, frozen=True, kw_only=True):
    """Weld of a part of a bolted joint: length of one and its leg, mm, and how many alike.

    A bush is welded round at both ends, a part with a spigot once round its shoulder.
    """

    length: float
    count: int
    leg: float


def bolted_parts(cage: Cage) -> tuple[SmallPart, ...]:
    """Parts of bolted joints that are welded into tubes."""
    return tuple(p for p in cage.hardware if p.welded_to and p.joint not in SWING)


def part_weld(part: SmallPart) -> PartWeld:
    """The weld of a part of a bolted joint."""
    bush = part.kind == "bush"
    radius = part.stages[0 if bush else 1].round_[0]
    # the shoulder's groove is as deep as the tube's wall beside the spigot
    leg = radius - part.bore / 2 if bush else radius - part.stages[0].round_[0]
    return PartWeld(length=2 * pi * radius, count=2 if bush else 1, leg=leg)


def _part_row(part: SmallPart, id_: str, torch: Torch) -> WeldRow:
    process, rod = filler(torch.process, [part.material])
    bush = part.kind == "bush"
    z = part.turned / 2 if bush else part.stages[0].length
    weld = part_weld(part)
    return WeldRow(
        id=id_,
        kind="bolted joint",
        what=part.id,
        to=part.welded_to,
        point=vec(part.frame[:3, 3] + z * part.frame[:3, 2]),
        form="fillet" if bush else "bevel groove",
        length=weld.length,
        count=weld.count,
        leg=weld.leg,
        process=process,
        filler=rod,
        tacks=tacks(weld.length),
    )


def _to(cage: Cage, plate: Plate, one: PlateWeld) -> tuple[str, str]:
    """What a plate's weld goes to, and what the weld is called."""
    if one.to == "car":
        return "car", "plate to car"
    words = one.to.split(" end ")
    to = ".".join(words) if words[0] in cage.members else one.to
    if plate.ends and len(words) == 2:
        return to, "foot"
    if plate.box:
        return to, "box"
    if plate.joint:
        return to, "bracket"
    return to, KINDS.get(plate.kind, "plate")


def _where(cage: Cage, plate: Plate, one: PlateWeld) -> Vec:
    """Near which spot of the car a plate's weld is."""
    middle = plate.car_points(plate.centroid[None])[0]
    if one.to in cage.members:
        return np.asarray(cage.members[one.to].path.nearest(middle).point)
    return np.asarray(middle)
