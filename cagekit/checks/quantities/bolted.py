"""Quantities of tubes that come apart at bolted joints.

A joint is picked by the kind that it says it is: a check of a cage without any loads no joints.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import wraps
from itertools import pairwise
from math import atan, degrees
from typing import TYPE_CHECKING, Any

from cagekit.cage.member import Member
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.bars import joined
from cagekit.checks.quantities.plates import tensile_of
from cagekit.checks.quantities.quantity import Measure, Measurer, Pick, Unit, quantity
from cagekit.checks.quantities.survey import Survey

if TYPE_CHECKING:
    from cagekit.cage.bolted import (
        BoltedJoint,
        ClevisJoint,
        JointKind,
        PlugJoint,
        SleeveJoint,
        SpigotJoint,
    )

ANY: tuple[JointKind, ...] = ("sleeve", "clevis", "plug")
WELDED_IN: tuple[JointKind, ...] = ("clevis", "plug")


def _joints(s: Survey, pick: Pick, *kinds: JointKind) -> Iterator[tuple[Any, Member, Evidence]]:
    """Every joint of some kinds on the picked tubes, one of the pieces in it, evidence."""
    picked = {m.id for m in s.pick(pick)}
    for tube in s.cage.bolted:
        for joint, names in zip(tube.joints, pairwise(tube.pieces), strict=True):
            if picked & set(names) and joint.kind in kinds:
                evidence = Evidence.of(*names, points=[joint.origin])
                yield joint, s.cage.member(names[0]), evidence


def of_joint(
    kinds: Sequence[JointKind], name: str, unit: Unit, label: str
) -> Callable[[Callable[[Any, Member], float | None]], Measurer]:
    """Register what one number of each joint of some kinds is, from it and one piece in it."""

    def register(number: Callable[[Any, Member], float | None]) -> Measurer:
        @wraps(number, assigned=("__name__", "__doc__"))
        def measures(s: Survey, pick: Pick) -> Iterator[Measure]:
            for joint, piece, evidence in _joints(s, pick, *kinds):
                yield Measure(subject=joint.id, value=number(joint, piece), evidence=evidence)

        return quantity(name, unit, label)(measures)

    return register


def _counted(s: Survey, pick: Pick, *kinds: JointKind) -> Iterator[Measure]:
    """Joints of some kinds in each of the picked bars, in a cage that has any bolted joints."""
    if not s.cage.bolted:
        return
    places = {i: t for t in s.cage.bolted for i in t.pieces}
    for bar in joined(s.pick(pick)):
        tubes = {id(t): t for i in bar.ids if (t := places.get(i)) is not None}.values()
        joints = [j for t in tubes for j in t.joints if j.kind in kinds]
        evidence = Evidence.of(*bar.ids, points=[j.origin for j in joints])
        yield Measure(subject=bar.name, value=len(joints), evidence=evidence)


@quantity("bolted_joints", "count", "bolted joints in the tube")
def bolted_joints(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bolted joints of any kind in each of the picked bars, in a cage that has any."""
    yield from _counted(s, pick, *ANY)


@quantity("lug_and_sleeve_joints", "count", "clevises and bolted sleeves in the tube")
def lug_and_sleeve_joints(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Clevises and bolted sleeves in each of the picked bars, in a cage that has bolted joints."""
    yield from _counted(s, pick, "clevis", "sleeve")


@of_joint(ANY, "joint_bolt_tensile", "MPa", "strength of the joint's bolts")
def joint_bolt_tensile(joint: BoltedJoint, _: Member) -> float | None:
    """Nominal tensile strength of the bolts of each bolted joint, as of `bolt_tensile`."""
    return tensile_of(joint.grade)


# --- sleeves ------------------------------------------------------------------------------------


@of_joint(["sleeve"], "sleeve_length", "mm", "length of the sleeve")
def sleeve_length(joint: SleeveJoint, _: Member) -> float:
    """Length of each bolted sleeve, half of it on each piece."""
    return joint.length


@of_joint(["sleeve"], "sleeve_wall", "mm", "wall of the sleeve")
def sleeve_wall(joint: SleeveJoint, _: Member) -> float:
    """Wall of each bolted sleeve."""
    return joint.wall


@of_joint(["sleeve"], "sleeve_bolt", "mm", "bolts of the sleeve")
def sleeve_bolt(joint: SleeveJoint, _: Member) -> float:
    """Diameter of the bolts of each bolted sleeve."""
    return joint.size.diameter


@of_joint(["sleeve"], "sleeve_wall_share", "ratio", "wall of the sleeve over the tube's")
def sleeve_wall_share(joint: SleeveJoint, piece: Member) -> float:
    """Wall of each bolted sleeve over the wall of the tube in it."""
    return joint.wall / piece.tube.wall


@of_joint(["sleeve"], "sleeve_reach", "ratio", "sleeve on each piece, in tube diameters")
def sleeve_reach(joint: SleeveJoint, piece: Member) -> float:
    """How far each piece reaches into its bolted sleeve, over the tube's outside diameter."""
    reach = (joint.length - joint.gap) / 2
    return reach / piece.tube.od


@of_joint(
    ["sleeve"], "sleeve_edge", "ratio", "end of sleeve or tube beyond a bolt, in bolt diameters"
)
def sleeve_edge(joint: SleeveJoint, _: Member) -> float:
    """Least distance from a bolt's middle to the end of its sleeve or tube, in bolt diameters."""
    near = min(abs(x) for x in joint.bolts) - joint.gap / 2
    far = joint.length / 2 - max(abs(x) for x in joint.bolts)
    return min(near, far) / joint.size.diameter


@of_joint(["sleeve"], "sleeve_fit", "mm", "play of the tube in its sleeve")
def sleeve_fit(joint: SleeveJoint, piece: Member) -> float:
    """Bore of each bolted sleeve over the outside diameter of the tube in it."""
    return joint.bore - piece.tube.od


# --- clevises -----------------------------------------------------------------------------------


@of_joint(["clevis"], "clevis_cheek", "mm", "cheeks of the clevis")
def clevis_cheek(joint: ClevisJoint, _: Member) -> float:
    """Thickness of each cheek of each clevis; of its eye where that is thinner."""
    return min(joint.cheek, joint.eye)


@of_joint(["clevis"], "clevis_width", "mm", "width of cheeks and eye")
def clevis_width(joint: ClevisJoint, _: Member) -> float:
    """Width of cheeks and eye of each clevis, square to tube and bolt."""
    return joint.width


@of_joint(["clevis"], "clevis_bolt", "mm", "bolt of the clevis")
def clevis_bolt(joint: ClevisJoint, _: Member) -> float:
    """Diameter of the bolt of each clevis."""
    return joint.size.diameter


@of_joint(["clevis"], "clevis_cheek_share", "ratio", "both cheeks over the eye")
def clevis_cheek_share(joint: ClevisJoint, _: Member) -> float:
    """Thickness of both cheeks of each clevis together over that of its eye."""
    return 2 * joint.cheek / joint.eye


@of_joint(
    ["clevis"], "clevis_edge", "ratio", "cheek or eye beside the bolt's middle, in hole diameters"
)
def clevis_edge(joint: ClevisJoint, _: Member) -> float:
    """Bolt's middle to the sides and the round end of cheeks and eye, in hole diameters."""
    return joint.width / 2 / joint.hole


@of_joint(["clevis"], "clevis_fit", "mm", "play of the eye in its fork")
def clevis_fit(joint: ClevisJoint, _: Member) -> float:
    """Slot of each clevis's fork over the thickness of its eye."""
    return joint.slot - joint.eye


@of_joint(WELDED_IN, "joint_spigot", "ratio", "spigot in its tube, in tube diameters")
def joint_spigot(joint: SpigotJoint, piece: Member) -> float:
    """Length of the spigots of each welded-in joint over the tube's outside diameter."""
    return joint.spigot / piece.tube.od


# --- tapered plugs ------------------------------------------------------------------------------


@quantity("plug_joints", "count", "tapered plugs in the tube")
def plug_joints(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Tapered plugs in each of the picked bars, in a cage that has bolted joints."""
    yield from _counted(s, pick, "plug")


@of_joint(["plug"], "plug_angle", "deg", "taper of the plug to its axis")
def plug_angle(joint: PlugJoint, _: Member) -> float:
    """Angle between axis and side of each tapered plug."""
    return degrees(atan((joint.mouth - joint.nose_od) / 2 / joint.taper))


@of_joint(["plug"], "plug_rim", "ratio", "socket's wall at its mouth over the tube's")
def plug_rim(joint: PlugJoint, piece: Member) -> float:
    """Wall of each socket at its mouth over the wall of its tube."""
    wall = (joint.od - joint.mouth) / 2
    return wall / piece.tube.wall


@of_joint(["plug"], "plug_nose", "ratio", "nose beyond the bolt's middle, in bolt diameters")
def plug_nose(joint: PlugJoint, _: Member) -> float:
    """Bolt's middle to the ends of each plug's nose, in bolt diameters."""
    return joint.nose / 2 / joint.size.diameter


@quantity("plug_room", "mm", "room left to draw the plug along its tube")
def plug_room(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Saw's gap of a sleeve on the same tube, less what each tapered plug is drawn to come out."""
    for joint, piece, evidence in _joints(s, pick, "plug"):
        tube = next(t for t in s.cage.bolted if piece.id in t.pieces)
        gaps = [j.gap for j in tube.joints if j.kind == "sleeve"]
        room = max(gaps, default=0.0) - joint.travel
        yield Measure(subject=joint.id, value=room, evidence=evidence)


@of_joint(["clevis"], "clevis_shank", "mm", "plain shank left over at the clevis's far shear plane")
def clevis_shank(joint: ClevisJoint, _: Member) -> float:
    """How far the bolt's plain shank reaches past the far shear plane of each clevis."""
    need = joint.size.washer_thickness + joint.grip - joint.outer
    return joint.shank - need


@quantity("hinge_plane", "deg", "bolts of two clevises on one tube")
def hinge_plane(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Angle between the bolts of two clevises on one tube: parallel, the piece comes out."""
    picked = {m.id for m in s.pick(pick)}
    for tube in s.cage.bolted:
        clevises = [j for j in tube.joints if j.kind == "clevis"]
        if len(clevises) < 2 or not picked & set(tube.pieces):
            continue
        turn = degrees(abs(clevises[0].turn - clevises[1].turn)) % 180.0
        evidence = Evidence.of(*tube.pieces, points=[j.origin for j in clevises])
        yield Measure(subject=tube.fitted.id, value=min(turn, 180.0 - turn), evidence=evidence)


@quantity("hinge_place", "ratio", "clevis from the nearer end, in tube lengths")
def hinge_place(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bolt of each clevis to the nearer end of its tube, over the tube's length."""
    for joint, piece, evidence in _joints(s, pick, "clevis"):
        length = next(t.fitted.path.length for t in s.cage.bolted if piece.id in t.pieces)
        near = min(joint.station, length - joint.station)
        yield Measure(subject=joint.id, value=near / length, evidence=evidence)
