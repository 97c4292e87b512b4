"""Quantities of tubes that come apart at bolted joints."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from math import atan, degrees
from typing import TypeVar

from cagekit.cage.bolted import BoltedJoint, ClevisJoint, PlugJoint, SleeveJoint
from cagekit.cage.member import Member
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.bars import joined
from cagekit.checks.quantities.plates import tensile_of
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey

Kind = TypeVar("Kind", bound=BoltedJoint)


def _joints(s: Survey, pick: Pick, kind: type[Kind]) -> Iterator[tuple[Kind, Member, Evidence]]:
    """Every joint of a kind on the picked tubes, one of the pieces in it, evidence."""
    picked = {m.id for m in s.pick(pick)}
    for tube in s.cage.bolted:
        for joint, names in zip(tube.joints, pairwise(tube.pieces), strict=True):
            if picked & set(names) and isinstance(joint, kind):
                evidence = Evidence.of(*names, points=[joint.origin])
                yield joint, s.cage.member(names[0]), evidence


def _counted(s: Survey, pick: Pick, *kinds: type[BoltedJoint]) -> Iterator[Measure]:
    """Joints of some kinds in each of the picked bars, in a cage that has any bolted joints."""
    if not s.cage.bolted:
        return
    places = {i: t for t in s.cage.bolted for i in t.pieces}
    for bar in joined(s.pick(pick)):
        tubes = {id(t): t for i in bar.ids if (t := places.get(i)) is not None}.values()
        joints = [j for t in tubes for j in t.joints if isinstance(j, kinds)]
        evidence = Evidence.of(*bar.ids, points=[j.origin for j in joints])
        yield Measure(subject=bar.name, value=len(joints), evidence=evidence)


@quantity("bolted_joints", "count", "bolted joints in the tube")
def bolted_joints(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bolted joints of any kind in each of the picked bars, in a cage that has any."""
    yield from _counted(s, pick, BoltedJoint)


@quantity("lug_and_sleeve_joints", "count", "clevises and bolted sleeves in the tube")
def lug_and_sleeve_joints(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Clevises and bolted sleeves in each of the picked bars, in a cage that has bolted joints."""
    yield from _counted(s, pick, ClevisJoint, SleeveJoint)


@quantity("joint_bolt_tensile", "MPa", "strength of the joint's bolts")
def joint_bolt_tensile(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Nominal tensile strength of the bolts of each bolted joint, as of `bolt_tensile`."""
    for joint, _, evidence in _joints(s, pick, BoltedJoint):
        yield Measure(subject=joint.id, value=tensile_of(joint.grade), evidence=evidence)


# --- sleeves ------------------------------------------------------------------------------------


@quantity("sleeve_length", "mm", "length of the sleeve")
def sleeve_length(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Length of each bolted sleeve, half of it on each piece."""
    for joint, _, evidence in _joints(s, pick, SleeveJoint):
        yield Measure(subject=joint.id, value=joint.length, evidence=evidence)


@quantity("sleeve_wall", "mm", "wall of the sleeve")
def sleeve_wall(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Wall of each bolted sleeve."""
    for joint, _, evidence in _joints(s, pick, SleeveJoint):
        yield Measure(subject=joint.id, value=joint.wall, evidence=evidence)


@quantity("sleeve_bolt", "mm", "bolts of the sleeve")
def sleeve_bolt(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Diameter of the bolts of each bolted sleeve."""
    for joint, _, evidence in _joints(s, pick, SleeveJoint):
        yield Measure(subject=joint.id, value=joint.size.diameter, evidence=evidence)


@quantity("sleeve_wall_share", "ratio", "wall of the sleeve over the tube's")
def sleeve_wall_share(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Wall of each bolted sleeve over the wall of the tube in it."""
    for joint, piece, evidence in _joints(s, pick, SleeveJoint):
        yield Measure(subject=joint.id, value=joint.wall / piece.tube.wall, evidence=evidence)


@quantity("sleeve_reach", "ratio", "sleeve on each piece, in tube diameters")
def sleeve_reach(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far each piece reaches into its bolted sleeve, over the tube's outside diameter."""
    for joint, piece, evidence in _joints(s, pick, SleeveJoint):
        reach = (joint.length - joint.gap) / 2
        yield Measure(subject=joint.id, value=reach / piece.tube.od, evidence=evidence)


@quantity("sleeve_edge", "ratio", "end of sleeve or tube beyond a bolt, in bolt diameters")
def sleeve_edge(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Least distance from a bolt's middle to the end of its sleeve or tube, in bolt diameters."""
    for joint, _, evidence in _joints(s, pick, SleeveJoint):
        near = min(abs(x) for x in joint.bolts) - joint.gap / 2
        far = joint.length / 2 - max(abs(x) for x in joint.bolts)
        yield Measure(
            subject=joint.id, value=min(near, far) / joint.size.diameter, evidence=evidence
        )


@quantity("sleeve_fit", "mm", "play of the tube in its sleeve")
def sleeve_fit(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bore of each bolted sleeve over the outside diameter of the tube in it."""
    for joint, piece, evidence in _joints(s, pick, SleeveJoint):
        yield Measure(subject=joint.id, value=joint.bore - piece.tube.od, evidence=evidence)


# --- clevises -----------------------------------------------------------------------------------


@quantity("clevis_cheek", "mm", "cheeks of the clevis")
def clevis_cheek(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Thickness of each cheek of each clevis; of its eye where that is thinner."""
    for joint, _, evidence in _joints(s, pick, ClevisJoint):
        yield Measure(subject=joint.id, value=min(joint.cheek, joint.eye), evidence=evidence)


@quantity("clevis_width", "mm", "width of cheeks and eye")
def clevis_width(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Width of cheeks and eye of each clevis, square to tube and bolt."""
    for joint, _, evidence in _joints(s, pick, ClevisJoint):
        yield Measure(subject=joint.id, value=joint.width, evidence=evidence)


@quantity("clevis_bolt", "mm", "bolt of the clevis")
def clevis_bolt(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Diameter of the bolt of each clevis."""
    for joint, _, evidence in _joints(s, pick, ClevisJoint):
        yield Measure(subject=joint.id, value=joint.size.diameter, evidence=evidence)


@quantity("clevis_cheek_share", "ratio", "both cheeks over the eye")
def clevis_cheek_share(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Thickness of both cheeks of each clevis together over that of its eye."""
    for joint, _, evidence in _joints(s, pick, ClevisJoint):
        yield Measure(subject=joint.id, value=2 * joint.cheek / joint.eye, evidence=evidence)


@quantity("clevis_edge", "ratio", "cheek or eye beside the bolt's middle, in hole diameters")
def clevis_edge(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bolt's middle to the sides and the round end of cheeks and eye, in hole diameters."""
    for joint, _, evidence in _joints(s, pick, ClevisJoint):
        edge = joint.width / 2 / joint.hole
        yield Measure(subject=joint.id, value=edge, evidence=evidence)


@quantity("clevis_fit", "mm", "play of the eye in its fork")
def clevis_fit(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Slot of each clevis's fork over the thickness of its eye."""
    for joint, _, evidence in _joints(s, pick, ClevisJoint):
        yield Measure(subject=joint.id, value=joint.slot - joint.eye, evidence=evidence)


@quantity("joint_spigot", "ratio", "spigot in its tube, in tube diameters")
def joint_spigot(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Length of the spigots of each welded-in joint over the tube's outside diameter."""
    for joint, piece, evidence in _joints(s, pick, BoltedJoint):
        if isinstance(joint, ClevisJoint | PlugJoint):
            yield Measure(subject=joint.id, value=joint.spigot / piece.tube.od, evidence=evidence)


# --- tapered plugs ------------------------------------------------------------------------------


@quantity("plug_joints", "count", "tapered plugs in the tube")
def plug_joints(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Tapered plugs in each of the picked bars, in a cage that has bolted joints."""
    yield from _counted(s, pick, PlugJoint)


@quantity("plug_angle", "deg", "taper of the plug to its axis")
def plug_angle(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Angle between axis and side of each tapered plug."""
    for joint, _, evidence in _joints(s, pick, PlugJoint):
        angle = degrees(atan((joint.mouth - joint.nose_od) / 2 / joint.taper))
        yield Measure(subject=joint.id, value=angle, evidence=evidence)


@quantity("plug_rim", "ratio", "socket's wall at its mouth over the tube's")
def plug_rim(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Wall of each socket at its mouth over the wall of its tube."""
    for joint, piece, evidence in _joints(s, pick, PlugJoint):
        wall = (joint.od - joint.mouth) / 2
        yield Measure(subject=joint.id, value=wall / piece.tube.wall, evidence=evidence)


@quantity("plug_nose", "ratio", "nose beyond the bolt's middle, in bolt diameters")
def plug_nose(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bolt's middle to the ends of each plug's nose, in bolt diameters."""
    for joint, _, evidence in _joints(s, pick, PlugJoint):
        yield Measure(
            subject=joint.id, value=joint.nose / 2 / joint.size.diameter, evidence=evidence
        )


@quantity("plug_room", "mm", "room left to draw the plug along its tube")
def plug_room(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Saw's gap of a sleeve on the same tube, less what each tapered plug is drawn to come out."""
    for joint, piece, evidence in _joints(s, pick, PlugJoint):
        tube = next(t for t in s.cage.bolted if piece.id in t.pieces)
        gaps = [j.gap for j in tube.joints if isinstance(j, SleeveJoint)]
        room = max(gaps, default=0.0) - joint.travel
        yield Measure(subject=joint.id, value=room, evidence=evidence)


@quantity("clevis_shank", "mm", "plain shank left over at the clevis's far shear plane")
def clevis_shank(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far the bolt's plain shank reaches past the far shear plane of each clevis."""
    for joint, _, evidence in _joints(s, pick, ClevisJoint):
        need = joint.size.washer_thickness + joint.grip - joint.outer
        yield Measure(subject=joint.id, value=joint.shank - need, evidence=evidence)


@quantity("hinge_plane", "deg", "bolts of two clevises on one tube")
def hinge_plane(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Angle between the bolts of two clevises on one tube: parallel, the piece comes out."""
    picked = {m.id for m in s.pick(pick)}
    for tube in s.cage.bolted:
        clevises = [j for j in tube.joints if isinstance(j, ClevisJoint)]
        if len(clevises) < 2 or not picked & set(tube.pieces):
            continue
        turn = degrees(abs(clevises[0].turn - clevises[1].turn)) % 180.0
        evidence = Evidence.of(*tube.pieces, points=[j.origin for j in clevises])
        yield Measure(subject=tube.fitted.id, value=min(turn, 180.0 - turn), evidence=evidence)


@quantity("hinge_place", "ratio", "clevis from the nearer end, in tube lengths")
def hinge_place(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bolt of each clevis to the nearer end of its tube, over the tube's length."""
    for joint, piece, evidence in _joints(s, pick, ClevisJoint):
        length = next(t.fitted.path.length for t in s.cage.bolted if piece.id in t.pieces)
        near = min(joint.station, length - joint.station)
        yield Measure(subject=joint.id, value=near / length, evidence=evidence)
