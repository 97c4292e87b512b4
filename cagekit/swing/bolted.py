"""Tubes that come apart: divided where a build says so, and bolted together again."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct

from cagekit.cage.bolted import BoltedJoint, BoltedTube
from cagekit.cage.door import SmallPart
from cagekit.cage.member import Member, Plane
from cagekit.cage.places import Places
from cagekit.errors import GeometryError, InputError
from cagekit.geometry.centre_line import Line
from cagekit.geometry.drill import Drill
from cagekit.inputs.bolted import spread_joints
from cagekit.inputs.presets import key_error
from cagekit.swing.asked import Asked
from cagekit.swing.clevis import clevis_joint, clevis_parts
from cagekit.swing.divide import SawCut, cut_apart
from cagekit.swing.plug import plug_joint, plug_parts
from cagekit.swing.sleeve import sleeve_drills, sleeve_joint, sleeve_parts
from cagekit.units import lengths_in
from cagekit.units.tolerance import ROUNDING

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.inputs.build import Build

MOST_JOINTS = 2
"""Three joints in a row on one tube: the pieces between them hang on nothing."""
LETTERS = "abc"


class JointMaker(Struct, frozen=True):
    """How one kind of joint is made.

    Args:
        joint: makes the joint of the tubes, what is asked, and its id.
        parts: makes its small parts of the joint and the pieces before and after it.
        drills: tells the holes that it needs in the tube.
    """

    joint: Callable[[Cage, Any, str], BoltedJoint]
    parts: Callable[[Any, Sequence[Member]], list[SmallPart]]
    drills: Callable[[Any], tuple[Drill, ...]] = lambda joint: ()


MAKERS: Mapping[str, JointMaker] = {
    "sleeve": JointMaker(sleeve_joint, sleeve_parts, sleeve_drills),
    "clevis": JointMaker(clevis_joint, clevis_parts),
    "plug": JointMaker(plug_joint, plug_parts),
}
"""Every kind of joint by the name that `[[joint]]` gives it."""


class Bolted(Struct, frozen=True, kw_only=True, eq=False):
    """A divided tube: its pieces from end a, what it is made of, and its small parts."""

    pieces: tuple[Member, ...]
    tube: BoltedTube
    hardware: tuple[SmallPart, ...]


def bolt_all(build: Build, cage: Cage) -> tuple[Bolted, ...]:
    """Divide every tube of a build that has bolted joints.

    Args:
        build: the build.
        cage: its tubes, whole.

    Raises:
        InputError: a joint cannot be where the file says, with its line, and what would do.
    """
    where = str(build.files.get("build", build.name))
    places = Places(build.car, cage.members, build.names_left_out)
    by_tube: dict[str, list[Asked[Any]]] = {}
    for n, place, entry in spread_joints(build.file.joint):
        typed = lengths_in(str(entry.at), build.units)
        if place.open:
            raise key_error(
                where, ("joint", n, "at"), typed, "the joint has no side to fill in.",
                "Give it side = 'left', 'right' or 'both'.",
            )  # fmt: skip
        try:
            found = places.find(place, where=where)
        except (InputError, GeometryError) as error:
            problem = getattr(error, "problem", "") or str(error)
            hint = getattr(error, "hint", "")
            raise key_error(where, ("joint", n, "at"), typed, problem, hint) from error
        assert found.spot is not None
        member = cage.members[found.members[0]]
        asked = Asked(member, found.spot.station, entry, n, where, typed, build.units)
        by_tube.setdefault(member.id, []).append(asked)
    return tuple(_bolted(cage, rows) for rows in by_tube.values())


def _bolted(cage: Cage, asked: list[Asked[Any]]) -> Bolted:
    asked = sorted(asked, key=lambda a: a.station)
    bar = asked[0].member
    _require_tube(asked)
    joints = [
        MAKERS[a.entry.kind].joint(cage, a, f"{bar.id}_{a.entry.kind}_{i}")
        for i, a in enumerate(asked, 1)
    ]
    for (_, a), (later, b) in pairwise(zip(asked, joints, strict=True)):
        if a.span[1] > b.span[0]:
            raise later.place_wrong(
                f"this {b.kind} and the {a.kind} before it on {bar.id} overlap by "
                f"{later.said(a.span[1] - b.span[0])}.",
                "Set them further apart, or make them shorter.",
            )
    names = [(f"{bar.id}_piece_{a}", f"piece {a.upper()}") for a in LETTERS[: len(joints) + 1]]
    pieces = cut_apart(bar, [_cut(j) for j in joints], names)
    drills = [d for j in joints for d in MAKERS[j.kind].drills(j)]
    parts = [
        part
        for j, both in zip(joints, pairwise(pieces), strict=True)
        for part in MAKERS[j.kind].parts(j, both)
    ]
    tube = BoltedTube(
        fitted=bar,
        pieces=tuple(p.id for p in pieces),
        joints=tuple(joints),
        hardware=tuple(q.id for q in parts),
    )
    drilled = tuple(_drilled(p, drills) for p in pieces)
    return Bolted(pieces=drilled, tube=tube, hardware=tuple(parts))


def _require_tube(asked: Sequence[Asked[Any]]) -> None:
    """A straight tube that does not swing out, with two joints at most."""
    bar, first = asked[0].member, asked[0]
    if bar.swing is not None:
        raise first.place_wrong(
            f"{bar.id} swings out: it comes apart at its pins already.",
            "Leave the joint out, or set swing_out = false.",
        )
    if len(bar.path.pieces) != 1 or not isinstance(bar.path.pieces[0], Line):
        raise first.place_wrong(
            f"{bar.id} is bent, and a {first.entry.kind} joins straight tubes only.",
            "Put the joint on a straight tube.",
        )
    if len(asked) > MOST_JOINTS:
        raise asked[-1].place_wrong(
            f"{bar.id} has {len(asked)} joints; what is between three hangs on nothing.",
            f"Give one tube {MOST_JOINTS} at most.",
        )


def _cut(joint: BoltedJoint) -> SawCut:
    shift = joint.gap / 2 * joint.along
    return SawCut(
        joint.station - joint.gap / 2,
        joint.station + joint.gap / 2,
        Plane.of(joint.origin - shift, -joint.along),
        Plane.of(joint.origin + shift, joint.along),
    )


def _drilled(piece: Member, drills: Sequence[Drill]) -> Member:
    """A piece with those of the holes that are on it."""
    own = tuple(d for d in drills if _holds(piece, d))
    return replace(piece, drills=(*piece.drills, *own))


def _holds(piece: Member, drill: Drill) -> bool:
    """Whether a hole is through this piece's axis."""
    gap = piece.path.nearest(drill.point).point - drill.point
    return float(np.linalg.norm(gap)) < ROUNDING
