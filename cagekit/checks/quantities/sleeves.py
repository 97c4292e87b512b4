"""Quantities of tubes that come apart at bolted sleeves."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from cagekit.cage.member import Member
from cagekit.cage.sleeve import SleeveJoint
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.bars import joined
from cagekit.checks.quantities.plates import tensile_of
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey


def _joints(s: Survey, pick: Pick) -> Iterator[tuple[SleeveJoint, Member, Evidence]]:
    """Every sleeve on the picked tubes, one of the pieces in it, evidence."""
    picked = {m.id for m in s.pick(pick)}
    for tube in s.cage.sleeved:
        for joint, names in zip(tube.joints, pairwise(tube.pieces), strict=True):
            if picked & set(names):
                evidence = Evidence.of(*names, points=[joint.origin])
                yield joint, s.cage.member(names[0]), evidence


@quantity("bolted_sleeves", "count", "bolted sleeves in the tube")
def bolted_sleeves(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bolted sleeves in each of the picked bars, in a cage that has any."""
    if not s.cage.sleeved:
        return
    places = {i: t for t in s.cage.sleeved for i in t.pieces}
    for bar in joined(s.pick(pick)):
        tubes = {id(t): t for i in bar.ids if (t := places.get(i)) is not None}.values()
        joints = [j for t in tubes for j in t.joints]
        evidence = Evidence.of(*bar.ids, points=[j.origin for j in joints])
        yield Measure(subject=bar.name, value=len(joints), evidence=evidence)


@quantity("sleeve_length", "mm", "length of the sleeve")
def sleeve_length(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Length of each bolted sleeve, half of it on each piece."""
    for joint, _, evidence in _joints(s, pick):
        yield Measure(subject=joint.id, value=joint.length, evidence=evidence)


@quantity("sleeve_wall", "mm", "wall of the sleeve")
def sleeve_wall(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Wall of each bolted sleeve."""
    for joint, _, evidence in _joints(s, pick):
        yield Measure(subject=joint.id, value=joint.wall, evidence=evidence)


@quantity("sleeve_bolt", "mm", "bolts of the sleeve")
def sleeve_bolt(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Diameter of the bolts of each bolted sleeve."""
    for joint, _, evidence in _joints(s, pick):
        yield Measure(subject=joint.id, value=joint.size.diameter, evidence=evidence)


@quantity("sleeve_bolt_tensile", "MPa", "strength of the sleeve's bolts")
def sleeve_bolt_tensile(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Nominal tensile strength of the bolts of each bolted sleeve, as of `bolt_tensile`."""
    for joint, _, evidence in _joints(s, pick):
        yield Measure(subject=joint.id, value=tensile_of(joint.grade), evidence=evidence)


@quantity("sleeve_wall_share", "ratio", "wall of the sleeve over the tube's")
def sleeve_wall_share(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Wall of each bolted sleeve over the wall of the tube in it."""
    for joint, piece, evidence in _joints(s, pick):
        yield Measure(subject=joint.id, value=joint.wall / piece.tube.wall, evidence=evidence)


@quantity("sleeve_reach", "ratio", "sleeve on each piece, in tube diameters")
def sleeve_reach(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How far each piece reaches into its bolted sleeve, over the tube's outside diameter."""
    for joint, piece, evidence in _joints(s, pick):
        reach = (joint.length - joint.gap) / 2
        yield Measure(subject=joint.id, value=reach / piece.tube.od, evidence=evidence)


@quantity("sleeve_edge", "ratio", "end of sleeve or tube beyond a bolt, in bolt diameters")
def sleeve_edge(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Least distance from a bolt's middle to the end of its sleeve or tube, in bolt diameters."""
    for joint, _, evidence in _joints(s, pick):
        near = min(abs(x) for x in joint.bolts) - joint.gap / 2
        far = joint.length / 2 - max(abs(x) for x in joint.bolts)
        yield Measure(
            subject=joint.id, value=min(near, far) / joint.size.diameter, evidence=evidence
        )


@quantity("sleeve_fit", "mm", "play of the tube in its sleeve")
def sleeve_fit(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Bore of each bolted sleeve over the outside diameter of the tube in it."""
    for joint, piece, evidence in _joints(s, pick):
        yield Measure(subject=joint.id, value=joint.bore - piece.tube.od, evidence=evidence)
