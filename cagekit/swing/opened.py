"""The cage with its swing-out bars open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from cagekit.cage.cage import Cage
from cagekit.cage.door import SmallPart, SwingDoor, moved_points
from cagekit.cage.member import End, Member, Plane
from cagekit.geometry.centre_line import Vec

STAY_AT_HINGE = ("bolt", "pin", "nut", "washer", "spacer")
"""Parts of a hinge that stay where they are; at the latch they are taken out."""


def opened_cage(cage: Cage, angles: Mapping[str, float]) -> Cage:
    """The cage with bars swung out: bars and sleeves turned, latch pins and their washers out.

    Args:
        cage: the cage, closed.
        angles: how far each bar is open, rad, by the bar's id; bars not named stay closed.
    """
    motions = {d.bar: d.motion(angles[d.bar]) for d in cage.doors if angles.get(d.bar)}
    doors = [d for d in cage.doors if d.bar in motions]
    members = [
        moved_member(m, motions[m.id]) if m.id in motions else m for m in cage.members.values()
    ]
    owner = {i: d for d in doors for i in d.hardware}
    parts = [q for p in cage.hardware if (q := _part(p, owner.get(p.id), motions)) is not None]
    return Cage(
        cage.name,
        members,
        plates=cage.plates,
        notes=cage.notes,
        doors=cage.doors,
        bolted=cage.bolted,
        hardware=parts,
        chassis=cage.chassis.values(),
        kept=cage.kept,
    )


def moved_member(member: Member, motion: Vec) -> Member:
    """A member after a rigid motion ``(4, 4)``, the planes of its ends with it."""
    turn, shift = motion[:3, :3], motion[:3, 3]

    def end(e: End) -> End:
        if e.plane is None:
            return e
        point = moved_points(e.plane.point[None], motion)[0]
        return replace(e, plane=Plane.of(point, turn @ e.plane.normal))

    path = member.path.mapped(turn, shift)
    drills = tuple(d.moved(turn, shift) for d in member.drills)
    return replace(member, path=path, a=end(member.a), b=end(member.b), drills=drills)


def _part(part: SmallPart, door: SwingDoor | None, motions: Mapping[str, Vec]) -> SmallPart | None:
    """Where a part is when its door is open; None when it is taken out."""
    if door is None:
        return part
    if part.kind == "sleeve":
        return part.moved(motions[door.bar])
    if part.joint == "latch" and part.kind in STAY_AT_HINGE:
        return None
    return part
